//! Kits and probes by name: what is answered of one of them once serves every keeper who has it.
//!
//! What a keeper says of an own kit always holds over it. An answer takes effect after a preview that says whose
//! readings would change; it is applied to all in one transaction, and can be taken back in one.

use std::collections::{BTreeMap, BTreeSet};

use analysis::vocabulary::ParameterCode;
use diesel::pg::PgConnection;
use diesel::prelude::*;
use migrations::schema::{audit, instrument, keeper, kit_answer, tank, upload, upload_records};
use serde::Serialize;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use super::keeper::lock_keeper;
use super::store::{self, State, UploadRow, is_open, without_nul};
use super::stored::{self, Stage};
use super::{LoadError, Loader, commit, stage};
use crate::cell::fold;
use crate::context::{Context, KnownInstrument};
use crate::record::packed::Packed;
use crate::record::{Qualifier, Reading, Record};

/// Cells shown for each keeper in a preview.
const SHOWN: usize = 5;

/// What is answered of a kit.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct KitFacts {
    /// What it measures.
    pub parameter: String,
    /// Its name.
    pub name: String,
    /// Smallest value it can show, in the parameter's unit.
    pub limit: Option<f64>,
    /// Smallest step, in the parameter's unit.
    pub step: Option<f64>,
    /// Reference temperatures of its gravities.
    pub reference: Option<String>,
    /// What its numbers count.
    pub basis: Option<String>,
}

/// Gravity references of hydrometers and refractometers.
const REFERENCES: [&str; 5] = ["25/25", "20/20", "60/60F", "15/15", "20/4"];

impl KitFacts {
    fn key(&self) -> String {
        fold::name(&self.name)
    }

    /// What is wrong with it: field and reason. Empty if it can be taken.
    pub fn faults(&self) -> Vec<(&'static str, String)> {
        let mut faults = Vec::new();
        let parameter = ParameterCode::parse(&self.parameter);
        if parameter.is_none() {
            faults.push((
                "parameter",
                format!("'{}' is no parameter; GET /api/v1/parameters lists them", self.parameter),
            ));
        }
        if self.key().is_empty() || self.name.trim().chars().count() > 200 {
            faults.push(("name", "'name' is the kit's name, 1 to 200 characters".to_owned()));
        }
        for (field, value) in [("limit", self.limit), ("step", self.step)] {
            if value.is_some_and(|value| !(value.is_finite() && value > 0.0)) {
                faults.push((field, format!("'{field}' must be more than 0, in the parameter's unit")));
            }
        }
        if let Some(reference) = self.reference.as_deref() {
            if !REFERENCES.contains(&reference) {
                faults.push((
                    "reference",
                    format!("'{reference}' is no reference; choose from {}", REFERENCES.join(", ")),
                ));
            } else if self.parameter != "salinity" {
                faults.push(("reference", "only gravities have a reference: it goes with 'salinity'".to_owned()));
            }
        }
        if let (Some(basis), Some(parameter)) = (self.basis.as_deref(), parameter)
            && crate::doubt::unit::basis_of(parameter.get(), basis).is_none()
        {
            let known: BTreeSet<&str> = parameter.get().accepts.iter().filter_map(|accepted| accepted.basis).collect();
            let known: Vec<&str> = known.into_iter().collect();
            let detail = if known.is_empty() { "this parameter has none".to_owned() } else { known.join(", ") };
            faults.push(("basis", format!("'{basis}' is no basis of {}: {detail}", self.parameter)));
        }
        if self.limit.is_none() && self.step.is_none() && self.reference.is_none() && self.basis.is_none() {
            faults.push(("", "nothing is said of the kit; give 'limit', 'step', 'reference' or 'basis'".to_owned()));
        }
        faults
    }
}

/// A change of the answers that is tried before it is made.
#[derive(Debug, Clone)]
pub enum Supposed {
    /// This one stands, in place of one about the same kit.
    With(KitFacts),
    /// The one of this number does not stand.
    Without(i64),
}

/// An answer as kept.
#[derive(Debug, Clone, PartialEq, Queryable)]
pub struct KitAnswer {
    /// Its number.
    pub id: i64,
    /// What it measures.
    pub parameter: String,
    /// The kit's name.
    pub name: String,
    /// Smallest value.
    pub limit: Option<f64>,
    /// Smallest step.
    pub step: Option<f64>,
    /// Gravity reference.
    pub reference: Option<String>,
    /// What its numbers count.
    pub basis: Option<String>,
    /// When it was given.
    pub given_at: chrono::DateTime<chrono::Utc>,
    /// When it was taken back.
    pub undone_at: Option<chrono::DateTime<chrono::Utc>>,
}

