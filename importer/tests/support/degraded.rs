//! Made-up tables of tests whose headers are worsened at random, and whether the reader took each column for what it is.
//! Seeded: the same seed gives the same tables. Shared by `tests/confidence.rs` and `examples/confidence.rs`.
//!
//! Ranges and steps are the catalogue's; how often a test, a unit or a slip occurs is our own choice, no source.

use analysis::vocabulary::{Parameter, ParameterKind, catalogue};
use importer::context::Context;
use importer::read::read;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

/// How a header was worsened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Way {
    /// A usual word of the table's language.
    Word,
    /// The word with its unit.
    WordAndUnit,
    /// A word of another of the five languages.
    OtherLanguage,
    /// A symbol, or the first letters of a word.
    Short,
    /// A word with one letter wrong.
    OneLetter,
    /// A word with two letters wrong.
    TwoLetters,
    /// The unit only, in the header or in a row of units.
    UnitOnly,
    /// Nothing, or a word that says nothing.
    Nothing,
    /// A word of a language that is not known.
    SixthLanguage,
    /// Numbers that are no parameter.
    Stranger,
}

/// All ways.
pub const WAYS: [Way; 10] = [
    Way::Word,
    Way::WordAndUnit,
    Way::OtherLanguage,
    Way::Short,
    Way::OneLetter,
    Way::TwoLetters,
    Way::UnitOnly,
    Way::Nothing,
    Way::SixthLanguage,
    Way::Stranger,
];

/// A column of a made-up table.
pub struct Column {
    /// Code of its parameter; `None` for a stranger.
    pub truth: Option<&'static str>,
    /// How its header was worsened.
    pub way: Way,
    header: String,
    unit: String,
    values: Vec<String>,
}

/// What the reader made of a column.
#[derive(Debug, Clone)]
pub struct Judged {
    /// How its header was worsened.
    pub way: Way,
    /// Stated confidence.
    pub stated: f64,
    /// The meaning stated is the true one.
    pub right: bool,
    /// It was asked about.
    pub asked: bool,
    /// In short, for those who look: truth, meaning, header.
    pub shown: String,
}

impl Judged {
    /// Loaded as something it is not.
    pub fn silently_wrong(&self) -> bool {
        !self.right && !self.asked
    }
}

const LANGUAGES: [&str; 5] = ["en", "de", "fr", "es", "nl"];

/// Words of a sixth language (Polish, Italian, Portuguese, Swedish), from memory.
const SIXTH: [(&str, &[&str]); 10] = [
    ("temperature", &["lampotila", "teplota", "homerseklet"]),
    ("salinity", &["zasolenie", "suolaisuus", "salthalt"]),
    ("alkalinity", &["zasadowosc", "lugos"]),
    ("calcium", &["wapn", "vapnik"]),
    ("magnesium", &["horcik", "hořčík"]),
    ("nitrate", &["azotany", "dusicnany"]),
    ("phosphate", &["fosforany", "foszfat"]),
    ("potassium", &["draslik", "kalij"]),
    ("ph", &["odczyn", "happamuus"]),
    ("orp", &["potencjal", "hapetus"]),
];

/// What else stands in logs: header, lowest, highest, digits.
const STRANGERS: [(&str, f64, f64, usize); 10] = [
    ("Dose ml", 5.0, 60.0, 0),
    ("Lamp hours", 6.0, 12.0, 1),
    ("Skimmate ml", 100.0, 900.0, 0),
    ("Room", 17.0, 25.0, 1),
    ("Humidity", 40.0, 70.0, 0),
    ("kWh", 0.5, 9.0, 1),
    ("Fish", 2.0, 30.0, 0),
    ("Two-part A", 10.0, 120.0, 0),
    ("Top-up l", 1.0, 12.0, 1),
    ("Bottle", 1.0, 9.0, 0),
];

/// Headers that say nothing.
const NOTHING: [&str; 8] = ["", "Col%", "Column %", "X", "Value", "Value %", "Spalte %", "Y"];

struct Maker {
    draw: ChaCha12Rng,
}

