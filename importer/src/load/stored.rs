//! Records of an upload as stored: tests of tanks by month, the others in one piece.

use std::collections::{BTreeMap, BTreeSet};

use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Integer};
use migrations::schema::{upload_month, upload_records};

use super::LoadError;
use crate::fold::key::Kind;
use crate::record::Record;
use crate::record::packed::{self, Month, PackError, Packed, month_of};

/// Records as read, or as committed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// As last read: what a commit would make current.
    Staged,
    /// As committed: what the fold takes.
    Committed,
}

impl Stage {
    /// The code as stored.
    pub const fn as_str(self) -> &'static str {
        match self {
            Stage::Staged => "staged",
            Stage::Committed => "committed",
        }
    }
}

/// An upload's records in the order of the file: as read, or as committed. None if it has not come so far.
///
/// # Errors
/// [`LoadError::Damaged`] if they cannot be unpacked; the database's.
pub fn records(connection: &mut PgConnection, id: i64, stage: Stage) -> Result<Vec<Record>, LoadError> {
    let mut all = rest(connection, id, stage)?;
    let mut tests = tests(connection, stage, &[id], None)?;
    all.extend(tests.remove(&id).unwrap_or_default());
    let mut sheets: Vec<Option<String>> = Vec::new();
    for record in &all {
        if !sheets.contains(&record.place().sheet) {
            sheets.push(record.place().sheet.clone());
        }
    }
    all.sort_by_cached_key(|record| {
        let place = record.place();
        (sheets.iter().position(|sheet| *sheet == place.sheet), place.row, place.column, Kind::of(record))
    });
    Ok(all)
}

/// Of an upload's records how many there are of each kind, and the first ones in the order of the file, of some kinds
/// or of all. However long the upload, no more than a month of its tests is unpacked at once.
///
/// # Errors
/// As [`records`].
pub fn first_records(
    connection: &mut PgConnection,
    id: i64,
    stage: Stage,
    kinds: &[String],
    limit: usize,
) -> Result<(BTreeMap<&'static str, u64>, Vec<Record>), LoadError> {
    let wanted = |kind: Kind| limit > 0 && (kinds.is_empty() || kinds.iter().any(|wanted| wanted == kind.as_str()));
    let mut counts: BTreeMap<&'static str, u64> = BTreeMap::new();
    let mut first = First { limit, sheets: Vec::new(), kept: Vec::new() };
    for record in rest(connection, id, stage)? {
        let kind = Kind::of(&record);
        *counts.entry(kind.as_str()).or_default() += 1;
        first.see(kind, record, wanted(kind));
    }
    let blocks = packed_tests(connection, stage, &[id], None)?.remove(&id).unwrap_or_default();
    let tests = blocks.iter().map(|(_, count)| *count as u64).sum::<u64>();
    if tests > 0 {
        *counts.entry(Kind::Reading.as_str()).or_default() += tests;
    }
    for block in blocks.into_iter().filter(|_| wanted(Kind::Reading)) {
        for record in unpacked(id, &vec![block])? {
            first.see(Kind::Reading, record, true);
        }
    }
    first.shorten();
    Ok((counts, first.kept.into_iter().map(|(_, record)| record).collect()))
}

/// Sheet as first met, row, column, kind.
type FilePlace = (usize, u32, u32, Kind);

/// The first records of a file, while all come by.
struct First {
    limit: usize,
    sheets: Vec<Option<String>>,
    kept: Vec<(FilePlace, Record)>,
}

impl First {
    fn see(&mut self, kind: Kind, record: Record, wanted: bool) {
        let place = record.place();
        let sheet = self.sheets.iter().position(|sheet| *sheet == place.sheet).unwrap_or_else(|| {
            self.sheets.push(place.sheet.clone());
            self.sheets.len() - 1
        });
        if wanted {
            self.kept.push(((sheet, place.row, place.column, kind), record));
            if self.kept.len() > self.limit.saturating_mul(2).max(1000) {
                self.shorten();
            }
        }
    }

    fn shorten(&mut self) {
        self.kept.sort_by_key(|(place, _)| *place);
        self.kept.truncate(self.limit);
    }
}

