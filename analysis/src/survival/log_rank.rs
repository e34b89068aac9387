//! Do groups differ: the log-rank test and its relatives, with late entry, strata, weights and trend.
//!
//! Rows may change group over time, so the same function serves groups by present condition. It treats specimens as
//! independent; with corals sharing tanks its p is too small, and the robust score test of a clustered fit stands
//! beside it.
//!
//! Mantel 1966, Cancer Chemother Rep 50: 163–170; Peto & Peto 1972, J R Stat Soc A 135: 185–207; Harrington & Fleming
//! 1982, Biometrika 69: 553–566; Tarone 1975, Biometrika 62: 679–690 (trend).

use crate::episode::Episodes;
use crate::numeric::order::Grouped;
use crate::numeric::tail::chi_squared_upper;
use crate::numeric::{Cholesky, Matrix};
use crate::refusal::{Refusal, RefusalCode};

use super::risk::RiskSets;

/// One group of a test.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LogRankGroup {
    /// Rows.
    pub n: u64,
    /// Deaths, weighted if the test is.
    pub observed: f64,
    /// Deaths expected if the hazards were equal, weighted if the test is.
    pub expected: f64,
}

/// Result of the test.
#[derive(Debug, Clone, PartialEq)]
pub struct LogRank {
    /// In the order of the group numbers.
    pub groups: Vec<LogRankGroup>,
    /// Variance of observed less expected, one row per group.
    pub variance: Matrix,
    /// Chi-squared statistic.
    pub statistic: f64,
    /// Its degrees of freedom: groups ever at risk at a death, less one.
    pub df: usize,
    /// Upper tail of the statistic.
    pub p: f64,
    /// Groups that were never at risk at a death, and so are not in the test.
    pub never_at_risk: Vec<usize>,
}

/// Result of a test for trend over ordered groups, one degree of freedom.
#[derive(Debug, Clone, PartialEq)]
pub struct Trend {
    /// Scores of the groups.
    pub scores: Vec<f64>,
    /// Sum of scores times observed less expected: above 0 if deaths grow with the score.
    pub excess: f64,
    /// Variance of `excess`.
    pub variance: f64,
    /// `excess² / variance`.
    pub statistic: f64,
    /// Upper tail of chi-squared with one degree of freedom.
    pub p: f64,
}

/// The test of equal hazards in `groups` groups numbered from 0 in `group`, one number per row.
///
/// `strata`: deaths are compared within strata only. `rho`: weight `S(t-)^rho` with the pooled curve of the stratum; 0
/// is the log-rank test, 1 gives early deaths more weight. Ties by the hypergeometric variance. O(n log n + D K²).
///
/// # Errors
/// `InvalidInput` (columns of unlike length, a group number too large, a bad row or `rho`), `NoEvents`, `EmptyGroup`
/// if fewer than two groups were ever at risk at a death, `Singular` if groups were never at risk together.
pub fn log_rank(
    episodes: &Episodes,
    group: &[u32],
    groups: usize,
    strata: Option<&[u32]>,
    rho: f64,
) -> Result<LogRank, Refusal> {
    check(episodes, group, groups, strata, rho)?;
    let risk = RiskSets::new(episodes, strata, None);
    if risk.times.is_empty() {
        return Err(Refusal::counted(RefusalCode::NoEvents, 0.0, 1.0, "nobody died: there is nothing to compare"));
    }
    let mut sums = vec![LogRankGroup::default(); groups];
    for &g in group {
        sums[g as usize].n += 1;
    }
    // Groups of the rows that enter at each death, of those that leave after it, and of those that die there.
    let met = (0..episodes.len()).filter(|&row| risk.entry[row] < risk.exit[row]);
    let entering = Grouped::new(risk.times.len(), met.clone().map(|row| (risk.entry[row], group[row])));
    let leaving = Grouped::new(risk.times.len(), met.clone().map(|row| (risk.exit[row] - 1, group[row])));
    let died = met.filter(|&row| episodes.event[row]);
    let dying = Grouped::new(risk.times.len(), died.map(|row| (risk.exit[row] - 1, group[row])));
    let mut variance = vec![vec![0.0; groups]; groups];
    let mut at_risk = vec![0u64; groups];
    let mut deaths = vec![0u64; groups];
    for stratum in &risk.strata {
        at_risk.fill(0);
        let mut survival = 1.0f64;
        for death in stratum.clone() {
            for &g in entering.of(death) {
                at_risk[g as usize] += 1;
            }
            deaths.fill(0);
            for &g in dying.of(death) {
                deaths[g as usize] += 1;
            }
            let n: u64 = at_risk.iter().sum();
            let d: u64 = deaths.iter().sum();
            let (n, d) = (n as f64, d as f64);
            let weight = if rho == 0.0 { 1.0 } else { survival.powf(rho) };
            let spread = if n > 1.0 { weight * weight * d * (n - d) / (n - 1.0) } else { 0.0 };
            for g in 0..groups {
                let share = at_risk[g] as f64 / n;
                sums[g].observed += weight * deaths[g] as f64;
                sums[g].expected += weight * d * share;
                for h in 0..groups {
                    let unit = if g == h { 1.0 } else { 0.0 };
                    variance[g][h] += spread * share * (unit - at_risk[h] as f64 / n);
                }
            }
            survival *= (n - d) / n;
            for &g in leaving.of(death) {
                at_risk[g as usize] -= 1;
            }
        }
    }
    let (tested, never_at_risk): (Vec<usize>, Vec<usize>) = (0..groups).partition(|&g| sums[g].expected > 0.0);
    if tested.len() < 2 {
        return Err(Refusal::counted(
            RefusalCode::EmptyGroup,
            tested.len() as f64,
            2.0,
            "fewer than two groups were at risk when somebody died",
        ));
    }
    let used = &tested[..tested.len() - 1];
    let block: Vec<f64> = used.iter().flatten_rows(&variance);
    let excess: Vec<f64> = used.iter().map(|&g| sums[g].observed - sums[g].expected).collect();
    let statistic = Cholesky::new(&block, used.len())
        .map_err(|at| {
            Refusal::plain(
                RefusalCode::Singular,
                format!("group {} was never at risk together with the others when somebody died", used[at.0] + 1),
            )
        })?
        .quadratic(&excess);
    let df = used.len();
    let p = chi_squared_upper(statistic, df as f64);
    Ok(LogRank { groups: sums, variance, statistic, df, p, never_at_risk })
}

