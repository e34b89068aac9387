//! Taught bands and ladders: which level a value lies in.
//!
//! A band is taught, closed at both ends, in the unit it is taught in, and a reading is judged in that unit, within
//! half a step of the instrument that made it. A ladder is half-open: a value on a cut belongs above. What is not an
//! exact value has a level only if all it can mean lies in that level.

use chrono::NaiveDate;

use super::series::{Meaning, Test};
use super::steps::Level;
use crate::club::{Club, ClubBand};
use crate::vocabulary::band::taught_band;
use crate::vocabulary::{AcceptedUnit, ParameterCode, TaxonSlug, Water};

/// Relative slack of comparisons with edges, for what a conversion of units loses.
const SLACK: f64 = 1e-9;

/// The levels of one parameter.
#[derive(Debug, Clone, PartialEq)]
pub enum Scale {
    /// Steps between ascending cuts, in the parameter's unit: level = number of cuts at or below the value.
    Ladder(Vec<f64>),
    /// 0 below, 1 within, 2 above.
    Taught(Band),
}

/// Levels of [`Scale::Taught`].
pub const BELOW: u16 = 0;
/// Within the band, edges included.
pub const WITHIN: u16 = 1;
/// Above the band.
pub const ABOVE: u16 = 2;

/// A band as taught.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Of which parameter.
    pub parameter: ParameterCode,
    /// Lower edge, included, in `unit`.
    pub lower: f64,
    /// Upper edge, included, in `unit`.
    pub upper: f64,
    /// Unit it is taught in.
    pub unit: String,
    /// What a number in that unit is marked at or expressed as, where that matters: `25/25`.
    pub unit_basis: Option<String>,
    /// As taught, for print.
    pub as_taught: String,
    /// Since when the club teaches it; `None` = the starting band of the catalogue.
    pub since: Option<NaiveDate>,
    written: Written,
    /// Half of the catalogue's finest step, in `unit`.
    half_step: f64,
}

/// How a value of the parameter is written in the band's unit: looked up once for millions of tests.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Written {
    /// As it is.
    Same,
    /// By this row of the catalogue.
    By(&'static AcceptedUnit),
    /// Not at all: no such unit.
    Never,
}

/// What a club's own band, or the catalogue's, says.
struct Said {
    lower: f64,
    upper: f64,
    unit: String,
    unit_basis: Option<String>,
    as_taught: String,
    since: Option<NaiveDate>,
}

impl Said {
    fn band(self, code: ParameterCode) -> Band {
        let parameter = code.get();
        let basis = self.unit_basis.as_deref();
        // Most bands are taught in the parameter's own unit.
        let written = if basis.is_none() && self.unit == parameter.unit.as_str() {
            Written::Same
        } else {
            parameter.accepted(&self.unit, basis).map_or(Written::Never, Written::By)
        };
        let mut band = Band {
            parameter: code,
            lower: self.lower,
            upper: self.upper,
            unit: self.unit,
            unit_basis: self.unit_basis,
            as_taught: self.as_taught,
            since: self.since,
            written,
            half_step: 0.0,
        };
        band.half_step = parameter.step.map_or(0.0, |step| band.half(step));
        band
    }
}

/// The band the catalogue starts a taxon with, and for which taxon it is written.
fn starting(taxon: TaxonSlug, parameter: ParameterCode) -> Option<(TaxonSlug, Band)> {
    let row = taught_band(taxon, parameter)?;
    Some((
        row.taxon,
        Said {
            lower: row.lower,
            upper: row.upper,
            unit: row.unit.as_str().to_owned(),
            unit_basis: row.reference.map(str::to_owned),
            as_taught: row.as_taught.to_owned(),
            since: None,
        }
        .band(parameter),
    ))
}

/// Where something lies against an edge that belongs to the band.
fn place(x: f64, lower: f64, upper: f64) -> u16 {
    if x < lower - SLACK * lower.abs() {
        BELOW
    } else if x > upper + SLACK * upper.abs() {
        ABOVE
    } else {
        WITHIN
    }
}

/// Whether `x` equals an edge up to the slack.
fn on(x: f64, edge: f64) -> bool {
    (x - edge).abs() <= SLACK * edge.abs()
}

impl Band {
    /// The band of a parameter for a taxon: the club's own, latest one, before the catalogue's; the species' before
    /// the genus' before the group's. `None` if none is taught.
    pub fn taught(club: &Club, taxon: TaxonSlug, parameter: ParameterCode) -> Option<Band> {
        Band::among(&club.bands, taxon, parameter)
    }

