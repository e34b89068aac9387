//! Rows and columns, and as CSV, in the standard's form and in the one that spreadsheet programs expect. Text that a
//! spreadsheet program would run as a formula stays text in both.

use importer::formula_guard::{guarded, quoting};

use crate::problem::Problem;
use crate::represent::{Form, parquet};

/// One value of a row.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Text.
    Text(String),
    /// A number with a fraction; never NaN.
    Number(f64),
    /// A count.
    Whole(i64),
    /// Absent.
    Empty,
}

impl Cell {
    /// Text, or absent.
    pub fn text(value: Option<impl Into<String>>) -> Self {
        value.map_or(Cell::Empty, |value| Cell::Text(value.into()))
    }

    /// A number, or absent.
    pub fn number(value: Option<f64>) -> Self {
        value.filter(|value| value.is_finite()).map_or(Cell::Empty, Cell::Number)
    }

    /// A member of a JSON object.
    pub fn json(value: &serde_json::Value) -> Self {
        match value {
            serde_json::Value::Null => Cell::Empty,
            serde_json::Value::String(text) => Cell::Text(text.clone()),
            serde_json::Value::Number(number) => match number.as_i64() {
                Some(whole) => Cell::Whole(whole),
                None => Cell::number(number.as_f64()),
            },
            // Words of a list, without brackets that no spreadsheet reads.
            serde_json::Value::Array(items) if items.iter().all(serde_json::Value::is_string) => {
                let words: Vec<&str> = items.iter().filter_map(serde_json::Value::as_str).collect();
                if words.is_empty() { Cell::Empty } else { Cell::Text(words.join("; ")) }
            }
            other => Cell::Text(other.to_string()),
        }
    }
}

/// A table: the columns' names and the rows.
#[derive(Debug, Clone, Default)]
pub struct Sheet {
    /// Names, each with its unit where it has one.
    pub columns: Vec<String>,
    /// Rows, each as long as `columns`.
    pub rows: Vec<Vec<Cell>>,
    /// What the table says of itself beside its rows, where a representation has a place for it.
    pub about: Vec<(String, String)>,
}

impl Sheet {
    /// One row a line of a list within an answer, or one row with the reason where there is no list. Every row begins with
    /// the state, the taxa asked and answered, and the method; `columns` are names with the JSON pointer into a line;
    /// the last two columns are the line's own refusal.
    pub fn of_lines(answer: &serde_json::Value, list: &str, columns: &[(&str, &str)]) -> Self {
        let head = ["edition", "taxon_asked", "taxon_answered", "outcome", "since", "method"];
        let names = head.into_iter().chain(columns.iter().map(|(name, _)| *name)).chain(["refused", "message"]);
        let mut sheet = Sheet::new(names);
        let lead = [
            Cell::json(answer.get("release").unwrap_or(&answer["edition"])),
            Cell::json(&answer["taxon"]["asked"]),
            Cell::json(&answer["taxon"]["answered"]),
            Cell::json(&answer["question"]["outcome"]),
            Cell::json(&answer["question"]["since"]),
            Cell::json(&answer["method"]["id"]),
        ];
        let reason = |refused: &serde_json::Value| [Cell::json(&refused["code"]), Cell::json(&refused["message"])];
        match answer.pointer(list).and_then(serde_json::Value::as_array) {
            None => {
                let mut row = lead.to_vec();
                row.extend(vec![Cell::Empty; columns.len()]);
                row.extend(reason(&answer["result"]["refused"]));
                sheet.rows.push(row);
            }
            Some(lines) => {
                for line in lines {
                    let mut row = lead.to_vec();
                    // What is refused has no number; why, the JSON says.
                    let told = |at: &str| line.pointer(at).filter(|value| value.get("refused").is_none());
                    row.extend(columns.iter().map(|(_, at)| told(at).map_or(Cell::Empty, Cell::json)));
                    row.extend(reason(&line["refused"]));
                    sheet.rows.push(row);
                }
            }
        }
        sheet
    }

    /// An empty table with its columns.
    pub fn new<'c>(columns: impl IntoIterator<Item = &'c str>) -> Self {
        Sheet { columns: columns.into_iter().map(str::to_owned).collect(), ..Sheet::default() }
    }

    /// The bytes of the table.
    pub fn bytes(&self, form: Form) -> Result<Vec<u8>, Problem> {
        if form == Form::Parquet {
            return parquet::bytes(self);
        }
        let texts = self.rows.iter().flatten().filter_map(|cell| match cell {
            Cell::Text(text) => Some(text.as_str()),
            _ => None,
        });
        self.write(form, quoting(self.columns.iter().map(String::as_str).chain(texts)), true)
    }

    /// The bytes of a part of a table that is sent part by part; the first has the header. As nobody knows what later parts
    /// hold, all words are quoted.
    pub fn part(&self, form: Form, is_first: bool) -> Result<Vec<u8>, Problem> {
        self.write(form, csv::QuoteStyle::NonNumeric, is_first)
    }

    fn write(&self, form: Form, style: csv::QuoteStyle, is_first: bool) -> Result<Vec<u8>, Problem> {
        let excel = form == Form::CsvExcel;
        let mut writer = csv::WriterBuilder::new()
            .quote_style(style)
            .delimiter(if excel { b';' } else { b',' })
            .terminator(csv::Terminator::CRLF)
            .from_writer(if excel && is_first { "\u{feff}".as_bytes().to_vec() } else { Vec::new() });
        if is_first {
            let header = self.columns.iter().map(|name| guarded(name).into_owned());
            writer.write_record(header).map_err(|error| Problem::internal(&error))?;
        }
        for row in &self.rows {
            let cells: Vec<String> = row.iter().map(|cell| print(cell, excel)).collect();
            writer.write_record(&cells).map_err(|error| Problem::internal(&error))?;
        }
        writer.into_inner().map_err(|error| Problem::internal(&error))
    }
}

