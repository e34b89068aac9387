//! Records packed small: water tests of a tank by the month they were taken in, everything else as it is.
//!
//! A file can hold a million tests and a keeper many versions of it. What a test means depends on the tests of its
//! own tank and moment only, so a month can be compared, folded and stored by itself, and no two months have to be
//! in memory at once. Tests at a coral's spot depend on where the coral stands and stay with the corals.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use analysis::vocabulary::ParameterCode;
use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::{CellRef, Place, Qualifier, Reading, Record, Taken};
use crate::fold::key::{Kind, folded};

/// A calendar month, counted from the year 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Month(pub i32);

impl Month {
    /// The month of a day.
    pub fn of(day: NaiveDate) -> Self {
        Month(day.year() * 12 + day.month0() as i32)
    }

    /// Its first day.
    pub fn first_day(self) -> NaiveDate {
        let month = self.0.rem_euclid(12) as u32 + 1;
        NaiveDate::from_ymd_opt(self.0.div_euclid(12), month, 1).unwrap_or(NaiveDate::MAX)
    }

    /// The month after it.
    pub const fn next(self) -> Self {
        Month(self.0 + 1)
    }
}

/// The month in which a record can be looked at by itself; `None` for what depends on other records.
pub fn month_of(record: &Record) -> Option<Month> {
    match record {
        Record::Reading(reading) if reading.specimen.is_none() => {
            let tank = reading.tank.as_deref().is_some_and(|tank| !folded(tank).is_empty());
            tank.then(|| Month::of(reading.taken.on))
        }
        _ => None,
    }
}

/// Why records cannot be packed or unpacked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct PackError(String);

impl PackError {
    fn of(error: impl std::fmt::Display) -> Self {
        PackError(error.to_string())
    }
}

/// Level of compression: the default of the format, fast both ways.
const LEVEL: i32 = 3;
/// Bytes of a month that are gathered before they are compressed.
const GATHERED: usize = 64 * 1024;
/// Bytes of all months together that are gathered: a file can have a thousand months.
const GATHERED_IN_ALL: usize = 8 * 1024 * 1024;

/// What a test says, without its place in the file. Bounds only where they are not the value itself.
#[derive(Serialize)]
struct Content<'r>(
    Option<&'r str>,
    ParameterCode,
    Taken,
    Option<f64>,
    Option<(Option<f64>, Option<f64>)>,
    &'r str,
    Qualifier,
    &'r [String],
    Option<&'r str>,
);

/// Where it stands: as written, sheet, rows below the test before it, column, lines below its row, cells. Neighbours are
/// alike when told by what differs, and so compress well.
#[derive(Serialize)]
struct Position<'r>(&'r str, Option<&'r str>, i64, u32, Option<i64>, Vec<(SheetOf<'r>, i64, u32, &'r str)>);

/// The sheet of a cell: that of the test, or another.
#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum SheetOf<'r> {
    Same(u8),
    Other(Option<Cow<'r, str>>),
}

#[derive(Deserialize)]
struct ReadContent(
    Option<String>,
    ParameterCode,
    Taken,
    Option<f64>,
    Option<(Option<f64>, Option<f64>)>,
    String,
    Qualifier,
    Vec<String>,
    Option<String>,
);

