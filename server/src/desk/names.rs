//! What names of corals mean in the club: rows that are dated and signed. The importer reads later files by them, over what the
//! catalogue says; what a keeper answered about an own file holds over both.

use std::collections::BTreeMap;

use analysis::vocabulary::{NameMatch, TaxonSlug, kind_words, resolve_name};
use chrono::{DateTime, NaiveDate, Utc};
use diesel::prelude::*;
use migrations::schema::{club_name, specimen};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::signed::{self, Signature};
use crate::access::{Scope, scope};
use crate::problem::{Fault, Kind, Problem};

/// A name to be agreed on.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NameRequest {
    /// The name as members write it; case, accents and words for colours do not matter.
    #[schema(min_length = 1, max_length = 100, example = "flowerpot")]
    name: String,
    /// What it means: species, genus or group.
    #[schema(example = "goniopora")]
    taxon: String,
    /// Since when it is agreed; left out = today. Never a day to come.
    #[schema(example = "2025-06-01")]
    since: Option<NaiveDate>,
    /// Who answers for it, as it is printed.
    #[schema(min_length = 1, max_length = 120, example = "husbandry group")]
    signed_by: String,
    /// Why.
    #[schema(max_length = 1000, example = "all of ours had 24 tentacles")]
    note: Option<String>,
}

/// A name that can be agreed on.
pub struct NewName {
    name: String,
    taxon: TaxonSlug,
    since: NaiveDate,
    signed_by: String,
    note: Option<String>,
}

/// A name that the club agrees or agreed on.
#[derive(Serialize, ToSchema)]
pub struct ClubNameShown {
    /// Number.
    #[schema(example = 2)]
    pub id: i64,
    /// The name.
    #[schema(example = "flowerpot")]
    name: String,
    /// Slug of what it means.
    #[schema(example = "goniopora")]
    taxon: String,
    /// Agreed since.
    #[schema(example = "2025-06-01")]
    since: NaiveDate,
    /// Who answers for it.
    #[schema(example = "husbandry group")]
    signed_by: String,
    /// Why.
    note: Option<String>,
    /// When it was entered.
    created_at: DateTime<Utc>,
    /// When it was withdrawn; `null` = it stands.
    withdrawn_at: Option<DateTime<Utc>>,
    /// Whether later files are read by it.
    in_force: bool,
}

/// What agreeing on a name would mean.
#[derive(Serialize, ToSchema)]
pub struct NamePreviewed {
    /// What later files would be read by: the words that are compared.
    #[schema(example = "flowerpot")]
    compared_as: String,
    /// What the catalogue says of it: `accepted`, `older`, `trade`, `ambiguous` (a question to its keeper), `spelling`, `near` or
    /// `unknown` (questions too).
    #[schema(example = "ambiguous")]
    catalogue: &'static str,
    /// Slug of what it means now without a question; `null` = it is asked.
    means_now: Option<&'static str>,
    /// Corals on record that were written so, by what they count as. They stay what they are: their keepers' files were read
    /// before, and change with the next copy that is handed in.
    on_record: Vec<NamedSo>,
}

/// Corals that were written so.
#[derive(Serialize, ToSchema)]
pub struct NamedSo {
    /// Slug of what they count as; `null` = a question about the name is open.
    #[schema(example = "alveopora")]
    taxon: Option<String>,
    /// How many.
    #[schema(example = 3)]
    specimens: u64,
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = club_name)]
struct Row {
    id: i64,
    name: String,
    taxon: String,
    since_day: NaiveDate,
    signed_by: String,
    note: Option<String>,
    created_at: DateTime<Utc>,
    withdrawn_at: Option<DateTime<Utc>>,
}

impl Row {
    fn shown(self, in_force: &[i64]) -> ClubNameShown {
        ClubNameShown {
            in_force: in_force.contains(&self.id),
            id: self.id,
            name: self.name,
            taxon: self.taxon,
            since: self.since_day,
            signed_by: self.signed_by,
            note: self.note,
            created_at: self.created_at,
            withdrawn_at: self.withdrawn_at,
        }
    }
}

/// Of each name the row that later files are read by.
fn in_force(connection: &mut PgConnection) -> QueryResult<Vec<i64>> {
    let rows: Vec<(String, i64)> = club_name::table
        .filter(club_name::withdrawn_at.is_null())
        .order((club_name::since_day, club_name::id))
        .select((club_name::name, club_name::id))
        .load(connection)?;
    Ok(rows.into_iter().collect::<BTreeMap<String, i64>>().into_values().collect())
}

/// The rows after a place, at most so many, in the order in which they were entered: those withdrawn too.
///
/// # Errors
/// The database refused.
pub fn list(
    connection: &mut PgConnection,
    desk: &Scope,
    after: i64,
    limit: i64,
) -> Result<Vec<ClubNameShown>, Problem> {
    desk.administers()?;
    let rows: Vec<Row> = club_name::table
        .filter(club_name::id.gt(after))
        .order(club_name::id)
        .limit(limit)
        .select(Row::as_select())
        .load(connection)?;
    let in_force = in_force(connection)?;
    Ok(rows.into_iter().map(|row| row.shown(&in_force)).collect())
}

