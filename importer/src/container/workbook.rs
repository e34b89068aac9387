//! Workbooks to grids, one a sheet. Xlsx is streamed cell by cell; ods is measured before it is unfolded.
//!
//! Values are taken as stored: a formula gives its stored value, one without a value is an error cell. Hidden sheets
//! are kept and said, not read.

use std::io::Cursor;
use std::panic::AssertUnwindSafe;

use calamine::{
    Data, DataRef, ExcelDateTime, Ods, OdsError, Reader, Sheet, SheetType, SheetVisible, Xlsx, XlsxError,
    XlsxFormulaMetadata,
};
use chrono::{NaiveDate, NaiveDateTime, TimeDelta};

use super::delimited::is_blank;
use super::{Kind, archive, limit, verdict};
use crate::dialect::decimal::Marks;
use crate::finding::{Answer, Finding};
use crate::grid::{Cell, Grid, Raw, Row};

/// Reads a workbook.
pub fn open(kind: Kind, bytes: &[u8], answers: &[Answer]) -> Result<(Vec<Grid>, Vec<Finding>), Box<Finding>> {
    // The readers are libraries for well-meant files; one that stops on a broken file must not stop the club's server.
    let read = std::panic::catch_unwind(AssertUnwindSafe(|| match kind {
        Kind::Ods => ods(bytes),
        _ => xlsx(bytes),
    }));
    let mut grids = read.unwrap_or_else(|_| Err(Box::new(verdict::damaged("its parts contradict each other"))))?;
    let mut findings = Vec::new();
    for grid in grids.iter_mut().filter(|grid| grid.hidden && !grid.rows.is_empty()) {
        let sheet = grid.sheet.as_deref().unwrap_or_default();
        let mut note = verdict::finding("sheet_hidden", sheet, &[("sheet", sheet)]);
        note.sheet = grid.sheet.clone();
        if verdict::chosen(answers, &note.key) == Some("read") {
            grid.hidden = false;
        } else {
            findings.push(note);
        }
    }
    Ok((grids, findings))
}

/// Whether a compound file holds an encrypted workbook: its directory then names a part `EncryptedPackage`.
pub fn is_protected(bytes: &[u8]) -> bool {
    let name: Vec<u8> = "EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes).collect();
    memchr::memmem::find(bytes, &name).is_some()
}

fn xlsx(bytes: &[u8]) -> Result<Vec<Grid>, Box<Finding>> {
    let failed = |error: XlsxError| match error {
        XlsxError::Password => Box::new(verdict::locked()),
        other => Box::new(verdict::damaged(&other.to_string())),
    };
    let mut book: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(bytes)).map_err(failed)?;
    let sheets = sheets(book.sheets_metadata())?;
    let mut meter = limit::Meter::default();
    let mut grids = Vec::with_capacity(sheets.len());
    for (name, hidden) in sheets {
        let mut building = Building::new(name.clone(), hidden);
        let mut cells = book.worksheet_cells_reader(&name).map_err(failed)?;
        while let Some(record) = cells.next_cell_with_formula_metadata().map_err(failed)? {
            let raw = match record.value {
                DataRef::Empty => record.formula.map(|formula| Raw::Error(formula_text(&formula))),
                DataRef::Int(number) => Some(Raw::Number(number as f64)),
                DataRef::Float(number) => Some(Raw::Number(number)),
                DataRef::String(text) => Some(Raw::Text(text)),
                DataRef::SharedString(text) => Some(Raw::Text(text.to_owned())),
                DataRef::Bool(value) => Some(Raw::Bool(value)),
                DataRef::DateTime(at) => Some(dated(at)),
                DataRef::DateTimeIso(text) => Some(iso(text)),
                DataRef::DurationIso(text) => Some(Raw::Text(clock_of_duration(&text).unwrap_or(text))),
                DataRef::Error(error) => Some(Raw::Error(error.to_string())),
            };
            if let Some(raw) = raw {
                building.put(record.pos.0, record.pos.1, raw, &mut meter)?;
            }
        }
        grids.push(building.grid());
    }
    Ok(grids)
}

