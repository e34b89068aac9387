//! The share without an event so far where specimens can also end otherwise: one minus the incidence of that event
//! (Aalen–Johansen), as a curve, with plain or tank-clustered standard errors.
//!
//! Who ended otherwise stays free of the event for ever: this is what became of them, not what would be seen if nobody
//! ended otherwise. Limits are those of the incidence on its log(-log) scale, turned over.
//!
//! Aalen 1978, Ann Stat 6: 534–545; the influence of a row on the incidence is its derivative by the row's weight, as in
//! the infinitesimal jackknife (Jaeckel 1972, from memory).

use crate::episode::{Episodes, settled_positions};

use super::cumulative_incidence::{ending_by, incidences};
use super::kaplan_meier::{CurveOptions, KaplanMeier, kaplan_meier_with};
use super::risk::RiskSets;

/// One minus the incidence of the cause `of`, from `start_time`, with 95 % limits; a step per time of that event.
///
/// `cause` holds one number per row, 0 for a row without an end, of checked rows. `at_risk` counts everybody, `events` the
/// event, `censored` every other end. The column `event` of the rows is not read.
pub fn event_free(episodes: &Episodes, cause: &[u32], of: u32, start_time: f64) -> KaplanMeier {
    let own = Episodes { event: cause.iter().map(|&c| c == of).collect(), ..episodes.clone() };
    let options = CurveOptions { start_time: Some(start_time), ..CurveOptions::default() };
    let mut curve = kaplan_meier_with(&own, &options);
    let ended = ending_by(episodes, cause);
    let risk = RiskSets::new(&ended, None, Some(start_time));
    let causes = cause.iter().copied().max().unwrap_or(0).max(of) as usize;
    let found = incidences(&ended, &risk, cause, causes, start_time, options.level);
    for step in &mut curve.steps {
        let Some(at) = found.steps.get(found.steps.partition_point(|other| other.time < step.time)) else { continue };
        let Some(incidence) = at.causes.get(of as usize - 1) else { continue };
        let others = at.causes.iter().enumerate().filter(|(k, _)| k + 1 != of as usize).map(|(_, c)| c.incidence);
        // Exactly 0 once everybody has had the event.
        step.survival = at.survival + others.sum::<f64>();
        step.std_error = (step.survival > 0.0).then_some(incidence.std_error);
        step.lower = incidence.upper.map(|upper| 1.0 - upper);
        step.upper = incidence.lower.map(|lower| 1.0 - lower);
    }
    curve
}

