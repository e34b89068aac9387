use super::*;
use crate::episode::Episodes;
use crate::numeric::remembered_draws::DrawOptions;
use crate::refusal::Part;
use crate::survival::kaplan_meier::{Interval, kaplan_meier};

const NEVER: f64 = f64::INFINITY;
const DRAWS: DrawOptions = DrawOptions { replicates: 200, seed: 3, level: 0.95 };

fn curve(rows: &[(f64, f64)]) -> Turnbull {
    let (left, right): (Vec<f64>, Vec<f64>) = rows.iter().copied().unzip();
    turnbull(&left, &right, None).expect("a curve")
}

fn close(got: f64, want: f64) {
    assert!((got - want).abs() < 1e-9, "{got} is not {want}");
}

#[test]
fn overlapping_intervals_by_hand() {
    // Boxes (0, 1] and (1, 2]. Two deaths lie in the first, one in the second, one in either: the likelihood w² (1 - w)
    // has its maximum at 2/3.
    let found = curve(&[(0.0, 1.0), (0.0, 1.0), (0.0, 2.0), (1.0, 3.0)]);
    let ends: Vec<(f64, Option<f64>)> = found.boxes.iter().map(|b| (b.left, b.right)).collect();
    assert_eq!(ends, [(0.0, Some(1.0)), (1.0, Some(2.0))]);
    close(found.boxes[0].mass, 2.0 / 3.0);
    close(found.boxes[1].mass, 1.0 / 3.0);
    close(found.log_likelihood, 2.0 * (2.0f64 / 3.0).ln() + (1.0f64 / 3.0).ln());
    assert_eq!((found.boxes[1].surv_after, found.deaths), (0.0, 4));
}

#[test]
fn a_box_that_no_death_needs_is_empty() {
    // Boxes (0, 1], (1, 2], (2, 3] with the likelihood w1 (w1 + w2) (w2 + w3) w3: w1 = w3 = 1/2 at the edge of need,
    // g = 1 in the middle too, where steps alone shrink its mass like one over their number.
    let found = curve(&[(0.0, 1.0), (0.0, 2.0), (1.0, 3.0), (2.0, 3.0)]);
    let masses: Vec<f64> = found.boxes.iter().map(|b| b.mass).collect();
    close(masses[0], 0.5);
    assert_eq!(masses[1], 0.0);
    assert!(found.iterations < 500, "{}", found.iterations);
    // Two more deaths in the outer boxes: w1² (w1 + w2) (w2 + w3) w3², g in the middle 2/3, exactly empty.
    let found = curve(&[(0.0, 1.0), (0.0, 1.0), (0.0, 2.0), (1.0, 3.0), (2.0, 3.0), (2.0, 3.0)]);
    assert_eq!(found.boxes[1].mass, 0.0);
    close(found.boxes[0].mass, 0.5);
    close(found.log_likelihood, 6.0 * 0.5f64.ln());
}

#[test]
fn days_known_exactly_give_the_product_limit() {
    let stop = [1.0, 2.0, 2.0, 3.0, 4.0, 5.0, 5.0, 7.0];
    let event = [true, true, false, true, false, true, true, false];
    let right: Vec<f64> = stop.iter().zip(event).map(|(&t, died)| if died { t } else { NEVER }).collect();
    let found = turnbull(&stop, &right, Some(&[0.0; 8])).expect("a curve");
    let rows = Episodes::validated(vec![0.0; 8], stop.to_vec(), event.to_vec()).expect("sound rows");
    let product = kaplan_meier(&rows, None, Interval::LogLog);
    for t in [0.5, 1.0, 2.0, 2.5, 3.0, 4.5, 5.0, 6.9] {
        let want = product.survival_at(t).map_or(1.0, |step| step.survival);
        let got = found.survival_at(t);
        close(got.lowest, want);
        close(got.highest, want);
    }
    // After the last look anything is possible.
    assert_eq!(found.survival_at(8.0).lowest, 0.0);
}

#[test]
fn inside_a_box_the_share_is_known_between_two_values_only() {
    let found = curve(&[(0.0, 10.0), (20.0, 30.0), (30.0, NEVER), (30.0, NEVER)]);
    let at = |t: f64| (found.survival_at(t).lowest, found.survival_at(t).highest);
    let near = |got: (f64, f64), want: (f64, f64)| {
        close(got.0, want.0);
        close(got.1, want.1);
    };
    near(at(0.0), (1.0, 1.0));
    near(at(5.0), (0.75, 1.0));
    near(at(10.0), (0.75, 0.75));
    near(at(20.0), (0.75, 0.75));
    near(at(25.0), (0.5, 0.75));
    near(at(30.0), (0.5, 0.5));
    near(at(31.0), (0.0, 0.5));
}

#[test]
fn the_order_of_the_rows_and_doubled_rows_change_nothing() {
    let rows = [(0.0, 3.0), (2.0, 5.0), (4.0, 4.0), (1.0, NEVER), (3.0, 6.0), (5.0, 9.0), (2.0, NEVER)];
    let once = curve(&rows);
    let mut other = rows;
    other.reverse();
    let doubled: Vec<(f64, f64)> = rows.iter().chain(&other).copied().collect();
    let twice = curve(&doubled);
    assert_eq!(once.boxes.len(), twice.boxes.len());
    for (a, b) in once.boxes.iter().zip(&twice.boxes) {
        close(a.mass, b.mass);
    }
    close(2.0 * once.log_likelihood, twice.log_likelihood);
}