#[derive(Deserialize)]
struct ReadPosition(String, Option<String>, i64, u32, Option<i64>, Vec<(SheetOf<'static>, i64, u32, String)>);

/// A row or line so far below another.
fn below(row: u32, by: i64) -> Result<u32, PackError> {
    u32::try_from(i64::from(row) + by).map_err(PackError::of)
}

/// Tests of one month in the order of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Block {
    /// How many.
    pub count: u32,
    /// Hash of what they say, places aside: equal hash, equal content in equal order.
    pub digest: [u8; 16],
    /// Names of their tanks as written.
    pub tanks: BTreeSet<String>,
    /// Two lines of JSON a test, compressed with zstd.
    pub bytes: Vec<u8>,
}

impl Block {
    /// The tests.
    ///
    /// # Errors
    /// If the bytes are damaged.
    pub fn unpack(&self) -> Result<Vec<Record>, PackError> {
        unpack(&self.bytes, self.count as usize)
    }
}

/// Tests of a packed month.
///
/// # Errors
/// If the bytes are damaged.
pub fn unpack(bytes: &[u8], count: usize) -> Result<Vec<Record>, PackError> {
    let text = zstd::decode_all(bytes).map_err(PackError::of)?;
    let mut records = Vec::with_capacity(count);
    let mut lines = text.split(|byte| *byte == b'\n');
    let mut above = 0;
    while let (Some(content), Some(position)) = (lines.next(), lines.next()) {
        let ReadContent(tank, parameter, taken, value, bounds, unit, qualifier, flags, written_unit) =
            serde_json::from_slice(content).map_err(PackError::of)?;
        let ReadPosition(written, sheet, by, column, line, cells) =
            serde_json::from_slice(position).map_err(PackError::of)?;
        let row = below(above, by)?;
        above = row;
        let line = line.map(|by| below(row, by)).transpose()?;
        let cell = |(of, by, column, role): (SheetOf, i64, u32, String)| {
            let sheet = match of {
                SheetOf::Same(_) => sheet.clone(),
                SheetOf::Other(sheet) => sheet.map(Cow::into_owned),
            };
            Ok(CellRef { sheet, row: below(row, by)?, column, role })
        };
        let cells = cells.into_iter().map(cell).collect::<Result<Vec<CellRef>, PackError>>()?;
        let (lower, upper) = bounds.unwrap_or((value, value));
        records.push(Record::Reading(Reading {
            tank,
            parameter,
            taken,
            value,
            lower,
            upper,
            unit,
            qualifier,
            flags,
            specimen: None,
            written_unit,
            written,
            place: Place { sheet, row, column, line, cells },
        }));
    }
    Ok(records)
}

/// A month that is being gathered.
struct Open {
    count: u32,
    /// Row of the last test.
    row: u32,
    hash: Sha256,
    tanks: BTreeSet<String>,
    gathered: Vec<u8>,
    bytes: Vec<u8>,
}

impl Open {
    /// Compresses what was gathered, and gives its memory back.
    fn compress(&mut self, compressor: &mut zstd::bulk::Compressor<'_>) -> Result<(), PackError> {
        let gathered = std::mem::take(&mut self.gathered);
        if !gathered.is_empty() {
            self.bytes.extend(compressor.compress(&gathered).map_err(PackError::of)?);
        }
        Ok(())
    }
}

/// Packs records one by one.
pub struct Packer {
    rest: Vec<Record>,
    months: BTreeMap<Month, Open>,
    counts: BTreeMap<&'static str, u64>,
    /// Bytes gathered in all months.
    gathered: usize,
    compressor: zstd::bulk::Compressor<'static>,
}

/// Records of a file, packed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Packed {
    /// All but the tests of tanks, in the order of the file.
    pub rest: Vec<Record>,
    /// Tests of tanks by month.
    pub months: BTreeMap<Month, Block>,
    /// Records by kind.
    pub counts: BTreeMap<&'static str, u64>,
}

impl Packer {
    /// Nothing yet.
    ///
    /// # Errors
    /// If the compressor cannot be had.
    pub fn new() -> Result<Self, PackError> {
        let compressor = zstd::bulk::Compressor::new(LEVEL).map_err(PackError::of)?;
        Ok(Packer { rest: Vec::new(), months: BTreeMap::new(), counts: BTreeMap::new(), gathered: 0, compressor })
    }

    /// Gives back what was taken in, to begin again.
    pub fn emptied(self) -> Self {
        let Packer { compressor, .. } = self;
        Packer { rest: Vec::new(), months: BTreeMap::new(), counts: BTreeMap::new(), gathered: 0, compressor }
    }

