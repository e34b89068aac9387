//! Sudden losses of size that no recorded cut explains: kept in every figure, and named.

/// A fall by more than this share between two looks is named.
pub const UNEXPLAINED_FALL: f64 = 0.3;

/// Positions of the sizes that are more than 30 % below the size before them, in a segment ordered by day.
///
/// Values that are not above 0 are passed over.
pub fn unexplained_falls(sizes: &[f64]) -> Vec<usize> {
    let mut falls = Vec::new();
    let mut before: Option<f64> = None;
    for (at, &size) in sizes.iter().enumerate().filter(|(_, size)| **size > 0.0) {
        if before.is_some_and(|before| size < (1.0 - UNEXPLAINED_FALL) * before) {
            falls.push(at);
        }
        before = Some(size);
    }
    falls
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fall_of_thirty_percent_is_not_named_and_a_larger_one_is() {
        assert_eq!(unexplained_falls(&[100.0, 70.0, 48.0, 60.0]), vec![2]);
        assert_eq!(unexplained_falls(&[100.0, f64::NAN, 60.0]), vec![2]);
        assert!(unexplained_falls(&[]).is_empty());
    }
}
