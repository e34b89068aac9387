//! What a file says, in the catalogue's words and units. One record is one fact with the cells it came from.
//!
//! These are the objects of `strandline read --json`, the content of an upload and the input of the fold.

pub mod packed; // tests by month, compressed
mod tagged; // by their kind, in one pass

use analysis::vocabulary::{CauseGroup, Fate, Origin, OriginBasis, ParameterCode, TaxonSlug};
use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A place in a file as a person sees it: sheet name, row and column from 1, blank and title rows counted.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct CellRef {
    /// Sheet, for workbooks.
    pub sheet: Option<String>,
    /// Row from 1.
    pub row: u32,
    /// Column from 1.
    pub column: u32,
    /// What the cell gave: `value`, `date`, `tank`, `unit`, `label`, `taxon`, …
    pub role: String,
}

/// Where a record comes from.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Place {
    /// Sheet of the main cell.
    pub sheet: Option<String>,
    /// Row of the main cell, from 1.
    pub row: u32,
    /// Column of the main cell, from 1.
    pub column: u32,
    /// Line in a text file, from 1, where it differs from the row.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub line: Option<u32>,
    /// Every cell the record uses.
    pub cells: Vec<CellRef>,
}

/// A local day, or a local day and time, with an offset only if one was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Taken {
    /// Local calendar day.
    pub on: NaiveDate,
    /// Local time, to the minute or second.
    pub time: Option<NaiveTime>,
    /// Offset from UTC in minutes.
    pub offset_minutes: Option<i16>,
}

impl Taken {
    /// A day without a time.
    pub const fn day(on: NaiveDate) -> Self {
        Taken { on, time: None, offset_minutes: None }
    }
}

impl std::fmt::Display for Taken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.on.format("%Y-%m-%d"))?;
        if let Some(time) = self.time {
            let seconds = chrono::Timelike::second(&time);
            write!(f, "T{}", time.format(if seconds == 0 { "%H:%M" } else { "%H:%M:%S" }))?;
            if let Some(offset) = self.offset_minutes {
                let sign = if offset < 0 { '-' } else { '+' };
                write!(f, "{sign}{:02}:{:02}", offset.abs() / 60, offset.abs() % 60)?;
            }
        }
        Ok(())
    }
}

impl std::str::FromStr for Taken {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let bad = || format!("'{text}' is not a day or a day with a time");
        let (day, rest) = match text.split_once('T') {
            Some((day, rest)) => (day, Some(rest)),
            None => (text, None),
        };
        let on = NaiveDate::parse_from_str(day, "%Y-%m-%d").map_err(|_| bad())?;
        let Some(rest) = rest else { return Ok(Taken::day(on)) };
        let (clock, offset) = match rest.find(['+', '-', 'Z']) {
            Some(at) => (&rest[..at], Some(&rest[at..])),
            None => (rest, None),
        };
        let format = if clock.len() > 5 { "%Y-%m-%dT%H:%M:%S" } else { "%Y-%m-%dT%H:%M" };
        let time = NaiveDateTime::parse_from_str(&format!("{day}T{clock}"), format).map_err(|_| bad())?.time();
        let offset_minutes = match offset {
            None => None,
            Some("Z") => Some(0),
            Some(text) => {
                let (hours, minutes) = text[1..].split_once(':').ok_or_else(bad)?;
                let hours: i16 = hours.parse().map_err(|_| bad())?;
                let minutes: i16 = minutes.parse().map_err(|_| bad())?;
                if hours > 14 || minutes > 59 {
                    return Err(bad());
                }
                Some(if text.starts_with('-') { -1 } else { 1 } * (hours * 60 + minutes))
            }
        };
        Ok(Taken { on, time: Some(time), offset_minutes })
    }
}

impl Serialize for Taken {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Taken {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

/// How exactly a value was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Qualifier {
    /// The value itself.
    #[serde(rename = "=")]
    Equal,
    /// Below `value`.
    #[serde(rename = "<")]
    Below,
    /// Above `value`.
    #[serde(rename = ">")]
    Above,
    /// Between `lower` and `upper`; `value` is null.
    #[serde(rename = "interval")]
    Interval,
}

impl Qualifier {
    /// The code as stored and printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Qualifier::Equal => "=",
            Qualifier::Below => "<",
            Qualifier::Above => ">",
            Qualifier::Interval => "interval",
        }
    }

    /// The value of a code.
    pub fn parse(code: &str) -> Option<Self> {
        [Self::Equal, Self::Below, Self::Above, Self::Interval].into_iter().find(|q| q.as_str() == code)
    }
}

/// A span of days: both ends inclusive; `earliest` null = open ("before 2020").
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct DaySpan {
    /// Earliest possible day.
    pub earliest: Option<NaiveDate>,
    /// Latest possible day; null = unknown.
    pub latest: Option<NaiveDate>,
}

impl DaySpan {
    /// One day, known.
    pub const fn day(on: NaiveDate) -> Self {
        DaySpan { earliest: Some(on), latest: Some(on) }
    }
}