    /// Takes a record in.
    ///
    /// # Errors
    /// If it cannot be written as JSON.
    pub fn push(&mut self, mut record: Record) -> Result<(), PackError> {
        *self.counts.entry(Kind::of(&record).as_str()).or_default() += 1;
        without_nul(&mut record)?;
        let (Some(month), Record::Reading(reading)) = (month_of(&record), &record) else {
            self.rest.push(record);
            return Ok(());
        };
        let open = self.months.entry(month).or_insert_with(|| Open {
            count: 0,
            row: 0,
            hash: Sha256::new(),
            tanks: BTreeSet::new(),
            gathered: Vec::new(),
            bytes: Vec::new(),
        });
        let begin = open.gathered.len();
        let content = Content(
            reading.tank.as_deref(),
            reading.parameter,
            reading.taken,
            reading.value,
            Some((reading.lower, reading.upper)).filter(|bounds| *bounds != (reading.value, reading.value)),
            &reading.unit,
            reading.qualifier,
            &reading.flags,
            reading.written_unit.as_deref(),
        );
        serde_json::to_writer(&mut open.gathered, &content).map_err(PackError::of)?;
        open.gathered.push(b'\n');
        open.hash.update(&open.gathered[begin..]);
        let place = &reading.place;
        let by = |row: u32, from: u32| i64::from(row) - i64::from(from);
        let cells = place.cells.iter().map(|cell| {
            let of = match cell.sheet == place.sheet {
                true => SheetOf::Same(0),
                false => SheetOf::Other(cell.sheet.as_deref().map(Cow::Borrowed)),
            };
            (of, by(cell.row, place.row), cell.column, cell.role.as_str())
        });
        let position = Position(
            &reading.written,
            place.sheet.as_deref(),
            by(place.row, open.row),
            place.column,
            place.line.map(|line| by(line, place.row)),
            cells.collect(),
        );
        open.row = place.row;
        serde_json::to_writer(&mut open.gathered, &position).map_err(PackError::of)?;
        open.gathered.push(b'\n');
        open.count += 1;
        if let Some(tank) = reading.tank.as_deref()
            && !open.tanks.contains(tank)
        {
            open.tanks.insert(tank.to_owned());
        }
        self.gathered += open.gathered.len() - begin;
        if open.gathered.len() >= GATHERED {
            self.gathered -= open.gathered.len();
            open.compress(&mut self.compressor)?;
        } else if self.gathered >= GATHERED_IN_ALL {
            self.gathered = 0;
            self.months.values_mut().try_for_each(|open| open.compress(&mut self.compressor))?;
        }
        Ok(())
    }

    /// What was taken in.
    ///
    /// # Errors
    /// If it cannot be compressed.
    pub fn finish(mut self) -> Result<Packed, PackError> {
        let mut months = BTreeMap::new();
        for (month, mut open) in self.months {
            open.compress(&mut self.compressor)?;
            let hash = open.hash.finalize();
            let mut digest = [0; 16];
            digest.copy_from_slice(&hash[..16]);
            months.insert(month, Block { count: open.count, digest, tanks: open.tanks, bytes: open.bytes });
        }
        Ok(Packed { rest: self.rest, months, counts: self.counts })
    }
}

impl Packed {
    /// Packs records.
    ///
    /// # Errors
    /// If one cannot be written as JSON.
    pub fn of(records: impl IntoIterator<Item = Record>) -> Result<Self, PackError> {
        let mut packer = Packer::new()?;
        for record in records {
            packer.push(record)?;
        }
        packer.finish()
    }

    /// How many records there are.
    pub fn len(&self) -> usize {
        self.rest.len() + self.months.values().map(|block| block.count as usize).sum::<usize>()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.rest.is_empty() && self.months.is_empty()
    }

    /// All records: the rest, then month by month.
    ///
    /// # Errors
    /// If a month is damaged.
    pub fn unpack(&self) -> Result<Vec<Record>, PackError> {
        let mut records = Vec::with_capacity(self.len());
        records.extend(self.rest.iter().cloned());
        for block in self.months.values() {
            records.extend(block.unpack()?);
        }
        Ok(records)
    }
}

