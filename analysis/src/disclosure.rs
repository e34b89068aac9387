//! What may be shown to whom. The unit protected is the keeper.
//!
//! | | public | member | curator, own records |
//! |---|---|---|---|
//! | keepers / tanks / specimens of a block | 5 / 3 / 10 | 3 / 3 / 8 | no minimum |
//! | one keeper's share of its specimen-days | 80 % | 80 % | – |
//! | counts; specimen-days | nearest 5; nearest 50 | exact | exact |
//! | rates, ratios, limits, shares | two significant digits | as computed | as computed |
//! | curve | months, cut below 5 keepers | weeks, cut below 3 | every step |
//!
//! Members' blocks hold eight corals, not five: of what may not be told, figures have to leave five corals open, and one or two
//! of a block are often known to be elsewhere.
//!
//! An answer is a union of blocks that all pass, or it is suppressed: cells (levels by years of purchase) that fail are
//! joined with their neighbours before anything is computed, never hidden beside a total from which they could be
//! subtracted; at each age of a curve they are joined further, until each holds nobody or keepers enough. A block that passes is data, whatever its deaths, 0 included. Rounding is the last
//! step; nothing is computed from rounded numbers. Statistical minimums are another matter and apply to all readers.
//! Memory of earlier releases is not kept here: the caller freezes what was printed.

use crate::answer::Audience;
use crate::evidence::Tally;
use crate::refusal::{Refusal, RefusalCode};

pub mod bridge; // cells that follow from totals by subtraction
pub mod cells; // who spent how long where
pub mod grid; // curves on weeks or months
pub mod partition; // cells joined into blocks until each may be shown
pub mod plan; // one partition for every answer about a taxon and a split
pub mod rounding; // the last step
pub mod tree; // a genus and its species are tied by subtraction

/// What a block must hold at least to be shown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlockMinimum {
    /// Distinct keepers.
    pub keepers: u64,
    /// Distinct tanks.
    pub tanks: u64,
    /// Distinct specimens.
    pub specimens: u64,
    /// Largest share of the specimen-days that one keeper may hold.
    pub largest_share: f64,
}

/// The minimum for an audience; `None` = exact figures, whatever they rest on.
pub fn block_minimum(audience: Audience) -> Option<BlockMinimum> {
    match audience {
        Audience::Public => Some(BlockMinimum { keepers: 5, tanks: 3, specimens: 10, largest_share: 0.8 }),
        Audience::Member => Some(BlockMinimum { keepers: 3, tanks: 3, specimens: 8, largest_share: 0.8 }),
        Audience::Curator | Audience::Keeper => None,
    }
}

/// Fewest keepers behind anything shown; 0 for exact figures.
pub fn keepers_needed(audience: Audience) -> u64 {
    block_minimum(audience).map_or(0, |minimum| minimum.keepers)
}

/// Whether a block may be shown.
pub fn passes(tally: &Tally, audience: Audience) -> bool {
    let minimum = block_minimum(audience).filter(|_| plan::holds!(Minimum));
    minimum.is_none_or(|minimum| {
        tally.keepers >= minimum.keepers
            && tally.tanks >= minimum.tanks
            && tally.specimens >= minimum.specimens
            && tally.largest_share <= minimum.largest_share
    })
}

/// Whether figures about some ages may be shown: nobody was there at them, or keepers enough.
pub fn passes_there(tally: &Tally, audience: Audience) -> bool {
    tally.keepers == 0 || tally.keepers >= keepers_needed(audience)
}

/// The refusal of everything that may not be shown: it says the rule and never the count.
pub fn suppressed(audience: Audience) -> Refusal {
    let message = match block_minimum(audience) {
        Some(minimum) => format!(
            "Suppressed: shown only where at least {} keepers, {} tanks and {} corals stand behind every part, and no \
             keeper holds more than {:.0} % of it.",
            minimum.keepers,
            minimum.tanks,
            minimum.specimens,
            100.0 * minimum.largest_share
        ),
        None => "Suppressed.".to_owned(),
    };
    Refusal::plain(RefusalCode::Suppressed, message)
}

#[cfg(test)]
mod tests;
