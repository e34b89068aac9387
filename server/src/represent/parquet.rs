//! Rows and columns as Apache Parquet: the columns of the CSV in the same order, typed, with what each of them means and
//! what was asked in the file's key-value metadata.

use std::io::Write;
use std::mem;
use std::sync::{Arc, Mutex, PoisonError};

use chrono::NaiveDate;
use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use serde_json::{Value, json};

use crate::problem::Problem;
use crate::represent::column::{Column, Holds};
use crate::represent::{Cell, Sheet};

impl From<ParquetError> for Problem {
    fn from(error: ParquetError) -> Self {
        Problem::internal(&error)
    }
}

/// The bytes of a whole table whose columns are those of answers.
///
/// # Errors
/// A column that nothing is said of, or a value that its column does not hold: a fault of this program.
pub fn bytes(sheet: &Sheet) -> Result<Vec<u8>, Problem> {
    let columns = sheet.columns.iter().map(|name| Column::of_answers(name)).collect::<Result<_, _>>()?;
    let mut writer = Writer::new(columns, sheet.about.clone())?;
    let mut bytes = writer.add(&sheet.rows)?;
    bytes.extend(writer.finish()?);
    Ok(bytes)
}

/// What an answer says of itself, for the file's metadata: its state, question, taxon, evidence, method and cautions, each
/// as JSON.
pub fn about(answer: &Value) -> Vec<(String, String)> {
    ["edition", "release", "question", "taxon", "evidence", "method", "cautions"]
        .into_iter()
        .filter_map(|name| answer.get(name).map(|value| (name.to_owned(), value.to_string())))
        .collect()
}

/// Bytes that were written and not yet taken.
#[derive(Clone, Default)]
struct Pipe(Arc<Mutex<Vec<u8>>>);

