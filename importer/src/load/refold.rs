//! A keeper's live uploads → the tables: all but tests of tanks at once, these by runs of months.
//!
//! Months in which nothing was said otherwise stand as they are; so a file that grew by a month costs a month.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::mpsc::sync_channel;

use diesel::Connection;
use diesel::pg::PgConnection;

use super::LoadError;
use super::apply::{self, Changes, Hashed};
use super::commit::raise_edition;
use super::keeper::lock_keeper;
use super::merge;
use super::store::{self, Live, UploadRow};
use super::stored::{self, Blocks, Months, Stage};
use crate::fold::{LiveUpload, Unplaced, fold_rest, fold_tests};
use crate::record::Record;
use crate::record::packed::Month;

/// What came of folding.
pub struct Refolded {
    /// How the tables changed.
    pub changes: Changes,
    /// Facts without a place.
    pub unplaced: Vec<Unplaced>,
}

/// Tests that are folded at once: some tens of megabytes while they are worked on.
const AT_ONCE: usize = 10_000;

/// The keeper's tables become the fold of the live uploads under the names that stay; of the tests of tanks those of the months named, if the
/// others cannot have changed.
pub fn refold(
    connection: &mut PgConnection,
    keeper_id: i64,
    live: &[Live],
    touched: Option<BTreeSet<Month>>,
) -> Result<Refolded, LoadError> {
    let same = merge::standing(connection, keeper_id)?;
    let renamed: Vec<Live>;
    let live = if same.is_empty() {
        live
    } else {
        renamed = live.iter().map(|live| live.under(&same)).collect();
        renamed.as_slice()
    };
    let uploads: Vec<LiveUpload<'_>> = live.iter().map(Live::borrow).collect();
    let preferences = store::preferences(connection, keeper_id, None)?;
    let rest = fold_rest(&uploads, &preferences);
    let mut written = apply::apply_rest(connection, keeper_id, &rest)?;
    let months = match touched {
        Some(touched) if !written.kits_changed => touched,
        _ => {
            let mut all = apply::months(connection, keeper_id)?;
            all.extend(live.iter().flat_map(|live| live.months.keys().copied()));
            all
        }
    };
    let groups = groups(live, &months, |_| 0);
    let fold = |of: Months, packed: &BTreeMap<i64, Blocks>| {
        let mut records: BTreeMap<i64, Vec<Record>> = BTreeMap::new();
        for (upload, blocks) in packed {
            let mut own = stored::unpacked(*upload, blocks)?;
            own.iter_mut().for_each(|record| same.rename(record));
            records.insert(*upload, own);
        }
        let none = Vec::new();
        let uploads: Vec<LiveUpload<'_>> =
            live.iter().map(|live| live.with(records.get(&live.upload).unwrap_or(&none))).collect();
        Ok((of, Hashed::of(fold_tests(&uploads, &preferences, &rest))?))
    };
    // While the database takes in one group, the next is folded.
    std::thread::scope(|scope| {
        let (to_fold, packed) = sync_channel::<(Months, BTreeMap<i64, Blocks>)>(1);
        let (folded, to_write) = sync_channel::<Result<(Months, Hashed), LoadError>>(1);
        scope.spawn(move || {
            for (of, packed) in packed {
                if folded.send(fold(of, &packed)).is_err() {
                    break;
                }
            }
        });
        let ids: Vec<i64> = live.iter().map(|live| live.upload).collect();
        let mut waiting = 0;
        let mut groups = groups.into_iter();
        loop {
            while waiting < 2
                && let Some(of) = groups.next()
            {
                let packed = stored::packed_tests(connection, Stage::Committed, &ids, Some(of))?;
                if to_fold.send((of, packed)).is_err() {
                    break;
                }
                waiting += 1;
            }
            if waiting == 0 {
                return Ok::<(), LoadError>(());
            }
            let Ok(done) = to_write.recv() else {
                return Err(LoadError::Packing("the fold of the tests stopped".to_owned()));
            };
            let (of, hashed) = done?;
            apply::apply_tests(connection, keeper_id, &mut written, of, &hashed)?;
            waiting -= 1;
        }
    })?;
    Ok(Refolded { changes: written.changes, unplaced: rest.unplaced.into_iter().collect() })
}

/// Months in runs without a gap, each run no more than can be folded at once unless one month holds more.
/// `beside` counts tests that go with a month's.
pub fn groups<'l>(
    live: impl IntoIterator<Item = &'l Live> + Clone,
    months: &BTreeSet<Month>,
    beside: impl Fn(Month) -> usize,
) -> Vec<Months> {
    let mut groups: Vec<Months> = Vec::new();
    let mut held = 0;
    for month in months {
        let known = live.clone().into_iter().filter_map(|live| live.months.get(month));
        let own: usize = known.map(|known| known.count).sum::<usize>() + beside(*month);
        match groups.last_mut() {
            Some((_, last)) if last.next() == *month && held + own <= AT_ONCE => {
                *last = *month;
                held += own;
            }
            _ => {
                groups.push((*month, *month));
                held = own;
            }
        }
    }
    groups
}

/// Works the fold of a keeper's live uploads out anew and makes the tables equal to it: what changed was not as it
/// should be.
///
/// # Errors
/// The database's.
pub fn fold_anew(connection: &mut PgConnection, keeper_id: i64) -> Result<Changes, LoadError> {
    connection.transaction(|connection| {
        lock_keeper(connection, keeper_id)?;
        let live = store::live(connection, keeper_id)?;
        let changes = refold(connection, keeper_id, &live, None)?.changes;
        raise_edition(connection)?;
        Ok(changes)
    })
}

/// Whether the last version of a log says of a month just what the version before it said: then the fold is as it was.
pub fn is_as_before(live: &[Live], row: &UploadRow, month: Month) -> bool {
    // A later answer changes a version that others may have followed.
    if row.commit_sequence.is_some() {
        return false;
    }
    let Some((own, before)) = live.split_last() else { return false };
    let earlier = before.iter().rev().find(|other| other.log == own.log && !other.edit);
    own.upload == row.id
        && own.log.is_some()
        && !own.edit
        && own.months.get(&month).is_some_and(|now| {
            earlier.and_then(|other| other.months.get(&month)).is_some_and(|then| then.hash == now.hash)
        })
}

/// Months of all versions of a log.
pub fn of_log(live: &[Live], log: Option<i64>) -> BTreeSet<Month> {
    live.iter()
        .filter(|other| log.is_some() && other.log == log)
        .flat_map(|other| other.months.keys().copied())
        .collect()
}
