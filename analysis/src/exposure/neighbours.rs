//! Who else is in the tank: how many corals of a strong or medium sting.

use super::band::{Scale, step_of};
use super::steps::Steps;
use crate::club::{Club, TankId};
use crate::follow_up::day_number;
use crate::vocabulary::Sting;

/// Stays in a tank of the corals whose sting is one of these: (specimen, from, to).
pub(super) fn stays_of(club: &Club, tank: TankId, is: impl Fn(Sting) -> bool) -> Vec<(u32, f64, f64)> {
    let mut stays = Vec::new();
    for (id, specimen) in club.specimens.iter().enumerate() {
        let stings = specimen.identifications.last().is_some_and(|name| is(name.taxon.get().sting));
        if !stings || specimen.arrived_dead {
            continue;
        }
        let gone = specimen.ending.as_ref().map_or(f64::INFINITY, |ending| day_number(ending.latest));
        for stay in specimen.stays.iter().filter(|stay| stay.tank == tank) {
            stays.push((id as u32, day_number(stay.from), stay.to.map_or(gone, day_number).min(gone)));
        }
    }
    stays
}

/// Step of the number of other stinging corals in the tank, `lag` days before.
pub(super) fn steps(stays: &[(u32, f64, f64)], this: u32, scale: &Scale, lag: f64) -> Steps {
    let others: Vec<(f64, f64)> =
        stays.iter().filter(|(id, _, _)| *id != this).map(|(_, from, to)| (*from, *to)).collect();
    let cuts: &[f64] = match scale {
        Scale::Ladder(cuts) => cuts,
        Scale::Taught(_) => &[],
    };
    let mut instants: Vec<f64> =
        others.iter().flat_map(|(from, to)| [from + lag, to + lag]).filter(|instant| instant.is_finite()).collect();
    instants.push(f64::NEG_INFINITY);
    Steps::from_instants(instants, |instant| {
        let t = instant - lag;
        let there = others.iter().filter(|(from, to)| *from <= t && t < *to).count();
        Some(step_of(cuts, there as f64))
    })
}
