//! Issues as they were printed: their figures stay, what stands no longer is said beside them, and what a withdrawal took
//! from the club's answers is not shown in them either.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use diesel::prelude::*;
use migrations::schema::newsletter_issue;
use serde::Serialize;
use utoipa::ToSchema;

use super::{Correction, Issue, correction};
use crate::access::{Scope, scope};
use crate::answer::Snapshot;
use crate::problem::{Kind, Problem};
use crate::release;

/// An issue that was printed, in a list of them.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct PrintedIssue {
    /// Its number.
    #[schema(example = 3)]
    pub number: i64,
    /// Its title.
    #[schema(example = "Summer issue")]
    pub title: String,
    /// The release that its figures are of.
    #[schema(example = 7)]
    pub release: i64,
    /// Who answers for it, as printed.
    #[schema(example = "newsletter desk")]
    pub signed_by: String,
    /// Why it was made, or what is special about it.
    pub note: Option<String>,
    /// When it was frozen.
    pub frozen_at: DateTime<Utc>,
    /// When it was withdrawn; `null` = it stands.
    pub withdrawn_at: Option<DateTime<Utc>>,
}

/// An issue as it was printed, with what stands no longer.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct FrozenIssue {
    /// What it is called and who answers for it.
    #[serde(flatten)]
    pub printed: PrintedIssue,
    /// Figures that stand no longer as they were printed.
    pub corrections_since: Vec<Correction>,
    /// The issue.
    pub issue: Issue,
}

/// An issue to be frozen.
pub struct NewIssue {
    /// Title.
    pub title: String,
    /// Who answers for it.
    pub signed_by: String,
    /// Why.
    pub note: Option<String>,
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = newsletter_issue)]
struct Row {
    number: i64,
    title: String,
    release: i64,
    content: serde_json::Value,
    pictures: serde_json::Value,
    signed_by: String,
    note: Option<String>,
    frozen_at: DateTime<Utc>,
    withdrawn_at: Option<DateTime<Utc>>,
}

/// An issue as it is kept.
#[derive(Debug, Clone)]
pub struct Kept {
    /// What it is called and who answers for it.
    pub printed: PrintedIssue,
    issue: Issue,
    /// Taxa of which figures were withheld since.
    withheld: BTreeSet<String>,
}

impl Row {
    fn read(self) -> Result<(PrintedIssue, Issue), Problem> {
        let Row { number, title, release, content, pictures, signed_by, note, frozen_at, withdrawn_at } = self;
        let unreadable = |error| Problem::internal(&format!("issue {number} cannot be read: {error}"));
        let mut issue: Issue = serde_json::from_value(content).map_err(unreadable)?;
        let pictures: BTreeMap<String, String> = serde_json::from_value(pictures).map_err(unreadable)?;
        for item in &mut issue.taxa {
            item.drawn = pictures.get(&item.taxon).cloned().unwrap_or_default();
        }
        Ok((PrintedIssue { number, title, release, signed_by, note, frozen_at, withdrawn_at }, issue))
    }
}

/// Keeps an issue as it is printed from now on.
///
/// # Errors
/// The database refused.
pub fn freeze(
    connection: &mut PgConnection,
    desk: &Scope,
    new: NewIssue,
    issue: &Issue,
    by: &str,
) -> Result<PrintedIssue, Problem> {
    desk.administers()?;
    let pictures: BTreeMap<&str, &str> =
        issue.taxa.iter().map(|item| (item.taxon.as_str(), item.drawn.as_str())).collect();
    let content = serde_json::to_value(issue).map_err(|error| Problem::internal(&error))?;
    connection.transaction(|connection| {
        let row: Row = diesel::insert_into(newsletter_issue::table)
            .values((
                newsletter_issue::title.eq(new.title),
                newsletter_issue::release.eq(issue.release),
                newsletter_issue::content.eq(content),
                newsletter_issue::pictures.eq(serde_json::json!(pictures)),
                newsletter_issue::signed_by.eq(new.signed_by),
                newsletter_issue::note.eq(new.note),
                newsletter_issue::frozen_by.eq(by),
            ))
            .returning(Row::as_returning())
            .get_result(connection)?;
        let printed = row.read()?.0;
        scope::note(connection, by, "freeze issue", &format!("issue {}", printed.number))?;
        Ok(printed)
    })
}

/// Issues after a number, the oldest first.
///
/// # Errors
/// The database refused.
pub fn list(connection: &mut PgConnection, after: i64, limit: i64) -> Result<Vec<PrintedIssue>, Problem> {
    let rows: Vec<Row> = newsletter_issue::table
        .filter(newsletter_issue::number.gt(after))
        .order(newsletter_issue::number)
        .limit(limit)
        .select(Row::as_select())
        .load(connection)?;
    rows.into_iter().map(|row| Ok(row.read()?.0)).collect()
}

