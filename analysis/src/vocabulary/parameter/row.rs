//! `catalogue/parameters.toml` to the types, checked.

use std::collections::HashMap;

use rustc_hash::FxHashMap;
use serde::Deserialize;

use super::conversion::ConductivityAt;
use super::header::{Meaning, key};
use super::{AcceptedUnit, Condition, Conversion, Parameter, ParameterKind, Parameters, Spelling, ZeroPolicy};
use crate::seawater::SgReference;
use crate::vocabulary::text::keep;
use crate::vocabulary::unit::Units;
use crate::vocabulary::{CatalogueError, ParameterCode, UnitCode};

const FILE: &str = "parameters.toml";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    parameter: Vec<Row>,
    shared: Vec<SharedRow>,
    without_code: Vec<WithoutCodeRow>,
    condition: Vec<ConditionRow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    code: String,
    name: String,
    what: String,
    unit: String,
    kind: ParameterKind,
    basis: Option<String>,
    plausible: Option<(f64, f64)>,
    hard: Option<(f64, f64)>,
    step: Option<(f64, f64)>,
    limit: Option<(f64, f64)>,
    #[serde(default)]
    ladder: Vec<f64>,
    ladder_shown: Option<ShownRow>,
    #[serde(default)]
    spread_ladder: Vec<f64>,
    carry_days: u32,
    short_carry_days: u32,
    zero: Zero,
    natural: Option<String>,
    note: Option<String>,
    accepts: Vec<AcceptRow>,
    #[serde(default)]
    own_scale: Vec<String>,
    event_unit: Option<String>,
    #[serde(default)]
    event_accepts: Vec<AcceptRow>,
    words: Words,
    #[serde(default)]
    special: Vec<SpecialRow>,
}