/// An upload's records piece by piece: all but the tests of tanks, then these month by month.
pub(super) fn each_piece(
    connection: &mut PgConnection,
    id: i64,
    stage: Stage,
    mut look: impl FnMut(&[Record]),
) -> Result<(), LoadError> {
    look(&rest(connection, id, stage)?);
    for block in packed_tests(connection, stage, &[id], None)?.remove(&id).unwrap_or_default() {
        look(&unpacked(id, &vec![block])?);
    }
    Ok(())
}

/// An upload's records but the tests of tanks, in the order of the file.
pub(super) fn rest(connection: &mut PgConnection, id: i64, stage: Stage) -> Result<Vec<Record>, LoadError> {
    let packed: Option<Vec<u8>> = upload_records::table
        .find((id, stage.as_str()))
        .select(upload_records::records)
        .first(connection)
        .optional()?;
    let Some(packed) = packed else { return Ok(Vec::new()) };
    let records = unpack(id, &packed)?;
    if records.iter().any(|record| month_of(record).is_some()) {
        // Stored before tests were kept by month.
        let packed = Packed::of(records)?;
        store_records(connection, id, stage, &packed)?;
        return Ok(packed.rest);
    }
    Ok(records)
}

/// Months, both ends included.
pub(super) type Months = (Month, Month);

/// Tests of tanks by upload, in the order of months; of all months, or of some.
pub(super) fn tests(
    connection: &mut PgConnection,
    stage: Stage,
    uploads: &[i64],
    of: Option<Months>,
) -> Result<BTreeMap<i64, Vec<Record>>, LoadError> {
    let packed = packed_tests(connection, stage, uploads, of)?;
    packed.into_iter().map(|(upload, blocks)| Ok((upload, unpacked(upload, &blocks)?))).collect()
}

/// Packed tests and their number, month by month.
pub(super) type Blocks = Vec<(Vec<u8>, usize)>;

/// As [`tests`], still packed.
pub(super) fn packed_tests(
    connection: &mut PgConnection,
    stage: Stage,
    uploads: &[i64],
    of: Option<Months>,
) -> Result<BTreeMap<i64, Blocks>, LoadError> {
    let (first, last) = of.unwrap_or((Month(i32::MIN), Month(i32::MAX)));
    let rows: Vec<(i64, Vec<u8>, i32)> = upload_month::table
        .filter(upload_month::stage.eq(stage.as_str()).and(upload_month::upload_id.eq_any(uploads)))
        .filter(upload_month::month.between(first.0, last.0))
        .order((upload_month::upload_id, upload_month::month))
        .select((upload_month::upload_id, upload_month::records, upload_month::record_count))
        .load(connection)?;
    let mut found: BTreeMap<i64, Blocks> = BTreeMap::new();
    for (upload, bytes, count) in rows {
        found.entry(upload).or_default().push((bytes, usize::try_from(count).unwrap_or_default()));
    }
    Ok(found)
}

/// Tests of packed months, one after the other.
pub(super) fn unpacked(upload: i64, blocks: &Blocks) -> Result<Vec<Record>, LoadError> {
    let mut records = Vec::with_capacity(blocks.iter().map(|(_, count)| count).sum());
    for (bytes, count) in blocks {
        let damaged = |error: PackError| LoadError::Damaged { upload, what: "tests", message: error.to_string() };
        records.extend(packed::unpack(bytes, *count).map_err(damaged)?);
    }
    Ok(records)
}

/// Level of compression: the default of the format, fast both ways.
const LEVEL: i32 = 3;

fn pack(records: &[Record]) -> Result<Vec<u8>, LoadError> {
    let json = serde_json::to_vec(records).map_err(|error| LoadError::Packing(error.to_string()))?;
    zstd::encode_all(json.as_slice(), LEVEL).map_err(|error| LoadError::Packing(error.to_string()))
}

fn unpack(upload: i64, packed: &[u8]) -> Result<Vec<Record>, LoadError> {
    let damaged = |message: String| LoadError::Damaged { upload, what: "records", message };
    let json = zstd::decode_all(packed).map_err(|error| damaged(error.to_string()))?;
    serde_json::from_slice(&json).map_err(|error| damaged(error.to_string()))
}

