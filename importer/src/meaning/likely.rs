//! Which parameters the numbers of a column can be, the likeliest first: by its header word, its unit, its values and
//! their decimals, and by what the columns beside it are.
//!
//! Bayes' rule over the catalogue's readings and traces and over "none of them". Ranges, steps and words are the
//! catalogue's; the shares below are our own choice, no source: only their order matters, since the weight that comes out
//! is calibrated afterwards ([`super::confidence`]).

use std::collections::BTreeSet;
use std::sync::LazyLock;

use analysis::vocabulary::text::{compact, words};
use analysis::vocabulary::{Parameter, ParameterCode, ParameterKind, UnitCode, UnitMatch, catalogue, find_unit};

use crate::meaning::Quantity;

/// Tested by nearly every keeper.
const OFTEN: [&str; 8] =
    ["temperature", "salinity", "ph", "alkalinity", "calcium", "magnesium", "nitrate", "phosphate"];
/// Tested by many keepers, or for a while.
const SOMETIMES: [&str; 4] = ["nitrite", "ammonia", "potassium", "orp"];
/// How often a parameter has a second column in a table, against one.
const TWICE: f64 = 0.03;
/// A column of numbers that is no parameter, against one of those tested often.
const NONE: f64 = 1.0;
/// A header that names another parameter outright, against one that names this.
const OTHER_WORD: f64 = 1e-6;
/// The same, where the two words differ by one letter, or one is the other broken off.
const NEAR_OTHER_WORD: f64 = 2e-3;
/// A unit that the parameter is never written in.
const OTHER_UNIT: f64 = 1e-4;

/// The numbers of a column that say something: zeros, and what is no number, left out.
#[derive(Debug, Clone, Default)]
pub(crate) struct Sample {
    /// Ascending.
    pub sorted: Vec<f64>,
    /// Most digits after the decimal mark.
    pub decimals: u8,
}

impl Sample {
    fn at(&self, share: f64) -> Option<f64> {
        let last = self.sorted.len().checked_sub(1)?;
        self.sorted.get((share * last as f64).round() as usize).copied()
    }
}

/// What is known of a column.
pub(crate) struct Evidence<'a> {
    /// Its header, as written.
    pub header: &'a str,
    /// What the header names outright.
    pub named: &'a [Quantity],
    /// Its unit, from the header or the row of units.
    pub unit: Option<UnitMatch>,
    /// Parameters that other headers of the table name.
    pub taken: &'a BTreeSet<ParameterCode>,
    /// Its numbers.
    pub sample: &'a Sample,
}

/// A parameter that a column may hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Candidate {
    /// What is measured.
    pub parameter: ParameterCode,
    /// Share of the weight of all meanings.
    pub weight: f64,
}

/// How a header speaks of a parameter that it does not name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Speaks {
    /// It says nothing: blank, "Col3", "X", "Value".
    Nothing,
    /// It is a unit.
    Unit,
    /// A word that nobody knows.
    Something,
}

/// A way a parameter is written: its range in one unit.
struct Form {
    unit: UnitCode,
    share: f64,
    /// Usual.
    usual: (f64, f64),
    /// Possible at all.
    possible: (f64, f64),
    /// From where to where low values are spread evenly over their sizes, for what may be near nothing.
    faint: Option<(f64, f64)>,
    /// Digits after the decimal mark, fewest and most.
    decimals: Option<(u8, u8)>,
}

struct Profile {
    parameter: &'static Parameter,
    words: Vec<String>,
    forms: Vec<Form>,
    often: f64,
}

static PROFILES: LazyLock<Vec<Profile>> = LazyLock::new(|| {
    catalogue().parameters().iter().filter(|parameter| parameter.kind != ParameterKind::Routine).map(profile).collect()
});

