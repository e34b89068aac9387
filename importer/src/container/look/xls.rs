//! How the sheets of an old binary workbook look, and how large they are, before a reader unfolds them
//! (the published binary interchange file format, versions 5 and 8).

use std::collections::HashMap;
use std::io::{Cursor, Read};

use super::{Colours, Look, Looks, is_percent};
use crate::grid::Merged;

const BOUNDSHEET: u16 = 0x0085;
const ROW: u16 = 0x0208;
const COLINFO: u16 = 0x007d;
const MERGEDCELLS: u16 = 0x00e5;
const XF: u16 = 0x00e0;
const FORMAT: u16 = 0x041e;
const FILEPASS: u16 = 0x002f;
const BOF: u16 = 0x0809;
const EOF: u16 = 0x000a;
/// Cells of one value: row, column, style.
const CELLS: [u16; 7] = [0x0006, 0x0201, 0x0203, 0x0204, 0x0205, 0x00fd, 0x027e];
/// Cells of several values: row, first column, …, last column.
const MANY: [u16; 2] = [0x00bd, 0x00be];
/// Built-in formats with a percent sign.
const PERCENT_FORMATS: [u16; 2] = [9, 10];

/// What is known of a workbook before it is read.
pub struct Seen {
    /// Looks by sheet.
    pub looks: Looks,
    /// Cells of the smallest rectangle around the filled cells of each sheet, added up.
    pub cells: u64,
    /// A password is needed.
    pub locked: bool,
    /// Sheets it names.
    pub sheets: u64,
}

/// Looks through a workbook.
///
/// # Errors
/// Why its container cannot be opened, in words.
pub fn see(bytes: &[u8]) -> Result<Seen, String> {
    let mut file = cfb::CompoundFile::open(Cursor::new(bytes)).map_err(|error| error.to_string())?;
    let name = ["/Workbook", "/Book"]
        .into_iter()
        .find(|name| file.is_stream(name))
        .ok_or_else(|| "it holds no workbook".to_owned())?;
    let mut stream = Vec::new();
    let mut part = file.open_stream(name).map_err(|error| error.to_string())?;
    part.by_ref().take(bytes.len() as u64).read_to_end(&mut stream).map_err(|error| error.to_string())?;
    Ok(Scan::default().through(&stream))
}

#[derive(Default)]
struct Scan {
    /// Where each sheet begins, and its name.
    sheets: Vec<(usize, String)>,
    percents: HashMap<u16, bool>,
    colours: Colours,
    styles: Vec<(Option<u16>, u16)>,
    wide: bool,
    locked: bool,
}

/// Smallest rectangle around cells.
#[derive(Default)]
struct Extent(Option<[u32; 4]>);

impl Extent {
    fn add(&mut self, row: u32, first: u32, last: u32) {
        let [top, left, bottom, right] = self.0.unwrap_or([row, first, row, last]);
        self.0 = Some([top.min(row), left.min(first), bottom.max(row), right.max(last)]);
    }

    fn cells(&self) -> u64 {
        self.0.map_or(0, |[top, left, bottom, right]| {
            u64::from(bottom - top + 1) * u64::from(right.saturating_sub(left) + 1)
        })
    }
}

fn u16_at(data: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes([*data.get(at)?, *data.get(at + 1)?]))
}

fn u32_at(data: &[u8], at: usize) -> Option<u32> {
    Some(u32::from(u16_at(data, at)?) | u32::from(u16_at(data, at + 2)?) << 16)
}

/// Records from a place on: (kind, data, place after).
fn records(stream: &[u8], from: usize) -> impl Iterator<Item = (u16, &[u8])> {
    let mut at = from;
    std::iter::from_fn(move || {
        let kind = u16_at(stream, at)?;
        let length = usize::from(u16_at(stream, at + 2)?);
        let data = stream.get(at + 4..at + 4 + length)?;
        at += 4 + length;
        Some((kind, data))
    })
}

impl Scan {
    fn through(mut self, stream: &[u8]) -> Seen {
        for (kind, data) in records(stream, 0) {
            match kind {
                BOF => self.wide = u16_at(data, 0) == Some(0x0600),
                FILEPASS => self.locked = true,
                BOUNDSHEET => self.bound_sheet(data),
                FORMAT => self.format(data),
                XF => self.style(data),
                EOF => break,
                _ => {}
            }
        }
        let mut seen = Seen { looks: Looks::new(), cells: 0, locked: self.locked, sheets: self.sheets.len() as u64 };
        let mut begun = std::collections::HashSet::new();
        for (begins, name) in &self.sheets {
            // A place named a hundred times is read once.
            if begun.insert(*begins) {
                let (look, cells) = self.sheet(stream, *begins);
                seen.cells = seen.cells.saturating_add(cells);
                seen.looks.insert(name.clone(), look);
            }
        }
        seen
    }

