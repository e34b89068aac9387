//! From which release each taxon is answered in a new one.
//!
//! Answers by one split, or by none, stand or follow by themselves: every block of theirs must rest on what nobody, or at
//! least three members, changed ([`Holdings::may_follow`]). Answers that are made of several splits follow only where all
//! of them do, and where three members have changed what was written about the taxon at all.

use std::collections::BTreeMap;

use analysis::answer::{By, Holdings, MEMBERS, OnRecord, code_of_split, splits};
use analysis::club::Club;
use analysis::numeric::parallel;
use analysis::vocabulary::{TaxonSlug, catalogue};
use diesel::prelude::*;
use migrations::schema::{release, release_taxon};

use super::contributions::{Contributions, Written};
use super::{EVERYTHING, Release, packed};
use crate::problem::Problem;

/// A release being made.
pub(super) struct Making<'a> {
    pub(super) number: i64,
    pub(super) reason: &'a str,
    pub(super) club: &'a Club,
    /// Keys of the members, in the order of the club's keepers.
    pub(super) members: &'a [String],
    /// The release before it.
    pub(super) before: Option<Release>,
}

/// A row of the release before: where the answers came from, and what they rested on.
struct Stood {
    from: Option<i64>,
    contributions: Contributions,
    /// What members held, where the figures are withheld.
    holdings: Option<Holdings>,
}

/// The records of a release that figures stand from, with the keys of its members.
type Old = (Club, Vec<String>);

/// Writes from which release each taxon is answered in the one being made.
///
/// # Errors
/// The database refused, or what was kept cannot be read.
pub(super) fn stand(connection: &mut PgConnection, making: &Making) -> Result<(), Problem> {
    let mut stood = match making.before {
        Some(before) => rows(connection, before.number)?,
        None => BTreeMap::new(),
    };
    let old = old_records(connection, &stood)?;
    let written = Written::of(making.club, making.members);
    for taxon in catalogue().taxa().iter().map(|row| Some(row.slug)).chain([None]) {
        let slug = taxon.map_or(EVERYTHING, |taxon| taxon.as_str());
        let fresh = Contributions::of(&written, taxon);
        let own = stood.remove(slug).unwrap_or_default();
        let Some(whole) = own.get(EVERYTHING) else {
            if !fresh.is_empty() {
                put(connection, making.number, slug, EVERYTHING, Some(making.number), &fresh, None)?;
            }
            continue;
        };
        let changed = whole.contributions.changed(&fresh);
        // Older records hold what a member who withdrew had written: they cannot stand.
        let gone = making.reason == "withdrawal" || whole.contributions.lacks(making.members);
        let mut all = changed == 0 || changed >= MEMBERS;
        let mut by_split = Vec::new();
        if let (Some(taxon), true) = (taxon, changed > 0) {
            by_split = follow(making, &old, taxon, &own, changed);
            all &= by_split.iter().all(|(_, older)| older.is_none());
        }
        let stays = |from: Option<i64>| if gone { None } else { from };
        let from = if all { Some(making.number) } else { stays(whole.from) };
        put(connection, making.number, slug, EVERYTHING, from, if all { &fresh } else { &whole.contributions }, None)?;
        for (by, older) in by_split {
            // One that follows, where the others do not; or one that does not, with what it rested on if it is withheld.
            let of = own.get(code_of_split(by)).unwrap_or(whole);
            let (split_from, holdings) = match older {
                None => (Some(making.number), None),
                Some(older) => (stays(of.from), Some(older)),
            };
            if split_from != from || split_from.is_none() {
                let holdings = holdings
                    .filter(|_| split_from.is_none())
                    .map(|held| held.without_the_gone(|member| making.members.iter().any(|key| key == member)));
                let contributions = if split_from == Some(making.number) { &fresh } else { &of.contributions };
                put(connection, making.number, slug, code_of_split(by), split_from, contributions, holdings.as_ref())?;
            }
        }
    }
    Ok(())
}