fn profile(parameter: &'static Parameter) -> Profile {
    let code = parameter.code.as_str();
    let often = match parameter.kind {
        _ if OFTEN.contains(&code) => 1.0,
        _ if SOMETIMES.contains(&code) => 0.25,
        ParameterKind::Trace => 0.01,
        _ => 0.06,
    };
    let (usual, possible) = (usual(parameter), parameter.hard.unwrap_or((0.0, 1e6)));
    let mut forms: Vec<Form> = Vec::new();
    for (at, accepted) in parameter.accepts.iter().enumerate() {
        let written = |value: f64| parameter.express(value, accepted.unit.as_str(), accepted.basis).ok();
        let range = |(low, high): (f64, f64)| Some((written(low)?, written(high)?));
        // Per cent of saturation hangs on the water: full to a tenth over.
        let (usual, possible) = match (range(usual), range(possible)) {
            (Some(usual), Some(possible)) => (usual, possible),
            (Some(usual), None) => (usual, usual),
            _ if accepted.unit.as_str() == "%" => ((85.0, 110.0), (0.0, 200.0)),
            _ => continue,
        };
        let own = at == 0;
        forms.push(Form {
            unit: accepted.unit,
            share: if own { 1.0 } else { 0.1 },
            usual,
            possible: (possible.0.min(usual.0), possible.1.max(usual.1)),
            faint: parameter.limit_range.and_then(|(finest, _)| Some((written(finest / 10.0)?, 2.0 * usual.1))),
            decimals: parameter.step_range.filter(|_| own).map(|(finest, coarsest)| (digits(coarsest), digits(finest))),
        });
    }
    let all: f64 = forms.iter().map(|form| form.share).sum();
    for form in &mut forms {
        form.share /= all;
    }
    let words = parameter.spellings.iter().map(|spelling| compact(spelling.word)).collect();
    Profile { parameter, words, forms, often }
}

/// What is usual; for traces, which have no usual range of their own, around the cut points.
fn usual(parameter: &Parameter) -> (f64, f64) {
    if let Some(usual) = parameter.plausible {
        return usual;
    }
    let (first, last) =
        (parameter.ladder.first().copied().unwrap_or(0.0), parameter.ladder.last().copied().unwrap_or(1.0));
    match parameter.limit_range {
        // Far above what a test can show: a main ion, always there.
        Some((_, coarsest)) if first <= 10.0 * coarsest => (0.0, last),
        _ => (first * 0.6, last * 1.2),
    }
}

fn digits(step: f64) -> u8 {
    (0..=4).find(|digits| (step * 10f64.powi(i32::from(*digits))).fract().abs() < 1e-9).unwrap_or(4)
}

impl Form {
    /// Density of a written number, in shares for one unit of it.
    fn density(&self, x: f64) -> f64 {
        let (low, high) = self.usual;
        let width = (high - low).max(f64::MIN_POSITIVE);
        let within = |low: f64, high: f64| low <= x && x <= high;
        let near = ((low - width).max(self.possible.0), (high + width).min(self.possible.1));
        let mut density = 0.0;
        if within(low, high) {
            density += 0.8 / width;
        }
        if within(near.0, near.1) {
            density += 0.17 / (near.1 - near.0).max(width);
        }
        if within(self.possible.0, self.possible.1) {
            density += 0.03 / (self.possible.1 - self.possible.0).max(width);
        }
        if let Some((low, high)) = self.faint.filter(|(low, high)| within(*low, *high)) {
            density += 0.1 / (x * (high / low).ln());
        }
        density
    }

    fn of(&self, sample: &Sample) -> f64 {
        let quantiles: Vec<f64> = [0.1, 0.5, 0.9].iter().filter_map(|share| sample.at(*share)).collect();
        if quantiles.is_empty() {
            return 1.0;
        }
        let logs: f64 = quantiles.iter().map(|x| (self.density(*x) + 1e-12).ln()).sum();
        let fits = match self.decimals {
            Some((_, most)) if sample.decimals > most => 0.3f64.powi(i32::from((sample.decimals - most).min(4))),
            Some((fewest, _)) if sample.decimals < fewest => 0.3f64.powi(i32::from(fewest - sample.decimals)),
            _ => 1.0,
        };
        (logs / quantiles.len() as f64).exp() * fits
    }
}

impl Profile {
    /// Density of the numbers under this parameter, in any of its units or in the one that is stated.
    fn values(&self, sample: &Sample, unit: Option<UnitCode>) -> f64 {
        let stated = unit.filter(|unit| self.forms.iter().any(|form| form.unit == *unit));
        let forms = self.forms.iter().filter(|form| stated.is_none_or(|unit| form.unit == unit));
        let (sum, all) =
            forms.fold((0.0, 0.0), |(sum, all), form| (sum + form.share * form.of(sample), all + form.share));
        if all > 0.0 { sum / all } else { 0.0 }
    }

    /// The header is a word for this parameter but for one letter, or such a word broken off.
    fn is_nearly(&self, key: &str) -> bool {
        let nearly = |word: &String| {
            let lengths = (key.len(), word.len());
            lengths.0 >= 3
                && lengths.1 >= 3
                && (lengths.0.abs_diff(lengths.1) <= 1 && strsim::osa_distance(word, key) == 1
                    || lengths.1 >= lengths.0 + 2 && word.starts_with(key))
        };
        self.words.iter().any(nearly)
    }