/// The test of a trend in hazard over the ordered groups of a finished test, with one score per group.
///
/// Rows whose group is unknown must have been left out of the test.
///
/// # Errors
/// `InvalidInput` for a missing or infinite score, `Singular` if all groups at risk have the same score.
pub fn trend(test: &LogRank, scores: &[f64]) -> Result<Trend, Refusal> {
    let groups = test.groups.len();
    if scores.len() != groups || scores.iter().any(|score| !score.is_finite()) {
        return Err(Refusal::plain(
            RefusalCode::InvalidInput,
            format!("a trend over {groups} groups needs {groups} finite scores"),
        ));
    }
    // Scores less their first change nothing and keep the digits of scores far from 0.
    let centred: Vec<f64> = scores.iter().map(|score| score - scores[0]).collect();
    let mut variance = 0.0;
    let mut size = 0.0;
    for g in 0..groups {
        for h in 0..groups {
            variance += centred[g] * test.variance[g][h] * centred[h];
            size += (centred[g] * test.variance[g][h] * centred[h]).abs();
        }
    }
    if variance <= 1e-12 * size || variance.is_nan() {
        return Err(Refusal::plain(
            RefusalCode::Singular,
            "a trend needs two groups with unlike scores at risk together when somebody died",
        ));
    }
    let excess: f64 = test.groups.iter().zip(scores).map(|(g, score)| score * (g.observed - g.expected)).sum();
    let statistic = excess * excess / variance;
    Ok(Trend { scores: scores.to_vec(), excess, variance, statistic, p: chi_squared_upper(statistic, 1.0) })
}

fn check(episodes: &Episodes, group: &[u32], groups: usize, strata: Option<&[u32]>, rho: f64) -> Result<(), Refusal> {
    let invalid = |message: String| Err(Refusal::plain(RefusalCode::InvalidInput, message));
    if let Err(row) = episodes.check() {
        return invalid(row.to_string());
    }
    if group.len() != episodes.len() || strata.is_some_and(|strata| strata.len() != episodes.len()) {
        return invalid(format!("each of the {} rows needs a group, and a stratum if there are any", episodes.len()));
    }
    if let Some(row) = group.iter().position(|&g| g as usize >= groups) {
        return invalid(format!("row {}: group {} is not one of {groups}", row + 1, group[row]));
    }
    if !rho.is_finite() || rho < 0.0 {
        return invalid(format!("the weight's power must be 0 or more, not {rho}"));
    }
    Ok(())
}

/// The rows and columns of a matrix at some positions, row by row.
trait FlattenRows {
    fn flatten_rows(self, matrix: &[Vec<f64>]) -> Vec<f64>;
}