impl Maker {
    fn one<'a, T: ?Sized>(&mut self, of: &[&'a T]) -> &'a T {
        of[self.draw.random_range(0..of.len())]
    }

    fn weighted<T: Copy>(&mut self, of: &[(T, f64)]) -> T {
        let all: f64 = of.iter().map(|(_, weight)| weight).sum();
        let mut at = self.draw.random_range(0.0..all);
        for (one, weight) in of {
            if at < *weight {
                return *one;
            }
            at -= weight;
        }
        of[of.len() - 1].0
    }

    /// A level inside the usual range, seldom beyond it, and values around it.
    fn values(&mut self, parameter: &Parameter, rows: usize) -> Vec<f64> {
        let (low, high) = parameter.plausible.unwrap_or_else(|| {
            let last = parameter.ladder.last().copied().unwrap_or(1.0);
            (parameter.ladder.first().copied().unwrap_or(0.0) * 0.7, last)
        });
        let (least, most) = parameter.hard.unwrap_or((0.0, f64::MAX));
        let width = high - low;
        let beyond = self.draw.random_bool(0.15);
        let (from, to) = if beyond { (low - 0.6 * width, high + 0.8 * width) } else { (low, high) };
        let level = self.draw.random_range(from.max(least)..to.min(most));
        let swing = width * self.draw.random_range(0.02..0.15);
        (0..rows).map(|_| (level + self.draw.random_range(-swing..=swing)).clamp(least.max(low * 0.1), most)).collect()
    }

    fn digits(&mut self, parameter: &Parameter, unit: &str) -> usize {
        match unit {
            "SG" => return if self.draw.random_bool(0.7) { 3 } else { 4 },
            "ug/L" => return 0,
            "meq/L" => return 2,
            "degF" => return 1,
            "mS/cm" => return 1,
            _ => {}
        }
        let of =
            |step: f64| (0..=4).find(|digits| (step * 10f64.powi(*digits)).fract().abs() < 1e-9).unwrap_or(4) as usize;
        match parameter.step_range {
            Some((finest, coarsest)) => {
                let step = if self.draw.random_bool(0.5) { finest } else { coarsest };
                of(step) + usize::from(self.draw.random_bool(0.1))
            }
            None => usize::from(self.draw.random_bool(0.5)),
        }
    }

    fn parameters(&mut self, count: usize) -> Vec<&'static Parameter> {
        let mut pool: Vec<(&'static Parameter, f64)> = catalogue()
            .parameters()
            .iter()
            .filter(|parameter| parameter.kind != ParameterKind::Routine)
            .map(|parameter| {
                let weight = match parameter.code.as_str() {
                    "temperature" | "salinity" | "ph" | "alkalinity" | "calcium" | "magnesium" | "nitrate"
                    | "phosphate" => 1.0,
                    "nitrite" | "ammonia" | "potassium" | "orp" => 0.3,
                    _ if parameter.kind == ParameterKind::Reading => 0.1,
                    _ => 0.02,
                };
                (parameter, weight)
            })
            .collect();
        (0..count)
            .map(|_| {
                let one = self.weighted(&pool);
                pool.retain(|(other, _)| other.code != one.code);
                one
            })
            .collect()
    }

    fn word(&mut self, parameter: &Parameter, language: &str) -> String {
        let of = |language: &str| -> Vec<&'static str> {
            parameter
                .spellings
                .iter()
                .filter(|spelling| spelling.language == language && spelling.basis.is_none() && spelling.unit.is_none())
                .map(|spelling| spelling.word)
                .collect()
        };
        let words = [of(language), of("en"), of("any")].into_iter().find(|words| !words.is_empty()).unwrap_or_default();
        if words.is_empty() { parameter.name.to_owned() } else { self.one(&words).to_owned() }
    }

    /// One letter left out, doubled, changed or swapped with the next.
    fn slip(&mut self, word: &str) -> String {
        let mut letters: Vec<char> = word.chars().collect();
        let at =
            self.draw.random_range(1..letters.len().max(2) - 1 + usize::from(letters.len() < 3)).min(letters.len() - 1);
        match self.draw.random_range(0..4) {
            0 => drop(letters.remove(at)),
            1 => letters.insert(at, letters[at]),
            2 => letters[at] = char::from(self.draw.random_range(b'a'..=b'z')),
            _ if at + 1 < letters.len() => letters.swap(at, at + 1),
            _ => letters.push('e'),
        }
        letters.into_iter().collect()
    }

    fn long_word(&mut self, parameter: &Parameter, language: &str) -> String {
        let mut word = self.word(parameter, language);
        for _ in 0..6 {
            if word.chars().count() >= 5 {
                return word;
            }
            word = self.word(parameter, language);
        }
        parameter.name.to_owned()
    }

    fn header(
        &mut self,
        parameter: &'static Parameter,
        way: Way,
        language: &str,
        unit: &str,
        at: usize,
    ) -> (String, String) {
        let plain = |header: String| (header, String::new());
        match way {
            Way::Word => plain(self.word(parameter, language)),
            Way::WordAndUnit => plain(format!("{} ({unit})", self.word(parameter, language))),
            Way::OtherLanguage => {
                let other = self.one(&LANGUAGES);
                plain(self.word(parameter, other))
            }
            Way::Short => {
                let symbols: Vec<&str> = parameter
                    .spellings
                    .iter()
                    .filter(|spelling| spelling.language == "any" && spelling.basis.is_none())
                    .map(|spelling| spelling.word)
                    .collect();
                if symbols.is_empty() || self.draw.random_bool(0.5) {
                    let word = self.long_word(parameter, language);
                    let length = self.draw.random_range(3..=5);
                    plain(word.chars().take(length).collect())
                } else {
                    plain(self.one(&symbols).to_owned())
                }
            }
            Way::OneLetter => {
                let word = self.long_word(parameter, language);
                plain(self.slip(&word))
            }
            Way::TwoLetters => {
                let word = self.long_word(parameter, language);
                let word = self.slip(&word);
                plain(self.slip(&word))
            }
            Way::UnitOnly => {
                if self.draw.random_bool(0.5) {
                    (format!("Col{at}"), unit.to_owned())
                } else {
                    plain(unit.to_owned())
                }
            }
            Way::SixthLanguage => {
                let words = SIXTH.iter().find(|(code, _)| *code == parameter.code.as_str());
                match words {
                    Some((_, words)) => plain(self.one(words).to_owned()),
                    None => plain("Hodnota Q".to_owned()),
                }
            }
            Way::Nothing | Way::Stranger => plain(self.one(&NOTHING).replace('%', &at.to_string())),
        }
    }

    fn column(&mut self, parameter: &'static Parameter, way: Way, language: &str, rows: usize, at: usize) -> Column {
        if way == Way::Stranger {
            let (header, low, high, digits) = STRANGERS[self.draw.random_range(0..STRANGERS.len())];
            let header = if self.draw.random_bool(0.4) {
                self.one(&NOTHING).replace('%', &at.to_string())
            } else {
                header.to_owned()
            };
            let level = self.draw.random_range(low..high);
            let swing = (high - low) * 0.1;
            let values = (0..rows)
                .map(|_| format!("{:.digits$}", (level + self.draw.random_range(-swing..swing)).max(low)))
                .collect();
            return Column { truth: None, way, header, unit: String::new(), values };
        }
        let own = parameter.accepts[0].unit;
        let other = match parameter.code.as_str() {
            "salinity" if self.draw.random_bool(0.4) => Some(("SG", Some("25/25"))),
            "salinity" if self.draw.random_bool(0.05) => Some(("mS/cm", Some("25C"))),
            "temperature" if self.draw.random_bool(0.2) => Some(("degF", None)),
            "alkalinity" if self.draw.random_bool(0.1) => Some(("meq/L", None)),
            "phosphate" | "iodine" | "iron" if self.draw.random_bool(0.1) => Some(("ug/L", None)),
            _ => None,
        };
        let (unit, basis) = other.unwrap_or((own.as_str(), None));
        let digits = self.digits(parameter, unit);
        let values: Vec<String> = self
            .values(parameter, rows)
            .into_iter()
            .map(|value| parameter.express(value, unit, basis).unwrap_or(value))
            .map(|value| format!("{value:.digits$}"))
            .collect();
        let printed = analysis::vocabulary::UnitCode::parse(unit).map_or(unit, |unit| unit.get().printed);
        let shown = if unit == "mg/L" && self.draw.random_bool(0.5) { "ppm" } else { printed };
        let (header, unit_row) = self.header(parameter, way, language, shown, at);
        Column { truth: Some(parameter.code.as_str()), way, header, unit: unit_row, values }
    }
}