macro_rules! columns {
    () => {
        (
            kit_answer::id,
            kit_answer::parameter,
            kit_answer::name,
            kit_answer::limit_value,
            kit_answer::step,
            kit_answer::reference,
            kit_answer::basis,
            kit_answer::given_at,
            kit_answer::undone_at,
        )
    };
}

/// Answers after a number, in the order they were given; also those taken back.
///
/// # Errors
/// The database's.
pub fn kit_answers(connection: &mut PgConnection, after: i64, limit: i64) -> Result<Vec<KitAnswer>, LoadError> {
    Ok(kit_answer::table
        .filter(kit_answer::id.gt(after))
        .order(kit_answer::id)
        .limit(limit)
        .select(columns!())
        .load(connection)?)
}

/// One answer.
///
/// # Errors
/// [`LoadError::NoKitAnswer`]; the database's.
pub fn kit_answer(connection: &mut PgConnection, id: i64) -> Result<KitAnswer, LoadError> {
    kit_answer::table.find(id).select(columns!()).first(connection).optional()?.ok_or(LoadError::NoKitAnswer(id))
}

/// The answers that stand, and the kits that one keeper has of them.
pub(super) struct Kits {
    standing: Vec<KitFacts>,
    own: Vec<(usize, Option<String>)>,
}

impl Kits {
    pub fn of(connection: &mut PgConnection, keeper_id: i64, extra: Option<&Supposed>) -> Result<Self, LoadError> {
        let without = match extra {
            Some(Supposed::Without(id)) => *id,
            _ => 0,
        };
        let kept: Vec<KitAnswer> = kit_answer::table
            .filter(kit_answer::undone_at.is_null().and(kit_answer::id.ne(without)))
            .order(kit_answer::id)
            .select(columns!())
            .load(connection)?;
        let mut standing: Vec<KitFacts> = kept.into_iter().map(KitFacts::from).collect();
        if let Some(Supposed::With(facts)) = extra {
            standing.retain(|kept| (&kept.parameter, kept.key()) != (&facts.parameter, facts.key()));
            standing.push(facts.clone());
        }
        if standing.is_empty() {
            return Ok(Kits { standing, own: Vec::new() });
        }
        let known: Vec<(String, String, Option<String>)> = instrument::table
            .left_join(tank::table.on(tank::id.nullable().eq(instrument::tank_id)))
            .filter(instrument::keeper_id.eq(keeper_id))
            .order(instrument::key)
            .select((instrument::parameter, instrument::name, tank::name.nullable()))
            .load(connection)?;
        let mut kits = Kits { standing, own: Vec::new() };
        for (parameter, name, tank) in known {
            kits.add(&parameter, &name, tank);
        }
        Ok(kits)
    }

    fn add(&mut self, parameter: &str, name: &str, tank: Option<String>) -> bool {
        let key = fold::name(name);
        let tank = tank.map(|tank| fold::name(&tank));
        let Some(at) = self.standing.iter().position(|kept| kept.parameter == parameter && kept.key() == key) else {
            return false;
        };
        let entry = (at, tank);
        let new = !self.own.contains(&entry);
        if new {
            self.own.push(entry);
        }
        new
    }

    /// Kits that a file itself names; whether one was not known before and is answered of.
    pub fn named_by(&mut self, records: &[Record]) -> bool {
        if self.standing.is_empty() {
            return false;
        }
        let mut any = false;
        for record in records {
            if let Record::Instrument(kit) = record {
                any |= self.add(kit.parameter.as_str(), &kit.name, kit.tank.clone());
            }
        }
        any
    }

    /// Tells the reader; what the keeper says of an own kit comes later in the list and holds.
    pub fn serve(&self, context: &mut Context) {
        let served = self.own.iter().filter_map(|(at, tank)| {
            let facts = self.standing.get(*at)?;
            Some(KnownInstrument {
                tank: tank.clone(),
                parameter: facts.parameter.clone(),
                limit: facts.limit,
                step: facts.step,
                reference: facts.reference.clone(),
                basis: facts.basis.clone(),
            })
        });
        context.instruments.splice(0..0, served);
    }
}

