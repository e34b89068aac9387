//! Light and flow at the spot where a specimen stands.

use super::band::Scale;
use super::steps::{Level, Steps};
use crate::club::{Placement, Specimen};
use crate::follow_up::day_number;

/// Flow words, weakest first.
pub(super) const FLOW_WORDS: &[(&str, &str)] =
    &[("still", "still"), ("swaying", "swaying"), ("thrashing", "thrashing")];

/// A placement speaks from its day plus the lag until the next one does, its carry is over, or the specimen moves to
/// another tank.
fn steps(specimen: &Specimen, lag: f64, carry: f64, level: impl Fn(&Placement) -> Level) -> Steps {
    let mut placements: Vec<&Placement> = specimen.placements.iter().collect();
    placements.sort_by_key(|placement| placement.from);
    let moves: Vec<f64> = specimen.stays.iter().map(|stay| day_number(stay.from)).collect();
    let instants = placements.iter().flat_map(|p| {
        let from = day_number(p.from) + lag;
        [from, from + carry]
    });
    Steps::from_instants(instants.chain(moves.iter().copied()).collect(), |instant| {
        let known = placements.partition_point(|p| day_number(p.from) + lag <= instant);
        let latest = placements[..known].last()?;
        let placed = day_number(latest.from);
        let moved = moves.iter().any(|day| placed < *day && *day <= instant);
        if moved || instant >= placed + lag + carry { None } else { level(latest) }
    })
}

/// Photon flux at the spot.
pub(super) fn light(specimen: &Specimen, scale: &Scale, lag: f64, carry: f64) -> Steps {
    steps(specimen, lag, carry, |placement| scale.level_of(placement.par?))
}

/// Flow word at the spot.
pub(super) fn flow(specimen: &Specimen, lag: f64, carry: f64) -> Steps {
    steps(specimen, lag, carry, |placement| {
        let word = placement.flow.as_deref()?;
        FLOW_WORDS.iter().position(|(code, _)| *code == word).map(|position| position as u16)
    })
}
