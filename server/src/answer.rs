//! From the records in Postgres to an answer: the only reader of records for statistics.
//!
//! Records are read once per edition into plain values and kept; a request costs one look at the edition's
//! number, and an answer computed before is sent again. What may be shown to whom is `analysis::disclosure`'s.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::{Arc, Condvar, Mutex, PoisonError};

use analysis::answer::{Audience, Called, Outcome, RangesCalled, Stamp, State, ranges};
use analysis::club::Club;
use analysis::vocabulary::TaxonSlug;
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use migrations::schema::{club_setting, edition};

use crate::access::Scope;
use crate::pool::Pool;
use crate::problem::Problem;
use crate::release::{self, Release, Standing};

mod care; // what keepers did
mod load; // records → a club of plain values
mod readings; // the many rows: water tests, packed or one by one
pub mod taught; // what the records say of what is taught
pub mod totals; // counts of the club as a whole

pub use readings::{pack_those_changed, packs_not_of_rows};

/// The records of one edition.
#[derive(Debug, Clone)]
pub struct Snapshot {
    /// State of everything an answer depends on.
    pub edition: i64,
    /// When that state was reached.
    pub raised_at: DateTime<Utc>,
    /// The records.
    pub club: Arc<Club>,
    /// The release that froze them, if it is one.
    pub release: Option<Arc<Frozen>>,
}

/// A release whose records are being answered from.
pub struct Frozen {
    /// Its number.
    pub number: i64,
    pool: Pool,
    /// Other releases that figures of this one stand from.
    others: Mutex<HashMap<i64, Snapshot>>,
    called: Mutex<HashMap<(Outcome, Audience), Arc<Called>>>,
    ranges: Mutex<HashMap<(Outcome, Audience), Arc<RangesCalled>>>,
}

impl std::fmt::Debug for Frozen {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Frozen").field("number", &self.number).finish_non_exhaustive()
    }
}

impl Snapshot {
    /// What answers computed from it are marked with.
    pub fn stamp(&self) -> Stamp {
        match &self.release {
            Some(frozen) => Stamp { state: State::Release(frozen.number), ..stamp(self.edition) },
            None => stamp(self.edition),
        }
    }

    /// The q values of the release's comparisons; `None` for an edition, whose q await one.
    ///
    /// # Errors
    /// The database refused.
    pub fn called(&self, outcome: Outcome, audience: Audience) -> Result<Option<Arc<Called>>, Problem> {
        let Some(frozen) = &self.release else { return Ok(None) };
        // Held while they are worked out, so that it is done once.
        let mut known = frozen.called.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(called) = known.get(&(outcome, audience)) {
            return Ok(Some(called.clone()));
        }
        let mut connection = frozen.pool.get().map_err(|error| Problem::database_unavailable(&error))?;
        let called = Arc::new(release::called(&mut connection, frozen.number, &self.club, outcome, audience)?);
        known.insert((outcome, audience), called.clone());
        Ok(Some(called))
    }

    /// The q values of the release's tests of ranges; `None` for an edition.
    pub fn ranges(&self, outcome: Outcome, audience: Audience) -> Option<Arc<RangesCalled>> {
        let frozen = self.release.as_ref()?;
        let mut known = frozen.ranges.lock().unwrap_or_else(PoisonError::into_inner);
        let made = || Arc::new(ranges(&self.club, outcome, audience));
        Some(known.entry((outcome, audience)).or_insert_with(made).clone())
    }
}

impl Snapshot {
    /// The records of a release.
    fn frozen(pool: &Pool, release: Release, club: Club) -> Snapshot {
        let frozen = Frozen {
            number: release.number,
            pool: pool.clone(),
            others: Mutex::default(),
            called: Mutex::default(),
            ranges: Mutex::default(),
        };
        Snapshot {
            edition: release.number,
            raised_at: release.made_at,
            club: Arc::new(club),
            release: Some(Arc::new(frozen)),
        }
    }

