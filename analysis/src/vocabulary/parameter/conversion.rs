//! Exact conversions: lines per substance, and the curves of salinity and oxygen.

use crate::seawater::{self, SgReference};

use super::Parameter;
use crate::vocabulary::unit::find_unit;
use crate::vocabulary::{UnitCode, catalogue};

/// A unit that a parameter is written in, and how it becomes the parameter's own.
#[derive(Debug, Clone, PartialEq)]
pub struct AcceptedUnit {
    /// As written.
    pub unit: UnitCode,
    /// What the written number is expressed as: `N`, `CaCO3`, `25/25`, …; `None` where nothing else can be meant.
    pub basis: Option<&'static str>,
    /// Taken where the writer says nothing of the basis.
    pub assumed: bool,
    /// How.
    pub conversion: Conversion,
    /// A written value and what it must become.
    pub check: (f64, f64),
}

/// How a written number becomes the parameter's own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Conversion {
    /// `(written - offset) * scale / divisor`; ratios of molar masses stay ratios, so that no digit is lost.
    Linear {
        /// Multiplies.
        scale: f64,
        /// Divides.
        divisor: f64,
        /// Subtracted first.
        offset: f64,
    },
    /// A hydrometer or refractometer.
    SpecificGravity {
        /// What it is marked at.
        reference: SgReference,
    },
    /// A conductivity meter.
    Conductivity {
        /// What its number refers to.
        at: ConductivityAt,
        /// Divides the written number to give mS/cm.
        divisor: f64,
    },
    /// Per cent of saturation, at the temperature and salinity of the same row.
    OxygenSaturation,
}

/// What the number on a conductivity meter refers to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ConductivityAt {
    /// Compensated to 25 °C by the meter.
    Compensated25,
    /// Raw, at the water's own temperature.
    WaterTemperature,
}

/// The water a reading was taken in, for conversions that depend on it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Water {
    /// °C.
    pub temperature: Option<f64>,
    /// Practical salinity.
    pub salinity: Option<f64>,
}

/// Why a number does not convert. Each says what would help.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ConvertError {
    /// No unit of the catalogue is spelt so.
    #[error("unknown unit `{unit}`: {parameter} is written in {}", choices.join(", "))]
    UnknownUnit {
        /// Parameter.
        parameter: &'static str,
        /// As written.
        unit: String,
        /// Units that convert.
        choices: Vec<&'static str>,
    },
    /// A known unit that this parameter is not written in.
    #[error("{parameter} is not written in {unit}: use {}", choices.join(", "))]
    NotAccepted {
        /// Parameter.
        parameter: &'static str,
        /// The unit.
        unit: UnitCode,
        /// Units that convert.
        choices: Vec<&'static str>,
    },
    /// A unit that never converts.
    #[error("{parameter} in {unit} does not convert: it is kept as this tank's own scale")]
    OwnScale {
        /// Parameter.
        parameter: &'static str,
        /// The unit.
        unit: UnitCode,
    },
    /// The unit needs to know what the number is expressed as, or what the instrument is marked at.
    #[error("{parameter} in {unit} needs a basis: one of {}", choices.join(", "))]
    BasisMissing {
        /// Parameter.
        parameter: &'static str,
        /// The unit.
        unit: UnitCode,
        /// Possible ones.
        choices: Vec<&'static str>,
    },
    /// A basis that this parameter is not expressed as in this unit.
    #[error("{parameter} in {unit} is not expressed as `{basis}`: one of {}", choices.join(", "))]
    BasisUnknown {
        /// Parameter.
        parameter: &'static str,
        /// The unit.
        unit: UnitCode,
        /// As given.
        basis: String,
        /// Possible ones.
        choices: Vec<&'static str>,
    },
    /// The conversion depends on the water's temperature or salinity, which is not given.
    #[error("{parameter} in {unit} needs the {what} of the water")]
    WaterMissing {
        /// Parameter.
        parameter: &'static str,
        /// The unit.
        unit: UnitCode,
        /// `temperature`, or `temperature and salinity`.
        what: &'static str,
    },
    /// Not a number, infinite, or no value of the curve.
    #[error("{value} {unit} is no {parameter}")]
    OutOfCurve {
        /// Parameter.
        parameter: &'static str,
        /// The unit.
        unit: UnitCode,
        /// As written.
        value: f64,
    },
}

