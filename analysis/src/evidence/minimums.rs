//! What each statistic needs at least: prudence with few records, not theorems. The same for every reader.

use super::Tally;
use crate::answer::Outcome;
use crate::refusal::{Refusal, RefusalCode};

/// Specimens of a curve.
pub const CURVE_SPECIMENS: u64 = 10;
/// Tanks of a curve.
pub const CURVE_TANKS: u64 = 3;
/// Keepers of a curve.
pub const CURVE_KEEPERS: u64 = 3;
/// Risk set of each printed point.
pub const POINT_AT_RISK: u64 = 5;
/// Deaths of a median.
pub const MEDIAN_DEATHS: u64 = 10;
/// Deaths of a restricted mean, all groups together.
pub const MEAN_DEATHS: u64 = 5;
/// Deaths of a log-rank test.
pub const TEST_DEATHS: u64 = 5;
/// Expected deaths of each group of a log-rank test.
pub const TEST_EXPECTED: f64 = 2.0;
/// Deaths per coefficient of a model.
pub const DEATHS_PER_COEFFICIENT: f64 = 10.0;
/// Deaths per coefficient below which a model is refused.
pub const DEATHS_PER_COEFFICIENT_AT_ALL: f64 = 5.0;
/// Deaths of a test of proportional hazards.
pub const PROPORTIONALITY_DEATHS: u64 = 20;
/// Clusters of a clustered interval.
pub const CLUSTERS: u64 = 10;
/// Share of days with unknown conditions above which levels are not compared.
pub const UNKNOWN_SHARE: f64 = 0.5;
/// Keepers with corals and deaths in both levels for a comparison within keepers.
pub const WITHIN_KEEPERS: u64 = 5;
/// Deaths of each cell of fed by water.
pub const CELL_DEATHS: u64 = 5;
/// Deaths of a hazard piece before it stands alone.
pub const PIECE_DEATHS: u64 = 3;
/// Keepers at risk at a death from which they, not tanks, are the clusters.
pub const KEEPERS_AS_CLUSTERS: u64 = 20;

/// "6 more deaths", "1 more keeper".
fn more(lack: u64, one: &str, many: &str) -> Option<String> {
    match lack {
        0 => None,
        1 => Some(format!("1 more {one}")),
        lack => Some(format!("{lack} more {many}")),
    }
}

/// A list in words: "a, b and c".
pub(crate) fn list(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// Whether a group is large enough for a curve.
///
/// # Errors
/// `EmptyGroup`, `TooFewSpecimens`, `TooFewTanks` or `TooFewKeepers`, with all that is lacking in words.
pub fn curve(tally: &Tally) -> Result<(), Refusal> {
    if tally.specimens == 0 {
        return Err(Refusal::counted(
            RefusalCode::EmptyGroup,
            0.0,
            CURVE_SPECIMENS as f64,
            "No coral of this taxon was ever recorded under this condition.",
        ));
    }
    let lacks = [
        (RefusalCode::TooFewSpecimens, tally.specimens, CURVE_SPECIMENS, "coral", "corals"),
        (RefusalCode::TooFewTanks, tally.tanks, CURVE_TANKS, "tank", "tanks"),
        (RefusalCode::TooFewKeepers, tally.keepers, CURVE_KEEPERS, "keeper", "keepers"),
    ];
    let Some((code, have, need, _, _)) = lacks.iter().find(|(_, have, need, _, _)| have < need) else {
        return Ok(());
    };
    let words: Vec<String> =
        lacks.iter().filter_map(|(_, have, need, one, many)| more(need.saturating_sub(*have), one, many)).collect();
    Err(Refusal::counted(*code, *have as f64, *need as f64, format!("Needs {}.", list(&words))))
}

/// Whether there are enough deaths, or events of another outcome.
///
/// # Errors
/// `NoEvents` or `TooFewEvents` with what is lacking.
pub fn events(have: u64, need: u64, outcome: Outcome) -> Result<(), Refusal> {
    if have >= need {
        return Ok(());
    }
    let code = if have == 0 { RefusalCode::NoEvents } else { RefusalCode::TooFewEvents };
    let words = outcome.words();
    let lack = more(need - have, words.one, words.many).unwrap_or_default();
    Err(Refusal::counted(code, have as f64, need as f64, format!("Needs {lack} on record.")))
}