    /// What each taxon is answered from in an answer about all of them, by what it is made of: of an edition its records, of
    /// a release those that stand for the taxon.
    ///
    /// # Errors
    /// The database refused, or what was kept cannot be read.
    pub fn by_taxon(&self, made_of: &str) -> Result<ByTaxon, Problem> {
        let mut by_taxon = ByTaxon { own: self.clone(), others: BTreeMap::new() };
        let Some(frozen) = self.release.as_ref().filter(|_| !self.club.withheld) else { return Ok(by_taxon) };
        let mut connection = frozen.pool.get().map_err(|error| Problem::database_unavailable(&error))?;
        let mut others = frozen.others.lock().unwrap_or_else(PoisonError::into_inner);
        for (taxon, from) in release::standing_of_taxa(&mut connection, made_of)? {
            let snapshot = match from {
                Some(from) if from.number == frozen.number => continue,
                Some(from) => match others.get(&from.number) {
                    Some(known) => known.clone(),
                    None => {
                        let club = release::records(&mut connection, Some(from))?;
                        others.entry(from.number).or_insert(Snapshot::frozen(&frozen.pool, from, club)).clone()
                    }
                },
                None => Snapshot { club: Arc::new(release::records(&mut connection, None)?), ..self.clone() },
            };
            by_taxon.others.insert(taxon, snapshot);
        }
        Ok(by_taxon)
    }
}

/// What each taxon is answered from.
pub struct ByTaxon {
    own: Snapshot,
    /// Taxa that other records stand for.
    others: BTreeMap<String, Snapshot>,
}

impl ByTaxon {
    /// The records of a taxon; an empty club where they are withheld.
    pub fn of(&self, taxon: TaxonSlug) -> &Snapshot {
        self.others.get(taxon.as_str()).unwrap_or(&self.own)
    }

    /// Each once, those that are withheld left out.
    pub fn snapshots(&self) -> impl Iterator<Item = &Snapshot> {
        let mut seen = BTreeSet::new();
        let all = std::iter::once(&self.own).chain(self.others.values()).filter(|of| !of.club.withheld);
        all.filter(move |of| seen.insert(of.edition))
    }
}

/// The mark of answers of an edition by this program.
pub fn stamp(edition: i64) -> Stamp {
    Stamp { state: State::Edition(edition), program_version: env!("CARGO_PKG_VERSION").to_owned() }
}

/// Reads the records that a scope reaches, all as of one moment.
///
/// # Errors
/// The database refused.
pub fn club(connection: &mut PgConnection, scope: &Scope) -> QueryResult<Snapshot> {
    connection.build_transaction().repeatable_read().read_only().run(|connection| club_within(connection, scope))
}

/// The same within a transaction that holds the records still.
///
/// # Errors
/// The database refused.
pub fn club_within(connection: &mut PgConnection, scope: &Scope) -> QueryResult<Snapshot> {
    let Edition { number, raised_at } = current_edition(connection)?;
    Ok(Snapshot { edition: number, raised_at, club: Arc::new(load::club(connection, scope)?), release: None })
}

/// A state of everything an answer depends on.
#[derive(Debug, Clone, Copy, Queryable)]
pub struct Edition {
    /// Its number.
    pub number: i64,
    /// When it was reached.
    pub raised_at: DateTime<Utc>,
}

/// The current edition.
///
/// # Errors
/// The database refused.
pub fn current_edition(connection: &mut PgConnection) -> QueryResult<Edition> {
    edition::table.select((edition::number, edition::raised_at)).first(connection)
}

/// Does the club show its answers to everybody? Off unless the setting `publish` is `true`.
///
/// # Errors
/// The database refused.
pub fn publishes(connection: &mut PgConnection) -> QueryResult<bool> {
    let value: Option<serde_json::Value> =
        club_setting::table.find("publish").select(club_setting::value).first(connection).optional()?;
    Ok(value == Some(serde_json::Value::Bool(true)))
}

/// The club's name; `None` until it is set.
///
/// # Errors
/// The database refused.
pub fn club_name(connection: &mut PgConnection) -> QueryResult<Option<String>> {
    let value: Option<serde_json::Value> =
        club_setting::table.find("name").select(club_setting::value).first(connection).optional()?;
    Ok(value.and_then(|value| value.as_str().map(str::to_owned)))
}

/// Answers kept at most.
const KEPT: usize = 512;

/// The records of the current edition and the answers computed from them.
#[derive(Default)]
pub struct Answers {
    records: Mutex<Option<Snapshot>>,
    bodies: Mutex<Bodies>,
    released: Mutex<HashMap<Option<i64>, Snapshot>>,
    released_bodies: Mutex<HashMap<String, Arc<Vec<u8>>>>,
    working: Mutex<BTreeSet<String>>,
    worked: Condvar,
}

