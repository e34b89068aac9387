//! Sheets as a person sees them, written into the three containers of today: text, xlsx, OpenDocument.
#![allow(dead_code, reason = "each test program uses its own part")]

use std::collections::BTreeSet;
use std::io::{Cursor, Write};

use chrono::NaiveDate;
use rust_xlsxwriter::{Format, Formula, Workbook};
use zip::write::SimpleFileOptions;

/// What a cell holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// Nothing.
    Empty,
    /// Words, or a number typed as text.
    Text(String),
    /// A number.
    Number(f64),
    /// A number that a formula gave.
    Reckoned(f64),
    /// Words that a formula gave.
    Joined(String),
    /// A formula that failed.
    Failed(&'static str),
    /// A real date.
    Day(NaiveDate),
    /// Yes or no.
    Truth(bool),
}

impl Value {
    /// Whether a person sees something in the cell.
    pub fn is_filled(&self) -> bool {
        match self {
            Value::Empty => false,
            Value::Text(text) | Value::Joined(text) => !text.trim().is_empty(),
            _ => true,
        }
    }

    /// As a text file has it.
    pub fn written(&self) -> String {
        match self {
            Value::Empty => String::new(),
            Value::Text(text) | Value::Joined(text) => text.clone(),
            Value::Number(number) | Value::Reckoned(number) => number.to_string(),
            Value::Failed(text) => (*text).to_owned(),
            Value::Day(day) => day.to_string(),
            Value::Truth(true) => "TRUE".to_owned(),
            Value::Truth(false) => "FALSE".to_owned(),
        }
    }
}

/// A sheet; rows and columns count from 1.
#[derive(Debug, Clone, Default)]
pub struct Page {
    /// Its name.
    pub name: String,
    /// Cells.
    pub rows: Vec<Vec<Value>>,
    /// The sheet is hidden.
    pub hidden: bool,
    /// Hidden rows.
    pub hidden_rows: BTreeSet<u32>,
    /// Hidden columns.
    pub hidden_columns: BTreeSet<u32>,
    /// Merged ranges: first row, first column, last row, last column. A cell under a range may still hold something.
    pub merged: Vec<[u32; 4]>,
}

impl Page {
    /// A sheet of rows.
    pub fn new(name: &str, rows: Vec<Vec<Value>>) -> Self {
        Page { name: name.to_owned(), rows, ..Page::default() }
    }

    /// Places of all filled cells.
    pub fn filled(&self) -> impl Iterator<Item = (u32, u32)> + '_ {
        (1..).zip(&self.rows).flat_map(|(row, cells)| {
            (1..).zip(cells).filter(|(_, value)| value.is_filled()).map(move |(column, _)| (row, column))
        })
    }

    /// Whether a place is in a hidden row, column or sheet.
    pub fn hides(&self, row: u32, column: u32) -> bool {
        self.hidden || self.hidden_rows.contains(&row) || self.hidden_columns.contains(&column)
    }

    fn width(&self) -> usize {
        self.rows.iter().map(Vec::len).max().unwrap_or_default()
    }
}

/// A container.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Container {
    /// Comma-separated text; sheets one below the other.
    Csv,
    /// Office Open XML.
    Xlsx,
    /// OpenDocument.
    Ods,
}

impl Container {
    /// The usual ending of a file's name.
    pub const fn ending(self) -> &'static str {
        match self {
            Container::Csv => "csv",
            Container::Xlsx => "xlsx",
            Container::Ods => "ods",
        }
    }

    /// The file.
    pub fn write(self, pages: &[Page]) -> Vec<u8> {
        match self {
            Container::Csv => csv(pages),
            Container::Xlsx => xlsx(pages),
            Container::Ods => ods(pages),
        }
    }
}

fn csv(pages: &[Page]) -> Vec<u8> {
    let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
    for (at, page) in pages.iter().enumerate() {
        if at > 0 {
            writer.write_record([""]).unwrap();
        }
        for row in &page.rows {
            match row.as_slice() {
                [] => writer.write_record([""]).unwrap(),
                row => writer.write_record(row.iter().map(Value::written)).unwrap(),
            }
        }
    }
    writer.into_inner().unwrap()
}

