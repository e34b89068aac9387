use super::*;

fn rows(start: &[f64], stop: &[f64], event: &[u8]) -> Episodes {
    Episodes::validated(start.to_vec(), stop.to_vec(), event.iter().map(|e| *e == 1).collect()).unwrap_or_default()
}

fn close(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-14 * want.abs().max(1e-8), "{got} is not {want}");
}

/// Days 6+, 6, 6, 6, 7, 9+, 10: n = 7, 3, 1 and d = 3, 1, 1, so S = 4/7, 8/21, 0 by hand.
fn seven() -> Episodes {
    rows(&[0.0; 7], &[6.0, 6.0, 6.0, 6.0, 7.0, 9.0, 10.0], &[0, 1, 1, 1, 1, 0, 1])
}

#[test]
fn seven_corals_by_hand() {
    let curve = kaplan_meier(&seven(), None, Interval::LogLog);
    let seen: Vec<_> = curve.steps.iter().map(|s| (s.time, s.at_risk, s.events, s.censored)).collect();
    assert_eq!(seen, vec![(6.0, 7, 3, 1), (7.0, 3, 1, 1), (10.0, 1, 1, 0)]);
    close(curve.steps[0].survival, 4.0 / 7.0);
    close(curve.steps[1].survival, 8.0 / 21.0);
    assert_eq!(curve.steps[2].survival, 0.0);
    // Greenwood: 3/(7*4) + 1/(3*2) = 23/84.
    close(curve.steps[1].std_error.unwrap_or(f64::NAN), 8.0 / 21.0 * (23f64 / 84.0).sqrt());
    assert_eq!((curve.steps[2].std_error, curve.steps[2].lower, curve.steps[2].upper), (None, None, None));
}

#[test]
fn a_curve_is_one_before_the_first_death_and_nothing_after_the_last_look() {
    let curve = kaplan_meier(&rows(&[0.0; 3], &[4.0, 8.0, 9.0], &[1, 0, 0]), None, Interval::LogLog);
    let at = |t: f64| curve.survival_at(t).map(|s| s.survival);
    assert_eq!(at(3.9), Some(1.0));
    assert_eq!(curve.survival_at(3.9).and_then(|s| s.lower), None);
    close(at(4.0).unwrap_or(f64::NAN), 2.0 / 3.0);
    close(at(9.0).unwrap_or(f64::NAN), 2.0 / 3.0);
    assert_eq!(at(9.1), None);
    assert_eq!(at(-1.0), None);
    assert_eq!(at(f64::NAN), None);
}

#[test]
fn a_curve_that_reached_zero_stays_there() {
    let curve = kaplan_meier(&seven(), None, Interval::LogLog);
    assert!(curve.has_ended());
    assert_eq!(curve.survival_at(400.0).map(|s| s.survival), Some(0.0));
}

#[test]
fn entering_on_a_day_of_death_is_not_at_risk_that_day_and_leaving_on_it_is() {
    let curve = kaplan_meier(&rows(&[0.0, 5.0, 0.0], &[5.0, 9.0, 5.0], &[1, 0, 0]), None, Interval::LogLog);
    assert_eq!(curve.steps[0].at_risk, 2);
    assert_eq!(curve.at_risk_at(5.0), 2);
    assert_eq!(curve.at_risk_after(5.0), 1);
}

#[test]
fn nobody_watched_ends_the_curve_unless_asked_to_go_on() {
    // The second row begins after the first has died: nothing is known of days 10 to 20.
    let e = rows(&[0.0, 0.0, 20.0, 20.0], &[5.0, 10.0, 30.0, 40.0], &[1, 0, 1, 0]);
    let curve = kaplan_meier(&e, None, Interval::LogLog);
    assert_eq!((curve.gap, curve.last_time, curve.steps.len()), (Some(10.0), 10.0, 1));
    assert_eq!(curve.survival_at(30.0), None);
    let whole = kaplan_meier_with(&e, &CurveOptions { across_gaps: true, ..CurveOptions::default() });
    assert_eq!((whole.steps.len(), whole.last_time), (2, 40.0));
    close(whole.steps[1].survival, 0.25);
}

#[test]
fn an_early_lone_death_sends_the_curve_to_zero_and_a_later_start_avoids_it() {
    let mut start = vec![0.0];
    let mut stop = vec![3.0];
    let mut event = vec![1];
    for i in 0..8 {
        start.push(2.0);
        stop.push(10.0 + f64::from(i));
        event.push(1);
    }
    start.push(3.0);
    stop.push(40.0);
    event.push(0);
    let e = rows(&start, &stop, &event);
    // At day 3 nine are at risk, at days 10, 11, 12 nine, eight and seven: the curve may start at 0.
    assert_eq!(club_start_time(&e), 0.0);
    // With the others entering at day 4 the lone death at day 3 has one at risk.
    let late: Vec<f64> = start.iter().map(|&s| if s >= 2.0 { 4.0 } else { s }).collect();
    let e = rows(&late, &stop, &event);
    assert_eq!(club_start_time(&e), 4.0);
    let trapped = kaplan_meier_with(&e, &CurveOptions { across_gaps: true, ..CurveOptions::default() });
    assert_eq!(trapped.steps[0].survival, 0.0);
    assert_eq!(trapped.steps.last().map(|s| s.survival), Some(0.0));
    let shown = kaplan_meier(&e, Some(4.0), Interval::LogLog);
    assert_eq!((shown.start_time, shown.origin.at_risk), (4.0, 9));
    close(shown.steps[0].survival, 8.0 / 9.0);
}

