//! What the club itself teaches beside the catalogue's claims: rows that are dated and signed.

use analysis::club::ClubClaim;
use analysis::exposure::Factor;
use analysis::vocabulary::{ClaimOutcome, TaxonSlug, claims as catalogue_claims};
use chrono::{DateTime, NaiveDate, Utc};
use diesel::prelude::*;
use migrations::schema::club_claim;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::signed::{self, Signature};
use crate::access::{Scope, scope};
use crate::problem::{Fault, Kind, Problem};

/// Something to be taught.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ClaimRequest {
    /// Code of it in answers: small letters, digits and underscores.
    #[schema(min_length = 1, max_length = 40, example = "little_nitrate")]
    code: String,
    /// As it is taught.
    #[schema(
        min_length = 1,
        max_length = 300,
        example = "Flowerpots do better where nitrate stays under the band's upper edge."
    )]
    wording: String,
    /// Species, genus or group that it is taught for.
    #[schema(example = "goniopora")]
    taxon: String,
    /// What it is taught of: the code of a condition as `GET /taxa/{slug}/conditions` lists them (`nitrate` is outside the band,
    /// `nitrate_above` above it), or words, for what no condition says yet: kept as never looked at.
    #[schema(min_length = 1, max_length = 120, example = "nitrate_above")]
    condition: String,
    /// About what: `death`, `decline` or `growth`.
    #[schema(value_type = String, example = "death")]
    outcome: ClaimOutcome,
    /// `more` losses (or less growth) under the condition, or `fewer` losses (or more growth).
    #[schema(example = "more")]
    direction: Direction,
    /// Since when it is taught; left out = today. Never a day to come.
    #[schema(example = "2025-06-01")]
    since: Option<NaiveDate>,
    /// Who answers for it, as it is printed.
    #[schema(min_length = 1, max_length = 120, example = "husbandry group")]
    signed_by: String,
    /// Why.
    #[schema(max_length = 1000, example = "agreed at the June meeting")]
    note: Option<String>,
}

/// In which direction something is taught.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// More losses, or less growth.
    More,
    /// Fewer losses, or more growth.
    Fewer,
}

/// Something that can be taught.
#[derive(Debug, Clone, PartialEq)]
pub struct NewClaim(ClubClaim);

/// Something that the club teaches or taught.
#[derive(Serialize, ToSchema)]
pub struct ClubClaimShown {
    /// Number.
    #[schema(example = 3)]
    id: i64,
    /// Code of it in answers.
    #[schema(example = "little_nitrate")]
    code: String,
    /// As taught.
    wording: String,
    /// Slug of the species, genus or group.
    #[schema(example = "goniopora")]
    taxon: String,
    /// Code of a condition, or words.
    #[schema(example = "nitrate_above")]
    condition: String,
    /// The condition in words; `null` = nothing that is recorded says this yet, and it is never looked at.
    #[schema(example = "nitrate above the taught band")]
    looked_at_as: Option<String>,
    /// `death`, `decline` or `growth`.
    #[schema(example = "death")]
    outcome: String,
    /// `more` or `fewer`.
    #[schema(example = "more")]
    direction: String,
    /// Taught since.
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
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = club_claim)]
struct Row {
    id: i64,
    code: String,
    wording: String,
    taxon: String,
    condition: String,
    outcome: String,
    direction: String,
    since_day: NaiveDate,
    signed_by: String,
    note: Option<String>,
    created_at: DateTime<Utc>,
    withdrawn_at: Option<DateTime<Utc>>,
}

const OUTCOMES: [(ClaimOutcome, &str); 3] =
    [(ClaimOutcome::Death, "death"), (ClaimOutcome::Decline, "decline"), (ClaimOutcome::Growth, "growth")];

fn outcome_word(outcome: ClaimOutcome) -> &'static str {
    OUTCOMES.iter().find(|(known, _)| *known == outcome).map_or("", |(_, word)| word)
}

impl Row {
    fn claim(self) -> Option<ClubClaim> {
        Some(ClubClaim {
            id: self.id,
            taxon: TaxonSlug::parse(&self.taxon)?,
            outcome: OUTCOMES.iter().find(|(_, word)| *word == self.outcome)?.0,
            code: self.code,
            wording: self.wording,
            condition: self.condition,
            fewer: self.direction == "fewer",
            since: self.since_day,
            signed_by: self.signed_by,
            note: self.note,
        })
    }

    fn shown(self) -> ClubClaimShown {
        let factor = TaxonSlug::parse(&self.taxon).and_then(|taxon| Factor::parse(&self.condition, taxon));
        ClubClaimShown {
            id: self.id,
            code: self.code,
            wording: self.wording,
            taxon: self.taxon,
            condition: self.condition,
            looked_at_as: factor.map(Factor::name),
            outcome: self.outcome,
            direction: self.direction,
            since: self.since_day,
            signed_by: self.signed_by,
            note: self.note,
            created_at: self.created_at,
            withdrawn_at: self.withdrawn_at,
        }
    }
}