impl Conversion {
    /// The parameter's own unit from a written number; `None` where it needs water that is not given or has no
    /// value.
    fn apply(self, written: f64, water: Water) -> Option<f64> {
        match self {
            Conversion::Linear { scale, divisor, offset } => Some((written - offset) * scale / divisor),
            Conversion::SpecificGravity { reference } => {
                let (lowest, highest) = (seawater::gravity(0.0, reference), seawater::gravity(60.0, reference));
                (lowest <= written && written <= highest).then(|| seawater::salinity_from_gravity(written, reference))
            }
            Conversion::Conductivity { at, divisor } => {
                let temperature = match at {
                    ConductivityAt::Compensated25 => 25.0,
                    ConductivityAt::WaterTemperature => water.temperature?,
                };
                Some(seawater::salinity_from_conductivity(written / divisor, temperature, 0.0))
            }
            Conversion::OxygenSaturation => {
                Some(written / 100.0 * seawater::oxygen_saturation_mg_l(water.salinity?, water.temperature?))
            }
        }
        .filter(|value| value.is_finite())
    }

    /// The written number of a value in the parameter's own unit.
    fn invert(self, value: f64, water: Water) -> Option<f64> {
        match self {
            Conversion::Linear { scale, divisor, offset } => Some(value * divisor / scale + offset),
            Conversion::SpecificGravity { reference } => Some(seawater::gravity(value, reference)),
            Conversion::Conductivity { at, divisor } => {
                let temperature = match at {
                    ConductivityAt::Compensated25 => 25.0,
                    ConductivityAt::WaterTemperature => water.temperature?,
                };
                Some(divisor * seawater::conductivity_from_salinity(value, temperature))
            }
            Conversion::OxygenSaturation => {
                Some(100.0 * value / seawater::oxygen_saturation_mg_l(water.salinity?, water.temperature?))
            }
        }
        .filter(|written| written.is_finite())
    }

    /// What of the water it depends on.
    fn needs(self) -> Option<&'static str> {
        match self {
            Conversion::Conductivity { at: ConductivityAt::WaterTemperature, .. } => Some("temperature"),
            Conversion::OxygenSaturation => Some("temperature and salinity"),
            _ => None,
        }
    }

    fn lacks(self, water: Water) -> bool {
        match self {
            Conversion::Conductivity { at: ConductivityAt::WaterTemperature, .. } => water.temperature.is_none(),
            Conversion::OxygenSaturation => water.temperature.is_none() || water.salinity.is_none(),
            _ => false,
        }
    }
}

impl Parameter {
    /// A written number in the parameter's own unit. `unit` is a code or a spelling, which may carry its basis
    /// ("ppm as N"); `basis` says what the number is expressed as or what the instrument is marked at.
    ///
    /// # Errors
    /// [`ConvertError`]: an unknown unit, one that does not convert, a basis that is missing or unknown, water
    /// that is not given (use [`Parameter::convert_in`]), a number off the curve. Hard limits are not judged here.
    pub fn convert(&self, value: f64, unit: &str, basis: Option<&str>) -> Result<f64, ConvertError> {
        self.convert_in(value, unit, basis, Water::default())
    }

    /// [`Parameter::convert`] for units that depend on the water: per cent of oxygen saturation, raw conductivity.
    ///
    /// # Errors
    /// As [`Parameter::convert`].
    pub fn convert_in(&self, value: f64, unit: &str, basis: Option<&str>, water: Water) -> Result<f64, ConvertError> {
        let accepted = self.accepted(unit, basis)?;
        self.run(value, accepted, |conversion| conversion.apply(value, water), water)
    }

    /// A value in the parameter's own unit, written in another: the inverse of [`Parameter::convert`].
    ///
    /// # Errors
    /// As [`Parameter::convert`].
    pub fn express(&self, value: f64, unit: &str, basis: Option<&str>) -> Result<f64, ConvertError> {
        self.express_in(value, unit, basis, Water::default())
    }

