//! What the records say of something taught, in one of five words.
//!
//! A comparison that was refused, that is too wide, or whose q awaits a release is `cannot tell yet`, never "no effect".

use serde::{Deserialize, Serialize};

use crate::answer::{Grade, RunOutcome, SurvivalAnswer};
use crate::follow_up::Run;

/// The five words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The interval excludes 1 in the direction taught, q is at most 0.05, the grade moderate or strong.
    Supported,
    /// The same in the other direction.
    PointsTheOtherWay,
    /// The grade is moderate or strong, and the estimate within keepers, adjusted or without tank events lies on the
    /// other side of 1.
    Mixed,
    /// Tried, and none of these.
    CannotTellYet,
    /// Nobody has looked.
    NeverLookedAt,
}

impl Verdict {
    /// The words as printed.
    pub const fn in_words(self) -> &'static str {
        match self {
            Verdict::Supported => "supported",
            Verdict::PointsTheOtherWay => "points the other way",
            Verdict::Mixed => "mixed",
            Verdict::CannotTellYet => "cannot tell yet",
            Verdict::NeverLookedAt => "never looked at",
        }
    }
}

/// On which side of 1 the ratio is taught to lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taught {
    /// More losses at this level than at its reference.
    Higher,
    /// Fewer.
    Lower,
}

/// q up to which a comparison counts.
const CALLED: f64 = 0.05;

/// A comparison that was tried.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    /// The ratio; `None` if refused.
    pub hazard_ratio: Option<f64>,
    /// Its published limits; `None` if refused.
    pub limits: Option<(f64, f64)>,
    /// q over the family of the release; `None` where it awaits one.
    pub q: Option<f64>,
    /// Grade of the comparison.
    pub grade: Grade,
    /// The same ratio within keepers, adjusted, and without tank events, as far as given.
    pub beside: Vec<f64>,
}

impl Tried {
    /// The comparison of one coefficient (`nitrate:above`) of an answer, with the ratio adjusted for other conditions
    /// and q where there are any.
    pub fn of(answer: &SurvivalAnswer, coefficient: &str, adjusted: Option<f64>, q: Option<f64>) -> Tried {
        let cox = answer.result.given().and_then(|result| result.cox.given());
        let found = cox.and_then(|cox| cox.coefficients.iter().find(|line| line.name == coefficient));
        let key = format!("cox/{coefficient}");
        let runs = [Run::WithinKeeper.as_str(), Run::WithoutTankEvents.as_str()];
        let of_run =
            answer.sensitivity.iter().filter(|run| run.result_key == key && runs.contains(&run.run)).filter_map(
                |run| match &run.outcome {
                    RunOutcome::Estimate { estimate, .. } => Some(*estimate),
                    RunOutcome::Same { .. } | RunOutcome::Refused { .. } => None,
                },
            );
        Tried {
            hazard_ratio: found.and_then(|line| line.hazard_ratio),
            limits: found.and_then(|line| line.lower.zip(line.upper)),
            q,
            grade: found.and_then(|line| line.grade).unwrap_or(Grade::None),
            beside: of_run.chain(adjusted).collect(),
        }
    }
}

/// The word for what is taught of a comparison; `None` = nobody has looked.
pub fn verdict(taught: Taught, tried: Option<&Tried>) -> Verdict {
    let Some(tried) = tried else { return Verdict::NeverLookedAt };
    let (Some(ratio), true) = (tried.hazard_ratio, tried.grade >= Grade::Moderate) else {
        return Verdict::CannotTellYet;
    };
    if tried.beside.iter().any(|other| (ratio > 1.0 && *other < 1.0) || (ratio < 1.0 && *other > 1.0)) {
        return Verdict::Mixed;
    }
    let called = tried.q.is_some_and(|q| q <= CALLED);
    match tried.limits {
        Some((lower, _)) if called && lower > 1.0 => match taught {
            Taught::Higher => Verdict::Supported,
            Taught::Lower => Verdict::PointsTheOtherWay,
        },
        Some((_, upper)) if called && upper < 1.0 => match taught {
            Taught::Lower => Verdict::Supported,
            Taught::Higher => Verdict::PointsTheOtherWay,
        },
        _ => Verdict::CannotTellYet,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tried(ratio: f64, limits: (f64, f64)) -> Tried {
        Tried { hazard_ratio: Some(ratio), limits: Some(limits), q: Some(0.01), grade: Grade::Moderate, beside: vec![] }
    }

    #[test]
    fn each_word_is_reached() {
        let higher = tried(2.0, (1.2, 3.3));
        assert_eq!(verdict(Taught::Higher, Some(&higher)), Verdict::Supported);
        assert_eq!(verdict(Taught::Lower, Some(&higher)), Verdict::PointsTheOtherWay);
        let lower = tried(0.5, (0.3, 0.9));
        assert_eq!(verdict(Taught::Lower, Some(&lower)), Verdict::Supported);
        assert_eq!(verdict(Taught::Higher, Some(&lower)), Verdict::PointsTheOtherWay);
        assert_eq!(verdict(Taught::Higher, None), Verdict::NeverLookedAt);
    }

    #[test]
    fn mixed_comes_first_and_wants_a_moderate_grade() {
        let against = Tried { beside: vec![1.5, 0.97], ..tried(2.0, (1.2, 3.3)) };
        assert_eq!(verdict(Taught::Higher, Some(&against)), Verdict::Mixed);
        // Wide and called by nothing, yet of moderate grade.
        let wide = Tried { limits: Some((0.6, 6.0)), q: None, ..against.clone() };
        assert_eq!(verdict(Taught::Higher, Some(&wide)), Verdict::Mixed);
        let thin = Tried { grade: Grade::Thin, ..against };
        assert_eq!(verdict(Taught::Higher, Some(&thin)), Verdict::CannotTellYet);
    }

    #[test]
    fn a_wide_a_refused_and_an_uncalled_comparison_cannot_tell() {
        let cannot = |tried: Tried| assert_eq!(verdict(Taught::Higher, Some(&tried)), Verdict::CannotTellYet);
        cannot(tried(2.0, (0.9, 4.0)));
        cannot(tried(2.0, (1.0, 4.0)));
        cannot(Tried { q: Some(0.051), ..tried(2.0, (1.2, 3.3)) });
        cannot(Tried { q: None, ..tried(2.0, (1.2, 3.3)) });
        cannot(Tried { limits: None, ..tried(2.0, (1.2, 3.3)) });
        cannot(Tried { hazard_ratio: None, limits: None, grade: Grade::None, ..tried(2.0, (1.2, 3.3)) });
    }
}