/// Columns of made-up tables, each with what the reader made of it. Of the five to eight columns of a table two are
/// worsened; the others have a usual word.
pub fn judged(seed: u64, tables: usize) -> Vec<Judged> {
    let mut maker = Maker { draw: ChaCha12Rng::seed_from_u64(seed) };
    let mut all = Vec::new();
    for _ in 0..tables {
        let language = maker.one(&LANGUAGES);
        let rows = maker.draw.random_range(6..16);
        let count = maker.draw.random_range(5..=8);
        let worse = [maker.draw.random_range(0..count), maker.draw.random_range(0..count)];
        let parameters = maker.parameters(count);
        let mut columns: Vec<Column> = Vec::with_capacity(count);
        for (at, parameter) in parameters.into_iter().enumerate() {
            let way = if worse.contains(&at) { WAYS[maker.draw.random_range(0..WAYS.len())] } else { Way::Word };
            columns.push(maker.column(parameter, way, language, rows, at + 2));
        }
        all.extend(read_again(&mut maker, &columns, rows));
    }
    all
}

/// Headers over days and over remarks, usual and worsened.
const DAYS: [(&str, Way); 9] = [
    ("Date", Way::Word),
    ("Datum", Way::Word),
    ("Fecha", Way::Word),
    ("Jour", Way::Word),
    ("Dag", Way::Word),
    ("Daet", Way::OneLetter),
    ("Dtaum", Way::OneLetter),
    ("", Way::Nothing),
    ("X", Way::Nothing),
];
const REMARKS: [(&str, Way); 5] = [
    ("Notes", Way::Word),
    ("Bemerkung", Way::Word),
    ("Remarque", Way::Word),
    ("Notse", Way::OneLetter),
    ("", Way::Nothing),
];