impl From<KitAnswer> for KitFacts {
    fn from(kept: KitAnswer) -> Self {
        KitFacts {
            parameter: kept.parameter,
            name: kept.name,
            limit: kept.limit,
            step: kept.step,
            reference: kept.reference,
            basis: kept.basis,
        }
    }
}

/// A reading before and after.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CellChange {
    /// The upload it stands in.
    pub upload: i64,
    /// Sheet.
    pub sheet: Option<String>,
    /// Row from 1.
    pub row: u32,
    /// Column from 1.
    pub column: u32,
    /// The cell as written.
    pub written: String,
    /// What it says now; null = it waits for an answer.
    pub before: Option<Said>,
    /// What it would say; null = it would wait.
    pub after: Option<Said>,
}

/// What a reading says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Said {
    /// Value.
    pub value: Option<f64>,
    /// Lower end.
    pub lower: Option<f64>,
    /// Upper end.
    pub upper: Option<f64>,
    /// `=`, `<`, `>`, `interval`.
    pub qualifier: Qualifier,
    /// The catalogue's unit.
    pub unit: String,
}

impl Said {
    fn of(reading: &Reading) -> Self {
        Said {
            value: reading.value,
            lower: reading.lower,
            upper: reading.upper,
            qualifier: reading.qualifier,
            unit: reading.unit.clone(),
        }
    }
}

/// What would change for one keeper.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KeeperChange {
    /// Handle.
    pub keeper: String,
    /// Uploads in which something changes.
    pub uploads: Vec<i64>,
    /// Loaded readings that would say something else.
    pub changed: u64,
    /// Readings that wait and would load.
    pub loaded: u64,
    /// Loaded readings that would wait.
    pub held: u64,
    /// Open questions now.
    pub questions_before: u64,
    /// Open questions then.
    pub questions_after: u64,
    /// Some of the cells.
    pub examples: Vec<CellChange>,
}

/// What an answer would do, keeper by keeper.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KitPreview {
    /// Keepers who have the kit and in whose records something changes.
    pub keepers: Vec<KeeperChange>,
    /// Confirms exactly this: another value once the records say otherwise.
    pub confirm: String,
}

struct Affected {
    keeper_id: i64,
    row: UploadRow,
    read: stage::Read,
}

/// Keepers with a kit of this name: recorded, or named in a file that waits.
fn owners(connection: &mut PgConnection, parameter: &str, key: &str) -> Result<BTreeSet<i64>, LoadError> {
    let known: Vec<(i64, String)> = instrument::table
        .filter(instrument::parameter.eq(parameter))
        .select((instrument::keeper_id, instrument::name))
        .load(connection)?;
    let mut owners: BTreeSet<i64> =
        known.into_iter().filter(|(_, name)| fold::name(name) == key).map(|(id, _)| id).collect();
    let waiting: Vec<(i64, i64)> = upload::table
        .inner_join(upload_records::table)
        .filter(upload::state.eq_any([State::Questions.as_str(), State::Ready.as_str()]))
        .filter(upload::kind.eq("file").and(upload_records::stage.eq(Stage::Staged.as_str())))
        .select((upload::id, upload::keeper_id))
        .load(connection)?;
    for (id, keeper_id) in waiting {
        if owners.contains(&keeper_id) {
            continue;
        }
        let records = stored::rest(connection, id, Stage::Staged)?;
        let names_it = records.iter().any(|record| {
            matches!(record, Record::Instrument(kit) if kit.parameter.as_str() == parameter && fold::name(&kit.name) == key)
        });
        if names_it {
            owners.insert(keeper_id);
        }
    }
    Ok(owners)
}

fn place(reading: &Reading) -> Option<(Option<String>, u32, u32)> {
    let cell = reading.place.cells.iter().find(|cell| cell.role == "value")?;
    Some((cell.sheet.clone(), cell.row, cell.column))
}

/// Readings by place, each with what it says and as written.
type Readings = BTreeMap<(Option<String>, u32, u32), (Said, String)>;