#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum Zero {
    Limit,
    No,
    Yes,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ShownRow {
    unit: String,
    cuts: Vec<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AcceptRow {
    unit: String,
    basis: Option<String>,
    #[serde(default)]
    assumed: bool,
    scale: Option<f64>,
    divisor: Option<f64>,
    offset: Option<f64>,
    curve: Option<String>,
    check: (f64, f64),
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct Words {
    any: Vec<String>,
    en: Vec<String>,
    de: Vec<String>,
    fr: Vec<String>,
    es: Vec<String>,
    nl: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SpecialRow {
    words: Vec<String>,
    basis: Option<String>,
    unit: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SharedRow {
    word: String,
    readings: Vec<SharedReading>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SharedReading {
    parameter: String,
    basis: Option<String>,
    unit: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WithoutCodeRow {
    word: String,
    spellings: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ConditionRow {
    code: String,
    name: String,
    unit: String,
    ladder: Vec<f64>,
}

fn wrong(message: impl Into<String>) -> CatalogueError {
    CatalogueError::new(FILE, message)
}

impl Parameters {
    pub(in crate::vocabulary) fn read(units: &Units) -> Result<Self, CatalogueError> {
        let file: File = crate::vocabulary::parse(FILE, include_str!("../../../catalogue/parameters.toml"))?;
        let mut all = Parameters {
            all: Vec::new(),
            by_code: FxHashMap::default(),
            conditions: Vec::new(),
            words: HashMap::new(),
            without_code: HashMap::new(),
        };
        for row in file.parameter {
            all.add(row, units)?;
        }
        for row in file.shared {
            let meanings = row
                .readings
                .into_iter()
                .map(|reading| {
                    Ok(Meaning {
                        parameter: all
                            .by_code
                            .get(reading.parameter.as_str())
                            .map(|&at| all.all[at].code)
                            .ok_or_else(|| wrong(format!("`{}` is no parameter", reading.parameter)))?,
                        basis: basis(units, reading.basis)?,
                        unit: reading.unit.map(|code| unit(units, &code)).transpose()?,
                    })
                })
                .collect::<Result<Vec<_>, CatalogueError>>()?;
            if all.words.insert(key(&row.word), meanings).is_some() {
                return Err(wrong(format!("shared word `{}` belongs to a parameter already", row.word)));
            }
        }
        for row in file.without_code {
            let name = keep(row.word);
            for spelling in row.spellings {
                let key = key(&spelling);
                let taken = all.words.contains_key(&key);
                if taken || all.without_code.insert(key, name).is_some_and(|other| other != name) {
                    return Err(wrong(format!("`{spelling}` ({name}) stands twice")));
                }
            }
        }
        for row in file.condition {
            all.conditions.push(Condition {
                code: keep(row.code),
                name: keep(row.name),
                unit: unit(units, &row.unit)?,
                ladder: row.ladder,
            });
        }
        Ok(all)
    }

    fn add(&mut self, row: Row, units: &Units) -> Result<(), CatalogueError> {
        let text = keep(row.code);
        let code = ParameterCode::of_catalogue(text);
        if self.by_code.insert(text, self.all.len()).is_some() {
            return Err(wrong(format!("parameter `{code}` stands twice")));
        }
        let accepts = accepted(units, row.accepts)?;
        let own = unit(units, &row.unit)?;
        if accepts.first().is_none_or(|first| first.unit != own) {
            return Err(wrong(format!("{code}: its own unit must come first")));
        }
        let mut spellings = Vec::new();
        let plain = [
            ("any", row.words.any),
            ("en", row.words.en),
            ("de", row.words.de),
            ("fr", row.words.fr),
            ("es", row.words.es),
            ("nl", row.words.nl),
        ];
        for (language, list) in plain {
            for word in list {
                spellings.push(Spelling { word: keep(word), language, basis: None, unit: None });
            }
        }
        for special in row.special {
            let (basis, unit) =
                (basis(units, special.basis)?, special.unit.map(|code| unit(units, &code)).transpose()?);
            for word in special.words {
                spellings.push(Spelling { word: keep(word), language: "any", basis, unit });
            }
        }
        for spelling in &spellings {
            let meaning = Meaning { parameter: code, basis: spelling.basis, unit: spelling.unit };
            if let Some(other) = self.words.insert(key(spelling.word), vec![meaning])
                && other != [meaning]
            {
                let other = other[0].parameter;
                return Err(wrong(format!("`{}` is a word for {other} and for {code}", spelling.word)));
            }
        }
        let ucum = units.all[units.by_code[own.as_str()]].ucum;
        self.all.push(Parameter {
            code,
            name: keep(row.name),
            what: keep(row.what),
            unit: own,
            ucum: ucum.ok_or_else(|| wrong(format!("{code}: {own} has no UCUM code")))?,
            basis: basis(units, row.basis)?,
            kind: row.kind,
            spellings,
            accepts,
            own_scale: row.own_scale.iter().map(|code| unit(units, code)).collect::<Result<_, _>>()?,
            event_unit: row.event_unit.map(|code| unit(units, &code)).transpose()?,
            event_accepts: accepted(units, row.event_accepts)?,
            plausible: row.plausible,
            hard: row.hard,
            step: row.step.map(|(finest, _)| finest),
            step_range: row.step,
            limit: row.limit.map(|(_, highest)| highest),
            limit_range: row.limit,
            ladder: row.ladder,
            ladder_shown: match row.ladder_shown {
                Some(shown) => Some((unit(units, &shown.unit)?, shown.cuts)),
                None => None,
            },
            carry_days: row.carry_days,
            short_carry_days: row.short_carry_days,
            zero: match row.zero {
                Zero::Limit => ZeroPolicy::Limit,
                Zero::No => ZeroPolicy::NotPossible,
                Zero::Yes => ZeroPolicy::Real,
            },
            spread_ladder: row.spread_ladder,
            natural: row.natural.map(keep),
            note: row.note.map(keep),
        });
        Ok(())
    }
}

fn unit(units: &Units, code: &str) -> Result<UnitCode, CatalogueError> {
    units.code(code).ok_or_else(|| wrong(format!("`{code}` is no unit")))
}

fn basis(units: &Units, code: Option<String>) -> Result<Option<&'static str>, CatalogueError> {
    match code {
        Some(code) if !units.has_basis(&code) => Err(wrong(format!("`{code}` is no basis"))),
        code => Ok(code.map(keep)),
    }
}

fn accepted(units: &Units, rows: Vec<AcceptRow>) -> Result<Vec<AcceptedUnit>, CatalogueError> {
    rows.into_iter()
        .map(|row| {
            let basis = basis(units, row.basis)?;
            let (scale, divisor, offset) =
                (row.scale.unwrap_or(1.0), row.divisor.unwrap_or(1.0), row.offset.unwrap_or(0.0));
            let conversion = match row.curve.as_deref() {
                None => Conversion::Linear { scale, divisor, offset },
                Some("gravity") => Conversion::SpecificGravity {
                    reference: basis
                        .and_then(SgReference::parse)
                        .ok_or_else(|| wrong(format!("{basis:?} is no reference of a gravity")))?,
                },
                Some("conductivity") => Conversion::Conductivity {
                    at: if basis == Some("raw") {
                        ConductivityAt::WaterTemperature
                    } else {
                        ConductivityAt::Compensated25
                    },
                    divisor,
                },
                Some("oxygen_saturation") => Conversion::OxygenSaturation,
                Some(other) => return Err(wrong(format!("`{other}` is no curve"))),
            };
            Ok(AcceptedUnit {
                unit: unit(units, &row.unit)?,
                basis,
                assumed: row.assumed,
                conversion,
                check: row.check,
            })
        })
        .collect()
}
