//! Levels joined until each may be shown.

use super::{passes, suppressed};
use crate::answer::Audience;
use crate::evidence::Tally;
use crate::refusal::Refusal;

/// The levels of a split as blocks: each block is a list of levels, in order; unknown is the last level.
///
/// A level that fails is joined with the next one along the ladder (the last known one with the one before; unknown with
/// the last known one), lowest first, until all pass. `tally_of` counts the union of levels. Levels without any record
/// at unknown conditions are no block.
///
/// # Errors
/// `Suppressed` if only one block is left of several levels, or the one left fails.
pub fn blocks(
    known: usize,
    unknown_has_rows: bool,
    audience: Audience,
    mut tally_of: impl FnMut(&[usize]) -> Result<Tally, Refusal>,
) -> Result<Vec<Vec<usize>>, Refusal> {
    let mut blocks: Vec<Vec<usize>> = (0..known).map(|level| vec![level]).collect();
    if unknown_has_rows {
        blocks.push(vec![known]);
    }
    if super::block_minimum(audience).is_none() {
        return Ok(blocks);
    }
    let several = blocks.len() > 1;
    loop {
        let mut failing = None;
        for (position, block) in blocks.iter().enumerate() {
            if !passes(&tally_of(block)?, audience) {
                failing = Some(position);
                break;
            }
        }
        let Some(position) = failing else { break };
        if blocks.len() < 2 {
            return Err(suppressed(audience));
        }
        let is_unknown = |at: usize| blocks[at].contains(&known);
        let neighbour = if position + 1 < blocks.len() && (position == 0 || !is_unknown(position + 1)) {
            position + 1
        } else {
            position - 1
        };
        let joined = blocks.remove(position.max(neighbour));
        blocks[position.min(neighbour)].extend(joined);
    }
    if several && blocks.len() < 2 {
        return Err(suppressed(audience));
    }
    Ok(blocks)
}