    /// [`Parameter::express`] for units that depend on the water.
    ///
    /// # Errors
    /// As [`Parameter::convert`].
    pub fn express_in(&self, value: f64, unit: &str, basis: Option<&str>, water: Water) -> Result<f64, ConvertError> {
        self.express_by(value, self.accepted(unit, basis)?, water)
    }

    /// [`Parameter::express_in`] by a row that [`Parameter::accepted`] gave.
    ///
    /// # Errors
    /// As [`Parameter::convert`].
    pub fn express_by(&self, value: f64, accepted: &AcceptedUnit, water: Water) -> Result<f64, ConvertError> {
        self.run(value, accepted, |conversion| conversion.invert(value, water), water)
    }

    /// An amount of a single event (gallons changed, ounces of carbon) in [`Parameter::event_unit`].
    ///
    /// # Errors
    /// An unknown unit or one that does not convert; a plain gallon is unknown until US or imperial is said.
    pub fn convert_event(&self, value: f64, unit: &str) -> Result<f64, ConvertError> {
        let accepted = self.pick(&self.event_accepts, unit, None)?;
        self.run(value, accepted, |conversion| conversion.apply(value, Water::default()), Water::default())
    }

    /// The row that a unit and basis select.
    ///
    /// # Errors
    /// As [`Parameter::convert`].
    pub fn accepted(&self, unit: &str, basis: Option<&str>) -> Result<&AcceptedUnit, ConvertError> {
        self.pick(&self.accepts, unit, basis)
    }

    fn run(
        &self,
        value: f64,
        accepted: &AcceptedUnit,
        convert: impl Fn(Conversion) -> Option<f64>,
        water: Water,
    ) -> Result<f64, ConvertError> {
        let (parameter, unit) = (self.code.as_str(), accepted.unit);
        if let Some(what) = accepted.conversion.needs()
            && accepted.conversion.lacks(water)
        {
            return Err(ConvertError::WaterMissing { parameter, unit, what });
        }
        convert(accepted.conversion).filter(|_| value.is_finite()).ok_or(ConvertError::OutOfCurve {
            parameter,
            unit,
            value,
        })
    }

    fn pick<'a>(
        &self,
        rows: &'a [AcceptedUnit],
        written: &str,
        basis: Option<&str>,
    ) -> Result<&'a AcceptedUnit, ConvertError> {
        let parameter = self.code.as_str();
        let choices = || {
            let mut codes: Vec<&'static str> = rows.iter().map(|row| row.unit.as_str()).collect();
            codes.dedup();
            codes
        };
        let Some(found) = find_unit(written) else {
            return Err(ConvertError::UnknownUnit { parameter, unit: written.to_owned(), choices: choices() });
        };
        let unit = found.unit;
        if self.own_scale.contains(&unit) {
            return Err(ConvertError::OwnScale { parameter, unit });
        }
        let of_unit: Vec<&AcceptedUnit> = rows.iter().filter(|row| row.unit == unit).collect();
        if of_unit.is_empty() {
            return Err(ConvertError::NotAccepted { parameter, unit, choices: choices() });
        }
        let bases = || of_unit.iter().filter_map(|row| row.basis).collect::<Vec<_>>();
        let Some(basis) = basis.or(found.basis) else {
            return of_unit
                .iter()
                .copied()
                .find(|row| row.basis.is_none() || row.assumed)
                .ok_or_else(|| ConvertError::BasisMissing { parameter, unit, choices: bases() });
        };
        let meanings = catalogue().units.bases(&crate::vocabulary::text::words(basis));
        of_unit
            .iter()
            .copied()
            .find(|row| row.basis.is_some_and(|own| meanings.contains(&own)))
            .or_else(|| {
                // "Calcium, as Ca" says what is taken anyway.
                let own = self.basis.is_some_and(|own| meanings.contains(&own));
                of_unit.iter().copied().find(|row| own && row.basis.is_none())
            })
            .ok_or_else(|| ConvertError::BasisUnknown { parameter, unit, basis: basis.to_owned(), choices: bases() })
    }
}
