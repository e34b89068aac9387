//! Days on which a list of conditions held: `water_in_band`.

use std::collections::BTreeMap;

use super::band::{Band, Scale, WITHIN};
use super::by_tank::levels_by_tank;
use super::condition::Rules;
use super::steps::{Level, Steps};
use crate::club::{Club, ClubBand, TankId};
use crate::vocabulary::band::water_in_band;
use crate::vocabulary::{ParameterCode, TaxonSlug};

/// All known and within the band.
pub const HELD: u16 = 1;
/// At least one known and outside its band.
pub const FAILED: u16 = 0;

/// The list and its levels by tank: [`HELD`], [`FAILED`], or unknown.
#[derive(Debug, Clone, PartialEq)]
pub struct WaterInBand {
    /// Parameters with a taught band.
    pub parameters: Vec<ParameterCode>,
    /// What tells it from water against other bands.
    pub key: String,
    by_tank: BTreeMap<TankId, Steps>,
    unknown: Steps,
}

impl WaterInBand {
    /// The water of these tanks against the bands of a taxon. Empty parameters: no band is taught.
    pub fn new(club: &Club, taxon: TaxonSlug, tanks: &[TankId], rules: Rules) -> WaterInBand {
        WaterInBand::among(club, &club.bands, taxon, tanks, rules)
    }

    /// The same where these are the club's own bands.
    pub fn among(club: &Club, bands: &[ClubBand], taxon: TaxonSlug, tanks: &[TankId], rules: Rules) -> WaterInBand {
        let bands = in_band(bands, taxon);
        let mut parts: BTreeMap<TankId, Vec<Steps>> = tanks.iter().map(|tank| (*tank, Vec::new())).collect();
        for band in &bands {
            let scale = Scale::Taught(band.clone());
            let carry = rules.carry(band.parameter);
            let mut by_tank = levels_by_tank(club, band.parameter, tanks, &scale, &carry);
            for (tank, steps) in &mut parts {
                steps.push(by_tank.remove(tank).unwrap_or_default());
            }
        }
        let by_tank = parts.into_iter().map(|(tank, parts)| (tank, together(&parts))).collect();
        WaterInBand {
            key: key(&bands),
            parameters: bands.into_iter().map(|band| band.parameter).collect(),
            by_tank,
            unknown: Steps::default(),
        }
    }

    /// The levels of a tank; unknown throughout without one.
    pub fn steps(&self, tank: Option<TankId>) -> &Steps {
        tank.and_then(|tank| self.by_tank.get(&tank)).unwrap_or(&self.unknown)
    }
}

/// The bands of the list that are taught for a taxon.
fn in_band(bands: &[ClubBand], taxon: TaxonSlug) -> Vec<Band> {
    water_in_band().iter().filter_map(|code| Band::among(bands, taxon, *code)).collect()
}

fn key(bands: &[Band]) -> String {
    bands.iter().map(Band::key).collect::<Vec<_>>().join(", ")
}

/// [`WaterInBand::key`] of a taxon where these are the club's own bands.
pub fn key_among(bands: &[ClubBand], taxon: TaxonSlug) -> String {
    key(&in_band(bands, taxon))
}

fn together(parts: &[Steps]) -> Steps {
    let instants = parts.iter().flat_map(Steps::instants).collect();
    Steps::from_instants(instants, |instant| {
        let at: Vec<Level> = parts.iter().map(|steps| steps.after(instant)).collect();
        if at.iter().any(|level| level.is_some_and(|level| level != WITHIN)) {
            Some(FAILED)
        } else if at.is_empty() || at.contains(&None) {
            None
        } else {
            Some(HELD)
        }
    })
}
