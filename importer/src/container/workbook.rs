//! Workbooks to grids, one a sheet. Xlsx is streamed cell by cell; ods and xls are measured before they are unfolded.
//!
//! Values are taken as stored: a formula gives its stored value, one without a value is an error cell; a share shown in
//! percent is taken as shown. Hidden sheets, rows and columns are kept and said, not read.

use std::io::Cursor;
use std::panic::AssertUnwindSafe;

use calamine::{
    Data, DataRef, ExcelDateTime, Ods, OdsError, Range, Reader, Sheet, SheetType, SheetVisible, Xls, XlsError, Xlsx,
    XlsxError, XlsxFormulaMetadata,
};
use chrono::{NaiveDate, NaiveDateTime, TimeDelta};

use super::delimited::is_blank;
use super::look::{self, Look, Looks};
use super::{Kind, archive, limit, verdict};
use crate::dialect::decimal::Marks;
use crate::finding::{Answer, Finding};
use crate::grid::{Cell, Grid, Raw, Row, general};

/// Cells of the rectangles that a library unfolds before it gives them out; more would take more memory than a club has.
const UNFOLDED: u64 = 5_000_000;

/// Reads a workbook.
pub fn open(kind: Kind, bytes: &[u8], answers: &[Answer]) -> Result<(Vec<Grid>, Vec<Finding>), Box<Finding>> {
    // The readers are libraries for well-meant files; one that stops on a broken file must not stop the club's server.
    let read = std::panic::catch_unwind(AssertUnwindSafe(|| match kind {
        Kind::Ods => ods(bytes, answers),
        Kind::Xls => xls(bytes, answers),
        Kind::Xlsx | Kind::Text => xlsx(bytes, answers),
    }));
    let mut grids = read.unwrap_or_else(|_| Err(Box::new(verdict::damaged("its parts contradict each other"))))?;
    let mut findings = Vec::new();
    for (grid, look) in &mut grids {
        let sheet = grid.sheet.clone().unwrap_or_default();
        if grid.hidden && !(grid.rows.is_empty() && grid.aside.is_empty()) {
            let note = hidden(&sheet, &sheet, &format!("sheet \"{sheet}\""));
            if verdict::chosen(answers, &note.key) == Some("read") {
                grid.hidden = false;
            } else {
                findings.push(note);
            }
        }
        if let Some(first) = grid.aside.first().filter(|_| !grid.hidden) {
            let mut note = hidden(&sheet, &lines_key(&sheet), &aside(look, grid));
            note.row = Some(first.number);
            note.column = first.cells.first().map(|cell| cell.column);
            findings.push(note);
        }
    }
    Ok((grids.into_iter().map(|(grid, _)| grid).collect(), findings))
}

/// A sheet and how it looks.
type Sighted = (Grid, Look);

fn hidden(sheet: &str, about: &str, what: &str) -> Finding {
    let mut note = verdict::finding("sheet_hidden", about, &[("what", what)]);
    note.sheet = Some(sheet.to_owned());
    note
}

/// What names the hidden rows and columns of a sheet in the keys of findings.
fn lines_key(sheet: &str) -> String {
    format!("lines of {sheet}")
}

/// The hidden rows and columns that hold cells: "row 4 and column 6".
fn aside(look: &Look, grid: &Grid) -> String {
    let mut rows = look::Spans::default();
    let mut columns: Vec<u32> = Vec::new();
    for row in &grid.aside {
        if look.hidden_rows.hold(row.number) {
            rows.add(row.number, row.number);
        }
        columns.extend(row.cells.iter().map(|cell| cell.column).filter(|column| look.hidden_columns.hold(*column)));
    }
    columns.sort_unstable();
    columns.dedup();
    let mut spans = look::Spans::default();
    columns.iter().for_each(|column| spans.add(*column, *column));
    let parts = [("row", rows), ("column", spans)];
    let said: Vec<String> = parts
        .iter()
        .filter(|(_, spans)| !spans.is_empty())
        .map(|(what, spans)| format!("{what} {}", spans.said()))
        .collect();
    said.join(" and ")
}

/// Whether a file of the compound container needs a password: its directory then names a part `EncryptedPackage`.
pub fn is_protected(bytes: &[u8]) -> bool {
    let name: Vec<u8> = "EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes).collect();
    memchr::memmem::find(bytes, &name).is_some()
}

/// Looks of the sheets; hidden rows and columns are shown where somebody has said to read them too.
fn shown(looks: Result<Looks, String>, answers: &[Answer]) -> Result<Looks, Box<Finding>> {
    let mut looks = looks.map_err(|reason| Box::new(verdict::damaged(&reason)))?;
    for (sheet, look) in &mut looks {
        let key = hidden(sheet, &lines_key(sheet), "").key;
        if verdict::chosen(answers, &key) == Some("read") {
            look.hidden_rows = look::Spans::default();
            look.hidden_columns = look::Spans::default();
        }
    }
    Ok(looks)
}

