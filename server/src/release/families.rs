//! The q values of a release, worked out once over its written list of comparisons.

use analysis::answer::{Audience, Called, CalledLine, Outcome, family};
use analysis::club::Club;
use analysis::vocabulary::TaxonSlug;
use diesel::prelude::*;
use migrations::schema::release_family;

use crate::problem::Problem;

/// The q values of a release's comparisons for an outcome and an audience: kept, or worked out now and kept.
///
/// # Errors
/// The database refused, or what was kept cannot be read.
pub fn called(
    connection: &mut PgConnection,
    release: i64,
    club: &Club,
    outcome: Outcome,
    audience: Audience,
) -> Result<Called, Problem> {
    let name = format!("{}/{}", outcome.as_str(), audience.as_str());
    let kept: Option<(i64, serde_json::Value)> = release_family::table
        .find((release, &name))
        .select((release_family::comparisons, release_family::q_values))
        .first(connection)
        .optional()?;
    if let Some((comparisons, q)) = kept {
        let entries: Vec<(TaxonSlug, String, CalledLine)> =
            serde_json::from_value(q).map_err(|error| Problem::internal(&error))?;
        return Ok(Called::kept(comparisons.unsigned_abs(), entries));
    }
    let made = family(club, outcome, audience);
    let entries: Vec<(TaxonSlug, &str, CalledLine)> = made.entries().collect();
    let q = serde_json::to_value(entries).map_err(|error| Problem::internal(&error))?;
    diesel::insert_into(release_family::table)
        .values((
            release_family::release.eq(release),
            release_family::family.eq(&name),
            release_family::comparisons.eq(made.comparisons as i64),
            release_family::q_values.eq(q),
        ))
        .on_conflict_do_nothing()
        .execute(connection)?;
    Ok(made)
}
