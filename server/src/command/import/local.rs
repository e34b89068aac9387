//! Files into the database.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};

use chrono::NaiveDate;
use diesel::PgConnection;
use importer::finding::{Answer, Finding};
use importer::load::{self, LoadError, NewUpload, State, Upload};

use importer::saved_layout::SavedLayout;
use serde_json::Value;

use super::bulk::{self, Club, HandedIn, Read};
use super::table::Done;
use super::{ImportArgs, Item};
use crate::command::database::{self, Database};
use crate::command::failure::Failure;
use crate::command::read;
use crate::config::Config;

/// Who imports, in the audit.
const BY: &str = "command";

struct Local<'a> {
    database: &'a Database,
    args: &'a ImportArgs,
    keepers: BTreeMap<String, i64>,
    layout: Option<SavedLayout>,
    today: NaiveDate,
}

/// Imports into the configured database.
pub fn run(config: &Config, args: &ImportArgs, items: &[Item]) -> Result<Vec<Done>, Failure> {
    let database = database::open(config)?;
    let keepers = keepers(&mut *database.connection()?, args, items)?;
    let layout = read::layout(args.layout.as_ref())?;
    let today = chrono::Local::now().date_naive();
    let done = bulk::run(
        &Local { database: &database, args, keepers, layout, today },
        items,
        args.yes,
        args.save_layout.as_deref(),
    );
    database.close()?;
    Ok(done)
}

/// The numbers of the keepers named; all must be known, or be made, before anything is loaded.
fn keepers(connection: &mut PgConnection, args: &ImportArgs, items: &[Item]) -> Result<BTreeMap<String, i64>, Failure> {
    let mut keepers = BTreeMap::new();
    for handle in items.iter().map(|item| &item.keeper) {
        if keepers.contains_key(handle) {
            continue;
        }
        let found = if args.create {
            load::ensure_keeper(connection, handle).map(Some)
        } else {
            load::find_keeper(connection, handle)
        };
        let id = found.map_err(|error| Failure::place(error.to_string()))?.ok_or_else(|| {
            Failure::usage(format!(
                "no keeper is called that, {handle}: correct the name, or add --create to make the keeper"
            ))
        })?;
        keepers.insert(handle.clone(), id);
    }
    Ok(keepers)
}

impl Local<'_> {
    /// Works on an upload of a file; a reader that stops on it stops no other file.
    fn on<T>(&self, item: &Item, work: impl FnOnce(&mut PgConnection) -> Result<T, LoadError>) -> Result<T, Failure> {
        let mut connection = self.database.connection()?;
        match catch_unwind(AssertUnwindSafe(|| work(&mut connection))) {
            Ok(Err(LoadError::OtherShape(error))) => Err(read::other_shape(&error, &item.path)),
            Ok(done) => done.map_err(|error| Failure::place(format!("{error}, {}", item.shown))),
            Err(_) => {
                Err(Failure::place(format!("the reader stopped on this file, {}: report it with the file", item.shown)))
            }
        }
    }

    /// Reads, and takes the proposals of accepted findings.
    fn read(&self, connection: &mut PgConnection, upload: i64) -> Result<Read, LoadError> {
        let mut stands = load::stage(connection, upload, self.today)?;
        let mut findings = load::findings(connection, upload)?;
        // A remedy taken may bring up the next doubt of the same code; each round settles at least one.
        loop {
            let answers: Vec<Answer> = findings
                .iter()
                .filter(|finding| self.args.accept.contains(&finding.code))
                .filter_map(|finding| finding.proposed.clone())
                .collect();
            if answers.is_empty() {
                return Ok(as_read(&stands, findings));
            }
            stands = load::answer(connection, upload, &answers, BY)?;
            findings = load::findings(connection, upload)?;
        }
    }
}

fn as_read(stands: &Upload, findings: Vec<Finding>) -> Read {
    Read {
        upload: stands.id,
        failed: stands.state == State::Failed,
        lists_corals: stands.counts.get("specimen").is_some_and(|count| *count > 0),
        findings,
    }
}

impl Club for Local<'_> {
    fn hand_in(&self, item: &Item) -> Result<HandedIn, Failure> {
        let bytes = read::bytes_of(&item.path)?;
        let keeper_id = *self
            .keepers
            .get(&item.keeper)
            .ok_or_else(|| Failure::usage(format!("no keeper is called that, {}: correct the name", item.keeper)))?;
        self.on(item, |connection| {
            let new = NewUpload {
                keeper_id,
                name: &item.name,
                bytes: &bytes,
                log: self.args.log.as_deref(),
                tank: self.args.tank.as_deref(),
                as_of: self.args.as_of,
                layout: self.layout.as_ref(),
                received_by: BY,
                ..NewUpload::default()
            };
            let received = load::receive(connection, &new)?;
            if let Some(before) = received.already {
                // What an import that was cut off left behind is taken up; what is loaded is not loaded again.
                let state = load::upload(connection, before)?.state;
                if !matches!(state, State::Received | State::Reading | State::Questions | State::Ready) {
                    return Ok(HandedIn::Unchanged(before));
                }
            }
            self.read(connection, received.upload_id).map(HandedIn::Read)
        })
    }

    fn read_again(&self, item: &Item, upload: i64) -> Result<Read, Failure> {
        self.on(item, |connection| self.read(connection, upload))
    }

    fn commit(&self, item: &Item, upload: i64, leave_open: bool) -> Result<Option<u64>, Failure> {
        self.on(item, |connection| match load::commit(connection, upload, leave_open) {
            Ok(summary) => Ok(Some(summary.recorded as u64)),
            Err(LoadError::QuestionsOpen { .. }) => Ok(None),
            Err(error) => Err(error),
        })
    }

    fn findings(&self, item: &Item, upload: i64) -> Result<Vec<Finding>, Failure> {
        self.on(item, |connection| load::findings(connection, upload))
    }

    fn put_aside(&self, item: &Item, upload: i64) -> Result<(), Failure> {
        self.on(item, |connection| load::discard(connection, upload, BY)).map(drop)
    }

    fn layout(&self, item: &Item, upload: i64) -> Result<Value, Failure> {
        self.on(item, |connection| load::layout(connection, upload))?
            .map(|layout| layout.document().clone())
            .ok_or_else(|| Failure::input(format!("the file holds no table, {}: it has no layout to save", item.shown)))
    }
}
