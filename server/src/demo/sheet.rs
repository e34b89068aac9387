//! Tables as text files and workbooks.

use chrono::NaiveDate;
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};

use super::DemoError;

/// A cell to be written.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// Nothing.
    Empty,
    /// Text.
    Text(String),
    /// A number with its decimals.
    Number(f64, usize),
    /// A day.
    Day(NaiveDate),
}

impl Value {
    /// Text, or nothing for an empty one.
    pub fn text(text: impl Into<String>) -> Self {
        let text = text.into();
        if text.is_empty() { Value::Empty } else { Value::Text(text) }
    }
}

/// A named table.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// Name of the sheet.
    pub name: String,
    /// Rows; all cells as they stand, titles included.
    pub rows: Vec<Vec<Value>>,
}

/// How a text file is written.
#[derive(Debug, Clone, Copy)]
pub struct TextStyle {
    /// Separator.
    pub separator: u8,
    /// Decimal comma.
    pub comma: bool,
    /// chrono format of days.
    pub day: &'static str,
    /// Starts with a byte order mark.
    pub mark: bool,
}

/// A table as a text file.
pub fn text_file(name: &str, sheet: &Sheet, style: TextStyle) -> Result<Vec<u8>, DemoError> {
    let failed = |source| DemoError::Text { file: name.to_owned(), source };
    let mut bytes = if style.mark { b"\xef\xbb\xbf".to_vec() } else { Vec::new() };
    let mut writer = csv::WriterBuilder::new()
        .delimiter(style.separator)
        .terminator(csv::Terminator::CRLF)
        .flexible(true)
        .from_writer(&mut bytes);
    for row in &sheet.rows {
        let cells: Vec<String> = row.iter().map(|value| as_text(value, style)).collect();
        writer.write_record(&cells).map_err(failed)?;
    }
    writer.flush().map_err(|error| failed(error.into()))?;
    drop(writer);
    Ok(bytes)
}

fn as_text(value: &Value, style: TextStyle) -> String {
    match value {
        Value::Empty => String::new(),
        Value::Text(text) => importer::formula_guard::guarded(text).into_owned(),
        Value::Number(number, decimals) => {
            let text = format!("{number:.decimals$}");
            if style.comma { text.replace('.', ",") } else { text }
        }
        Value::Day(day) => day.format(style.day).to_string(),
    }
}

/// Tables as a workbook; days as real dates, or as text in a format.
pub fn workbook(name: &str, sheets: &[Sheet], day_as_text: Option<&'static str>) -> Result<Vec<u8>, DemoError> {
    let failed = |source| DemoError::Workbook { file: name.to_owned(), source };
    let mut book = Workbook::new();
    let mut properties = rust_xlsxwriter::DocProperties::new();
    // The same club gives the same bytes: a workbook otherwise holds the hour it was made.
    if let Ok(made) = ExcelDateTime::from_ymd(2026, 7, 1) {
        properties = properties.set_creation_datetime(&made);
    }
    book.set_properties(&properties);
    let day_format = Format::new().set_num_format("dd mmm yyyy");
    for sheet in sheets {
        let page = book.add_worksheet();
        page.set_name(&sheet.name).map_err(failed)?;
        for (row, cells) in (0u32..).zip(&sheet.rows) {
            for (column, value) in (0u16..).zip(cells) {
                match value {
                    Value::Empty => {}
                    Value::Text(text) => {
                        page.write_string(row, column, text).map_err(failed)?;
                    }
                    Value::Number(number, decimals) => {
                        let scale = 10f64.powi(*decimals as i32);
                        page.write_number(row, column, (number * scale).round() / scale).map_err(failed)?;
                    }
                    Value::Day(day) => match day_as_text {
                        Some(format) => {
                            page.write_string(row, column, day.format(format).to_string()).map_err(failed)?;
                        }
                        None => {
                            page.write_with_format(row, column, day, &day_format).map_err(failed)?;
                        }
                    },
                }
            }
        }
    }
    book.save_to_buffer().map_err(failed)
}