    /// How near the header is to a word for this parameter: 1 for one letter, less for two or for a word within.
    fn near(&self, key: &str, tokens: &[String]) -> f64 {
        let mut best = 0.0_f64;
        for word in &self.words {
            let length = word.chars().count();
            if length >= 4 && key.len().abs_diff(word.len()) <= 2 {
                match strsim::osa_distance(key, word) {
                    0 | 1 => best = best.max(1.0),
                    2 if length >= 6 => best = best.max(0.3),
                    _ => {}
                }
            }
            let token = tokens.len() > 1
                && (length >= 2 && tokens.contains(word)
                    || length >= 5 && tokens.iter().any(|token| strsim::osa_distance(token, word) <= 1));
            // "Calc.", "Magnes": the word breaks off. "Kaliummessung": it goes on.
            let short = key.len() >= 3 && length >= key.len() + 2 && word.starts_with(key);
            let long = length >= 4 && key.len() >= length + 2 && key.starts_with(word.as_str());
            if token || short || long {
                best = best.max(0.5);
            }
        }
        best
    }
}

/// Density of a number that is no parameter: as many of each size from 0.001 to 100 000.
fn anything(sample: &Sample) -> f64 {
    let Some(middle) = sample.at(0.5) else { return 1.0 };
    1.0 / (middle.abs().max(0.01) * 18.4)
}

/// Words that stand over a column and say nothing of it.
const EMPTY_WORDS: [&str; 34] = [
    "col",
    "column",
    "field",
    "value",
    "values",
    "reading",
    "readings",
    "result",
    "results",
    "test",
    "data",
    "series",
    "unnamed",
    "no",
    "nr",
    "number",
    "measured",
    "measurement",
    "spalte",
    "feld",
    "wert",
    "messwert",
    "colonne",
    "champ",
    "valeur",
    "columna",
    "campo",
    "valor",
    "kolom",
    "veld",
    "waarde",
    "serie",
    "untitled",
    "param",
];

/// What a header that names nothing says all the same.
pub(crate) fn speaks(header: &str) -> Speaks {
    let bare = header.split(['(', '[']).next().unwrap_or(header);
    let empty = |word: &String| {
        let letters = word.trim_end_matches(|letter: char| letter.is_ascii_digit());
        letters.chars().count() <= 1 || EMPTY_WORDS.contains(&letters)
    };
    if words(bare).iter().all(empty) {
        return Speaks::Nothing;
    }
    if find_unit(header).is_some() { Speaks::Unit } else { Speaks::Something }
}

/// The parameters that a column may hold, likeliest first, each with its share of the weight.
pub(crate) fn rank(evidence: &Evidence) -> Vec<Candidate> {
    let sample = evidence.sample;
    let unit = evidence.unit.map(|found| found.unit);
    let broad = anything(sample);
    let key = compact(evidence.header.split(['(', '[']).next().unwrap_or(evidence.header));
    let tokens = words(evidence.header);
    let speaks = speaks(evidence.header);
    let traces = evidence.taken.iter().filter(|code| code.get().kind == ParameterKind::Trace).count() >= 2;
    let named = |code: ParameterCode| evidence.named.iter().find(|quantity| quantity.parameter == code);
    let mut known = false;
    let mut ranked: Vec<Candidate> = Vec::with_capacity(PROFILES.len());
    for profile in PROFILES.iter() {
        let code = profile.parameter.code;
        let mut weight = if traces && profile.parameter.kind == ParameterKind::Trace { 1.0 } else { profile.often };
        let own = named(code);
        if own.is_none() && evidence.taken.contains(&code) {
            weight *= TWICE;
        }
        weight *= match (own, evidence.named.is_empty(), speaks) {
            (Some(_), ..) => 1.0,
            (None, false, _) if profile.is_nearly(&key) => NEAR_OTHER_WORD,
            (None, false, _) => OTHER_WORD,
            (None, true, Speaks::Nothing | Speaks::Unit) => 1.0,
            (None, true, Speaks::Something) => 0.01 + profile.near(&key, &tokens),
        };
        let unit = own.and_then(|own| own.unit).or(unit);
        if let Some(unit) = unit {
            let written = profile.forms.iter().any(|form| form.unit == unit);
            known |= written;
            weight *= match (written, profile.parameter.unit == unit) {
                (true, true) => 1.0,
                (true, false) => 0.3,
                (false, _) => OTHER_UNIT,
            };
        }
        let mut values = profile.values(sample, unit);
        if own.is_some() {
            // A slip of the unit or of the decimal point is likelier than a wrong word.
            values = values.max(0.05 * broad);
        }
        ranked.push(Candidate { parameter: code, weight: weight * values });
    }
    let none = match (evidence.named.is_empty(), speaks) {
        (false, _) => 1e-4,
        (true, Speaks::Something) => 0.1,
        (true, _) => 1.0,
    };
    let strange = match unit {
        Some(unit) if is_telling(unit) => 0.01,
        Some(_) if known => 0.1,
        _ => 1.0,
    };
    let all: f64 = ranked.iter().map(|candidate| candidate.weight).sum::<f64>() + NONE * none * strange * broad;
    if all > 0.0 {
        ranked.iter_mut().for_each(|candidate| candidate.weight /= all);
    }
    ranked.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.parameter.cmp(&b.parameter)));
    ranked
}