impl<'a, I: Iterator<Item = &'a usize> + Clone> FlattenRows for I {
    fn flatten_rows(self, matrix: &[Vec<f64>]) -> Vec<f64> {
        let columns = self.clone();
        self.flat_map(|&row| columns.clone().map(move |&column| matrix[row][column])).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(stop: &[f64], event: &[u8]) -> Episodes {
        let event = event.iter().map(|e| *e == 1).collect();
        Episodes { start: vec![0.0; stop.len()], stop: stop.to_vec(), event }
    }

    #[test]
    fn four_corals_by_hand() -> Result<(), Refusal> {
        // Deaths on days 1 (A; 2 of A, 2 of B at risk), 2 (B; 1, 2), 3 (A; 1, 1), 4 (B; 0, 1).
        let test = log_rank(&rows(&[1.0, 3.0, 2.0, 4.0], &[1; 4]), &[0, 0, 1, 1], 2, None, 0.0)?;
        let expected = 0.5 + 1.0 / 3.0 + 0.5;
        let variance = 0.25 + 2.0 / 9.0 + 0.25;
        assert!((test.groups[0].expected - expected).abs() < 1e-15);
        assert!((test.variance[0][0] - variance).abs() < 1e-15);
        assert!((test.statistic - (2.0 - expected) * (2.0 - expected) / variance).abs() < 1e-14);
        assert_eq!(test.df, 1);
        Ok(())
    }

    #[test]
    fn ties_use_the_hypergeometric_variance() -> Result<(), Refusal> {
        // Two of four die on day 1, one in each group: V = 2 * 2/3 * 1/2 * 1/2 = 1/3.
        let test = log_rank(&rows(&[1.0, 1.0, 2.0, 2.0], &[1, 1, 0, 0]), &[0, 1, 0, 1], 2, None, 0.0)?;
        assert!((test.variance[0][0] - 1.0 / 3.0).abs() < 1e-15);
        assert_eq!(test.statistic, 0.0);
        assert_eq!(test.p, 1.0);
        Ok(())
    }

    #[test]
    fn a_group_never_at_risk_is_left_out_and_named() -> Result<(), Refusal> {
        let e = Episodes {
            start: vec![0.0, 0.0, 0.0, 0.0, 50.0],
            stop: vec![1.0, 2.0, 3.0, 4.0, 60.0],
            event: vec![true, true, true, true, false],
        };
        let test = log_rank(&e, &[0, 1, 0, 1, 2], 3, None, 0.0)?;
        assert_eq!((test.df, test.never_at_risk), (1, vec![2]));
        Ok(())
    }

    #[test]
    fn what_cannot_be_tested_says_why() {
        let code = |result: Result<LogRank, Refusal>| result.map(|_| ()).map_err(|r| r.code);
        assert_eq!(code(log_rank(&rows(&[1.0, 2.0], &[0, 0]), &[0, 1], 2, None, 0.0)), Err(RefusalCode::NoEvents));
        assert_eq!(code(log_rank(&rows(&[1.0, 2.0], &[1, 1]), &[0, 0], 2, None, 0.0)), Err(RefusalCode::EmptyGroup));
        assert_eq!(code(log_rank(&rows(&[1.0, 2.0], &[1, 1]), &[0, 2], 2, None, 0.0)), Err(RefusalCode::InvalidInput));
        assert_eq!(code(log_rank(&rows(&[1.0, 2.0], &[1, 1]), &[0], 2, None, 0.0)), Err(RefusalCode::InvalidInput));
        assert_eq!(code(log_rank(&rows(&[f64::NAN], &[1]), &[0], 2, None, 0.0)), Err(RefusalCode::InvalidInput));
        assert_eq!(code(log_rank(&rows(&[], &[]), &[], 0, None, 0.0)), Err(RefusalCode::NoEvents));
        // Group 1 lives from day 10 on, when all of group 0 have died.
        let apart =
            Episodes { start: vec![0.0, 0.0, 10.0, 10.0], stop: vec![1.0, 2.0, 11.0, 12.0], event: vec![true; 4] };
        assert_eq!(code(log_rank(&apart, &[0, 0, 1, 1], 2, None, 0.0)), Err(RefusalCode::Singular));
    }

    #[test]
    fn a_trend_of_two_groups_is_the_test_itself_whatever_the_scores() -> Result<(), Refusal> {
        let test = log_rank(&rows(&[1.0, 3.0, 2.0, 4.0], &[1; 4]), &[0, 0, 1, 1], 2, None, 0.0)?;
        let by_score = trend(&test, &[7.0, 9.5])?;
        assert!((by_score.statistic - test.statistic).abs() < 1e-12);
        assert_eq!(trend(&test, &[2.0, 2.0]).map_err(|r| r.code), Err(RefusalCode::Singular));
        assert_eq!(trend(&test, &[2.0]).map_err(|r| r.code), Err(RefusalCode::InvalidInput));
        Ok(())
    }
}
