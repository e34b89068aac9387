//! Whether the living were looked at: a register that only says "not crossed out" is no look.

use super::Population;
use crate::club::{Club, SightingSource, Specimen};
use crate::refusal::{Refusal, RefusalCode};

/// Whether anyone stood before it or called its name: a look, a size, a roll call. An open row of a register is none.
fn looked_at(specimen: &Specimen) -> bool {
    !specimen.sizings.is_empty()
        || specimen.sightings.iter().any(|sighting| sighting.source != SightingSource::Register)
}

/// Refuses survival where more than half of the living specimens were never looked at.
///
/// # Errors
/// [`RefusalCode::NoLooks`] with the living that have a look and half of all living.
pub fn enough_looks(club: &Club, population: &Population) -> Result<(), Refusal> {
    let living = population
        .members
        .iter()
        .filter_map(|&id| club.specimens.get(id as usize))
        .filter(|specimen| specimen.ending.is_none() && !specimen.held && !specimen.arrived_dead);
    let (mut all, mut looked) = (0_u32, 0_u32);
    for specimen in living {
        all += 1;
        looked += u32::from(looked_at(specimen));
    }
    if 2 * (all - looked) <= all {
        return Ok(());
    }
    let need = all.div_ceil(2);
    Err(Refusal::counted(
        RefusalCode::NoLooks,
        f64::from(looked),
        f64::from(need),
        format!(
            "Of {all} living corals only {looked} were ever looked at or called at a roll call; survival is said once \
             {need} were."
        ),
    ))
}