/// One fact of a file.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Record {
    /// A tank.
    Tank(Tank),
    /// A water test.
    Reading(Reading),
    /// A coral, clam or kin.
    Specimen(Specimen),
    /// A dated name given later than the register row.
    Identification(Identification),
    /// A specimen in a tank.
    Stay(Stay),
    /// Where a specimen stands.
    Placement(Placement),
    /// A look.
    Sighting(Sighting),
    /// A size.
    Sizing(Sizing),
    /// What became of a specimen.
    Ending(Ending),
    /// A habit with a rate.
    Routine(Routine),
    /// One feeding, one change, one treatment.
    Event(Event),
    /// Power cut, heater, overdose, move, new fish, pest…
    Incident(Incident),
    /// A test kit or instrument.
    Instrument(Instrument),
}

macro_rules! placed {
    ($($variant:ident),+) => {
        impl Record {
            /// Where it comes from.
            pub fn place(&self) -> &Place {
                match self { $(Record::$variant(record) => &record.place),+ }
            }

            /// Where it comes from, to be filled in.
            pub fn place_mut(&mut self) -> &mut Place {
                match self { $(Record::$variant(record) => &mut record.place),+ }
            }
        }
    };
}
placed!(
    Tank,
    Reading,
    Specimen,
    Identification,
    Stay,
    Placement,
    Sighting,
    Sizing,
    Ending,
    Routine,
    Event,
    Incident,
    Instrument
);

/// A tank as a file names it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Tank {
    /// Name as first written, outer spaces off.
    pub name: String,
    /// Stated volume.
    pub litres: Option<f64>,
    /// First day with water.
    pub started: Option<NaiveDate>,
    /// Last day.
    pub closed: Option<NaiveDate>,
    /// `moved`, `sold`, `all_died`, `other`.
    pub closed_why: Option<String>,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// A water test in the catalogue's unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Tank name; null while the tank is in question.
    pub tank: Option<String>,
    /// What was measured.
    pub parameter: ParameterCode,
    /// When.
    pub taken: Taken,
    /// The value (for `<` and `>` the limit), null for an interval.
    pub value: Option<f64>,
    /// Lower end of what it can mean; null = open.
    pub lower: Option<f64>,
    /// Upper end; null = open.
    pub upper: Option<f64>,
    /// The catalogue's unit.
    pub unit: String,
    /// How exactly it was written.
    pub qualifier: Qualifier,
    /// `zero_reported`, `approximate`, `replicate`, `reference_unknown`, `own_scale`…
    pub flags: Vec<String>,
    /// The coral whose spot was measured, for light and flow.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub specimen: Option<String>,
    /// The unit as written, where the catalogue cannot convert it (`own_scale`).
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub written_unit: Option<String>,
    /// The cell as written.
    pub written: String,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// A fact of a specimen that waits for an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HeldFact {
    /// What it is.
    Taxon,
    /// When it was acquired.
    Acquired,
    /// What became of it.
    Fate,
}

