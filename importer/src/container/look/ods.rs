//! How the sheets of an OpenDocument spreadsheet look (OpenDocument 1.3, part 3, clauses 9 and 19).

use std::collections::HashMap;
use std::io::{BufReader, Cursor, Read};

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use zip::ZipArchive;

use super::xlsx::Unknown;
use super::{Colours, Look, Looks, attribute, number};
use crate::grid::Merged;

/// Looks of all sheets.
///
/// # Errors
/// Content that breaks off, in words.
pub fn looks(bytes: &[u8]) -> Result<Looks, Unknown> {
    let mut parts = ZipArchive::new(Cursor::new(bytes)).map_err(|error| error.to_string())?;
    let content = parts.by_name("content.xml").map_err(|error| error.to_string())?;
    let mut reader = Reader::from_reader(BufReader::new(content.take(crate::container::limit::UNPACKED)));
    let mut buffer = Vec::new();
    let mut scan = Scan::default();
    loop {
        buffer.clear();
        match reader.read_event_into(&mut buffer).map_err(|error| error.to_string())? {
            Event::Start(tag) => scan.start(&tag, false),
            Event::Empty(tag) => scan.start(&tag, true),
            Event::End(tag) => scan.end(tag.local_name().as_ref()),
            Event::Eof => return Ok(scan.looks),
            _ => {}
        }
    }
}

#[derive(Default)]
struct Scan {
    looks: Looks,
    colours: Colours,
    /// Fill of the styles of cells.
    styles: HashMap<String, u16>,
    style: Option<String>,
    sheet: Option<(String, Look)>,
    row: u32,
    rows: u32,
    column: u32,
    columns: u32,
}

impl Scan {
    fn start(&mut self, tag: &BytesStart<'_>, empty: bool) {
        match tag.local_name().as_ref() {
            "style" if attribute(tag, "style:family").is_some_and(|family| family == "table-cell") => {
                self.style = attribute(tag, "style:name").map(|name| name.into_owned()).filter(|_| !empty);
            }
            "table-cell-properties" => {
                let colour = attribute(tag, "fo:background-color").and_then(|colour| self.colours.number(&colour));
                if let (Some(style), Some(colour)) = (self.style.clone(), colour) {
                    self.styles.insert(style, colour);
                }
            }
            "table" => {
                let name = tag
                    .attributes()
                    .flatten()
                    .find(|attribute| attribute.key.as_ref() == "table:name")
                    .and_then(|attribute| attribute.normalized_value(quick_xml::XmlVersion::Implicit1_0).ok());
                self.sheet = name.map(|name| (name.into_owned(), Look::default()));
                (self.row, self.rows, self.column, self.columns) = (0, 0, 0, 0);
            }
            "table-column" => {
                let repeated = number(tag, "table:number-columns-repeated").unwrap_or(1).max(1);
                let first = self.columns.saturating_add(1);
                self.columns = self.columns.saturating_add(repeated);
                if hidden(tag)
                    && let Some((_, look)) = &mut self.sheet
                {
                    look.hidden_columns.add(first, self.columns);
                }
            }
            "table-row" => {
                let repeated = number(tag, "table:number-rows-repeated").unwrap_or(1).max(1);
                self.row = self.rows.saturating_add(1);
                self.rows = self.rows.saturating_add(repeated);
                self.column = 0;
                if hidden(tag)
                    && let Some((_, look)) = &mut self.sheet
                {
                    look.hidden_rows.add(self.row, self.rows);
                }
            }
            "table-cell" | "covered-table-cell" => self.cell(tag),
            _ => {}
        }
    }

    fn cell(&mut self, tag: &BytesStart<'_>) {
        let repeated = number(tag, "table:number-columns-repeated").unwrap_or(1).max(1);
        let first = self.column.saturating_add(1);
        self.column = self.column.saturating_add(repeated);
        let Some((_, look)) = &mut self.sheet else { return };
        let across = number(tag, "table:number-columns-spanned").unwrap_or(1).max(1);
        let down = number(tag, "table:number-rows-spanned").unwrap_or(1).max(1);
        if across > 1 || down > 1 {
            look.merge(Merged {
                first_row: self.row,
                last_row: self.row.saturating_add(down - 1),
                first_column: first,
                last_column: first.saturating_add(across - 1),
            });
        }
        // Only cells with a value; long empty runs are painted for their looks.
        let Some(kind) = attribute(tag, "office:value-type") else { return };
        let colour = attribute(tag, "table:style-name").and_then(|style| self.styles.get(&*style).copied());
        for row in self.row..=self.rows.min(self.row.saturating_add(999)) {
            for column in first..=self.column.min(first.saturating_add(999)) {
                if let Some(colour) = colour {
                    look.fill(row, column, colour);
                }
                if kind == "percentage" && look.percents.len() < super::MOST {
                    look.percents.insert((row, column));
                }
            }
        }
    }

    fn end(&mut self, name: &str) {
        match name {
            "style" => self.style = None,
            "table" => {
                if let Some((name, mut look)) = self.sheet.take() {
                    look.settle();
                    self.looks.insert(name, look);
                }
            }
            _ => {}
        }
    }
}

/// Collapsed by hand, or left out by a filter.
fn hidden(tag: &BytesStart<'_>) -> bool {
    attribute(tag, "table:visibility").is_some_and(|seen| matches!(&*seen, "collapse" | "filter"))
}