impl Pipe {
    fn take(&self) -> Vec<u8> {
        mem::take(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Write for Pipe {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Writes a table part by part; each part is a row group.
pub struct Writer {
    inner: SerializedFileWriter<Pipe>,
    pipe: Pipe,
    columns: Vec<Column>,
}

impl Writer {
    /// Begins a file.
    ///
    /// # Errors
    /// Two columns of one name: a fault of this program.
    pub fn new(columns: Vec<Column>, about: Vec<(String, String)>) -> Result<Self, Problem> {
        let fields = columns.iter().map(|column| field(column).map(Arc::new)).collect::<Result<Vec<_>, _>>()?;
        let schema = Type::group_type_builder("rows").with_fields(fields).build()?;
        // Fields of Table Schema (Data Package, version 2), with the unit beside.
        let fields: Vec<Value> = columns
            .iter()
            .map(|of| json!({"name": of.name, "type": of.holds.word(), "unit": of.unit, "description": of.meaning}))
            .collect();
        let mut metadata: Vec<KeyValue> = about.into_iter().map(|(key, value)| KeyValue::new(key, value)).collect();
        metadata.push(KeyValue::new("table_schema".to_owned(), json!({ "fields": fields }).to_string()));
        let properties = WriterProperties::builder()
            .set_created_by(format!("strandline version {}", env!("CARGO_PKG_VERSION")))
            .set_compression(Compression::SNAPPY)
            .set_key_value_metadata(Some(metadata))
            .build();
        let pipe = Pipe::default();
        let inner = SerializedFileWriter::new(pipe.clone(), Arc::new(schema), Arc::new(properties))?;
        Ok(Writer { inner, pipe, columns })
    }

    /// Writes rows, each as long as the columns, and gives the bytes that are ready.
    ///
    /// # Errors
    /// A value that its column does not hold: a fault of this program.
    pub fn add(&mut self, rows: &[Vec<Cell>]) -> Result<Vec<u8>, Problem> {
        if rows.is_empty() {
            return Ok(self.pipe.take());
        }
        let mut group = self.inner.next_row_group()?;
        for (at, column) in self.columns.iter().enumerate() {
            let cells = rows.iter().map(|row| &row[at]);
            match column.holds {
                Holds::Text => write::<ByteArrayType>(&mut group, column, cells, text),
                Holds::Number => write::<DoubleType>(&mut group, column, cells, number),
                Holds::Whole => write::<Int64Type>(&mut group, column, cells, whole),
                Holds::Day => write::<Int32Type>(&mut group, column, cells, day),
                Holds::Truth => write::<BoolType>(&mut group, column, cells, truth),
            }?;
        }
        group.close()?;
        Ok(self.pipe.take())
    }

    /// Ends the file and gives its last bytes.
    ///
    /// # Errors
    /// The writer refused: a fault of this program.
    pub fn finish(self) -> Result<Vec<u8>, Problem> {
        self.inner.close()?;
        Ok(self.pipe.take())
    }
}

fn field(column: &Column) -> Result<Type, ParquetError> {
    let (physical, logical) = match column.holds {
        Holds::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
        Holds::Number => (Physical::DOUBLE, None),
        Holds::Whole => (Physical::INT64, None),
        Holds::Day => (Physical::INT32, Some(LogicalType::Date)),
        Holds::Truth => (Physical::BOOLEAN, None),
    };
    Type::primitive_type_builder(&column.name, physical)
        .with_repetition(Repetition::OPTIONAL)
        .with_logical_type(logical)
        .build()
}

/// Writes the cells of a column; `of` gives the value of a cell that is not empty, `None` where it is of another kind.
fn write<'c, T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, Pipe>,
    column: &Column,
    cells: impl Iterator<Item = &'c Cell>,
    of: fn(&Cell) -> Option<T::T>,
) -> Result<(), Problem> {
    let (mut values, mut levels) = (Vec::new(), Vec::new());
    for cell in cells {
        levels.push(i16::from(*cell != Cell::Empty));
        if *cell != Cell::Empty {
            let wrong = || Problem::internal(&format!("column {} does not hold {cell:?}", column.name));
            values.push(of(cell).ok_or_else(wrong)?);
        }
    }
    let mut writer = group.next_column()?.ok_or_else(|| Problem::internal(&"more columns than the schema has"))?;
    writer.typed::<T>().write_batch(&values, Some(&levels), None)?;
    writer.close()?;
    Ok(())
}

fn text(cell: &Cell) -> Option<ByteArray> {
    match cell {
        Cell::Text(text) => Some(ByteArray::from(text.as_str())),
        _ => None,
    }
}

fn number(cell: &Cell) -> Option<f64> {
    match cell {
        Cell::Number(number) => Some(*number),
        Cell::Whole(whole) => Some(*whole as f64),
        _ => None,
    }
}

fn whole(cell: &Cell) -> Option<i64> {
    match cell {
        Cell::Whole(whole) => Some(*whole),
        Cell::Number(number) if number.fract() == 0.0 => Some(*number as i64),
        _ => None,
    }
}

/// Days since 1970-01-01.
fn day(cell: &Cell) -> Option<i32> {
    let Cell::Text(text) = cell else { return None };
    let day = NaiveDate::parse_from_str(text, "%Y-%m-%d").ok()?;
    i32::try_from(day.signed_duration_since(NaiveDate::default()).num_days()).ok()
}

fn truth(cell: &Cell) -> Option<bool> {
    match cell {
        Cell::Text(text) => text.parse().ok(),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::web;
    use parquet::file::reader::{FileReader, SerializedFileReader};

    fn column(name: &str, holds: Holds) -> Column {
        Column { name: name.into(), holds, unit: None, meaning: name.into() }
    }

    #[test]
    fn what_is_written_part_by_part_is_read_back() {
        let columns = vec![
            column("coral", Holds::Text),
            column("value", Holds::Number),
            column("n", Holds::Whole),
            column("on", Holds::Day),
            column("held", Holds::Truth),
        ];
        let row = |coral: &str, value, n, on: &str, held: &str| {
            vec![
                Cell::Text(coral.into()),
                Cell::Number(value),
                Cell::Whole(n),
                Cell::Text(on.into()),
                Cell::Text(held.into()),
            ]
        };
        let mut writer = Writer::new(columns, vec![("release".into(), "3".into())]).unwrap();
        let mut bytes = writer.add(&[row("=1+1", 0.25, 3, "2025-03-04", "true"), vec![Cell::Empty; 5]]).unwrap();
        bytes.extend(writer.add(&[row("größe", -1.0, -7, "1969-12-31", "false")]).unwrap());
        bytes.extend(writer.finish().unwrap());

        let reader = SerializedFileReader::new(web::Bytes::from(bytes)).unwrap();
        assert_eq!(reader.num_row_groups(), 2);
        let metadata = reader.metadata().file_metadata().key_value_metadata().unwrap();
        assert_eq!((metadata[0].key.as_str(), metadata[0].value.as_deref()), ("release", Some("3")));
        let rows: Vec<String> = reader.get_row_iter(None).unwrap().map(|row| row.unwrap().to_string()).collect();
        assert_eq!(
            rows,
            [
                r#"{coral: "=1+1", value: 0.25, n: 3, on: 2025-03-04, held: true}"#,
                "{coral: null, value: null, n: null, on: null, held: null}",
                r#"{coral: "größe", value: -1E0, n: -7, on: 1969-12-31, held: false}"#,
            ]
        );
    }

    #[test]
    fn a_value_of_another_kind_is_a_fault_and_not_an_empty_cell() {
        let mut writer = Writer::new(vec![column("n", Holds::Whole)], Vec::new()).unwrap();
        assert!(writer.add(&[vec![Cell::Text("many".into())]]).is_err());
        assert!(writer.add(&[vec![Cell::Number(0.5)]]).is_err());
    }
}
