//! A table of anyone's in Apache Parquet, as names and cells. Places in messages count as if it were written as CSV.

use std::path::Path;

use actix_web::web::Bytes;
use analysis::table::Table;
use chrono::{DateTime, Days, NaiveDate};
use importer::container::limit;
use parquet::errors::ParquetError;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;
use parquet::schema::types::Type;

use super::{Failure, failure};

/// The four bytes that a Parquet file begins with.
const MAGIC: &[u8] = b"PAR1";

/// Whether it is Parquet.
pub fn is(bytes: &[u8]) -> bool {
    bytes.starts_with(MAGIC)
}

/// Reads the `wanted` columns; the others are named and not read.
///
/// # Errors
/// A damaged file, too many rows, or a wanted column that holds more than one value a row.
pub fn read(path: &Path, bytes: Vec<u8>, wanted: &[&str]) -> Result<Table, Failure> {
    let damaged = |error: ParquetError| {
        Failure::input(format!("it begins as Parquet and cannot be read ({error}), {}: save it again", path.display()))
    };
    let reader = SerializedFileReader::new(Bytes::from(bytes)).map_err(damaged)?;
    let metadata = reader.metadata().file_metadata();
    if metadata.num_rows() as u64 > limit::ROWS {
        return Err(Failure::input(format!(
            "the table has more than {} rows, {}: take a part of it",
            limit::ROWS,
            path.display()
        )));
    }
    let root = metadata.schema();
    let is_wanted = |name: &str| wanted.iter().any(|wanted| wanted.trim() == name.trim());
    let names: Vec<String> = root.get_fields().iter().map(|field| field.name().to_owned()).collect();
    let fields: Vec<_> = root.get_fields().iter().filter(|field| is_wanted(field.name())).cloned().collect();
    let mut table = Table::keeping(names.clone(), is_wanted);
    // The header is line 1.
    let mut line = 1;
    let projection = Type::group_type_builder(root.name()).with_fields(fields).build().map_err(damaged)?;
    for row in reader.get_row_iter(Some(projection)).map_err(damaged)? {
        let row = row.map_err(damaged)?;
        line += 1;
        let mut read = row.get_column_iter();
        let mut cells = vec![String::new(); names.len()];
        for (cell, name) in cells.iter_mut().zip(&names).filter(|(_, name)| is_wanted(name)) {
            let Some((_, field)) = read.next() else { continue };
            *cell = written(field).ok_or_else(|| {
                Failure::input(format!(
                    "column {name} holds lists, records or bytes, {}: keep one value in each row",
                    path.display()
                ))
            })?;
        }
        table.push(line, cells.iter().map(String::as_str)).map_err(|error| failure(path, &error))?;
    }
    Ok(table)
}

/// A value as it would be written in CSV; `None` if it is not one value.
fn written(field: &Field) -> Option<String> {
    Some(match field {
        Field::Null => String::new(),
        Field::Str(text) => text.clone(),
        Field::Bool(truth) => truth.to_string(),
        Field::Byte(number) => number.to_string(),
        Field::Short(number) => number.to_string(),
        Field::Int(number) => number.to_string(),
        Field::Long(number) => number.to_string(),
        Field::UByte(number) => number.to_string(),
        Field::UShort(number) => number.to_string(),
        Field::UInt(number) => number.to_string(),
        Field::ULong(number) => number.to_string(),
        // What is no number is no value.
        Field::Float(number) if number.is_nan() => String::new(),
        Field::Double(number) if number.is_nan() => String::new(),
        Field::Float(number) => number.to_string(),
        Field::Double(number) => number.to_string(),
        Field::Float16(number) => number.to_string(),
        Field::Decimal(_) => field.to_string(),
        Field::Date(days) => {
            let from = NaiveDate::default();
            let far = Days::new(u64::from(days.unsigned_abs()));
            let day = if *days < 0 { from.checked_sub_days(far) } else { from.checked_add_days(far) };
            day?.to_string()
        }
        Field::TimestampMillis(millis) => DateTime::from_timestamp_millis(*millis)?.format("%Y-%m-%d").to_string(),
        Field::TimestampMicros(micros) => DateTime::from_timestamp_micros(*micros)?.format("%Y-%m-%d").to_string(),
        Field::TimeMillis(_)
        | Field::TimeMicros(_)
        | Field::Bytes(_)
        | Field::Group(_)
        | Field::ListInternal(_)
        | Field::MapInternal(_) => return None,
    })
}
