//! Growth under one level of a condition against growth under another.

use super::increments::{Increment, difference, increments};
use super::lines::Lines;
use crate::answer::Audience;
use crate::answer::shape::GrowthRatio;
use crate::club::Club;
use crate::disclosure::cells::{Entry, tally};
use crate::disclosure::{passes, suppressed};
use crate::evidence::{Graded, grade, minimums};
use crate::exposure::Condition;
use crate::exposure::condition::{CONTRAST, OTHER, REFERENCE};
use crate::follow_up::Population;
use crate::refusal::{Refusal, RefusalCode};

/// The sizes of a population.
pub(in crate::answer) struct GrowthLines(Lines);

impl GrowthLines {
    pub(in crate::answer) fn new(club: &Club, population: &Population) -> GrowthLines {
        GrowthLines(Lines::new(club, population))
    }
}

/// Ratio of sizes after a month under the contrast and under its reference: each increment between two looks is weighed
/// by the share of it spent under each. Limits allow for corals sharing a tank.
///
/// # Errors
/// `Suppressed`, the minimums of a curve for each level, `Singular` where the levels always go together.
pub(in crate::answer) fn grown(
    club: &Club,
    lines: &GrowthLines,
    condition: &Condition,
    audience: Audience,
) -> Result<GrowthRatio, Refusal> {
    let levels = usize::from(OTHER) + 1;
    let steps = increments(club, &lines.0.lines, condition, levels, Some);
    if steps.is_empty() {
        return Err(Refusal::counted(
            RefusalCode::TooFewSpecimens,
            0.0,
            minimums::CURVE_SPECIMENS as f64,
            "No coral has two sizes of one kind with the condition known between them.",
        ));
    }
    let tallied = |level: u16| {
        let inside = steps.iter().filter(|step| step.share[usize::from(level)] > 0.0);
        tally(inside.map(entry).collect::<Vec<_>>().iter())
    };
    let (reference, contrast) = (tallied(REFERENCE), tallied(CONTRAST));
    // Those measured are fewer than those under observation: they pass by themselves.
    if ![&reference, &contrast].into_iter().all(|tally| passes(tally, audience)) {
        return Err(suppressed(audience));
    }
    minimums::curve(&reference)?;
    minimums::curve(&contrast)?;
    let slope = difference(&steps, levels, usize::from(CONTRAST), usize::from(REFERENCE))?;
    Ok(GrowthRatio {
        ratio_per_month: slope.slope.exp(),
        lower: slope.lower.map(f64::exp),
        upper: slope.upper.map(f64::exp),
        p: slope.p(),
        q: None,
        // Corals measured stand where deaths stand for survival.
        grade: grade(&Graded {
            deaths: reference.specimens.min(contrast.specimens),
            keepers: reference.keepers.min(contrast.keepers),
            tanks: reference.tanks.min(contrast.tanks),
            unknown: 0.0,
            given: true,
        }),
    })
}

fn entry(step: &Increment) -> Entry {
    Entry { specimen: step.specimen, keeper: step.keeper, tank: step.tank, days: step.months, marks: 0, ended: false }
}
