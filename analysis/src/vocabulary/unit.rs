//! Units as printed, and the ways people write them; what a number is expressed as ("as N", "25/25").

use std::collections::HashMap;

use rustc_hash::FxHashMap;
use serde::Deserialize;

use super::text::{compact, keep, keep_all, words};
use super::{CatalogueError, UnitCode, catalogue};

const FILE: &str = "units.toml";

/// A unit.
#[derive(Debug, Clone)]
pub struct Unit {
    /// As JSON and CSV print it.
    pub code: UnitCode,
    /// Its UCUM code, where it has one; `dKH` and `PSU` are ours and stand beside `meq/L` and `1`.
    pub ucum: Option<&'static str>,
    /// What a value is multiplied by to be in `ucum`: 1 for most.
    pub ucum_factor: f64,
    /// As a page prints it.
    pub printed: &'static str,
    /// In words.
    pub name: &'static str,
    /// How members write it; compared by [`compact`].
    pub spellings: Vec<&'static str>,
    /// Spellings that hold only as they stand (`mS` is not `m/s`).
    pub exact: Vec<&'static str>,
}

impl UnitCode {
    /// The unit's row.
    pub fn get(self) -> &'static Unit {
        let units = &catalogue().units;
        &units.all[units.by_code[self.as_str()]]
    }
}

/// A unit recognised in a text, with what the number is expressed as, if the text says so.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnitMatch {
    /// The unit.
    pub unit: UnitCode,
    /// `N`, `PO4`, `CaCO3`, `25/25`, …
    pub basis: Option<&'static str>,
}