fn ods(bytes: &[u8]) -> Result<Vec<Grid>, Box<Finding>> {
    archive::measure_repeats(bytes)?;
    let failed = |error: OdsError| match error {
        OdsError::Password => Box::new(verdict::locked()),
        OdsError::CellLimitExceeded { requested, .. } => {
            Box::new(verdict::over_limit("cells", limit::CELLS, requested as u64))
        }
        other => Box::new(verdict::damaged(&other.to_string())),
    };
    let mut book: Ods<_> = calamine::open_workbook_from_rs(Cursor::new(bytes)).map_err(failed)?;
    let sheets = sheets(book.sheets_metadata())?;
    let mut meter = limit::Meter::default();
    let mut grids = Vec::with_capacity(sheets.len());
    for (name, hidden) in sheets {
        let mut building = Building::new(name.clone(), hidden);
        let range = book.worksheet_range(&name).map_err(failed)?;
        let start = range.start().unwrap_or_default();
        for (row, column, value) in range.used_cells() {
            let raw = match value {
                Data::Empty => continue,
                Data::Int(number) => Raw::Number(*number as f64),
                Data::Float(number) => Raw::Number(*number),
                Data::String(text) => Raw::Text(text.clone()),
                Data::Bool(value) => Raw::Bool(*value),
                Data::DateTime(at) => dated(*at),
                Data::DateTimeIso(text) => iso(text.clone()),
                Data::DurationIso(text) => Raw::Text(clock_of_duration(text).unwrap_or_else(|| text.clone())),
                Data::Error(error) => Raw::Error(error.to_string()),
            };
            building.put(start.0 + row as u32, start.1 + column as u32, raw, &mut meter)?;
        }
        grids.push(building.grid());
    }
    Ok(grids)
}

/// Names of the sheets that hold cells, in order, and whether each is hidden.
fn sheets(sheets: &[Sheet]) -> Result<Vec<(String, bool)>, Box<Finding>> {
    if sheets.len() as u64 > limit::SHEETS {
        return Err(Box::new(verdict::over_limit("sheets", limit::SHEETS, sheets.len() as u64)));
    }
    let cells = sheets.iter().filter(|sheet| sheet.typ == SheetType::WorkSheet);
    Ok(cells.map(|sheet| (sheet.name.clone(), sheet.visible != SheetVisible::Visible)).collect())
}

/// A sheet while its cells come in, normally in reading order.
struct Building {
    grid: Grid,
    marks: Marks,
    in_order: bool,
}

impl Building {
    fn new(name: String, hidden: bool) -> Self {
        Building {
            grid: Grid { sheet: Some(name), hidden, ..Grid::default() },
            marks: Marks::default(),
            in_order: true,
        }
    }

    /// Puts a cell down; row and column count from 0 as in the container.
    fn put(&mut self, row: u32, column: u32, raw: Raw, meter: &mut limit::Meter) -> Result<(), Box<Finding>> {
        let (row, column) = (row.saturating_add(1), column.saturating_add(1));
        let bytes = match &raw {
            Raw::Text(text) if is_blank(text) => return Ok(()),
            Raw::Text(text) => {
                self.marks.see(text);
                text.len()
            }
            _ => 0,
        };
        meter.cell(u64::from(row), u64::from(column), bytes)?;
        let cell = Cell { column, raw };
        match self.grid.rows.last_mut() {
            Some(last) if last.number == row => {
                self.in_order &= last.cells.last().is_none_or(|before| before.column < column);
                last.cells.push(cell);
            }
            last => {
                self.in_order &= last.is_none_or(|last| last.number < row);
                self.grid.rows.push(Row { number: row, line: None, cells: vec![cell] });
            }
        }
        Ok(())
    }

    fn grid(mut self) -> Grid {
        if !self.in_order {
            let mut cells: Vec<(u32, Cell)> = self
                .grid
                .rows
                .drain(..)
                .flat_map(|row| row.cells.into_iter().map(move |cell| (row.number, cell)))
                .collect();
            cells.sort_by_key(|(row, cell)| (*row, cell.column));
            // Two cells in one place: the first stands, as in the programs that wrote the file.
            cells.dedup_by_key(|(row, cell)| (*row, cell.column));
            for (number, cell) in cells {
                match self.grid.rows.last_mut() {
                    Some(last) if last.number == number => last.cells.push(cell),
                    _ => self.grid.rows.push(Row { number, line: None, cells: vec![cell] }),
                }
            }
        }
        self.grid.decimal_comma = self.marks.decimal_comma(true);
        self.grid
    }
}

