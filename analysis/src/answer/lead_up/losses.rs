//! Losses, each with controls at risk at the same age in other tanks.

use std::collections::BTreeMap;

use super::SEED;
use crate::answer::Outcome;
use crate::club::{Club, TankId};
use crate::comparison::rows::stretches;
use crate::comparison::sets::stable_hash;
use crate::episode::Episodes;
use crate::follow_up::decline::follow_up_for;
use crate::follow_up::population::latest_name;
use crate::follow_up::{End, Follow, Population, Run};
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::matched_sets::{RiskRows, draw_controls};

/// A moment from which is looked back: a loss, or a control of one.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    pub(super) specimen: u32,
    pub(super) keeper: u32,
    pub(super) tank: Option<TankId>,
    /// Calendar day.
    pub(super) day: f64,
}

/// A loss with its controls.
pub(super) struct Loss {
    pub(super) case: Moment,
    pub(super) controls: Vec<Moment>,
}

/// The day from which a loss is looked back: that of the loss, or the last look where it is known to an interval.
fn index(follow: &Follow) -> Option<f64> {
    match follow.end {
        End::Alive(_) => None,
        End::Died(day) => Some(day),
        End::DiedWithin { after, .. } => Some(after),
    }
}

/// Rows to draw controls from: one a stay of each specimen, with a loss known to an interval at the last look before it.
pub(super) fn losses(club: &Club, population: &Population, outcome: Outcome) -> Result<Vec<Loss>, Refusal> {
    let followed = follow_up_for(club, population, outcome, Run::Main);
    let (mut start, mut stop, mut event) = (Vec::new(), Vec::new(), Vec::new());
    let (mut follow_at, mut specimen, mut species) = (Vec::new(), Vec::new(), Vec::new());
    let (mut tank, mut of) = (Vec::new(), Vec::new());
    let mut names = BTreeMap::new();
    for (position, follow) in followed.follows.iter().enumerate() {
        let Some(coral) = club.specimens.get(follow.specimen as usize) else { continue };
        let end = index(follow).unwrap_or_else(|| follow.end.middle());
        if end <= follow.entry {
            continue;
        }
        let key = stable_hash(&coral.key);
        let next = names.len() as u32;
        let name = *names.entry(latest_name(coral)).or_insert(next);
        for stretch in stretches(&coral.stays, follow.entry, end) {
            start.push(stretch.from - follow.day0);
            stop.push(stretch.to - follow.day0);
            event.push(index(follow).is_some() && stretch.to == end);
            follow_at.push(position);
            specimen.push(key);
            species.push(name);
            // Corals of no known tank share one by keeper.
            tank.push(stretch.tank.unwrap_or(u32::MAX - follow.keeper));
            of.push(stretch.tank);
        }
    }
    let episodes = Episodes::validated(start, stop, event).map_err(|error| {
        Refusal::plain(RefusalCode::InvalidInput, format!("The records contradict themselves: {error}."))
    })?;
    let rows = RiskRows { episodes: &episodes, specimen: &specimen, species: &species, tank: &tank };
    let moment = |row: usize, age: f64| {
        let follow = followed.follows.get(follow_at[row])?;
        Some(Moment { specimen: follow.specimen, keeper: follow.keeper, tank: of[row], day: follow.day0 + age })
    };
    let sets = draw_controls(&rows, SEED)?;
    Ok(sets
        .into_iter()
        .filter_map(|set| {
            let controls = set.controls.iter().filter_map(|control| moment(control.row, control.age)).collect();
            Some(Loss { case: moment(set.case, set.age)?, controls })
        })
        .collect())
}