/// Readings of a parameter by place, but those of months that the same file read otherwise holds just so.
fn readings(own: &Packed, other: &Packed, parameter: &str) -> Result<Readings, LoadError> {
    let mut readings = Readings::new();
    let mut note = |records: &[Record]| {
        let of = records.iter().filter_map(|record| match record {
            Record::Reading(reading) if reading.parameter.as_str() == parameter => {
                Some((place(reading)?, (Said::of(reading), reading.written.clone())))
            }
            _ => None,
        });
        readings.extend(of);
    };
    note(&own.rest);
    for block in own.months.iter().filter(|(month, block)| other.months.get(month) != Some(block)).map(|(_, own)| own) {
        note(&block.unpack()?);
    }
    Ok(readings)
}

/// Reads every file of the keepers who have the kit as it would be read then, and tells what differs.
fn look(
    loader: Loader,
    connection: &mut PgConnection,
    facts: &KitFacts,
    supposed: &Supposed,
    lock: bool,
) -> Result<(KitPreview, Vec<Affected>), LoadError> {
    let mut keepers = Vec::new();
    let mut affected = Vec::new();
    let mut seen = Sha256::new();
    seen.update(
        json!([facts.parameter, facts.key(), facts.limit, facts.step, facts.reference, facts.basis]).to_string(),
    );
    for keeper_id in owners(connection, &facts.parameter, &facts.key())? {
        if lock {
            lock_keeper(connection, keeper_id)?;
        }
        let handle: String = keeper::table.find(keeper_id).select(keeper::handle).first(connection)?;
        let mut change = KeeperChange {
            keeper: handle,
            uploads: Vec::new(),
            changed: 0,
            loaded: 0,
            held: 0,
            questions_before: 0,
            questions_after: 0,
            examples: Vec::new(),
        };
        let states = [State::Questions, State::Ready, State::Committed].map(State::as_str);
        let ids: Vec<i64> = upload::table
            .filter(upload::keeper_id.eq(keeper_id).and(upload::kind.eq("file")))
            .filter(upload::state.eq_any(states))
            .order((upload::commit_sequence.asc().nulls_last(), upload::id))
            .select(upload::id)
            .load(connection)?;
        for id in ids {
            let row = if lock { store::locked(connection, id)? } else { store::row(connection, id)? };
            // What stands is read anew too: a later version of the reader is no doing of this answer.
            let now = loader.read(connection, &row)?;
            let then = loader.read_with(connection, &row, Some(supposed))?;
            let open =
                |read: &stage::Read| read.outcome.findings.iter().filter(|finding| is_open(finding)).count() as u64;
            let before = readings(&now.records, &then.records, &facts.parameter)?;
            let after = readings(&then.records, &now.records, &facts.parameter)?;
            let places: BTreeSet<_> = before.keys().chain(after.keys()).cloned().collect();
            let mut any = open(&now) != open(&then);
            change.questions_before += open(&now);
            change.questions_after += open(&then);
            for at in places {
                let said = |readings: &Readings| readings.get(&at).map(|(said, _)| said.clone());
                let (was, is) = (said(&before), said(&after));
                match (&was, &is) {
                    (Some(was), Some(is)) if was == is => continue,
                    (Some(_), Some(_)) => change.changed += 1,
                    (None, _) => change.loaded += 1,
                    (_, None) => change.held += 1,
                }
                any = true;
                let written =
                    after.get(&at).or(before.get(&at)).map(|(_, written)| written.clone()).unwrap_or_default();
                let cell =
                    CellChange { upload: id, sheet: at.0, row: at.1, column: at.2, written, before: was, after: is };
                seen.update(serde_json::to_string(&cell).map_err(|error| LoadError::Packing(error.to_string()))?);
                if change.examples.len() < SHOWN {
                    change.examples.push(cell);
                }
            }
            if any {
                seen.update(format!("{id} {} {}", open(&now), open(&then)));
                change.uploads.push(id);
                affected.push(Affected { keeper_id, row, read: then });
            }
        }
        if !change.uploads.is_empty() {
            keepers.push(change);
        }
    }
    let digest = seen.finalize();
    let confirm = digest.iter().take(16).map(|byte| format!("{byte:02x}")).collect();
    Ok((KitPreview { keepers, confirm }, affected))
}

/// See [`super::preview_kit`].
pub fn preview(loader: Loader, connection: &mut PgConnection, facts: &KitFacts) -> Result<KitPreview, LoadError> {
    check(facts)?;
    // One view of the records for the whole of it, and nothing is written.
    let mut transaction = connection.build_transaction().repeatable_read().read_only();
    transaction.run(|connection| Ok(look(loader, connection, facts, &Supposed::With(facts.clone()), false)?.0))
}