fn xlsx(pages: &[Page]) -> Vec<u8> {
    let mut book = Workbook::new();
    let day = Format::new().set_num_format("yyyy-mm-dd");
    let plain = Format::new();
    for page in pages {
        let sheet = book.add_worksheet();
        sheet.set_name(&page.name).unwrap();
        if page.hidden {
            sheet.set_hidden(true);
        }
        for &[top, left, bottom, right] in &page.merged {
            sheet.merge_range(top - 1, left as u16 - 1, bottom - 1, right as u16 - 1, "", &plain).unwrap();
        }
        for (row, cells) in (0_u32..).zip(&page.rows) {
            for (column, value) in (0_u16..).zip(cells) {
                match value {
                    Value::Empty => Ok(&mut *sheet),
                    Value::Text(text) => sheet.write_string(row, column, text),
                    Value::Number(number) => sheet.write_number(row, column, *number),
                    Value::Reckoned(number) => {
                        sheet.write_formula(row, column, Formula::new("=SUM(1,1)").set_result(number.to_string()))
                    }
                    Value::Joined(text) => {
                        sheet.write_formula(row, column, Formula::new("=TRIM(\"a\")").set_result(text))
                    }
                    Value::Failed(text) => sheet.write_formula(row, column, Formula::new("=1/0").set_result(*text)),
                    Value::Day(on) => sheet.write_with_format(row, column, on, &day),
                    Value::Truth(value) => sheet.write_boolean(row, column, *value),
                }
                .unwrap();
            }
        }
        for row in &page.hidden_rows {
            sheet.set_row_hidden(row - 1).unwrap();
        }
        for column in &page.hidden_columns {
            sheet.set_column_hidden(*column as u16 - 1).unwrap();
        }
    }
    book.save_to_buffer().unwrap()
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// A cell of OpenDocument 1.3, part 3, clause 9.1.4, without its closing.
fn ods_cell(value: &Value, span: Option<(u32, u32)>, covered: bool, repeated: usize) -> String {
    let tag = if covered { "table:covered-table-cell" } else { "table:table-cell" };
    let mut cell = format!("<{tag}");
    if let Some((rows, columns)) = span {
        cell.push_str(&format!(" table:number-rows-spanned=\"{rows}\" table:number-columns-spanned=\"{columns}\""));
    }
    if repeated > 1 {
        cell.push_str(&format!(" table:number-columns-repeated=\"{repeated}\""));
    }
    let shown = escaped(&value.written());
    let holds = match value {
        Value::Empty => return format!("{cell}/>"),
        Value::Text(_) => "office:value-type=\"string\"".to_owned(),
        Value::Number(number) => format!("office:value-type=\"float\" office:value=\"{number}\""),
        Value::Reckoned(number) => {
            format!("table:formula=\"of:=SUM(1;1)\" office:value-type=\"float\" office:value=\"{number}\"")
        }
        Value::Joined(text) => format!(
            "table:formula=\"of:=TRIM(&quot;a&quot;)\" office:value-type=\"string\" office:string-value=\"{}\"",
            escaped(text)
        ),
        Value::Failed(_) => "table:formula=\"of:=1/0\" office:value-type=\"string\" office:string-value=\"\" \
             calcext:value-type=\"error\""
            .to_owned(),
        Value::Day(day) => format!("office:value-type=\"date\" office:date-value=\"{day}\""),
        Value::Truth(value) => format!("office:value-type=\"boolean\" office:boolean-value=\"{value}\""),
    };
    let lines = shown.replace('\n', "</text:p><text:p>");
    format!("{cell} {holds}><text:p>{lines}</text:p></{tag}>")
}

fn ods_row(page: &Page, row: u32, cells: &[Value]) -> String {
    let mut text = String::new();
    let mut at = 0;
    while at < cells.len() {
        let column = at as u32 + 1;
        let within = page
            .merged
            .iter()
            .find(|[top, left, bottom, right]| (top..=bottom).contains(&&row) && (left..=right).contains(&&column));
        let span = within
            .filter(|[top, left, ..]| (*top, *left) == (row, column))
            .map(|[top, left, bottom, right]| (bottom - top + 1, right - left + 1));
        let covered = within.is_some() && span.is_none();
        // Equal cells in a row are one with a count, as programs write them.
        let same = |next: usize| {
            cells[next] == cells[at]
                && !page.merged.iter().any(|[top, left, bottom, right]| {
                    (top..=bottom).contains(&&row) && (left..=right).contains(&&(next as u32 + 1))
                })
        };
        let repeated =
            if within.is_some() { 1 } else { 1 + (at + 1..cells.len()).take_while(|next| same(*next)).count() };
        text.push_str(&ods_cell(&cells[at], span, covered, repeated));
        at += repeated;
    }
    text
}

fn ods(pages: &[Page]) -> Vec<u8> {
    let mut content = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><office:document-content office:version=\"1.3\" \
         xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" \
         xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" \
         xmlns:style=\"urn:oasis:names:tc:opendocument:xmlns:style:1.0\" \
         xmlns:calcext=\"urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0\" \
         xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"><office:automatic-styles>\
         <style:style style:name=\"shown\" style:family=\"table\"><style:table-properties table:display=\"true\"/></style:style>\
         <style:style style:name=\"hidden\" style:family=\"table\"><style:table-properties table:display=\"false\"/></style:style>\
         </office:automatic-styles><office:body><office:spreadsheet>",
    );
    for page in pages {
        let style = if page.hidden { "hidden" } else { "shown" };
        content.push_str(&format!("<table:table table:name=\"{}\" table:style-name=\"{style}\">", escaped(&page.name)));
        let collapsed = |hidden: bool| if hidden { " table:visibility=\"collapse\"" } else { "" };
        for column in 1..=page.width().max(1) as u32 {
            content.push_str(&format!("<table:table-column{}/>", collapsed(page.hidden_columns.contains(&column))));
        }
        for (row, cells) in (1_u32..).zip(&page.rows) {
            let hidden = collapsed(page.hidden_rows.contains(&row));
            match cells.as_slice() {
                [] => content.push_str(&format!("<table:table-row{hidden}><table:table-cell/></table:table-row>")),
                cells => {
                    let cells = ods_row(page, row, cells);
                    content.push_str(&format!("<table:table-row{hidden}>{cells}</table:table-row>"));
                }
            }
        }
        content.push_str("</table:table>");
    }
    content.push_str("</office:spreadsheet></office:body></office:document-content>");
    let kind = "application/vnd.oasis.opendocument.spreadsheet";
    let manifest = format!(
        "<?xml version=\"1.0\"?><manifest:manifest xmlns:manifest=\"urn:oasis:names:tc:opendocument:xmlns:manifest:1.0\">\
         <manifest:file-entry manifest:full-path=\"/\" manifest:media-type=\"{kind}\"/></manifest:manifest>"
    );
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in [("mimetype", kind), ("META-INF/manifest.xml", &manifest), ("content.xml", &content)] {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}