/// Standard errors at the asked times of the incidence of the cause `of`, which are those of one minus it, that allow for
/// clusters (tanks): per specimen the influence of its rows, summed within clusters, squared, summed.
///
/// D_i(t) = Σ_j S_{j-} (dN_ij^k - Y_ij d_kj/n_j)/n_j - Σ_j (F(t)-F_j) (dN_ij - Y_ij d_j/n_j)/(n_j-d_j), sums over
/// t_j <= t, a term of the second sum 0 when n_j = d_j. `specimen` and `cluster` hold one number per row; a specimen that
/// changes cluster counts in its first one. `None` before `start_time`. With one specimen per cluster and no late entry
/// this is the standard error of [`super::cumulative_incidence()`]. O(n) per asked time.
pub fn clustered_incidence_std_errors(
    episodes: &Episodes,
    cause: &[u32],
    of: u32,
    specimen: &[u32],
    cluster: &[u32],
    start_time: f64,
    times: &[f64],
) -> Vec<Option<f64>> {
    let (position, clusters) = settled_positions(episodes, specimen, cluster);
    let ended = ending_by(episodes, cause);
    let risk = RiskSets::new(&ended, None, Some(start_time));
    let causes = cause.iter().copied().max().unwrap_or(0).max(of) as usize;
    let found = incidences(&ended, &risk, cause, causes, start_time, CurveOptions::default().level);
    let steps: Vec<At> = {
        let mut survival = 1.0;
        let mut before = 0.0;
        found
            .steps
            .iter()
            .map(|step| {
                let incidence = step.causes.get(of as usize - 1).map_or(0.0, |own| own.incidence);
                let (n, d) = (step.at_risk as f64, step.events as f64);
                let at = At { n, d, survival_before: survival, incidence, jump: incidence - before };
                (survival, before) = (step.survival, incidence);
                at
            })
            .collect()
    };
    // Sums up to and including each step of S_{j-} d_kj/n_j², of d_j/(n_j (n_j-d_j)), and of that times F_j.
    let mut sums = vec![[0.0; 3]];
    for at in &steps {
        let [own, all, weighted] = sums[sums.len() - 1];
        let hazard = if at.d < at.n { at.d / (at.n * (at.n - at.d)) } else { 0.0 };
        sums.push([own + at.jump / at.n, all + hazard, weighted + hazard * at.incidence]);
    }
    let up_to = |t: f64| found.steps.partition_point(|step| step.time <= t);
    let variance_at = |t: f64| {
        if t.is_nan() || t < start_time || t > found.last_time {
            return None;
        }
        let now = up_to(t).checked_sub(1).map_or(0.0, |last| steps[last].incidence);
        let mut influence = vec![0.0; clusters];
        for (row, &cluster) in position.iter().enumerate() {
            let (start, stop) = (episodes.start[row], episodes.stop[row]);
            if stop < start_time || start >= t {
                continue;
            }
            let (from, to) = (sums[up_to(start)], sums[up_to(stop.min(t))]);
            let mut share = -(to[0] - from[0]) + now * (to[1] - from[1]) - (to[2] - from[2]);
            let last = found.steps.partition_point(|step| step.time < stop);
            if cause[row] > 0
                && stop <= t
                && let Some(at) = steps.get(last)
            {
                if cause[row] == of {
                    share += at.survival_before / at.n;
                }
                if at.d < at.n {
                    share -= (now - at.incidence) / (at.n - at.d);
                }
            }
            influence[cluster] += share;
        }
        Some(influence.iter().map(|d| d * d).sum::<f64>().sqrt())
    };
    times.iter().map(|&t| variance_at(t)).collect()
}

/// One time of an end.
struct At {
    n: f64,
    d: f64,
    survival_before: f64,
    incidence: f64,
    jump: f64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::refusal::Refusal;
    use crate::survival::cumulative_incidence;

    fn rows(start: &[f64], stop: &[f64]) -> Episodes {
        Episodes { start: start.to_vec(), stop: stop.to_vec(), event: vec![false; stop.len()] }
    }

    #[test]
    fn two_ends_by_hand() {
        // Day 1: the event, of 4. Day 2: the other end, of 3. Day 3: censored. Day 4: the event, of 1.
        // F = 1/4 from day 1, and 1/4 + 1/2 from day 4.
        let curve = event_free(&rows(&[0.0; 4], &[1.0, 2.0, 3.0, 4.0]), &[1, 2, 0, 1], 1, 0.0);
        let steps: Vec<(f64, u64, u64, u64, f64)> =
            curve.steps.iter().map(|s| (s.time, s.at_risk, s.events, s.censored, s.survival)).collect();
        assert_eq!(steps, [(1.0, 4, 1, 2, 0.75), (4.0, 1, 1, 0, 0.25)]);
        let se = curve.steps[0].std_error.unwrap_or(f64::NAN);
        assert!((se * se - 3.0 / 64.0).abs() < 1e-15, "the binomial variance of 1 of 4");
        assert!(curve.steps[0].lower < Some(0.75) && curve.steps[0].upper > Some(0.75));
    }

    #[test]
    fn once_everybody_has_had_the_event_the_curve_is_0() {
        let curve = event_free(&rows(&[0.0; 3], &[1.0, 2.0, 3.0]), &[1, 1, 1], 1, 0.0);
        assert_eq!(curve.steps[2].survival, 0.0);
        assert_eq!((curve.steps[2].std_error, curve.steps[2].lower), (None, None));
        assert!(curve.has_ended());
    }

