//! What is taught to begin with: bands closed at both ends, in the unit taught. Common practice, no source; the
//! club's own dated rows override them.

use serde::{Deserialize, Serialize};

use super::parameter::SLACK;
use super::text::{keep, keep_all};
use super::{CatalogueError, ConvertError, Parameter, ParameterCode, TaxonSlug, UnitCode, catalogue};

const FILE: &str = "bands.toml";

/// Where a reading lies against a band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// Below it.
    Below,
    /// Inside, both edges included.
    Within,
    /// Above it.
    Above,
}

impl Place {
    /// As printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Place::Below => "below",
            Place::Within => "within",
            Place::Above => "above",
        }
    }
}

/// A band as taught.
#[derive(Debug, Clone, PartialEq)]
pub struct TaughtBand {
    /// The taxon or group that the row is for.
    pub taxon: TaxonSlug,
    /// Parameter.
    pub parameter: ParameterCode,
    /// Lower edge in [`TaughtBand::unit`], included.
    pub lower: f64,
    /// Upper edge in [`TaughtBand::unit`], included.
    pub upper: f64,
    /// The unit it is taught in.
    pub unit: UnitCode,
    /// For a specific gravity: what the instrument is marked at.
    pub reference: Option<&'static str>,
    /// As printed.
    pub as_taught: &'static str,
    /// Where it comes from.
    pub basis: &'static str,
}

/// Where a number lies against edges in the same unit: inside if `lower - half_step <= x <= upper + half_step`,
/// compared with 1e-9 relative slack.
pub fn place_of(x: f64, lower: f64, upper: f64, half_step: f64) -> Place {
    let (low, high) = (lower - half_step, upper + half_step);
    if x < low - SLACK * low.abs() {
        Place::Below
    } else if x > high + SLACK * high.abs() {
        Place::Above
    } else {
        Place::Within
    }
}

impl TaughtBand {
    /// Where a number in the band's own unit lies; `half_step` is half the instrument's step in that unit, 0 for none.
    pub fn contains_in_unit(&self, x_in_unit: f64, half_step: f64) -> Place {
        place_of(x_in_unit, self.lower, self.upper, half_step)
    }

    /// A value in the parameter's own unit in the unit of the band.
    ///
    /// # Errors
    /// A value with no equivalent, such as NaN.
    pub fn in_unit(&self, canonical: f64) -> Result<f64, ConvertError> {
        self.parameter.get().express(canonical, self.unit.as_str(), self.reference)
    }

    /// Half a step of the parameter's own unit in the unit of the band, at its lower edge: the scales of
    /// salinity bend so little that a band's two edges differ in the seventh decimal.
    ///
    /// # Errors
    /// As [`TaughtBand::in_unit`].
    pub fn half_step_in_unit(&self, canonical_step: f64) -> Result<f64, ConvertError> {
        let at = self.lower_canonical()?;
        Ok((self.in_unit(at + canonical_step)? - self.in_unit(at)?).abs() / 2.0)
    }

    /// Where a value in the parameter's own unit lies, with a step in that unit.
    ///
    /// # Errors
    /// As [`TaughtBand::in_unit`].
    pub fn place(&self, canonical: f64, canonical_step: f64) -> Result<Place, ConvertError> {
        Ok(self.contains_in_unit(self.in_unit(canonical)?, self.half_step_in_unit(canonical_step)?))
    }

    /// Lower edge in the parameter's own unit.
    ///
    /// # Errors
    /// The unit does not convert; no row of the catalogue is such.
    pub fn lower_canonical(&self) -> Result<f64, ConvertError> {
        self.parameter.get().convert(self.lower, self.unit.as_str(), self.reference)
    }

    /// Upper edge in the parameter's own unit.
    ///
    /// # Errors
    /// As [`TaughtBand::lower_canonical`].
    pub fn upper_canonical(&self) -> Result<f64, ConvertError> {
        self.parameter.get().convert(self.upper, self.unit.as_str(), self.reference)
    }
}

#[derive(Debug)]
struct Teaching {
    taxon: TaxonSlug,
    bands: Vec<TaughtBand>,
    arrival_light: TaughtBand,
    flow: Vec<&'static str>,
}

#[derive(Debug)]
pub(super) struct Bands {
    rows: Vec<Teaching>,
    water_in_band: Vec<ParameterCode>,
    arrival_caution: &'static str,
}

/// The row of a taxon: its own, its genus's, its group's.
fn row_of<T>(taxon: TaxonSlug, pick: impl Fn(&'static Teaching) -> Option<&'static T>) -> Option<&'static T> {
    taxon
        .ancestors()
        .into_iter()
        .find_map(|wider| catalogue().bands.rows.iter().find(|row| row.taxon == wider).and_then(&pick))
}

/// The band taught for a taxon: its own row, its genus's, or its group's; `None` where nothing is taught. Light is
/// that of a settled coral ([`taught_arrival_light`] for the first weeks).
pub fn taught_band(taxon: TaxonSlug, parameter: ParameterCode) -> Option<&'static TaughtBand> {
    row_of(taxon, |row| row.bands.iter().find(|band| band.parameter == parameter))
}

