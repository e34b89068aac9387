//! What of a second release is told from its own records, where one member changed something: as releases decide it.

use crate::answer::held::{Held, Piece, Records};
use crate::club::Club;
use crate::follow_up::Population;

/// Whether a piece of the answers about a population is told from the newer records, which one member changed.
pub(super) fn follows(before: &Club, after: &Club, population: &Population, piece: &Piece) -> bool {
    let held = |club: &Club| {
        let records = Records::of(club, &population.again(club));
        Held::of(&records, piece, &|keeper| Some(keeper.to_string()))
    };
    held(after).may_follow(&held(before))
}
