//! What is measured, its unit, its ranges and cut points, and how long a reading speaks.

use std::collections::HashMap;

use rustc_hash::FxHashMap;
use serde::{Deserialize, Serialize};

mod conversion; // exact, per substance
mod header; // a column's header to a parameter
mod row; // from the file to the types

pub use conversion::{AcceptedUnit, ConductivityAt, Conversion, ConvertError, Water};
pub use header::{find_parameter_by_word, find_substance_without_code};

use super::{ParameterCode, UnitCode, catalogue};

/// What a parameter is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ParameterKind {
    /// A test of the water or a measurement at a spot.
    Reading,
    /// A trace of a laboratory's report: its unit must stand in the report.
    Trace,
    /// A habit with a rate, or a single event.
    Routine,
}

/// What a written 0 means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ZeroPolicy {
    /// Below the instrument's limit if that is known, otherwise unknown.
    Limit,
    /// Cannot be: a question.
    NotPossible,
    /// A real 0.
    Real,
}

/// A word that a header may name a parameter by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spelling {
    /// As written.
    pub word: &'static str,
    /// `en`, `de`, `fr`, `es`, `nl`, or `any` for symbols.
    pub language: &'static str,
    /// What the word says the number is expressed as.
    pub basis: Option<&'static str>,
    /// The unit that the word names.
    pub unit: Option<UnitCode>,
}

/// A parameter of the catalogue.
#[derive(Debug, Clone)]
pub struct Parameter {
    /// In addresses and files.
    pub code: ParameterCode,
    /// As printed.
    pub name: &'static str,
    /// In a line: what it is and what it is expressed as.
    pub what: &'static str,
    /// The one unit it is stored and printed in.
    pub unit: UnitCode,
    /// UCUM code of [`Parameter::unit`].
    pub ucum: &'static str,
    /// What the stored number is expressed as (`NO3`, `PO4`), where that matters.
    pub basis: Option<&'static str>,
    /// Reading, trace or routine.
    pub kind: ParameterKind,
    /// Header words.
    pub spellings: Vec<Spelling>,
    /// Units that convert, the parameter's own first.
    pub accepts: Vec<AcceptedUnit>,
    /// Units that never convert and are kept as the tank's own scale: lamp watts, pump rates.
    pub own_scale: Vec<UnitCode>,
    /// Unit of a single event (litres changed, grams of carbon), for routines.
    pub event_unit: Option<UnitCode>,
    /// Units that convert to [`Parameter::event_unit`].
    pub event_accepts: Vec<AcceptedUnit>,
    /// Usual in a stony-coral tank, both ends included; common practice, no source.
    pub plausible: Option<(f64, f64)>,
    /// Outside these a value is never imported, both ends included.
    pub hard: Option<(f64, f64)>,
    /// Finest step of the trade's instruments: half of it is allowed at a band's edge where the keeper's own
    /// instrument is not known.
    pub step: Option<f64>,
    /// Finest and coarsest step.
    pub step_range: Option<(f64, f64)>,
    /// Highest of the smallest values that the trade's instruments show: for orientation, never taken for the
    /// limit of a keeper's own instrument.
    pub limit: Option<f64>,
    /// Lowest and highest of those.
    pub limit_range: Option<(f64, f64)>,
    /// Cut points, ascending, in [`Parameter::unit`].
    pub ladder: Vec<f64>,
    /// The same cuts in another unit, for print.
    pub ladder_shown: Option<(UnitCode, Vec<f64>)>,
    /// Days that a reading speaks when no newer one came.
    pub carry_days: u32,
    /// The same in the sensitivity run.
    pub short_carry_days: u32,
    /// What a written 0 means.
    pub zero: ZeroPolicy,
    /// Cut points of the spread over 60 days; empty where spread is not studied.
    pub spread_ladder: Vec<f64>,
    /// Natural seawater at S 35, from memory, for orientation.
    pub natural: Option<&'static str>,
    /// A remark.
    pub note: Option<&'static str>,
}

/// A condition that is not a reading but has cut points.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition {
    /// Code.
    pub code: &'static str,
    /// As printed.
    pub name: &'static str,
    /// Unit.
    pub unit: UnitCode,
    /// Cut points, ascending.
    pub ladder: Vec<f64>,
}

/// Relative slack of comparisons with edges: a converted reading that equals an edge lies on it.
pub(super) const SLACK: f64 = 1e-9;

/// Step of a value on ascending cut points: 0 below the first cut, the number of cuts at or below it otherwise.
/// Steps are half-open `[a, b)`; a value within 1e-9 (relative) of a cut lies on it, so belongs above.
pub fn step_on(ladder: &[f64], x: f64) -> usize {
    ladder.iter().filter(|&&cut| x >= cut - SLACK * cut.abs()).count()
}

impl Parameter {
    /// Step of a value in [`Parameter::unit`] on the ladder; see [`step_on`].
    pub fn ladder_step(&self, x: f64) -> usize {
        step_on(&self.ladder, x)
    }

    /// `true` if a value in [`Parameter::unit`] can be imported at all.
    pub fn is_possible(&self, x: f64) -> bool {
        x.is_finite() && self.hard.is_none_or(|(low, high)| low <= x && x <= high)
    }

    /// `true` if a value is usual in a stony-coral tank.
    pub fn is_plausible(&self, x: f64) -> bool {
        self.plausible.is_none_or(|(low, high)| low <= x && x <= high)
    }

    /// `true` if the unit is kept as this tank's own scale: only its changes count.
    pub fn is_own_scale(&self, unit: UnitCode) -> bool {
        self.own_scale.contains(&unit)
    }
}

impl ParameterCode {
    /// The parameter's row.
    pub fn get(self) -> &'static Parameter {
        let parameters = &catalogue().parameters;
        &parameters.all[parameters.by_code[self.as_str()]]
    }
}

#[derive(Debug)]
pub(super) struct Parameters {
    pub(super) all: Vec<Parameter>,
    pub(super) by_code: FxHashMap<&'static str, usize>,
    pub(super) conditions: Vec<Condition>,
    words: HashMap<String, Vec<header::Meaning>>,
    without_code: HashMap<String, &'static str>,
}