    fn bound_sheet(&mut self, data: &[u8]) {
        let (Some(begins), Some(&length)) = (u32_at(data, 0), data.get(6)) else { return };
        let length = usize::from(length);
        let name = match data.get(7) {
            Some(1) if self.wide => {
                let units: Vec<u16> = (0..length).map_while(|at| u16_at(data, 8 + at * 2)).collect();
                String::from_utf16_lossy(&units)
            }
            Some(_) => {
                let from = if self.wide { 8 } else { 7 };
                let letters = data.get(from..from + length).unwrap_or_default();
                encoding_rs::WINDOWS_1252.decode_without_bom_handling(letters).0.into_owned()
            }
            None => return,
        };
        self.sheets.push((begins as usize, name));
    }

    fn format(&mut self, data: &[u8]) {
        let Some(id) = u16_at(data, 0) else { return };
        // Signs of a format are ASCII in either width.
        let code: String = data.iter().skip(4).filter(|byte| **byte != 0).map(|byte| char::from(*byte)).collect();
        self.percents.insert(id, is_percent(&code));
    }

    fn style(&mut self, data: &[u8]) {
        let format = u16_at(data, 2).unwrap_or(0);
        let fill = u32_at(data, 14).zip(u16_at(data, 18)).filter(|(border, _)| self.wide && border >> 26 != 0);
        let colour = fill.and_then(|(_, colours)| self.colours.number(&format!("indexed {}", colours & 0x7f)));
        self.styles.push((colour.filter(|_| fill.is_some_and(|(_, colours)| colours & 0x7f != 9)), format));
    }

    fn sheet(&self, stream: &[u8], begins: usize) -> (Look, u64) {
        let mut look = Look::default();
        let mut extent = Extent::default();
        for (kind, data) in records(stream, begins) {
            match kind {
                EOF => break,
                ROW => {
                    if let (Some(row), Some(flags)) = (u16_at(data, 0), u16_at(data, 12))
                        && flags & 0x20 != 0
                    {
                        look.hidden_rows.add(u32::from(row) + 1, u32::from(row) + 1);
                    }
                }
                COLINFO => {
                    if let (Some(first), Some(last), Some(flags)) = (u16_at(data, 0), u16_at(data, 2), u16_at(data, 8))
                        && flags & 1 != 0
                    {
                        look.hidden_columns.add(u32::from(first) + 1, u32::from(last) + 1);
                    }
                }
                MERGEDCELLS => merges(data, &mut look),
                _ if CELLS.contains(&kind) => {
                    if let (Some(row), Some(column), Some(style)) = (u16_at(data, 0), u16_at(data, 2), u16_at(data, 4))
                    {
                        extent.add(u32::from(row), u32::from(column), u32::from(column));
                        self.cell(&mut look, row, column, style);
                    }
                }
                _ if MANY.contains(&kind) => {
                    let (Some(row), Some(first), Some(last)) =
                        (u16_at(data, 0), u16_at(data, 2), u16_at(data, data.len().saturating_sub(2)))
                    else {
                        continue;
                    };
                    extent.add(u32::from(row), u32::from(first), u32::from(last.max(first)));
                    let step = if kind == MANY[0] { 6 } else { 2 };
                    for (at, column) in (first..=last).enumerate() {
                        let Some(style) = u16_at(data, 4 + at * step) else { break };
                        self.cell(&mut look, row, column, style);
                    }
                }
                _ => {}
            }
        }
        look.settle();
        (look, extent.cells())
    }

    fn cell(&self, look: &mut Look, row: u16, column: u16, style: u16) {
        let Some((colour, format)) = self.styles.get(usize::from(style)) else { return };
        let (row, column) = (u32::from(row) + 1, u32::from(column) + 1);
        if let Some(colour) = colour {
            look.fill(row, column, *colour);
        }
        if self.percents.get(format).copied().unwrap_or_else(|| PERCENT_FORMATS.contains(format)) {
            look.percents.insert((row, column));
        }
    }
}

fn merges(data: &[u8], look: &mut Look) {
    for at in 0..usize::from(u16_at(data, 0).unwrap_or(0)) {
        let place = |part: usize| u16_at(data, 2 + at * 8 + part * 2).map(|number| u32::from(number) + 1);
        let (Some(first_row), Some(last_row), Some(first_column), Some(last_column)) =
            (place(0), place(1), place(2), place(3))
        else {
            break;
        };
        look.merge(Merged { first_row, last_row, first_column, last_column });
    }
}