    /// The same where these are the club's own.
    pub fn among(bands: &[ClubBand], taxon: TaxonSlug, parameter: ParameterCode) -> Option<Band> {
        let starting = starting(taxon, parameter);
        for level in taxon.ancestors() {
            let own = bands
                .iter()
                .filter(|band| band.taxon == level && band.parameter == parameter)
                .max_by_key(|band| band.since);
            if let Some(own) = own {
                let said = Said {
                    lower: own.lower,
                    upper: own.upper,
                    unit: own.unit.clone(),
                    unit_basis: own.unit_basis.clone(),
                    as_taught: own.as_taught.clone(),
                    since: Some(own.since),
                };
                return Some(said.band(parameter));
            }
            if let Some((_, band)) = starting.as_ref().filter(|(of, _)| *of == level) {
                return Some(band.clone());
            }
        }
        starting.map(|(_, band)| band)
    }

    /// What tells its levels from those of another band: parameter, edges and unit.
    pub fn key(&self) -> String {
        let (code, basis) = (self.parameter.as_str(), self.unit_basis.as_deref().unwrap_or_default());
        format!("{code} {}..{} {} {basis}", self.lower, self.upper, self.unit)
    }

    /// A value of the parameter's unit in the band's unit; `None` off the curve.
    fn express(&self, value: f64) -> Option<f64> {
        match self.written {
            Written::Same => value.is_finite().then_some(value),
            Written::By(accepted) => self.parameter.get().express_by(value, accepted, Water::default()).ok(),
            Written::Never => None,
        }
    }

    /// Half a step of an instrument, in the band's unit: the instrument's own step, else the catalogue's finest.
    pub fn half_step(&self, step: Option<f64>) -> f64 {
        step.map_or(self.half_step, |step| self.half(step))
    }

    fn half(&self, step: f64) -> f64 {
        let parameter = self.parameter.get();
        // A step is a difference: units differ in where 0 lies. Near the middle of what the parameter can be.
        let near = parameter.plausible.map_or(0.0, |(low, high)| (low + high) / 2.0);
        match (self.express(near + step), self.express(near)) {
            (Some(above), Some(at)) => (above - at).abs() / 2.0,
            _ => 0.0,
        }
    }

    fn level(&self, test: &Test) -> Level {
        let (lower, upper) = (self.lower, self.upper);
        match test.meaning {
            Meaning::Nothing => None,
            Meaning::Exact(value) => {
                let half = self.half_step(test.step);
                Some(place(self.express(value)?, lower - half, upper + half))
            }
            Meaning::Under(limit) => {
                // All values from 0 up to the limit, the limit itself not among them.
                let limit = self.express(limit)?;
                let top = if on(limit, lower) || limit < lower { BELOW } else { place(limit, lower, upper) };
                (place(self.express(0.0)?, lower, upper) == top).then_some(top)
            }
            Meaning::Over(limit) => {
                let limit = self.express(limit)?;
                (on(limit, upper) || limit > upper).then_some(ABOVE)
            }
            Meaning::Between(low, high) => {
                let (low, high) = (place(self.express(low)?, lower, upper), place(self.express(high)?, lower, upper));
                (low == high).then_some(low)
            }
        }
    }
}

impl Scale {
    /// The level of one test; `None` if what was written does not lie in one level.
    pub fn level(&self, test: &Test) -> Level {
        match self {
            Scale::Taught(band) => band.level(test),
            Scale::Ladder(cuts) => ladder_level(cuts, test.meaning),
        }
    }

    /// The level of an exact value in the parameter's unit.
    pub fn level_of(&self, value: f64) -> Level {
        self.level(&Test { day: 0.0, meaning: Meaning::Exact(value), step: None, log: 0 })
    }
}

/// Number of cuts at or below a value.
pub fn step_of(cuts: &[f64], value: f64) -> u16 {
    cuts.iter().filter(|cut| value >= **cut - SLACK * cut.abs()).count() as u16
}

fn ladder_level(cuts: &[f64], meaning: Meaning) -> Level {
    let strictly_below = |limit: f64| cuts.iter().filter(|cut| **cut < limit && !on(limit, **cut)).count() as u16;
    let (low, high) = match meaning {
        Meaning::Nothing => return None,
        Meaning::Exact(value) => return Some(step_of(cuts, value)),
        Meaning::Under(limit) => (step_of(cuts, 0.0), strictly_below(limit)),
        Meaning::Over(limit) => (step_of(cuts, limit), cuts.len() as u16),
        Meaning::Between(low, high) => (step_of(cuts, low), step_of(cuts, high)),
    };
    (low == high).then_some(low)
}
