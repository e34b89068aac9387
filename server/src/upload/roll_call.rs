//! "All seen alive today, except …": one upload that can be taken back like any other.

use chrono::NaiveDate;
use diesel::prelude::*;
use importer::load::{LoadError, RollCallException};
use migrations::schema::{specimen, tank};

use crate::access::{Caller, Reached, keeper};
use crate::problem::{Fault, Kind, Problem};
use crate::query::hint;
use crate::upload::hand_in;

/// What a specimen that was not simply alive was found to be.
pub const STATUSES: &[&str] = &["open", "off", "poor", "dead", "left", "not_found", "not_looked"];

/// A roll call as it was sent.
#[derive(Debug, Clone)]
pub struct RollCall {
    /// Handle of the member; needed from curators.
    pub keeper: Option<String>,
    /// The day.
    pub on: NaiveDate,
    /// Only this tank, by name.
    pub tank: Option<String>,
    /// Labels with what was found instead.
    pub except: Vec<(String, String)>,
}

/// Records a roll call and gives its upload.
///
/// # Errors
/// As [`keeper::handed_in_for`]; [`Kind::InvalidValue`] with every tank and label that is not known.
pub fn record(
    connection: &mut PgConnection,
    caller: &Caller,
    call: &RollCall,
    today: NaiveDate,
) -> Result<Reached, Problem> {
    let owner = keeper::handed_in_for(connection, caller, call.keeper.as_deref())?;
    let mut faults = Vec::new();
    if call.on > today {
        faults.push(Fault::pointer("/on", "invalid", format!("{} is in the future; today is {today}", call.on)));
    }
    let tanks: Vec<(i64, String)> = tank::table
        .filter(tank::keeper_id.eq(owner.id))
        .order(tank::name)
        .select((tank::id, tank::name))
        .load(connection)?;
    let tank_id = call.tank.as_ref().and_then(|name| {
        let found =
            tanks.iter().find(|(_, known)| known.to_lowercase() == name.trim().to_lowercase()).map(|(id, _)| *id);
        if found.is_none() {
            let detail = format!(
                "'{name}' is no tank of {}; {}",
                owner.handle,
                hint(name, tanks.iter().map(|row| row.1.as_str()))
            );
            faults.push(Fault::pointer("/tank", "unknown", detail));
        }
        found
    });
    let specimens: Vec<(i64, String)> = specimen::table
        .filter(specimen::keeper_id.eq(owner.id))
        .order(specimen::label)
        .select((specimen::id, specimen::label))
        .load(connection)?;
    let mut except: Vec<RollCallException> = Vec::new();
    for (at, (label, status)) in call.except.iter().enumerate() {
        if !STATUSES.contains(&status.as_str()) {
            let detail = format!("'{status}' is no status; {}", hint(status, STATUSES.iter().copied()));
            faults.push(Fault::pointer(format!("/except/{at}/status"), "unknown", detail));
        }
        match specimens.iter().find(|(_, known)| known.to_lowercase() == label.trim().to_lowercase()) {
            Some((id, _)) if except.iter().any(|known| known.specimen_id == *id) => {
                let detail = format!("'{label}' stands in the list twice");
                faults.push(Fault::pointer(format!("/except/{at}/specimen"), "repeated", detail));
            }
            Some((id, _)) => except.push(RollCallException { specimen_id: *id, status: status.clone() }),
            None => {
                let known = specimens.iter().map(|row| row.1.as_str());
                let detail = format!("'{label}' is no specimen of {}; {}", owner.handle, hint(label, known));
                faults.push(Fault::pointer(format!("/except/{at}/specimen"), "unknown", detail));
            }
        }
    }
    if !faults.is_empty() {
        return Err(Problem::of_faults(Kind::InvalidValue, faults));
    }
    importer::load::roll_call(connection, owner.id, call.on, tank_id, &except, &caller.name())
        .map(|id| Reached::handed_in(&owner, id))
        .map_err(|error| by_label(&error, &specimens))
}

/// The loader's sentence with labels in place of row numbers, which the sender does not know.
fn by_label(error: &LoadError, specimens: &[(i64, String)]) -> Problem {
    let LoadError::BadRollCall(said) = error else { return hand_in::problem(error) };
    let mut said = said.clone();
    for (id, label) in specimens {
        let numbered = format!("specimen {id} is ");
        if said.contains(&numbered) {
            said = said.replace(&numbered, &format!("specimen '{label}' is "));
            break;
        }
    }
    let said = said.split_once(';').map_or(said.as_str(), |(what, _)| what).to_owned();
    Problem::of_fault(Kind::InvalidValue, Fault::pointer("/except", "invalid", said))
}
