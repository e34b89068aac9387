//! Current records as rows: columns of the tables, references by key instead of number.
//!
//! A row's digest covers all of its columns: equal digest, equal row. Nothing here knows a database.

use chrono::{NaiveDate, NaiveTime};
use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::record::{HeldFact, Qualifier};

/// A row of a table of current records.
pub trait Row: Serialize {
    /// The table.
    const TABLE: &'static str;
    /// Its columns after the head (keeper, key, digest), references as `tank`, `specimen`, `instrument`, `parent`.
    const COLUMNS: &'static [&'static str];
}

/// A row's content as JSON, and its hash.
///
/// # Errors
/// When the row cannot be written as JSON: a number that is not finite.
pub fn content<R: Row>(row: &R) -> Result<(String, [u8; 16]), serde_json::Error> {
    let json = serde_json::to_string(row)?;
    let hash = Sha256::digest(&json);
    let mut short = [0; 16];
    short.copy_from_slice(&hash[..16]);
    Ok((json, short))
}

macro_rules! rows {
    ($($(#[$doc:meta])* $name:ident in $table:literal { $($(#[$fdoc:meta])* $field:ident: $kind:ty),* $(,)? })*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Serialize)]
        pub struct $name { $($(#[$fdoc])* pub $field: $kind),* }

        impl Row for $name {
            const TABLE: &'static str = $table;
            const COLUMNS: &'static [&'static str] = &[$(stringify!($field)),*];
        }
    )*};
}

rows! {
    /// A tank.
    TankRow in "tank" {
        /// Name as first written.
        name: String,
        /// Stated volume.
        litres: Option<f64>,
        /// First day with water.
        started: Option<NaiveDate>,
        /// Last day.
        closed: Option<NaiveDate>,
        /// Why it was shut.
        closed_why: Option<String>,
    }

    /// Another spelling of a tank's name.
    TankAliasRow in "tank_alias" {
        /// Key of the tank.
        tank: String,
        /// The other spelling.
        alias: String,
    }

    /// A test kit or probe.
    InstrumentRow in "instrument" {
        /// Key of the tank it serves.
        tank: Option<String>,
        /// What it measures.
        parameter: &'static str,
        /// Name as written.
        name: String,
        /// Smallest step.
        step: Option<f64>,
        /// Smallest value it can show.
        limit_value: Option<f64>,
        /// Reference temperatures of a gravity scale.
        reference: Option<String>,
        /// What the number counts.
        basis: Option<String>,
        /// Last calibrated.
        calibrated_on: Option<NaiveDate>,
        /// In use from.
        from_day: Option<NaiveDate>,
    }

    /// A specimen.
    SpecimenRow in "specimen" {
        /// The keeper's label.
        label: String,
        /// Name as written.
        written: String,
        /// Name reached.
        taxon: Option<&'static str>,
        /// Rank reached.
        taxon_rank: Option<String>,
        /// How sure.
        confidence: Option<String>,
        /// Character seen.
        character_seen: Option<String>,
        /// Where it comes from.
        origin: Option<&'static str>,
        /// How that is known.
        origin_basis: Option<&'static str>,
        /// Kind of source.
        source_kind: Option<String>,
        /// Name of the source.
        source_name: Option<String>,
        /// Form at purchase.
        form: Option<String>,
        /// Size at purchase in mm.
        size_mm: Option<f64>,
        /// Condition at purchase.
        condition: Option<String>,
        /// Days at the seller.
        days_at_seller: Option<f64>,
        /// Earliest day it can have been got.
        acquired_earliest: Option<NaiveDate>,
        /// Latest day it can have been got.
        acquired_latest: Option<NaiveDate>,
        /// From this day its log would have shown its death.
        observed_from: Option<NaiveDate>,
        /// That day is the log's first, not an answer.
        entry_assumed: bool,
        /// Key of the mother colony.
        parent: Option<String>,
        /// Card code or key of the oldest known mother.
        lineage: String,
        /// Code on its card.
        line: Option<String>,
        /// Facts in question.
        held: Vec<HeldFact>,
        /// Log.
        log_id: Option<i64>,
    }

    /// A water test.
    ReadingRow in "reading" {
        /// Key of the tank.
        tank: String,
        /// What was measured.
        parameter: &'static str,
        /// Day.
        taken_on: NaiveDate,
        /// Time.
        taken_time: Option<NaiveTime>,
        /// Offset from UTC.
        utc_offset_minutes: Option<i16>,
        /// From 1 within the slot.
        ordinal: u32,
        /// Value or limit.
        value: Option<f64>,
        /// Lower end.
        lower: Option<f64>,
        /// Upper end.
        upper: Option<f64>,
        /// How exactly it was written.
        qualifier: Qualifier,
        /// Marks.
        flags: Vec<String>,
        /// Two logs give unequal values.
        disputed: bool,
        /// As written.
        written: String,
        /// Unit as written, if it cannot be converted.
        written_unit: Option<String>,
        /// Key of the instrument.
        instrument: Option<String>,
        /// Key of the specimen whose spot was measured.
        specimen: Option<String>,
        /// Log.
        log_id: Option<i64>,
        /// First live upload of the log that states it as it stands.
        upload_id: i64,
        /// Sheet of the cell.
        sheet: Option<String>,
        /// Row of the cell from 1; 0 = not from a sheet.
        row_number: u32,
        /// Column of the cell from 1; 0 = not from a sheet.
        column_number: u32,
    }

    /// A label of a specimen in a log.
    SpecimenNameRow in "specimen_name" {
        /// Key of the specimen.
        specimen: String,
        /// Log.
        log_id: Option<i64>,
        /// The label there.
        name: String,
    }

    /// A name given to a specimen.
    IdentificationRow in "identification" {
        /// Key of the specimen.
        specimen: String,
        /// As written.
        written: String,
        /// Name reached.
        taxon: &'static str,
        /// How sure.
        confidence: Option<String>,
        /// Character seen.
        character_seen: Option<String>,
        /// Day; `None` = at purchase.
        on_day: Option<NaiveDate>,
    }

    /// A specimen in a tank.
    StayRow in "stay" {
        /// Key of the specimen.
        specimen: String,
        /// Key of the tank.
        tank: String,
        /// First day.
        from_day: Option<NaiveDate>,
        /// Day it left.
        to_day: Option<NaiveDate>,
        /// Earliest first day.
        from_earliest: Option<NaiveDate>,
        /// Latest first day.
        from_latest: Option<NaiveDate>,
        /// Earliest day it left.
        to_earliest: Option<NaiveDate>,
        /// Latest day it left.
        to_latest: Option<NaiveDate>,
    }

    /// Where a specimen stands.
    PlacementRow in "placement" {
        /// Key of the specimen.
        specimen: String,
        /// First day; `None` = since it was got.
        from_day: Option<NaiveDate>,
        /// Height.
        height: Option<String>,
        /// Photon flux.
        par: Option<f64>,
        /// Flow.
        flow: Option<String>,
        /// A stinging neighbour is within reach.
        stinging_neighbour: Option<bool>,
    }

    /// A look.
    SightingRow in "sighting" {
        /// Key of the specimen.
        specimen: String,
        /// Day.
        on_day: NaiveDate,
        /// How it looked.
        status: String,
        /// Who says so.
        source: String,
        /// Score 1 to 5.
        condition: Option<i16>,
        /// Score 0 to 3.
        polyp_extension: Option<i16>,
        /// In %.
        tissue_cover: Option<f64>,
        /// Score 1 to 6.
        colour: Option<i16>,
        /// Remark.
        remark: Option<String>,
    }

    /// A size.
    SizingRow in "sizing" {
        /// Key of the specimen.
        specimen: String,
        /// Measure.
        measure: String,
        /// Basis.
        basis: String,
        /// Value in `unit`.
        value: f64,
        /// Unit.
        unit: String,
        /// Day.
        on_day: NaiveDate,
        /// A cut just before it.
        after_cut: bool,
        /// Cuts before it.
        segment: u32,
        /// As written.
        written: String,
    }

    /// What became of a specimen.
    EndingRow in "ending" {
        /// Key of the specimen.
        specimen: String,
        /// The fate; `None` = in question.
        fate: Option<&'static str>,
        /// Group of the cause.
        cause_group: &'static str,
        /// Cause.
        cause: Option<String>,
        /// Further causes.
        other_causes: Vec<String>,
        /// How it looked.
        manner: Vec<String>,
        /// How it left.
        leaving: Option<String>,
        /// Condition at exit.
        condition: String,
        /// First bound.
        earliest: NaiveDate,
        /// Last bound.
        latest: NaiveDate,
        /// A day written as such.
        written_day: bool,
        /// The day is in question.
        date_held: bool,
        /// As written.
        written: String,
    }

    /// A habit with a rate.
    RoutineRow in "routine" {
        /// Key of the tank.
        tank: Option<String>,
        /// Key of the specimen.
        specimen: Option<String>,
        /// Routine code.
        kind: String,
        /// Rate as written.
        rate: String,
        /// Rate per week.
        per_week: Option<f64>,
        /// First day.
        from_day: NaiveDate,
        /// Last day.
        to_day: Option<NaiveDate>,
        /// Last confirmed.
        confirmed_on: NaiveDate,
    }

    /// One deed.
    EventRow in "event" {
        /// Key of the tank.
        tank: Option<String>,
        /// Key of the specimen.
        specimen: Option<String>,
        /// Event code.
        kind: String,
        /// Day.
        on_day: NaiveDate,
        /// Time.
        on_time: Option<NaiveTime>,
        /// Offset from UTC.
        utc_offset_minutes: Option<i16>,
        /// Amount.
        amount: Option<f64>,
        /// Unit of the amount.
        unit: Option<String>,
        /// As written.
        written: String,
    }

    /// Something that happened.
    IncidentRow in "incident" {
        /// Key of the tank.
        tank: Option<String>,
        /// Key of the specimen.
        specimen: Option<String>,
        /// Incident code.
        kind: String,
        /// First day.
        from_day: NaiveDate,
        /// Last day.
        to_day: Option<NaiveDate>,
        /// As written.
        written: String,
    }
}