#[test]
fn what_has_no_curve_says_why() {
    let code = |left: &[f64], right: &[f64], entry: Option<&[f64]>| turnbull(left, right, entry).map_err(|r| r.code);
    assert_eq!(code(&[1.0], &[NEVER], None).map(|_| ()), Err(RefusalCode::NoEvents));
    assert_eq!(code(&[], &[], None).map(|_| ()), Err(RefusalCode::EmptyGroup));
    for (left, right) in [(2.0, 1.0), (f64::NAN, 1.0), (1.0, f64::NAN), (f64::NEG_INFINITY, 1.0)] {
        assert_eq!(code(&[left], &[right], None).map(|_| ()), Err(RefusalCode::InvalidInput));
    }
    assert_eq!(code(&[1.0, 2.0], &[3.0, 4.0], Some(&[0.0, 0.5])).map(|_| ()), Err(RefusalCode::InvalidInput));
    assert_eq!(code(&[1.0], &[3.0, 4.0], None).map(|_| ()), Err(RefusalCode::InvalidInput));
}

#[test]
fn limits_hold_the_curve_and_need_ten_tanks() {
    // Twelve tanks with two corals each: one lost in the first or second month, one alive.
    let left: Vec<f64> = (0..24).map(|i| if i % 2 == 0 { 30.0 * f64::from(i % 4) / 2.0 } else { 60.0 }).collect();
    let right: Vec<f64> = (0..24).map(|i| if i % 2 == 0 { left[i as usize] + 30.0 } else { NEVER }).collect();
    let tank: Vec<u32> = (0..24).map(|i| i / 2).collect();
    let times = [30.0, 45.0, 60.0];
    let found = turnbull_limits(&left, &right, None, &tank, &times, DRAWS).expect("a curve");
    assert_eq!(found, turnbull_limits(&left, &right, None, &tank, &times, DRAWS).expect("the same"));
    for at in &found {
        let limits = at.limits.given().expect("limits");
        assert!(limits.lower <= at.lowest && at.highest <= limits.upper, "{at:?}");
    }
    // Every tank lost one of two: drawing tanks moves the day, never the number.
    close(found[2].lowest, 0.5);
    let end = found[2].limits.given().expect("limits");
    close(end.lower, 0.5);
    close(end.upper, 0.5);
    assert!(found[0].limits.given().expect("limits").lower < found[0].lowest);
    let few = turnbull_limits(&left[..18], &right[..18], None, &tank[..18], &times, DRAWS).expect("a curve");
    assert!(
        few.iter()
            .all(|at| matches!(&at.limits, Part::Refused { refused } if refused.code == RefusalCode::TooFewClusters))
    );
}

#[test]
fn the_condition_for_the_maximum_holds_for_any_looks() {
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};

    let mut random = ChaCha8Rng::seed_from_u64(20);
    let mut below = |limit: u64| random.next_u64() % limit;
    for club in 0..300 {
        let n = 2 + below(60);
        let rows: Vec<(f64, f64)> = (0..n)
            .map(|_| {
                let left = below(12) as f64;
                match below(4) {
                    0 => (left, left),
                    1 => (left, NEVER),
                    _ => (left, left + 1.0 + below(8) as f64),
                }
            })
            .chain([(0.0, 5.0)])
            .collect();
        let found = curve(&rows);
        assert!(found.largest_gradient <= 1.0 + 1e-9, "club {club}: {found:?}");
        close(found.boxes.iter().map(|b| b.mass).sum(), 1.0);
        assert!(found.boxes.iter().all(|b| b.mass >= 0.0) && found.iterations < 100, "club {club}: {found:?}");
        assert!(found.boxes.windows(2).all(|pair| pair[1].surv_after <= pair[0].surv_after + 1e-15));
        // Moving a little mass from any box to any other never helps.
        let likelihood = |mass: &[f64]| -> f64 {
            let inside = |(left, right): &(f64, f64), b: &TurnbullBox| {
                let begins = if left == right {
                    b.left_closed && b.left == *left
                } else {
                    b.left > *left || b.left == *left && !b.left_closed
                };
                begins && b.right.unwrap_or(NEVER) <= *right
            };
            let of = |row| found.boxes.iter().zip(mass).filter(|(b, _)| inside(row, b)).map(|(_, w)| w).sum::<f64>();
            rows.iter().map(|row| of(row).ln()).sum()
        };
        let mass: Vec<f64> = found.boxes.iter().map(|b| b.mass).collect();
        let there = likelihood(&mass);
        assert!((there - found.log_likelihood).abs() < 1e-8 * there.abs().max(1.0), "{there} {}", found.log_likelihood);
        for from in (0..mass.len()).filter(|&at| mass[at] > 1e-3) {
            for to in (0..mass.len()).filter(|&at| at != from) {
                let mut moved = mass.clone();
                moved[from] -= 1e-4;
                moved[to] += 1e-4;
                assert!(likelihood(&moved) <= there + 1e-9, "club {club}: from {from} to {to}");
            }
        }
    }
}