fn check(facts: &KitFacts) -> Result<(), LoadError> {
    match facts.faults().into_iter().next() {
        None => Ok(()),
        Some((_, message)) => Err(LoadError::BadKit(message)),
    }
}

/// Stores what was read for each upload, committed ones as a further commit.
fn make(connection: &mut PgConnection, affected: Vec<Affected>, by: &str) -> Result<(), LoadError> {
    for Affected { keeper_id, row, mut read } in affected {
        // A commit of this keeper's upload before it raised the revision; what was read is not touched by that.
        read.revision = super::receive::revision(connection, keeper_id)?;
        stage::keep(connection, &row, &read)?;
        if row.commit_sequence.is_some() {
            let row = store::row(connection, row.id)?;
            commit::make_current(connection, &row, by)?;
        }
    }
    Ok(())
}

/// See [`super::answer_kit`].
pub fn answer(
    loader: Loader,
    connection: &mut PgConnection,
    facts: &KitFacts,
    confirm: &str,
    by: &str,
) -> Result<(KitAnswer, KitPreview), LoadError> {
    check(facts)?;
    connection.transaction(|connection| {
        one_at_a_time(connection)?;
        let (preview, affected) = look(loader, connection, facts, &Supposed::With(facts.clone()), true)?;
        if preview.confirm != confirm {
            return Err(LoadError::PreviewOutdated { confirm: preview.confirm });
        }
        let name = facts.name.trim();
        diesel::update(
            kit_answer::table
                .filter(kit_answer::parameter.eq(&facts.parameter).and(kit_answer::key.eq(facts.key())))
                .filter(kit_answer::undone_at.is_null()),
        )
        .set((kit_answer::undone_at.eq(diesel::dsl::now), kit_answer::undone_by.eq(without_nul(by))))
        .execute(connection)?;
        let made: KitAnswer = diesel::insert_into(kit_answer::table)
            .values((
                kit_answer::parameter.eq(&facts.parameter),
                kit_answer::key.eq(without_nul(&facts.key())),
                kit_answer::name.eq(without_nul(name)),
                kit_answer::limit_value.eq(facts.limit),
                kit_answer::step.eq(facts.step),
                kit_answer::reference.eq(&facts.reference),
                kit_answer::basis.eq(&facts.basis),
                kit_answer::given_by.eq(without_nul(by)),
            ))
            .returning(columns!())
            .get_result(connection)?;
        note(
            connection,
            by,
            "answer for kit",
            made.id,
            json!({"keepers": preview.keepers.len(), "uploads": affected.len()}),
        )?;
        make(connection, affected, by)?;
        Ok((made, preview))
    })
}

/// See [`super::undo_kit`].
pub fn undo(loader: Loader, connection: &mut PgConnection, id: i64, by: &str) -> Result<KitAnswer, LoadError> {
    connection.transaction(|connection| {
        one_at_a_time(connection)?;
        let kept = kit_answer(connection, id)?;
        if kept.undone_at.is_some() {
            return Ok(kept);
        }
        let facts = KitFacts::from(kept);
        let (_, affected) = look(loader, connection, &facts, &Supposed::Without(id), true)?;
        diesel::update(kit_answer::table.find(id))
            .set((kit_answer::undone_at.eq(diesel::dsl::now), kit_answer::undone_by.eq(without_nul(by))))
            .execute(connection)?;
        note(connection, by, "take back answer for kit", id, json!({"uploads": affected.len()}))?;
        make(connection, affected, by)?;
        kit_answer(connection, id)
    })
}

/// Answers about kits take turns: each locks many keepers.
fn one_at_a_time(connection: &mut PgConnection) -> Result<(), LoadError> {
    diesel::sql_query("LOCK TABLE kit_answer IN SHARE ROW EXCLUSIVE MODE").execute(connection)?;
    Ok(())
}

fn note(connection: &mut PgConnection, by: &str, action: &str, id: i64, detail: Value) -> Result<(), LoadError> {
    diesel::insert_into(audit::table)
        .values((
            audit::actor.eq(without_nul(by)),
            audit::action.eq(action),
            audit::subject.eq(format!("kit answer {id}")),
            audit::detail.eq(detail),
        ))
        .execute(connection)?;
    Ok(())
}