#[test]
fn five_must_be_at_risk_at_each_of_three_deaths() {
    // Entries on days 0 (five), 10 and 20 (three each); deaths on days 5, 12, 15 and 30, with 5, then 7, 6, 8 at risk.
    let start = [0.0, 0.0, 0.0, 0.0, 0.0, 10.0, 10.0, 10.0, 20.0, 20.0, 20.0];
    let stop = [5.0, 12.0, 15.0, 40.0, 40.0, 40.0, 40.0, 40.0, 30.0, 40.0, 40.0];
    let event = [1, 1, 1, 0, 0, 0, 0, 0, 1, 0, 0];
    let at_risk = |e: &Episodes| -> Vec<u64> {
        kaplan_meier(e, None, Interval::LogLog).steps.iter().map(|s| s.at_risk).collect()
    };
    let e = rows(&start, &stop, &event);
    assert_eq!(at_risk(&e), vec![5, 7, 6, 8]);
    assert_eq!(club_start_time(&e), 0.0);
    // One fewer from day 0 on: four at risk at the first death, so the next entry.
    let four = e.subset(&[0, 1, 2, 3, 5, 6, 7, 8, 9, 10]);
    assert_eq!(at_risk(&four), vec![4, 6, 5, 7]);
    assert_eq!(club_start_time(&four), 10.0);
    // Two fewer from day 10 on: the third death has four at risk, so the entry after it.
    let third = e.subset(&[0, 1, 2, 3, 4, 5, 8, 9, 10]);
    assert_eq!(at_risk(&third), vec![5, 5, 4, 6]);
    assert_eq!(club_start_time(&third), 20.0);
}

#[test]
fn the_start_time_of_rows_without_deaths_or_without_rows() {
    assert_eq!(club_start_time(&rows(&[4.0, 2.0], &[9.0, 9.0], &[0, 0])), 2.0);
    assert_eq!(club_start_time(&Episodes::default()), 0.0);
}

#[test]
fn no_rows_and_no_deaths_give_a_curve_without_steps() {
    let none = kaplan_meier(&Episodes::default(), None, Interval::LogLog);
    assert_eq!((none.steps.len(), none.last_time, none.origin.at_risk), (0, 0.0, 0));
    let alive = kaplan_meier(&rows(&[0.0, 0.0], &[7.0, 9.0], &[0, 0]), None, Interval::LogLog);
    assert_eq!(alive.survival_at(9.0).map(|s| (s.survival, s.lower)), Some((1.0, None)));
    assert_eq!((alive.origin.at_risk, alive.origin.censored), (2, 2));
}

#[test]
fn all_dead_at_one_time_is_zero_without_limits() {
    let curve = kaplan_meier(&rows(&[0.0; 3], &[4.0; 3], &[1, 1, 1]), None, Interval::LogLog);
    let step = curve.steps[0];
    assert_eq!((step.survival, step.std_error, step.lower, step.upper), (0.0, None, None, None));
}

#[test]
fn a_curve_is_cut_where_too_few_are_left() {
    let e = rows(&[0.0; 7], &[1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0], &[1, 1, 1, 1, 0, 1, 0]);
    let cut = kaplan_meier(&e, None, Interval::LogLog).cut_at_risk(5);
    assert_eq!(cut.steps.iter().map(|s| s.at_risk).collect::<Vec<_>>(), vec![7, 6, 5]);
    assert_eq!(cut.last_time, 3.0);
    assert_eq!(cut.survival_at(3.5), None);
    assert!(kaplan_meier(&e, None, Interval::LogLog).cut_at_risk(50).steps.is_empty());
}

#[test]
fn limits_on_three_scales_by_formula() {
    let e = rows(&[0.0; 4], &[1.0, 2.0, 3.0, 4.0], &[1, 1, 0, 0]);
    let z = normal_multiplier(0.95);
    // At day 2: S = 1/2, G = 1/12 + 1/6 = 1/4, se = 1/4.
    let at = |interval| {
        let step = kaplan_meier(&e, None, interval).steps[1];
        (step.lower.unwrap_or(f64::NAN), step.upper.unwrap_or(f64::NAN))
    };
    close(at(Interval::Plain).0, 0.5 - z / 4.0);
    close(at(Interval::Plain).1, 0.5 + z / 4.0);
    close(at(Interval::Log).0, 0.5 * (-z / 2.0).exp());
    assert_eq!(at(Interval::Log).1, 1.0);
    let v = z * 0.5 / 2f64.ln();
    close(at(Interval::LogLog).0, 0.5f64.powf(v.exp()));
    close(at(Interval::LogLog).1, 0.5f64.powf((-v).exp()));
}

#[test]
fn one_specimen_per_tank_gives_greenwood() {
    let e = seven();
    let curve = kaplan_meier(&e, None, Interval::LogLog);
    let ids: Vec<u32> = (0..7).collect();
    let se = clustered_std_errors(&e, &ids, &ids, &curve, &[6.5, 8.0, 10.0, 99.0]);
    close(se[0].unwrap_or(f64::NAN), curve.steps[0].std_error.unwrap_or(0.0));
    close(se[1].unwrap_or(f64::NAN), curve.steps[1].std_error.unwrap_or(0.0));
    assert_eq!((se[2], se[3]), (None, None));
}