fn xlsx(bytes: &[u8], answers: &[Answer]) -> Result<Vec<Sighted>, Box<Finding>> {
    let failed = |error: XlsxError| match error {
        XlsxError::Password => Box::new(verdict::locked()),
        other => Box::new(verdict::damaged(&other.to_string())),
    };
    let mut book: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(bytes)).map_err(failed)?;
    let sheets = sheets(book.sheets_metadata())?;
    let mut looks = shown(look::xlsx::looks(bytes), answers)?;
    let mut meter = limit::Meter::default();
    let mut grids = Vec::with_capacity(sheets.len());
    for (name, hidden) in sheets {
        let mut building = Building::new(name.clone(), hidden, looks.remove(&name).unwrap_or_default());
        let mut cells = book.worksheet_cells_reader(&name).map_err(failed)?;
        while let Some(record) = cells.next_cell_with_formula_metadata().map_err(failed)? {
            let raw = match record.value {
                DataRef::Empty => record.formula.map(|formula| Raw::Error(formula_text(&formula).into())),
                DataRef::Int(number) => Some(Raw::Number(number as f64)),
                DataRef::Float(number) => Some(Raw::Number(number)),
                DataRef::String(text) => Some(Raw::Text(text)),
                DataRef::SharedString(text) => Some(Raw::Text(text.to_owned())),
                DataRef::Bool(value) => Some(Raw::Bool(value)),
                DataRef::DateTime(at) => Some(dated(at)),
                DataRef::DateTimeIso(text) => Some(iso(text)),
                DataRef::DurationIso(text) => Some(Raw::Text(clock_of_duration(&text).unwrap_or(text))),
                DataRef::Error(error) => Some(Raw::Error(error.to_string().into())),
            };
            if let Some(raw) = raw {
                building.put(record.pos.0, record.pos.1, raw, &mut meter)?;
            }
        }
        grids.push(building.grid());
    }
    Ok(grids)
}

fn ods(bytes: &[u8], answers: &[Answer]) -> Result<Vec<Sighted>, Box<Finding>> {
    archive::measure_repeats(bytes, UNFOLDED)?;
    let failed = |error: OdsError| match error {
        OdsError::Password => Box::new(verdict::locked()),
        OdsError::CellLimitExceeded { requested, .. } => {
            Box::new(verdict::over_limit("cells", UNFOLDED, requested as u64))
        }
        other => Box::new(verdict::damaged(&other.to_string())),
    };
    let mut book: Ods<_> = calamine::open_workbook_from_rs(Cursor::new(bytes)).map_err(failed)?;
    let sheets = sheets(book.sheets_metadata())?;
    let mut looks = shown(look::ods::looks(bytes), answers)?;
    let mut meter = limit::Meter::default();
    let mut grids = Vec::with_capacity(sheets.len());
    for (name, hidden) in sheets {
        let range = book.worksheet_range(&name).map_err(failed)?;
        let look = looks.remove(&name).unwrap_or_default();
        grids.push(unfolded(Building::new(name, hidden, look), &range, &mut meter)?);
    }
    Ok(grids)
}

fn xls(bytes: &[u8], answers: &[Answer]) -> Result<Vec<Sighted>, Box<Finding>> {
    let seen = look::xls::see(bytes).map_err(|reason| Box::new(verdict::damaged(&reason)))?;
    if seen.locked {
        return Err(Box::new(verdict::locked()));
    }
    if seen.sheets > limit::SHEETS {
        return Err(Box::new(verdict::over_limit("sheets", limit::SHEETS, seen.sheets)));
    }
    if seen.cells > UNFOLDED {
        return Err(Box::new(verdict::over_limit("cells", UNFOLDED, seen.cells)));
    }
    let failed = |error: XlsError| match error {
        XlsError::Password => Box::new(verdict::locked()),
        other => Box::new(verdict::damaged(&other.to_string())),
    };
    let mut book: Xls<_> = calamine::open_workbook_from_rs(Cursor::new(bytes)).map_err(failed)?;
    let sheets = sheets(book.sheets_metadata())?;
    let mut looks = shown(Ok(seen.looks), answers)?;
    let mut meter = limit::Meter::default();
    let mut grids = Vec::with_capacity(sheets.len());
    for (name, hidden) in sheets {
        let range = book.worksheet_range(&name).map_err(failed)?;
        let look = looks.remove(&name).unwrap_or_default();
        grids.push(unfolded(Building::new(name, hidden, look), &range, &mut meter)?);
    }
    Ok(grids)
}

/// The cells of a range that a library has unfolded.
fn unfolded(mut building: Building, range: &Range<Data>, meter: &mut limit::Meter) -> Result<Sighted, Box<Finding>> {
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
            Data::Error(error) => Raw::Error(error.to_string().into()),
        };
        building.put(start.0 + row as u32, start.1 + column as u32, raw, meter)?;
    }
    Ok(building.grid())
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
    look: Look,
    marks: Marks,
    in_order: bool,
}

impl Building {
    fn new(name: String, hidden: bool, look: Look) -> Self {
        Building {
            grid: Grid { sheet: Some(name), hidden, ..Grid::default() },
            look,
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
        let raw = match raw {
            Raw::Number(share) if self.look.percents.contains(&(row, column)) => {
                Raw::Text(format!("{}%", general(share * 100.0)))
            }
            // One container keeps a failed formula as such, the next as text.
            Raw::Text(text) => Raw::of_text(text),
            raw => raw,
        };
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

    fn grid(mut self) -> Sighted {
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
        self.set_aside();
        self.grid.decimal_comma = self.marks.decimal_comma(true);
        self.grid.merged = std::mem::take(&mut self.look.merged);
        self.grid.fills = std::mem::take(&mut self.look.fills);
        (self.grid, self.look)
    }
}

impl Building {
    /// Takes the cells of hidden rows and columns out.
    fn set_aside(&mut self) {
        if self.look.hidden_rows.is_empty() && self.look.hidden_columns.is_empty() {
            return;
        }
        for row in &mut self.grid.rows {
            let number = row.number;
            let (hidden, cells) =
                std::mem::take(&mut row.cells).into_iter().partition(|cell| self.look.hides(number, cell.column));
            row.cells = cells;
            if !hidden.is_empty() {
                self.grid.aside.push(Row { number, line: None, cells: hidden });
            }
        }
        self.grid.rows.retain(|row| !row.cells.is_empty());
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