fn read_again(maker: &mut Maker, columns: &[Column], rows: usize) -> Vec<Judged> {
    let (day, day_way) = DAYS[maker.draw.random_range(0..DAYS.len())];
    let (remark, remark_way) = REMARKS[maker.draw.random_range(0..REMARKS.len())];
    let mut text = day.to_owned();
    columns.iter().for_each(|column| text.push_str(&format!(",{}", column.header)));
    text.push_str(&format!(",{remark}\n"));
    if columns.iter().any(|column| !column.unit.is_empty()) {
        columns.iter().for_each(|column| text.push_str(&format!(",{}", column.unit)));
        text.push('\n');
    }
    for row in 0..rows {
        text.push_str(&format!("2024-{:02}-{:02}", 1 + row / 4, 1 + 7 * (row % 4)));
        columns.iter().for_each(|column| text.push_str(&format!(",{}", column.values[row])));
        text.push_str(if row % 3 == 0 { ",all looks well\n" } else { ",\n" });
    }
    let outcome = read("tests.csv", text.as_bytes(), &Context::default());
    let mut judged = Vec::with_capacity(columns.len() + 2);
    for (at, way, meanings) in
        [(1, day_way, ["date", "date"]), (columns.len() as u32 + 2, remark_way, ["remark", "label"])]
    {
        if let Some(told) = outcome.about.columns.iter().find(|told| told.column == at) {
            judged.push(Judged {
                way,
                stated: told.confidence,
                right: meanings.contains(&told.meaning.as_str()),
                asked: told.asked,
                shown: format!("{} read as {} by {}", meanings[0], told.meaning, told.by),
            });
        }
    }
    for (at, column) in (2u32..).zip(columns) {
        let Some(told) = outcome.about.columns.iter().find(|told| told.column == at) else { continue };
        let label = told.meaning == "label" || told.meaning == "remark";
        judged.push(Judged {
            way: column.way,
            stated: told.confidence,
            right: column.truth.map_or(label, |truth| told.meaning == truth),
            asked: told.asked || column.truth.is_some() && label,
            shown: format!(
                "{} read as {} by {} under '{}' [{}] over {}",
                column.truth.unwrap_or("none"),
                told.meaning,
                told.by,
                column.header,
                column.unit,
                column.values.iter().take(4).map(String::as_str).collect::<Vec<_>>().join(" ")
            ),
        });
    }
    judged
}

/// Bands of stated confidence.
pub const BANDS: [(f64, f64); 5] = [(0.0, 0.5), (0.5, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 1.0)];

/// A band of a reliability table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// From, to.
    pub range: (f64, f64),
    /// Columns.
    pub columns: usize,
    /// Mean confidence stated.
    pub stated: f64,
    /// Share that was right.
    pub right: f64,
}

/// The reliability of stated confidences by band.
pub fn reliability(judged: &[Judged]) -> Vec<Band> {
    BANDS
        .iter()
        .map(|&(from, to)| {
            let inside = |one: &&Judged| one.stated >= from && (one.stated < to || to >= 1.0);
            let columns = judged.iter().filter(inside).count();
            let share = |sum: f64| if columns > 0 { sum / columns as f64 } else { f64::NAN };
            Band {
                range: (from, to),
                columns,
                stated: share(judged.iter().filter(inside).map(|one| one.stated).sum()),
                right: share(judged.iter().filter(inside).map(|one| f64::from(u8::from(one.right))).sum()),
            }
        })
        .collect()
}

/// Brier score: mean square of confidence less outcome.
pub fn brier(judged: &[Judged]) -> f64 {
    judged.iter().map(|one| (one.stated - f64::from(u8::from(one.right))).powi(2)).sum::<f64>() / judged.len() as f64
}

/// Expected calibration error over the bands, each weighted by its columns.
pub fn calibration_error(judged: &[Judged]) -> f64 {
    let bands = reliability(judged);
    let filled = bands.iter().filter(|band| band.columns > 0);
    filled.map(|band| band.columns as f64 * (band.stated - band.right).abs()).sum::<f64>() / judged.len() as f64
}