/// What the club teaches.
///
/// # Errors
/// The database refused.
pub fn in_force(connection: &mut PgConnection) -> QueryResult<Vec<ClubClaim>> {
    let standing = club_claim::table.filter(club_claim::withdrawn_at.is_null());
    let rows: Vec<Row> = standing.order(club_claim::id).select(Row::as_select()).load(connection)?;
    Ok(rows.into_iter().filter_map(Row::claim).collect())
}

/// Teaches something from now on.
///
/// # Errors
/// [`Kind::InvalidValue`] where its code is taken.
pub fn teach(connection: &mut PgConnection, desk: &Scope, new: NewClaim, by: &str) -> Result<ClubClaimShown, Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        let claim = new.0;
        // The unique key decides between two that come at once.
        let id: Option<i64> = diesel::insert_into(club_claim::table)
            .values((
                club_claim::code.eq(&claim.code),
                club_claim::wording.eq(&claim.wording),
                club_claim::taxon.eq(claim.taxon.as_str()),
                club_claim::condition.eq(&claim.condition),
                club_claim::outcome.eq(outcome_word(claim.outcome)),
                club_claim::direction.eq(if claim.fewer { "fewer" } else { "more" }),
                club_claim::since_day.eq(claim.since),
                club_claim::signed_by.eq(&claim.signed_by),
                club_claim::note.eq(&claim.note),
            ))
            .on_conflict_do_nothing()
            .returning(club_claim::id)
            .get_result(connection)
            .optional()?;
        let id = id.ok_or_else(|| Problem::of_fault(Kind::InvalidValue, taken(&claim.code)))?;
        scope::note(connection, by, "teach claim", &format!("claim {id}"))?;
        let shown = one(connection, id)?;
        signed::raise_edition(connection)?;
        Ok(shown)
    })
}

/// Withdraws something taught. Again, it changes nothing.
///
/// # Errors
/// [`Kind::UnknownClaim`].
pub fn withdraw(connection: &mut PgConnection, desk: &Scope, id: i64, by: &str) -> Result<ClubClaimShown, Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        let standing = club_claim::table.find(id).filter(club_claim::withdrawn_at.is_null());
        let gone = (club_claim::withdrawn_at.eq(Utc::now()), club_claim::withdrawn_by.eq(by));
        let changed = diesel::update(standing).set(gone).execute(connection)?;
        let shown = one(connection, id)?;
        if changed > 0 {
            scope::note(connection, by, "withdraw claim", &format!("claim {id}"))?;
            signed::raise_edition(connection)?;
        }
        Ok(shown)
    })
}

fn one(connection: &mut PgConnection, id: i64) -> Result<ClubClaimShown, Problem> {
    let row: Option<Row> = club_claim::table.find(id).select(Row::as_select()).first(connection).optional()?;
    row.map(Row::shown)
        .ok_or_else(|| Problem::new(Kind::UnknownClaim, format!("The club has no claim {id} of its own.")))
}

fn taken(code: &str) -> Fault {
    Fault::pointer("/code", "taken", format!("'{code}' is taught already; withdraw it first, or give another code"))
}

impl ClaimRequest {
    /// What can be taught of it.
    ///
    /// # Errors
    /// Every fault of it at once.
    pub fn read(self, today: NaiveDate) -> Result<NewClaim, Vec<Fault>> {
        let mut faults = Vec::new();
        let mut bytes = self.code.bytes();
        let begins = bytes.next().is_some_and(|first| first.is_ascii_lowercase());
        if !begins || self.code.len() > 40 || !bytes.all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_')
        {
            let detail = "give 1 to 40 small letters, digits and underscores, a letter first";
            faults.push(Fault::pointer("/code", "invalid", detail));
        } else if catalogue_claims().iter().any(|claim| claim.code == self.code) {
            faults.push(taken(&self.code));
        }
        let wording = signed::text("/wording", Some(self.wording), 300, &mut faults);
        let taxon = signed::taxon(&self.taxon, &mut faults);
        let condition = signed::text("/condition", Some(self.condition), 120, &mut faults);
        let signature = Signature { since: self.since, signed_by: self.signed_by, note: self.note };
        let (since, signed_by, note) = signature.read(today, &mut faults);
        match (wording, taxon, condition, since, signed_by) {
            (Some(wording), Some(taxon), Some(condition), Some(since), Some(signed_by)) if faults.is_empty() => {
                let (code, outcome, fewer) = (self.code, self.outcome, self.direction == Direction::Fewer);
                let claim =
                    ClubClaim { id: 0, code, wording, taxon, condition, outcome, fewer, since, signed_by, note };
                Ok(NewClaim(claim))
            }
            _ => Err(faults),
        }
    }
}