#[derive(Debug)]
pub(super) struct Units {
    pub(super) all: Vec<Unit>,
    pub(super) by_code: FxHashMap<&'static str, usize>,
    by_spelling: HashMap<String, usize>,
    exact: HashMap<&'static str, usize>,
    bases: HashMap<String, Vec<&'static str>>,
    basis_codes: Vec<&'static str>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    unit: Vec<UnitRow>,
    basis: Vec<BasisRow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UnitRow {
    code: String,
    ucum: Option<String>,
    ucum_factor: Option<Factor>,
    printed: String,
    name: String,
    spellings: Vec<String>,
    #[serde(default)]
    exact: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Factor {
    scale: f64,
    divisor: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BasisRow {
    code: String,
    spellings: Vec<String>,
}

impl Units {
    pub(super) fn read() -> Result<Self, CatalogueError> {
        let file: File = super::parse(FILE, include_str!("../../catalogue/units.toml"))?;
        let mut units = Units {
            all: Vec::new(),
            by_code: FxHashMap::default(),
            by_spelling: HashMap::new(),
            exact: HashMap::new(),
            bases: HashMap::new(),
            basis_codes: Vec::new(),
        };
        for row in file.unit {
            units.add(row)?;
        }
        for row in file.basis {
            let code = keep(row.code);
            units.basis_codes.push(code);
            let mut keys: Vec<String> = row.spellings.iter().map(|spelling| compact(spelling)).collect();
            keys.push(compact(code));
            keys.sort();
            keys.dedup();
            for key in keys {
                units.bases.entry(key).or_default().push(code);
            }
        }
        Ok(units)
    }

    fn add(&mut self, row: UnitRow) -> Result<(), CatalogueError> {
        let position = self.all.len();
        let code = keep(row.code);
        if self.by_code.insert(code, position).is_some() {
            return Err(CatalogueError::new(FILE, format!("unit `{code}` stands twice")));
        }
        for spelling in &row.spellings {
            let key = key_words(spelling).concat();
            if let Some(other) = self.by_spelling.insert(key, position)
                && other != position
            {
                let other = self.all[other].code;
                return Err(CatalogueError::new(FILE, format!("`{spelling}` is a spelling of {other} and of {code}")));
            }
        }
        let exact = keep_all(row.exact);
        for spelling in &exact {
            if self.exact.insert(spelling, position).is_some() {
                return Err(CatalogueError::new(FILE, format!("`{spelling}` stands twice")));
            }
        }
        self.all.push(Unit {
            code: UnitCode::of_catalogue(code),
            ucum: row.ucum.map(keep),
            ucum_factor: row.ucum_factor.map_or(1.0, |factor| factor.scale / factor.divisor),
            printed: keep(row.printed),
            name: keep(row.name),
            spellings: keep_all(row.spellings),
            exact,
        });
        Ok(())
    }

    pub(super) fn code(&self, code: &str) -> Option<UnitCode> {
        self.by_code.get(code).map(|&row| self.all[row].code)
    }

    pub(super) fn has_basis(&self, code: &str) -> bool {
        self.basis_codes.contains(&code)
    }

    /// The unit of words that name nothing else.
    pub(super) fn plain(&self, words: &[String]) -> Option<UnitCode> {
        self.by_spelling.get(&words.concat()).map(|&row| self.all[row].code)
    }

    /// What words can say a number is expressed as.
    pub(super) fn bases(&self, words: &[String]) -> &[&'static str] {
        self.bases.get(&words.concat()).map_or(&[], Vec::as_slice)
    }
}

/// The words of a unit; a leading stroke reads "per", so that "/d" is not days.
fn key_words(text: &str) -> Vec<String> {
    match text.trim().strip_prefix('/') {
        Some(rest) => words(&format!("per {rest}")),
        None => words(text),
    }
}

/// Words that stand between a unit and its basis and mean nothing alone.
pub(super) fn is_link(word: &str) -> bool {
    matches!(
        word,
        "as" | "of" | "in" | "at" | "on" | "als" | "bei" | "en" | "como" | "comme" | "total" | "expressed" | "units"
    )
}

/// The unit that a text names, with its basis: "ppm", "mg/L as N", "mg NO3/L", "SG 25/25". `None` if the text
/// names none or anything besides.
pub fn find_unit(text: &str) -> Option<UnitMatch> {
    let units = &catalogue().units;
    let trimmed = text.trim().trim_matches(|c| matches!(c, '(' | ')' | '[' | ']')).trim();
    if let Some(&row) = units.exact.get(trimmed) {
        return Some(UnitMatch { unit: units.all[row].code, basis: None });
    }
    // A code counts as it stands too: `[pH]`, `/wk`.
    if let Some(unit) = units.code(text.trim()) {
        return Some(UnitMatch { unit, basis: None });
    }
    let words = key_words(trimmed);
    if words.is_empty() {
        return None;
    }
    if let Some(unit) = units.plain(&words) {
        return Some(UnitMatch { unit, basis: None });
    }
    // Unit, then basis; basis, then unit; the basis inside ("mg NO3/L").
    for start in 0..words.len() {
        for end in start + 1..=words.len() {
            let mut inside = &words[start..end];
            while let [first, rest @ ..] = inside
                && is_link(first)
                && !rest.is_empty()
            {
                inside = rest;
            }
            let bases = units.bases(inside);
            if bases.is_empty() {
                continue;
            }
            let outside: Vec<String> =
                words[..start].iter().chain(&words[end..]).filter(|word| !is_link(word)).cloned().collect();
            if let Some(unit) = units.plain(&outside) {
                return Some(UnitMatch { unit, basis: Some(basis_for(unit, bases)) });
            }
        }
    }
    None
}

/// Of several meanings ("25 °C" at a gravity or at a conductivity) the one that some parameter takes in this unit.
fn basis_for(unit: UnitCode, bases: &[&'static str]) -> &'static str {
    bases
        .iter()
        .copied()
        .find(|basis| {
            catalogue()
                .parameters()
                .iter()
                .any(|parameter| parameter.accepts.iter().any(|a| a.unit == unit && a.basis == Some(*basis)))
        })
        .unwrap_or(bases[0])
}