/// Months sent in one statement: seven values each, some megabytes in all.
const SENT: usize = 200;

pub(super) fn store_records(
    connection: &mut PgConnection,
    id: i64,
    stage: Stage,
    records: &Packed,
) -> Result<(), LoadError> {
    let count = i64::try_from(records.rest.len()).unwrap_or(i64::MAX);
    insert_records(connection, id, stage, &pack(&records.rest)?, count)?;
    diesel::delete(
        upload_month::table.filter(upload_month::upload_id.eq(id).and(upload_month::stage.eq(stage.as_str()))),
    )
    .execute(connection)?;
    let rows: Vec<_> = records
        .months
        .iter()
        .map(|(month, block)| {
            (
                upload_month::upload_id.eq(id),
                upload_month::stage.eq(stage.as_str()),
                upload_month::month.eq(month.0),
                upload_month::content_hash.eq(&block.digest[..]),
                upload_month::tanks.eq(block.tanks.iter().collect::<Vec<_>>()),
                upload_month::records.eq(&block.bytes),
                upload_month::record_count.eq(i32::try_from(block.count).unwrap_or(i32::MAX)),
            )
        })
        .collect();
    for chunk in rows.chunks(SENT) {
        diesel::insert_into(upload_month::table).values(chunk).execute(connection)?;
    }
    Ok(())
}

fn insert_records(
    connection: &mut PgConnection,
    id: i64,
    stage: Stage,
    packed: &[u8],
    count: i64,
) -> Result<(), LoadError> {
    diesel::insert_into(upload_records::table)
        .values((
            upload_records::upload_id.eq(id),
            upload_records::stage.eq(stage.as_str()),
            upload_records::records.eq(packed),
            upload_records::record_count.eq(count),
        ))
        .on_conflict((upload_records::upload_id, upload_records::stage))
        .do_update()
        .set((upload_records::records.eq(packed), upload_records::record_count.eq(count)))
        .execute(connection)?;
    Ok(())
}

#[derive(QueryableByName)]
struct OneMonth {
    #[diesel(sql_type = diesel::sql_types::Integer)]
    month: i32,
}

/// Makes the records as read the committed ones; returns the months that are not as they were.
pub(super) fn commit_records(connection: &mut PgConnection, id: i64) -> Result<BTreeSet<Month>, LoadError> {
    let as_read =
        upload_records::table.filter(upload_records::upload_id.eq(id).and(upload_records::stage.eq("staged")));
    let (packed, count): (Vec<u8>, i64) =
        as_read.select((upload_records::records, upload_records::record_count)).first(connection)?;
    insert_records(connection, id, Stage::Committed, &packed, count)?;
    let other: Vec<OneMonth> = diesel::sql_query(
        "SELECT month
           FROM (SELECT month, records FROM upload_month WHERE upload_id = $1 AND stage = 'staged') s
           FULL JOIN (SELECT month, records FROM upload_month WHERE upload_id = $1 AND stage = 'committed') c
           USING (month)
          WHERE s.records IS DISTINCT FROM c.records",
    )
    .bind::<BigInt, _>(id)
    .load(connection)?;
    let other: Vec<i32> = other.into_iter().map(|one| one.month).collect();
    diesel::sql_query("DELETE FROM upload_month WHERE upload_id = $1 AND stage = 'committed' AND month = ANY ($2)")
        .bind::<BigInt, _>(id)
        .bind::<Array<Integer>, _>(&other)
        .execute(connection)?;
    diesel::sql_query(
        "INSERT INTO upload_month (upload_id, stage, month, content_hash, tanks, records, record_count)
         SELECT upload_id, 'committed', month, content_hash, tanks, records, record_count
           FROM upload_month WHERE upload_id = $1 AND stage = 'staged' AND month = ANY ($2)",
    )
    .bind::<BigInt, _>(id)
    .bind::<Array<Integer>, _>(&other)
    .execute(connection)?;
    Ok(other.into_iter().map(Month).collect())
}