/// Each split of a taxon: `None` where its answers follow, else what the older ones rest on.
fn follow(
    making: &Making,
    old: &BTreeMap<i64, Old>,
    taxon: TaxonSlug,
    stood: &BTreeMap<String, Stood>,
    changed: usize,
) -> Vec<(By, Option<Holdings>)> {
    let whole = stood.get(EVERYTHING);
    let splits = splits();
    let now = OnRecord::of(making.club, taxon);
    let needed = |number: &i64| stood.values().any(|of| of.from == Some(*number));
    let then: BTreeMap<i64, OnRecord> = old
        .iter()
        .filter(|(number, _)| needed(number))
        .map(|(number, (club, _))| (*number, OnRecord::of(club, taxon)))
        .collect();
    let kept = parallel::map(&splits, |by| {
        let of = stood.get(code_of_split(*by)).or(whole)?;
        let newer = Holdings::of(&now, *by, &|keeper| making.members.get(keeper as usize).cloned());
        let from = of.from.and_then(|from| Some((then.get(&from)?, &old.get(&from)?.1)));
        let older = match (&of.holdings, from) {
            (Some(holdings), _) => holdings.clone(),
            (None, Some((records, members))) => {
                Holdings::of(records, *by, &|keeper| members.get(keeper as usize).cloned())
            }
            // Made before holdings were kept: what was written about the whole taxon decides.
            (None, None) => return (changed < MEMBERS).then(Holdings::default),
        };
        (!newer.may_follow(&older)).then_some(older)
    });
    splits.into_iter().zip(kept).collect()
}

fn rows(connection: &mut PgConnection, number: i64) -> Result<BTreeMap<String, BTreeMap<String, Stood>>, Problem> {
    type Row = (String, String, Option<i64>, serde_json::Value, Option<serde_json::Value>);
    let rows: Vec<Row> = release_taxon::table
        .filter(release_taxon::release.eq(number))
        .select((
            release_taxon::taxon,
            release_taxon::split,
            release_taxon::answered_from,
            release_taxon::contributions,
            release_taxon::holdings,
        ))
        .load(connection)?;
    let mut stood: BTreeMap<String, BTreeMap<String, Stood>> = BTreeMap::new();
    for (taxon, split, from, contributions, holdings) in rows {
        let contributions = Contributions::from_json(&contributions);
        let holdings = holdings.map(serde_json::from_value).transpose().map_err(|error| Problem::internal(&error))?;
        stood.entry(taxon).or_default().insert(split, Stood { from, contributions, holdings });
    }
    Ok(stood)
}

/// The records of every release that figures stand from.
fn old_records(
    connection: &mut PgConnection,
    stood: &BTreeMap<String, BTreeMap<String, Stood>>,
) -> Result<BTreeMap<i64, Old>, Problem> {
    let mut old = BTreeMap::new();
    for number in stood.values().flat_map(BTreeMap::values).filter_map(|stood| stood.from) {
        if old.contains_key(&number) {
            continue;
        }
        let (records, members): (Option<Vec<u8>>, Option<serde_json::Value>) =
            release::table.find(number).select((release::records, release::members)).first(connection)?;
        let (Some(records), Some(members)) = (records, members) else { continue };
        let members = serde_json::from_value(members).map_err(|error| Problem::internal(&error))?;
        old.insert(number, (packed::unpack(&records)?, members));
    }
    Ok(old)
}

fn put(
    connection: &mut PgConnection,
    number: i64,
    taxon: &str,
    split: &str,
    from: Option<i64>,
    contributions: &Contributions,
    holdings: Option<&Holdings>,
) -> Result<(), Problem> {
    let holdings = holdings.map(serde_json::to_value).transpose().map_err(|error| Problem::internal(&error))?;
    diesel::insert_into(release_taxon::table)
        .values((
            release_taxon::release.eq(number),
            release_taxon::taxon.eq(taxon),
            release_taxon::split.eq(split),
            release_taxon::answered_from.eq(from),
            release_taxon::contributions.eq(contributions.as_json()),
            release_taxon::holdings.eq(holdings),
        ))
        .execute(connection)?;
    Ok(())
}