/// A coral, clam or kin.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Specimen {
    /// The keeper's own label ("C03", "Goni 1"); unique within the file.
    pub label: String,
    /// The name as written, with the trade name.
    pub written: String,
    /// The name reached; null while in question.
    pub taxon: Option<TaxonSlug>,
    /// `species`, `genus`, `group`.
    pub rank: Option<String>,
    /// `certain`, `likely`, `guess`.
    pub confidence: Option<String>,
    /// The character seen ("12 tentacles").
    pub character: Option<String>,
    /// Where it comes from.
    pub origin: Option<Origin>,
    /// How that is known.
    pub origin_basis: Option<OriginBasis>,
    /// `own_cutting`, `member`, `shop`, `online_dealer`, `importer`, `event`, `unknown`.
    pub source_kind: Option<String>,
    /// Name of the source: seen by its keeper only.
    pub source_name: Option<String>,
    /// When it was acquired; null = unknown.
    pub acquired: Option<DaySpan>,
    /// Tank at the start.
    pub tank: Option<String>,
    /// Flowerpot form (`ball_long`, …).
    pub form: Option<String>,
    /// Size at purchase in mm.
    pub size_mm: Option<f64>,
    /// How it looked when got: `open`, `off`, `poor`.
    pub condition: Option<String>,
    /// Days at the seller.
    pub days_at_seller: Option<f64>,
    /// Mother colony's label.
    pub parent: Option<String>,
    /// Line card code.
    pub line: Option<String>,
    /// Facts that wait for an answer: such a specimen is in no analysis.
    pub held: Vec<HeldFact>,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// A dated name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Identification {
    /// Label of the specimen.
    pub specimen: String,
    /// As written.
    pub written: String,
    /// The name reached.
    pub taxon: TaxonSlug,
    /// `certain`, `likely`, `guess`.
    pub confidence: Option<String>,
    /// Character seen.
    pub character: Option<String>,
    /// Day.
    pub on: NaiveDate,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// A specimen in a tank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stay {
    /// Label of the specimen.
    pub specimen: String,
    /// Tank name.
    pub tank: String,
    /// From when; null = since acquired.
    pub from: Option<DaySpan>,
    /// Until when; null = still there (or to its ending).
    pub to: Option<DaySpan>,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// Where a specimen stands from a day on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Placement {
    /// Label of the specimen.
    pub specimen: String,
    /// First day; null = since acquired.
    pub from: Option<NaiveDate>,
    /// `top`, `middle`, `bottom`, `sand`.
    pub height: Option<String>,
    /// Photon flux at the spot, umol/m2/s.
    pub par: Option<f64>,
    /// `still`, `swaying`, `thrashing`.
    pub flow: Option<String>,
    /// A stinging neighbour within 15 cm.
    pub stinging_neighbour: Option<bool>,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// A look at a specimen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sighting {
    /// Label of the specimen.
    pub specimen: String,
    /// Day.
    pub on: NaiveDate,
    /// `alive`, `open`, `off`, `poor` (death, leaving and absence are endings).
    pub status: String,
    /// `register`, `roll_call`, `look`, `photo`.
    pub source: String,
    /// 1–5 by the status, null for a bare `alive`.
    pub condition: Option<i16>,
    /// Polyp extension 0–3.
    pub polyp_extension: Option<i16>,
    /// Live tissue in %.
    pub tissue_cover: Option<f64>,
    /// Colour score 1–6.
    pub colour: Option<i16>,
    /// Signs and remark as written.
    pub remark: Option<String>,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// A size.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sizing {
    /// Label of the specimen.
    pub specimen: String,
    /// Measure code.
    pub measure: String,
    /// Basis code.
    pub basis: String,
    /// Value in `unit`.
    pub value: f64,
    /// `mm`, `mm2`, `g`, `1`.
    pub unit: String,
    /// Day.
    pub on: NaiveDate,
    /// `true`: a cut or breakage just before this size starts a new series.
    pub after_cut: bool,
    /// As written.
    pub written: String,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// What became of a specimen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ending {
    /// Label of the specimen.
    pub specimen: String,
    /// The fate; null = held ("gone", not yet answered).
    pub fate: Option<Fate>,
    /// Primary cause's group.
    pub cause_group: CauseGroup,
    /// Primary cause.
    pub cause: Option<String>,
    /// Further causes, ranked.
    pub other_causes: Vec<String>,
    /// Manner of death, any number.
    pub manner: Vec<String>,
    /// `given`, `sold`, `swapped`, `returned`, `passed_in_club` for `left`.
    pub leaving: Option<String>,
    /// `open`, `off`, `poor`, `not_said`.
    pub condition: String,
    /// First possible day; null = the last day it was seen alive, found when the records are folded.
    pub earliest: Option<NaiveDate>,
    /// Last possible day; null = the `as_of` of its log.
    pub latest: Option<NaiveDate>,
    /// A day written as such (register, remark): not the bounds of two looks.
    pub written_day: bool,
    /// The day is in question: the bounds hold all its readings.
    pub date_held: bool,
    /// As written.
    pub written: String,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// A habit with a rate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Routine {
    /// Tank it applies to.
    pub tank: Option<String>,
    /// Specimen it applies to.
    pub specimen: Option<String>,
    /// Routine code.
    pub routine: String,
    /// Rate as written.
    pub rate: String,
    /// Rate per week, where it converts.
    pub per_week: Option<f64>,
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub to: Option<NaiveDate>,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// One feeding, one change, one treatment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Tank.
    pub tank: Option<String>,
    /// Specimen.
    pub specimen: Option<String>,
    /// `target_feed`, `broadcast_feed`, `water_change`, `carbon`, `trace_dosing`, `cut`, `treatment`.
    pub event: String,
    /// When.
    pub taken: Taken,
    /// Amount, where given.
    pub amount: Option<f64>,
    /// Unit of the amount.
    pub unit: Option<String>,
    /// As written.
    pub written: String,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// Something that happened to a tank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Incident {
    /// Tank.
    pub tank: Option<String>,
    /// Specimen.
    pub specimen: Option<String>,
    /// Incident code.
    pub incident: String,
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub to: Option<NaiveDate>,
    /// As written.
    pub written: String,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}

/// A test kit or instrument.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Instrument {
    /// Tank; null = all tanks.
    pub tank: Option<String>,
    /// What it measures.
    pub parameter: ParameterCode,
    /// Name as written.
    pub name: String,
    /// Smallest step.
    pub step: Option<f64>,
    /// Smallest value it can show.
    pub limit: Option<f64>,
    /// Specific gravity reference: `25/25`, `20/20`, `60/60F`, `15/15`, `20/4`.
    pub reference: Option<String>,
    /// `NO3`, `NO3-N`, `PO4`, `P`…
    pub basis: Option<String>,
    /// Last calibrated.
    pub calibrated_on: Option<NaiveDate>,
    /// In use from.
    pub from: Option<NaiveDate>,
    /// Place in the file.
    #[serde(flatten)]
    pub place: Place,
}