/// An answer that is being worked out; others who ask for it wait until this is dropped.
pub struct Working<'a> {
    answers: &'a Answers,
    tag: String,
}

impl Drop for Working<'_> {
    fn drop(&mut self) {
        self.answers.working.lock().unwrap_or_else(PoisonError::into_inner).remove(&self.tag);
        self.answers.worked.notify_all();
    }
}

/// Releases whose records are kept in memory at most: the current one and those that taxa are still answered from.
const RELEASES: usize = 3;

#[derive(Default)]
struct Bodies {
    edition: i64,
    by_tag: HashMap<String, Arc<Vec<u8>>>,
}

impl Answers {
    /// The records for pooled statistics, of an edition or a later one: read anew only if the edition was raised.
    /// Callers that come meanwhile wait for the one reading, without a connection.
    ///
    /// # Errors
    /// The database refused or is not there.
    pub fn snapshot(&self, pool: &Pool, scope: &Scope, edition: i64) -> Result<Snapshot, Problem> {
        let read = || {
            let mut connection = pool.get().map_err(|error| Problem::database_unavailable(&error))?;
            club(&mut connection, scope).map_err(Problem::from)
        };
        if scope.keeper().is_some() {
            return read();
        }
        let mut records = self.records.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = records.as_ref().filter(|known| known.edition >= edition) {
            return Ok(known.clone());
        }
        let fresh = read()?;
        *records = Some(fresh.clone());
        Ok(fresh)
    }

    /// The records that a release froze; an empty club where they are withheld. Callers that come meanwhile wait for the
    /// one reading.
    ///
    /// # Errors
    /// The database refused or is not there.
    pub fn released(&self, pool: &Pool, standing: &Standing) -> Result<Snapshot, Problem> {
        let from = standing.answered_from;
        let key = from.map(|release| release.number);
        let mut released = self.released.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = released.get(&key) {
            return Ok(known.clone());
        }
        let mut connection = pool.get().map_err(|error| Problem::database_unavailable(&error))?;
        let club = release::records(&mut connection, from)?;
        let snapshot = Snapshot::frozen(pool, from.unwrap_or(standing.current), club);
        if released.len() >= RELEASES {
            released.clear();
        }
        // Withheld records are of one release only: the next may tell again.
        if from.is_some() {
            released.insert(key, snapshot.clone());
        }
        Ok(snapshot)
    }

    /// Waits until nobody works an answer out; then it is the caller's to do, unless it is there by now.
    pub fn begin(&self, tag: &str) -> Working<'_> {
        let working = self.working.lock().unwrap_or_else(PoisonError::into_inner);
        let waited = self.worked.wait_while(working, |working| working.contains(tag));
        waited.unwrap_or_else(PoisonError::into_inner).insert(tag.to_owned());
        Working { answers: self, tag: tag.to_owned() }
    }

    /// The bytes of an answer of a release, given before.
    pub fn released_body(&self, tag: &str) -> Option<Arc<Vec<u8>>> {
        self.released_bodies.lock().unwrap_or_else(PoisonError::into_inner).get(tag).cloned()
    }

    /// Keeps the bytes of an answer of a release.
    pub fn keep_released(&self, tag: &str, body: Arc<Vec<u8>>) {
        let mut bodies = self.released_bodies.lock().unwrap_or_else(PoisonError::into_inner);
        if bodies.len() >= KEPT {
            bodies.clear();
        }
        bodies.insert(tag.to_owned(), body);
    }

    /// The bytes of an answer computed before in this edition.
    pub fn body(&self, edition: i64, tag: &str) -> Option<Arc<Vec<u8>>> {
        let bodies = self.bodies.lock().unwrap_or_else(PoisonError::into_inner);
        if bodies.edition == edition { bodies.by_tag.get(tag).cloned() } else { None }
    }

    /// Keeps the bytes of an answer.
    pub fn keep(&self, edition: i64, tag: &str, body: Arc<Vec<u8>>) {
        let mut bodies = self.bodies.lock().unwrap_or_else(PoisonError::into_inner);
        if bodies.edition != edition || bodies.by_tag.len() >= KEPT {
            bodies.by_tag.clear();
            bodies.edition = edition;
        }
        bodies.by_tag.insert(tag.to_owned(), body);
    }
}