/// The light taught for the first weeks of a taxon.
pub fn taught_arrival_light(taxon: TaxonSlug) -> Option<&'static TaughtBand> {
    row_of(taxon, |row| Some(&row.arrival_light))
}

/// The flow taught for a taxon, as words; empty where nothing is taught.
pub fn taught_flow(taxon: TaxonSlug) -> &'static [&'static str] {
    row_of(taxon, |row| Some(&row.flow)).map_or(&[], Vec::as_slice)
}

/// The caution that stands beside arrival light wherever it is shown.
pub fn arrival_light_caution() -> &'static str {
    catalogue().bands.arrival_caution
}

/// Parameters that must all be known and inside the taught band for `given=water_in_band`.
pub fn water_in_band() -> &'static [ParameterCode] {
    &catalogue().bands.water_in_band
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    water_in_band: Vec<String>,
    arrival_light: String,
    teaching: Vec<Row>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    taxon: String,
    basis: String,
    #[serde(default, rename = "note")]
    _note: Option<String>,
    temperature: EdgesRow,
    salinity: EdgesRow,
    alkalinity: EdgesRow,
    calcium: EdgesRow,
    magnesium: EdgesRow,
    nitrate: EdgesRow,
    phosphate: EdgesRow,
    par: EdgesRow,
    par_arrival: EdgesRow,
    feeding: EdgesRow,
    flow: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct EdgesRow {
    unit: String,
    reference: Option<String>,
    lower: f64,
    upper: f64,
    as_taught: String,
}

/// What the rows of bands refer to.
pub(super) struct Known<'a> {
    pub(super) taxon: &'a dyn Fn(&str) -> Option<TaxonSlug>,
    pub(super) parameter: &'a dyn Fn(&str) -> Option<&'a Parameter>,
    pub(super) unit: &'a dyn Fn(&str) -> Option<UnitCode>,
    pub(super) flow: &'a dyn Fn(&str) -> bool,
}

fn wrong(message: impl Into<String>) -> CatalogueError {
    CatalogueError::new(FILE, message)
}

impl Bands {
    pub(super) fn read(known: &Known<'_>) -> Result<Self, CatalogueError> {
        let file: File = super::parse(FILE, include_str!("../../catalogue/bands.toml"))?;
        let mut rows = Vec::new();
        for row in file.teaching {
            let taxon = (known.taxon)(&row.taxon).ok_or_else(|| wrong(format!("`{}` is no taxon", row.taxon)))?;
            let basis = keep(row.basis);
            let band = |code: &str, edges: EdgesRow| -> Result<TaughtBand, CatalogueError> {
                let parameter = (known.parameter)(code).ok_or_else(|| wrong(format!("`{code}` is no parameter")))?;
                let unit = (known.unit)(&edges.unit).ok_or_else(|| wrong(format!("`{}` is no unit", edges.unit)))?;
                let reference = edges.reference.map(keep);
                let fits = parameter
                    .accepts
                    .iter()
                    .any(|row| row.unit == unit && (reference.is_none() || row.basis == reference));
                if !fits || edges.lower > edges.upper {
                    return Err(wrong(format!("{taxon}, {code}: {} to {} {unit}", edges.lower, edges.upper)));
                }
                Ok(TaughtBand {
                    taxon,
                    parameter: parameter.code,
                    lower: edges.lower,
                    upper: edges.upper,
                    unit,
                    reference,
                    as_taught: keep(edges.as_taught),
                    basis,
                })
            };
            if let Some(word) = row.flow.iter().find(|word| !(known.flow)(word)) {
                return Err(wrong(format!("`{word}` is no word of flow")));
            }
            rows.push(Teaching {
                taxon,
                bands: vec![
                    band("temperature", row.temperature)?,
                    band("salinity", row.salinity)?,
                    band("alkalinity", row.alkalinity)?,
                    band("calcium", row.calcium)?,
                    band("magnesium", row.magnesium)?,
                    band("nitrate", row.nitrate)?,
                    band("phosphate", row.phosphate)?,
                    band("par", row.par)?,
                    band("feeding", row.feeding)?,
                ],
                arrival_light: band("par", row.par_arrival)?,
                flow: keep_all(row.flow),
            });
        }
        let water_in_band = file
            .water_in_band
            .iter()
            .map(|code| {
                (known.parameter)(code).map(|row| row.code).ok_or_else(|| wrong(format!("`{code}` is no parameter")))
            })
            .collect::<Result<_, _>>()?;
        Ok(Bands { rows, water_in_band, arrival_caution: keep(file.arrival_light) })
    }

    pub(super) fn settled(&self) -> impl Iterator<Item = &TaughtBand> {
        self.rows.iter().flat_map(|row| &row.bands)
    }

    pub(super) fn all(&self) -> impl Iterator<Item = &TaughtBand> {
        self.rows.iter().flat_map(|row| row.bands.iter().chain([&row.arrival_light]))
    }
}
