//! How sure the reader is of what a column means, as a share: of a hundred columns stated at 0.9, about ninety are right.
//!
//! Knows nothing of columns: it turns the weight that `likely` gives to the likeliest meaning into a share.
//! The knots were fitted with `cargo run -p importer --example confidence -- --fit`: isotonic regression (pool adjacent
//! violators) of right and wrong on the weight, over made-up tables of one seed; the example without `--fit`, and
//! `tests/confidence.rs`, measure them on tables of other seeds.

/// Below this a column is asked about. A silent error is worse than a question: right at this edge one column in a hundred
/// is wrong, and of all that are taken far fewer, since most lie well above; between 0.95 and 0.99 two or three in a hundred
/// would be.
pub const ASK_BELOW: f64 = 0.99;

/// Weight of the likeliest meaning, and the share of columns of that weight that were right. Ascending in both.
const KNOTS: [(f64, f64); 16] = [
    (0.0, 0.0),
    (0.051, 0.086),
    (0.166, 0.205),
    (0.255, 0.29),
    (0.36, 0.41),
    (0.48, 0.53),
    (0.566, 0.568),
    (0.66, 0.67),
    (0.76, 0.812),
    (0.823, 0.915),
    (0.88, 0.97),
    (0.94, 0.984),
    (0.958, 0.992),
    (0.979, 0.996),
    (0.997, 0.9995),
    (1.0, 1.0),
];

/// The share for a weight from 0 to 1, between the knots on a straight line.
pub fn calibrated(weight: f64) -> f64 {
    between(weight, KNOTS.iter().copied())
}

/// The weight that has this share: the inverse of [`calibrated`], for those who fit the knots again.
pub fn weight_of(confidence: f64) -> f64 {
    between(confidence, KNOTS.iter().map(|(weight, share)| (*share, *weight)))
}

fn between(at: f64, knots: impl Iterator<Item = (f64, f64)>) -> f64 {
    let mut before = (0.0, 0.0);
    for (x, y) in knots {
        if at <= x {
            let part = if x > before.0 { (at - before.0) / (x - before.0) } else { 1.0 };
            return before.1 + part.max(0.0) * (y - before.1);
        }
        before = (x, y);
    }
    before.1
}

/// As it is stated: three digits.
pub fn stated(confidence: f64) -> f64 {
    (confidence.clamp(0.0, 1.0) * 1000.0).round() / 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn knots_rise_and_the_inverse_turns_back() {
        for pair in KNOTS.windows(2) {
            assert!(pair[0].0 < pair[1].0 && pair[0].1 < pair[1].1, "{pair:?}");
        }
        assert_eq!((KNOTS[0], KNOTS[KNOTS.len() - 1]), ((0.0, 0.0), (1.0, 1.0)));
        for weight in [0.0, 0.1, 0.37, 0.5, 0.81, 0.99, 1.0] {
            assert!((weight_of(calibrated(weight)) - weight).abs() < 1e-12, "{weight}");
        }
    }
}