/// What agreeing on a name would mean; changes nothing.
///
/// # Errors
/// The database refused.
pub fn preview(connection: &mut PgConnection, desk: &Scope, new: &NewName) -> Result<NamePreviewed, Problem> {
    desk.administers()?;
    let rows: Vec<(String, Option<String>)> =
        specimen::table.select((specimen::written, specimen::taxon)).load(connection)?;
    let own = kind_words(&new.name);
    let mut counted: BTreeMap<Option<String>, u64> = BTreeMap::new();
    for (_, taxon) in rows.into_iter().filter(|(written, _)| kind_words(written) == own) {
        *counted.entry(taxon).or_default() += 1;
    }
    let found = resolve_name(&new.name);
    Ok(NamePreviewed {
        compared_as: own,
        catalogue: match &found {
            NameMatch::Accepted { .. } => "accepted",
            NameMatch::Older { .. } => "older",
            NameMatch::Trade { .. } => "trade",
            NameMatch::Ambiguous { .. } => "ambiguous",
            NameMatch::Spelling { .. } => "spelling",
            NameMatch::Near(_) => "near",
            NameMatch::Unknown => "unknown",
        },
        means_now: found.taxon().map(|taxon| taxon.as_str()),
        on_record: counted.into_iter().map(|(taxon, specimens)| NamedSo { taxon, specimens }).collect(),
    })
}

/// Agrees on a name from now on.
///
/// # Errors
/// The database refused.
pub fn agree(connection: &mut PgConnection, desk: &Scope, new: &NewName, by: &str) -> Result<ClubNameShown, Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        let id: i64 = diesel::insert_into(club_name::table)
            .values((
                club_name::name.eq(&new.name),
                club_name::taxon.eq(new.taxon.as_str()),
                club_name::since_day.eq(new.since),
                club_name::signed_by.eq(&new.signed_by),
                club_name::note.eq(&new.note),
            ))
            .returning(club_name::id)
            .get_result(connection)?;
        scope::note(connection, by, "agree on name", &format!("name {id}"))?;
        let shown = one(connection, id)?;
        signed::raise_edition(connection)?;
        Ok(shown)
    })
}

/// Withdraws a name: the one agreed on before it holds again, or the catalogue. Again, it changes nothing.
///
/// # Errors
/// [`Kind::UnknownName`].
pub fn withdraw(connection: &mut PgConnection, desk: &Scope, id: i64, by: &str) -> Result<ClubNameShown, Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        let standing = club_name::table.find(id).filter(club_name::withdrawn_at.is_null());
        let gone = (club_name::withdrawn_at.eq(Utc::now()), club_name::withdrawn_by.eq(by));
        let changed = diesel::update(standing).set(gone).execute(connection)?;
        let shown = one(connection, id)?;
        if changed > 0 {
            scope::note(connection, by, "withdraw name", &format!("name {id}"))?;
            signed::raise_edition(connection)?;
        }
        Ok(shown)
    })
}

fn one(connection: &mut PgConnection, id: i64) -> Result<ClubNameShown, Problem> {
    let row: Option<Row> = club_name::table.find(id).select(Row::as_select()).first(connection).optional()?;
    let row = row.ok_or_else(|| Problem::new(Kind::UnknownName, format!("The club has agreed on no name {id}.")))?;
    let in_force = in_force(connection)?;
    Ok(row.shown(&in_force))
}

impl NameRequest {
    /// What can be agreed on of it.
    ///
    /// # Errors
    /// Every fault of it at once.
    pub fn read(self, today: NaiveDate) -> Result<NewName, Vec<Fault>> {
        let mut faults = Vec::new();
        let name = signed::text("/name", Some(self.name), 100, &mut faults).map(|name| name.to_lowercase());
        if let Some(name) = &name {
            if kind_words(name).is_empty() {
                let detail = format!("'{name}' says nothing of a kind of coral: colours and the like are passed over");
                faults.push(Fault::pointer("/name", "invalid", detail));
            } else if let NameMatch::Accepted { taxon } = resolve_name(name) {
                let detail = format!(
                    "'{name}' is a scientific name, of {}: what it means is not the club's to say",
                    taxon.get().name
                );
                faults.push(Fault::pointer("/name", "not_allowed", detail));
            }
        }
        let taxon = signed::taxon(&self.taxon, &mut faults);
        let signature = Signature { since: self.since, signed_by: self.signed_by, note: self.note };
        let (since, signed_by, note) = signature.read(today, &mut faults);
        match (name, taxon, since, signed_by) {
            (Some(name), Some(taxon), Some(since), Some(signed_by)) if faults.is_empty() => {
                Ok(NewName { name, taxon, since, signed_by, note })
            }
            _ => Err(faults),
        }
    }
}
