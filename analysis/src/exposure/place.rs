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

/// Whether the light at the spot now is at least `rise` above that of the first two weeks after arrival; unknown
/// where nothing was measured then.
pub(super) fn light_rise(specimen: &Specimen, rise: f64, lag: f64, carry: f64) -> Steps {
    let arrived = specimen.acquired.map(|days| day_number(days.latest));
    let at_first = specimen.placements.iter().find_map(|placement| {
        let since = day_number(placement.from) - arrived?;
        placement.par.filter(|_| (0.0..=FIRST_LIGHT_DAYS).contains(&since))
    });
    let Some(at_first) = at_first else { return Steps::default() };
    steps(specimen, lag, carry, |placement| Some(u16::from(placement.par? - at_first >= rise)))
}

/// Days after arrival whose light is that on arrival.
const FIRST_LIGHT_DAYS: f64 = 14.0;

/// Whether a stinging neighbour stands within reach, where the place says.
pub(super) fn within_reach(specimen: &Specimen, lag: f64, carry: f64) -> Steps {
    steps(specimen, lag, carry, |placement| placement.stinging_within_reach.map(u16::from))
}
