//! The same growth without sudden losses of size that no recorded cut explains: each line is cut at every such fall.

use super::attempt::{Attempt, Grown};
use super::lines::Lines;
use super::shown::Printed;
use crate::answer::{Audience, GrowthGroup, RunOutcome, SensitivityRun};
use crate::disclosure::{rounding, suppressed};
use crate::exposure::Condition;
use crate::refusal::{Part, Refusal, RefusalCode};

/// The name of the run, as printed.
const RUN: &str = "without_falls";

/// The run of every level that has a slope. A slope changes the answer if it lies outside the limits of the main one.
pub(super) fn beside(
    attempt: &Attempt,
    lines: &Lines,
    main: &Grown,
    condition: &Condition,
    blocks: &Printed,
) -> Vec<SensitivityRun> {
    let other = (lines.falls > 0).then(|| grown(attempt, lines, condition, blocks));
    let given = main.codes.iter().zip(&main.groups).filter_map(|(code, group)| Some((code, group.given()?)));
    given
        .map(|(code, group)| {
            let outcome = match &other {
                None => RunOutcome::Same { same: true },
                Some(Err(refusal)) => refused(attempt, refusal),
                Some(Ok(other)) => match other.codes.iter().position(|own| own == code).map(|at| &other.groups[at]) {
                    Some(Part::Given(slope)) => estimate(attempt, slope, group),
                    Some(Part::Refused { refused: refusal }) => refused(attempt, refusal),
                    None => refused(attempt, &suppressed(attempt.audience)),
                },
            };
            SensitivityRun { run: RUN, result_key: format!("groups/{code}/slope_per_month"), outcome }
        })
        .collect()
}

/// The levels with their growth, if the audience may see every one of them.
fn grown(attempt: &Attempt, lines: &Lines, condition: &Condition, blocks: &Printed) -> Result<Grown, Refusal> {
    let lines = lines.without_falls(attempt.club, attempt.population);
    let grown = attempt.groups(&lines, &lines.longest(), condition, blocks, condition.band.is_some())?;
    let hidden = |group: &Part<GrowthGroup>| matches!(group, Part::Refused { refused } if refused.code == RefusalCode::Suppressed);
    if grown.groups.iter().any(hidden) { Err(suppressed(attempt.audience)) } else { Ok(grown) }
}

fn refused(attempt: &Attempt, refusal: &Refusal) -> RunOutcome {
    let public = attempt.audience == Audience::Public;
    RunOutcome::Refused { refused: if public { rounding::refusal(refusal) } else { refusal.clone() } }
}

fn estimate(attempt: &Attempt, slope: &GrowthGroup, main: &GrowthGroup) -> RunOutcome {
    let round = |x: f64| if attempt.audience == Audience::Public { rounding::two_digits(x) } else { x };
    let below = main.lower.is_some_and(|lower| slope.slope_per_month < lower);
    let above = main.upper.is_some_and(|upper| slope.slope_per_month > upper);
    RunOutcome::Estimate {
        estimate: round(slope.slope_per_month),
        lower: slope.lower.map(round),
        upper: slope.upper.map(round),
        changes_answer: below || above,
    }
}
