//! q values: the share of false alarms to expect when a written list of tests is cut at one of them.
//!
//! The caller decides what the family is; tests that were meant but refused count by `total`.

/// How the tests may depend on each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dependence {
    /// Independent or positively dependent tests (Benjamini & Hochberg 1995, J R Stat Soc B 57: 289–300).
    Positive,
    /// Any dependence (Benjamini & Yekutieli 2001, Ann Stat 29: 1165–1188).
    Any,
}

/// Why no q values can be given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NotAFamily {
    /// The p at this position is not a number between 0 and 1.
    NotAProbability(
        /// Position, from 0.
        usize,
    ),
    /// The family is said to be smaller than the list.
    TotalTooSmall,
}

impl std::fmt::Display for NotAFamily {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            NotAFamily::NotAProbability(at) => {
                write!(f, "test {} has a p that is not between 0 and 1", at + 1)
            }
            NotAFamily::TotalTooSmall => f.write_str("the family is said to be smaller than its list of tests"),
        }
    }
}

impl std::error::Error for NotAFamily {}

/// q values in the order of `p`. `total` is the size of the family, at least `p.len()`: tests that were on the
/// list but could not be made count as p = 1.
///
/// # Errors
/// A p outside [0, 1] or not a number; a total smaller than the list.
pub fn q_values(p: &[f64], total: usize, dependence: Dependence) -> Result<Vec<f64>, NotAFamily> {
    if let Some(at) = p.iter().position(|p| !(0.0..=1.0).contains(p)) {
        return Err(NotAFamily::NotAProbability(at));
    }
    if total < p.len() {
        return Err(NotAFamily::TotalTooSmall);
    }
    let factor = match dependence {
        Dependence::Positive => 1.0,
        Dependence::Any => (1..=total).rev().map(|i| 1.0 / i as f64).sum(),
    };
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|&a, &b| p[a].total_cmp(&p[b]));
    let mut q = vec![1.0; p.len()];
    let mut smallest = 1.0f64;
    for (rank, &at) in order.iter().enumerate().rev() {
        smallest = smallest.min(factor * total as f64 / (rank + 1) as f64 * p[at]);
        q[at] = smallest;
    }
    Ok(q)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_p_share_a_q_and_a_larger_family_raises_it() {
        assert_eq!(q_values(&[0.5, 0.01, 0.5], 3, Dependence::Positive), Ok(vec![0.5, 0.03, 0.5]));
        assert_eq!(q_values(&[0.01], 5, Dependence::Positive), Ok(vec![0.05]));
    }

    #[test]
    fn a_p_that_is_not_a_number_is_an_error_and_not_a_one() {
        assert_eq!(q_values(&[0.1, f64::NAN], 2, Dependence::Positive), Err(NotAFamily::NotAProbability(1)));
        assert_eq!(q_values(&[0.1, 0.2], 1, Dependence::Positive), Err(NotAFamily::TotalTooSmall));
    }
}