/// A database's texts cannot hold the character of number 0: it is shown as a replacement mark.
fn without_nul(record: &mut Record) -> Result<(), PackError> {
    let clean = |text: &str| !text.contains('\0');
    if let Record::Reading(reading) = record
        && reading.tank.as_deref().is_none_or(clean)
        && clean(&reading.written)
        && reading.written_unit.as_deref().is_none_or(clean)
        && reading.specimen.as_deref().is_none_or(clean)
        && reading.place.sheet.as_deref().is_none_or(clean)
    {
        return Ok(());
    }
    let json = serde_json::to_string(record).map_err(PackError::of)?;
    // In JSON the character is an escape; a text that spells the escape out only costs the walk.
    if json.contains("\\u0000") {
        let mut value: serde_json::Value = serde_json::from_str(&json).map_err(PackError::of)?;
        replace_nul(&mut value);
        *record = serde_json::from_value(value).map_err(PackError::of)?;
    }
    Ok(())
}

/// Puts a replacement mark in place of each character of number 0.
pub fn replace_nul(value: &mut serde_json::Value) {
    use serde_json::Value;
    match value {
        Value::String(text) => {
            if text.contains('\0') {
                *text = text.replace('\0', "\u{fffd}");
            }
        }
        Value::Array(values) => values.iter_mut().for_each(replace_nul),
        Value::Object(fields) => fields.values_mut().for_each(replace_nul),
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn records() -> Vec<Record> {
        let text = b"Date,Tank,KH (dKH),NO3,Note\n2024-03-14,Alder,8.2,<0.5,x\n2024-03-21,Birch,8.3,2-5,\n2024-04-01,Alder,8.1,1.5,\n";
        crate::read::read("tests.csv", text, &crate::context::Context::default()).records
    }

    #[test]
    fn what_is_packed_comes_back_and_months_stand_alone() {
        let mut records = records();
        let packed = Packed::of(records.clone()).unwrap();
        assert_eq!(
            packed.months.keys().map(|month| month.first_day().to_string()).collect::<Vec<_>>(),
            ["2024-03-01", "2024-04-01"]
        );
        assert_eq!(packed.len(), records.len());
        assert_eq!(packed.counts["reading"], 6);
        let tanks: Vec<&str> = packed.months.values().next().unwrap().tanks.iter().map(String::as_str).collect();
        assert_eq!(tanks, ["Alder", "Birch"]);
        let order =
            |records: &mut Vec<Record>| records.sort_by_key(|record| (record.place().row, record.place().column));
        let mut back = packed.unpack().unwrap();
        order(&mut back);
        order(&mut records);
        assert_eq!(back, records);
    }

    #[test]
    fn a_months_hash_is_of_what_is_said_and_not_of_where() {
        let packed = Packed::of(records()).unwrap();
        let moved = records().into_iter().map(|mut record| {
            record.place_mut().row += 3;
            record
        });
        let moved = Packed::of(moved).unwrap();
        let digests = |packed: &Packed| packed.months.values().map(|block| block.digest).collect::<Vec<_>>();
        assert_eq!(digests(&packed), digests(&moved));
        let other = records().into_iter().map(|mut record| {
            if let Record::Reading(reading) = &mut record {
                reading.flags.push("approximate".to_owned());
            }
            record
        });
        assert_ne!(digests(&packed), digests(&Packed::of(other).unwrap()));
    }

    #[test]
    fn the_character_of_number_nought_is_shown() {
        let mut record = records().into_iter().find(|record| month_of(record).is_some()).unwrap();
        if let Record::Reading(reading) = &mut record {
            reading.written = "8\0".to_owned();
        }
        let packed = Packed::of([record]).unwrap();
        let Record::Reading(reading) = &packed.unpack().unwrap()[0] else { panic!("a reading") };
        assert_eq!(reading.written, "8\u{fffd}");
    }

    #[test]
    fn months_count_across_years() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let december = Month::of(day("2023-12-31"));
        assert_eq!(december.next(), Month::of(day("2024-01-01")));
        assert_eq!(december.next().first_day(), day("2024-01-01"));
    }
}