fn formula_text(formula: &XlsxFormulaMetadata) -> String {
    match formula {
        XlsxFormulaMetadata::Normal { formula } | XlsxFormulaMetadata::Shared { formula, .. } => format!("={formula}"),
        _ => "=".to_owned(),
    }
}

/// A serial number shown as a day: a day with or without a time, a bare time of day, or a length of time.
fn dated(at: ExcelDateTime) -> Raw {
    let serial = at.as_f64();
    if !(0.0..2_958_466.0).contains(&serial) {
        return Raw::Number(serial);
    }
    if at.is_duration() || serial < 1.0 {
        return Raw::Text(clock(serial));
    }
    let (year, month, day, ..) = at.to_ymd_hms_milli();
    let Some(on) = NaiveDate::from_ymd_opt(i32::from(year), u32::from(month), u32::from(day)) else {
        return Raw::Number(serial);
    };
    // Rounded to the second: 19:30 is stored as a fraction that ends just below or above it.
    let seconds = (serial.fract() * 86_400.0).round() as i64;
    Raw::Date(NaiveDateTime::from(on) + TimeDelta::seconds(seconds))
}

/// A fraction of a day as hours and minutes; more than a day counts on in hours.
fn clock(serial: f64) -> String {
    let seconds = (serial * 86_400.0).round() as u64;
    let (hours, minutes, rest) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    if rest == 0 { format!("{hours:02}:{minutes:02}") } else { format!("{hours:02}:{minutes:02}:{rest:02}") }
}

fn iso(text: String) -> Raw {
    let day = || NaiveDate::parse_from_str(&text, "%Y-%m-%d").ok().map(NaiveDateTime::from);
    let day_and_time = || {
        ["%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%dT%H:%M"]
            .iter()
            .find_map(|format| NaiveDateTime::parse_from_str(text.trim_end_matches('Z'), format).ok())
    };
    match day().or_else(day_and_time) {
        Some(at) => Raw::Date(at),
        None => Raw::Text(text),
    }
}

/// "PT19H30M00S" as "19:30".
fn clock_of_duration(text: &str) -> Option<String> {
    let mut seconds = 0.0;
    let mut number = String::new();
    for letter in text.strip_prefix("PT")?.chars() {
        let scale = match letter {
            'H' => 3600.0,
            'M' => 60.0,
            'S' => 1.0,
            digit => {
                number.push(digit);
                continue;
            }
        };
        seconds += number.parse::<f64>().ok().filter(|value| (0.0..1e6).contains(value))? * scale;
        number.clear();
    }
    Some(clock(seconds / 86_400.0))
}

#[cfg(test)]
mod tests {
    use calamine::ExcelDateTimeType;

    use super::*;

    fn shown(serial: f64, is_1904: bool) -> String {
        dated(ExcelDateTime::new(serial, ExcelDateTimeType::DateTime, is_1904)).written()
    }

    #[test]
    fn serials_are_days_and_times() {
        assert_eq!(shown(45352.0, false), "2024-03-01");
        assert_eq!(shown(45352.0 - 1462.0, true), "2024-03-01");
        assert_eq!(shown(45352.8125, false), "2024-03-01T19:30");
        assert_eq!(shown(45_352.812_499_999_9, false), "2024-03-01T19:30");
        assert_eq!(shown(0.8125, false), "19:30");
        assert_eq!(shown(-3.0, false), "-3");
        assert_eq!(dated(ExcelDateTime::new(1.5, ExcelDateTimeType::TimeDelta, false)).written(), "36:00");
    }

    #[test]
    fn iso_days_and_durations() {
        assert_eq!(iso("2024-03-02".to_owned()).written(), "2024-03-02");
        assert_eq!(iso("2024-03-02T19:30:00".to_owned()).written(), "2024-03-02T19:30");
        assert_eq!(clock_of_duration("PT19H30M00S").as_deref(), Some("19:30"));
        assert_eq!(clock_of_duration("P1D"), None);
    }
}