/// An issue by its number.
///
/// # Errors
/// [`Kind::UnknownIssue`]; the database refused.
pub fn one(connection: &mut PgConnection, number: i64) -> Result<Kept, Problem> {
    let row: Option<Row> =
        newsletter_issue::table.find(number).select(Row::as_select()).first(connection).optional()?;
    let row = row.ok_or_else(|| Problem::new(Kind::UnknownIssue, format!("No issue {number} was printed.")))?;
    kept(connection, row)
}

/// The last issue that stands.
///
/// # Errors
/// The database refused.
pub fn last(connection: &mut PgConnection) -> Result<Option<Kept>, Problem> {
    let row: Option<Row> = newsletter_issue::table
        .filter(newsletter_issue::withdrawn_at.is_null())
        .order(newsletter_issue::number.desc())
        .select(Row::as_select())
        .first(connection)
        .optional()?;
    row.map(|row| kept(connection, row)).transpose()
}

fn kept(connection: &mut PgConnection, row: Row) -> Result<Kept, Problem> {
    let (printed, issue) = row.read()?;
    let withheld = release::withheld_since(connection, printed.release)?;
    Ok(Kept { printed, issue, withheld })
}

/// Withdraws an issue. Again, it changes nothing.
///
/// # Errors
/// [`Kind::UnknownIssue`].
pub fn withdraw(connection: &mut PgConnection, desk: &Scope, number: i64, by: &str) -> Result<PrintedIssue, Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        let standing = newsletter_issue::table.find(number).filter(newsletter_issue::withdrawn_at.is_null());
        let gone = (newsletter_issue::withdrawn_at.eq(Utc::now()), newsletter_issue::withdrawn_by.eq(by));
        let changed = diesel::update(standing).set(gone).execute(connection)?;
        let printed = one(connection, number)?.printed;
        if changed > 0 {
            scope::note(connection, by, "withdraw issue", &format!("issue {number}"))?;
        }
        Ok(printed)
    })
}

impl Kept {
    /// What stands no longer.
    ///
    /// # Errors
    /// The database refused.
    pub fn corrections(&self, snapshot: &Snapshot) -> Result<Vec<Correction>, Problem> {
        let taxa = self.issue.taxa.iter().map(|item| item.taxon.clone());
        let items: Vec<String> = taxa.chain(self.issue.claims.iter().map(|of| of.claim.clone())).collect();
        if items.is_empty() {
            return Ok(Vec::new());
        }
        let now = Issue::standing(snapshot, items)?;
        Ok(correction::of(self.printed.number, &self.issue, &now, &self.withheld_now(snapshot)))
    }

    /// As it is shown: as printed, without figures that rest on what a member took back, and with what stands no longer.
    ///
    /// # Errors
    /// The database refused.
    pub fn shown(&self, snapshot: &Snapshot) -> Result<FrozenIssue, Problem> {
        let (mut issue, withheld) = (self.issue.clone(), self.withheld_now(snapshot));
        const GONE: &str = "What was printed here is withheld: records that it rested on were taken back.";
        for item in issue.taxa.iter_mut().filter(|item| withheld.contains(&item.taxon)) {
            item.paragraph = GONE.to_owned();
            item.table.clear();
            item.drawn.clear();
        }
        for claim in issue.claims.iter_mut().filter(|claim| withheld.contains(&claim.taxon)) {
            claim.paragraph = GONE.to_owned();
            claim.verdict = "withheld".to_owned();
            claim.table.clear();
        }
        for old in issue.corrections.iter_mut().filter(|old| withheld.contains(&old.taxon)) {
            (old.printed, old.now) = (None, None);
            old.reason = Some(GONE.to_owned());
        }
        let corrections_since = self.corrections(snapshot)?;
        Ok(FrozenIssue { printed: self.printed.clone(), corrections_since, issue })
    }

    /// Everything while the release as a whole is withheld.
    fn withheld_now(&self, snapshot: &Snapshot) -> BTreeSet<String> {
        if !snapshot.club.withheld {
            return self.withheld.clone();
        }
        let taxa = self.issue.taxa.iter().map(|item| &item.taxon);
        let claims = self.issue.claims.iter().map(|claim| &claim.taxon);
        taxa.chain(claims).chain(self.issue.corrections.iter().map(|old| &old.taxon)).cloned().collect()
    }
}