/// Whether a header is a word for a parameter but for one slip, or two in a long word.
pub(crate) fn is_misspelt(header: &str, parameter: ParameterCode) -> bool {
    let key = compact(header.split(['(', '[']).next().unwrap_or(header));
    let slips = |profile: &Profile| {
        let slip = |word: &String| {
            let length = word.chars().count();
            let distance = if length >= 3 { strsim::osa_distance(&key, word) } else { usize::MAX };
            distance == 1 || distance == 2 && length >= 7
        };
        profile.words.iter().any(slip)
    };
    PROFILES.iter().any(|profile| profile.parameter.code == parameter && slips(profile))
}

/// Whether a header may be a word for a parameter with one letter wrong or broken off.
pub(crate) fn is_nearly(header: &str, parameter: ParameterCode) -> bool {
    let key = compact(header.split(['(', '[']).next().unwrap_or(header));
    PROFILES.iter().any(|profile| profile.parameter.code == parameter && profile.is_nearly(&key))
}

/// Whether a unit belongs to one parameter alone: dKH, mV, PSU, but not mg/L.
pub(crate) fn is_telling(unit: UnitCode) -> bool {
    let has = |profile: &&Profile| {
        profile.forms.iter().any(|form| form.unit == unit) || profile.parameter.own_scale.contains(&unit)
    };
    PROFILES.iter().filter(has).count() == 1
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(values: &[f64], decimals: u8) -> Sample {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        Sample { sorted, decimals }
    }

    fn first(header: &str, values: &[f64], decimals: u8, unit: Option<&str>) -> (&'static str, f64) {
        let named = crate::meaning::quantities(header);
        let evidence = Evidence {
            header,
            named: &named,
            unit: unit.and_then(find_unit),
            taken: &BTreeSet::new(),
            sample: &sample(values, decimals),
        };
        let best = rank(&evidence)[0];
        (best.parameter.as_str(), best.weight)
    }

    #[test]
    fn values_decimals_and_units_tell() {
        assert_eq!(first("Col3", &[1310.0, 1330.0, 1350.0], 0, None).0, "magnesium");
        assert_eq!(first("", &[1.025, 1.026, 1.025], 3, None).0, "salinity");
        assert_eq!(first("X", &[25.1, 25.3, 25.6], 1, None).0, "temperature");
        assert_eq!(first("X", &[340.0, 355.0, 362.0], 0, Some("mV")).0, "orp");
        assert_eq!(first("X", &[8.1, 8.3, 8.6], 1, Some("dKH")).0, "alkalinity");
    }

    #[test]
    fn a_misspelt_word_is_known_by_its_values() {
        let (code, weight) = first("Magnesuim", &[1310.0, 1330.0, 1350.0], 0, None);
        assert_eq!(code, "magnesium");
        assert!(weight > 0.99, "{weight}");
        let (code, weight) = first("Zorg", &[5.0, 10.0, 12.0], 0, None);
        assert!(weight < 0.9, "{code} {weight}");
    }

    #[test]
    fn a_word_outright_holds_against_a_slip_of_the_unit() {
        assert_eq!(first("Salinity", &[1025.0, 1026.0, 1025.0], 0, None).0, "salinity");
        assert_eq!(first("Phosphate", &[30.0, 40.0, 60.0], 0, None).0, "phosphate");
        assert_eq!(first("Temp", &[77.0, 78.0, 78.5], 1, None).0, "temperature");
        assert_eq!(first("Nitrite", &[10.0, 12.0, 15.0], 0, None).0, "nitrite");
        let confidence = crate::meaning::confidence::calibrated(first("Nitrite", &[10.0, 12.0, 15.0], 0, None).1);
        assert!(confidence < crate::meaning::confidence::ASK_BELOW, "{confidence}");
    }

    #[test]
    fn headers_that_say_nothing() {
        for header in ["", "Col3", "Column C", "X", "Value 2", "Spalte 4", "?"] {
            assert_eq!(speaks(header), Speaks::Nothing, "{header}");
        }
        assert_eq!(speaks("mg/L"), Speaks::Unit);
        assert_eq!(speaks("Zorg"), Speaks::Something);
        assert_eq!(speaks("XQ7"), Speaks::Something);
    }
}