fn print(cell: &Cell, excel: bool) -> String {
    match cell {
        Cell::Text(text) => guarded(text).into_owned(),
        Cell::Number(number) if excel => number.to_string().replace('.', ","),
        Cell::Number(number) => number.to_string(),
        Cell::Whole(whole) => whole.to_string(),
        Cell::Empty => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> Sheet {
        let mut sheet = Sheet::new(["name", "value_mg_l", "n"]);
        sheet.rows.push(vec![Cell::Text("a, \"b\"".into()), Cell::Number(0.25), Cell::Whole(3)]);
        sheet.rows.push(vec![Cell::Text("=1+1".into()), Cell::Empty, Cell::Empty]);
        sheet
    }

    #[test]
    fn the_standard_form_is_rfc_4180() {
        let bytes = sample().bytes(Form::Csv).unwrap();
        assert_eq!(String::from_utf8(bytes).unwrap(), "name,value_mg_l,n\r\n\"a, \"\"b\"\"\",0.25,3\r\n'=1+1,,\r\n");
    }

    #[test]
    fn lists_of_words_are_words() {
        assert_eq!(
            Cell::json(&serde_json::json!(["zero_reported", "replicate"])),
            Cell::Text("zero_reported; replicate".into())
        );
        assert_eq!(Cell::json(&serde_json::json!([])), Cell::Empty);
        assert_eq!(Cell::json(&serde_json::json!([1])), Cell::Text("[1]".into()));
    }

    #[test]
    fn the_other_form_opens_by_a_double_click_and_runs_no_formula() {
        let bytes = sample().bytes(Form::CsvExcel).unwrap();
        assert_eq!(
            String::from_utf8(bytes).unwrap(),
            "\u{feff}name;value_mg_l;n\r\n\"a, \"\"b\"\"\";0,25;3\r\n'=1+1;;\r\n"
        );
    }

    /// Cells of a file as our own reader gives them back, header first.
    fn read_back(bytes: &[u8]) -> Vec<Vec<String>> {
        let (grids, findings) = importer::container::open("sheet.csv", bytes);
        assert!(findings.is_empty(), "{findings:?}");
        grids[0].rows.iter().map(|row| row.cells.iter().map(|cell| cell.raw.written()).collect()).collect()
    }

    const NASTY: [&str; 14] = [
        "=1+1",
        "+1+1",
        "-1+1",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        "\n=1",
        "\"=1+1\"",
        "'=1+1",
        " =1",
        "=HYPERLINK(\"http://127.0.0.1/?\"&A1,\"x\")",
        "a;=1+1",
        "\u{ff1d}1+1",
        "-",
    ];

    #[test]
    fn text_comes_back_as_it_was_and_no_program_runs_it() {
        for form in [Form::Csv, Form::CsvExcel] {
            for nasty in NASTY {
                let mut sheet = Sheet::new(["taxon", nasty, "low_mg_l"]);
                for n in 0..4 {
                    sheet.rows.push(vec![
                        Cell::Text(format!("coral {n}")),
                        Cell::Text(nasty.into()),
                        Cell::Number(-0.5),
                    ]);
                }
                let bytes = sheet.bytes(form).unwrap();
                let low = if form == Form::Csv { "-0.5" } else { "-0,5" };
                let mut expected = vec![vec!["taxon".to_owned(), nasty.to_owned(), "low_mg_l".to_owned()]];
                expected.extend((0..4).map(|n| vec![format!("coral {n}"), nasty.to_owned(), low.to_owned()]));
                assert_eq!(read_back(&bytes), expected, "{nasty:?}");
                let text = String::from_utf8(bytes).unwrap();
                let delimiter = if form == Form::Csv { b',' } else { b';' };
                let mut raw =
                    csv::ReaderBuilder::new().delimiter(delimiter).has_headers(false).from_reader(text.as_bytes());
                for cell in raw.records().flat_map(|row| row.unwrap().iter().map(str::to_owned).collect::<Vec<_>>()) {
                    let runs = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}']);
                    assert!(!runs || cell == low || cell == "-", "{cell:?}");
                }
            }
        }
    }
}