    #[test]
    fn without_an_event_there_is_no_step() {
        assert!(event_free(&rows(&[0.0; 2], &[1.0, 2.0]), &[2, 0], 1, 0.0).steps.is_empty());
        assert!(event_free(&rows(&[], &[]), &[], 1, 0.0).steps.is_empty());
    }

    #[test]
    fn each_specimen_a_cluster_gives_the_plain_standard_error() -> Result<(), Refusal> {
        let stop = [1.0, 2.0, 2.0, 3.0, 4.0, 5.0, 5.0, 6.0, 7.0];
        let cause = [1, 2, 1, 0, 1, 2, 1, 0, 2];
        let e = rows(&[0.0; 9], &stop);
        let ids: Vec<u32> = (0..9).collect();
        let plain = cumulative_incidence(&e, &cause, 2, Some(0.0), 0.95)?;
        for of in [1, 2] {
            let got = clustered_incidence_std_errors(&e, &cause, of, &ids, &ids, 0.0, &stop);
            for (t, got) in stop.iter().zip(got) {
                let want = plain.at(*t).map_or(0.0, |step| step.causes[of as usize - 1].std_error);
                assert!((got.unwrap_or(f64::NAN) - want).abs() < 1e-14, "day {t}: {got:?}, plain {want}");
            }
        }
        Ok(())
    }

    #[test]
    fn two_specimens_of_one_tank_by_hand() {
        // Two tanks of two. Day 1: the event in tank 0, of 4. Without censoring D_i = (1{event by t} - F)/4 with F = 1/4:
        // tank 0 has 3/16 - 1/16, tank 1 twice -1/16: 2 * (1/8)².
        let e = rows(&[0.0; 4], &[1.0, 2.0, 3.0, 3.0]);
        let got = clustered_incidence_std_errors(&e, &[1, 2, 2, 2], 1, &[0, 1, 2, 3], &[0, 0, 1, 1], 0.0, &[2.5, 9.0]);
        assert!((got[0].unwrap_or(f64::NAN) - (2.0_f64 / 64.0).sqrt()).abs() < 1e-15);
        assert_eq!(got[1], None, "nobody is watched so long");
    }

    #[test]
    fn the_influence_is_the_derivative_by_the_weight_also_with_late_entry() {
        // Each row doubled, tripled …: with every other row taken K times and row i K + 1 times, K (F' - F) tends to its
        // influence. Late entries and ties are among the rows.
        let (start, stop) = ([0.0, 0.0, 2.0, 1.0, 0.0, 3.0, 0.0], [2.0, 3.0, 4.0, 4.0, 5.0, 6.0, 7.0]);
        let cause = [1, 2, 1, 1, 0, 1, 2];
        let e = rows(&start, &stop);
        let ids: Vec<u32> = (0..7).collect();
        let incidence = |weights: &[usize], t: f64| {
            let taken: Vec<usize> = (0..7).flat_map(|row| std::iter::repeat_n(row, weights[row])).collect();
            let cause: Vec<u32> = taken.iter().map(|&row| cause[row]).collect();
            let curve = event_free(&e.subset(&taken), &cause, 1, 0.0);
            1.0 - curve.survival_at(t).map_or(f64::NAN, |step| step.survival)
        };
        const K: usize = 20_000;
        let mut sum = 0.0;
        for row in 0..7 {
            let mut weights = [K; 7];
            let plain = incidence(&weights, 6.0);
            weights[row] += 1;
            let influence = (incidence(&weights, 6.0) - plain) * K as f64;
            sum += influence * influence;
        }
        let got = clustered_incidence_std_errors(&e, &cause, 1, &ids, &ids, 0.0, &[6.0])[0].unwrap_or(f64::NAN);
        assert!((got - sum.sqrt()).abs() < 1e-4, "{got} is not {}", sum.sqrt());
    }
}
