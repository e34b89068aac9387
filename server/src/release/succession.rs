//! From which release each subject (a taxon, or a group without some genera) is answered in a new one.
//!
//! Answers by one split, or by none, stand or follow by themselves: every block of theirs must rest on what nobody, or at
//! least three members, changed ([`Held::may_follow`]). Answers that are made of several splits follow only where all of
//! them do, and where three members have changed what was written about the subject at all. Lines in them that rest on
//! cells of their own are withheld until three members have changed those since they were last shown.
//!
//! Where the club teaches another band than it did, nobody has written anything and levels hold other days all the same: the
//! blocks of both are then compared on the days that their levels have in common.

use std::collections::BTreeMap;

use analysis::answer::{Held, MEMBERS, Piece, Records, teaches_otherwise};
use analysis::club::{Club, ClubBand, SEVERAL};
use analysis::follow_up::Population;
use analysis::numeric::parallel;
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
    /// Who was in the figures when they were last shown, where they are withheld.
    held: Option<Held>,
}

/// The records of a release that figures stand from, with the keys of its members.
type Old = (Club, Vec<String>);

/// Writes from which release each subject is answered in the one being made.
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
    for population in Population::subjects(making.club).into_iter().map(Some).chain([None]) {
        let subject = population.as_ref().map_or_else(|| EVERYTHING.to_owned(), Population::subject);
        let fresh = Contributions::of(&written, population.as_ref());
        let own = stood.remove(&subject).unwrap_or_default();
        let Some(whole) = own.get(SEVERAL) else {
            if !fresh.is_empty() {
                let row = Row { piece: SEVERAL, from: Some(making.number), contributions: &fresh, held: None };
                put(connection, making.number, &subject, row)?;
            }
            continue;
        };
        let changed = whole.contributions.changed(&fresh);
        let moved = changed > 0 || population.as_ref().is_some_and(|of| taught_otherwise(making.club, of, &own, &old));
        // Older records hold what a member who withdrew had written: they cannot stand.
        let gone = making.reason == "withdrawal" || whole.contributions.lacks(making.members);
        let stays = |from: Option<i64>| if gone { None } else { from };
        let kept = |held: Held| held.without_the_gone(|member| making.members.iter().any(|key| key == member));
        let mut all = changed == 0 || changed >= MEMBERS;
        let mut standing = Vec::new();
        if let (Some(population), true) = (&population, moved) {
            let followed = Followed { making, old: &old, population, own: &own, changed, moved };
            standing = followed.standing();
            // Counts of what is on record are in no answer that is made of several.
            all &= standing.iter().all(|(piece, older)| older.is_none() || *piece == Piece::OnRecord);
        }
        let from = if all { Some(making.number) } else { stays(whole.from) };
        let contributions = if all { &fresh } else { &whole.contributions };
        put(connection, making.number, &subject, Row { piece: SEVERAL, from, contributions, held: None })?;
        for (piece, older) in standing {
            // One that follows, where the others do not; or one that does not, with who was in it if it is withheld.
            let code = piece.code();
            let of = own.get(&code).unwrap_or(whole);
            let (from_here, held) = match older {
                None => (Some(making.number), None),
                Some(older) => (stays(of.from), Some(older)),
            };
            if from_here != from || from_here.is_none() {
                let held = held.filter(|_| from_here.is_none()).map(kept);
                let contributions = if from_here == Some(making.number) { &fresh } else { &of.contributions };
                let row = Row { piece: &code, from: from_here, contributions, held: held.as_ref() };
                put(connection, making.number, &subject, row)?;
            }
        }
        let Some(population) = &population else { continue };
        let withheld = Followed { making, old: &old, population, own: &own, changed, moved }.lines(all, gone);
        for (code, held) in withheld {
            let held = kept(held);
            let row = Row { piece: &code, from: None, contributions: &Contributions::default(), held: Some(&held) };
            put(connection, making.number, &subject, row)?;
        }
    }
    Ok(())
}

/// Whether the club teaches other bands for a subject than those releases did that something of it stands from.
fn taught_otherwise(
    club: &Club,
    population: &Population,
    own: &BTreeMap<String, Stood>,
    old: &BTreeMap<i64, Old>,
) -> bool {
    let stands = own.values().filter_map(|stood| old.get(&stood.from?));
    stands.into_iter().any(|(then, _)| teaches_otherwise(population, &club.bands, &then.bands))
}

/// A subject of which something was written before.
struct Followed<'a> {
    making: &'a Making<'a>,
    old: &'a BTreeMap<i64, Old>,
    population: &'a Population,
    /// Its rows in the release before, by piece.
    own: &'a BTreeMap<String, Stood>,
    /// Members who changed anything about it.
    changed: usize,
    /// Any did, or other bands are taught.
    moved: bool,
}

/// The records now, by the release that they are held against; `None` = by what was written down of one.
type Now<'a> = BTreeMap<Option<i64>, Records<'a>>;
/// The records of older releases, with the keys of their members.
type Then<'a> = BTreeMap<i64, (Records<'a>, &'a Vec<String>)>;

impl Followed<'_> {
    /// Each standing piece: `None` where its answers follow, else who was in the older ones.
    fn standing(&self) -> Vec<(Piece, Option<Held>)> {
        let pieces = Piece::standing();
        let (now, then) = (self.now(Records::of), self.then(Records::of));
        let older = parallel::map(&pieces, |piece| {
            // Made before anything was kept of a piece: what was written about the whole decides.
            let Some(older) = self.older(&then, piece) else {
                return (self.changed < MEMBERS).then(|| Held::Cells(Default::default()));
            };
            (!self.held(&now, piece)?.may_follow(&older)).then_some(older)
        });
        pieces.into_iter().zip(older).collect()
    }

    /// The lines that are withheld, with who was in them when they were last shown. `all`: answers that are made of several
    /// follow; `gone`: those that do not are withheld.
    fn lines(&self, all: bool, gone: bool) -> Vec<(String, Held)> {
        let is_withheld = |(code, stood): (&String, &Stood)| Some((code.clone(), stood.held.clone()?));
        let withheld = || self.own.iter().filter(|(code, _)| code.contains('/')).filter_map(is_withheld);
        if !self.moved || (!all && !gone) {
            // What is told is what was told before.
            return withheld().collect();
        }
        let mut pieces = Piece::lines(self.making.club, self.population);
        let then = self.then(Records::with_lines);
        // Lines that are written no more were changed by whoever is gone from them.
        let codes: Vec<String> = pieces.iter().map(Piece::code).collect();
        let lost: Vec<(String, Held)> = withheld().filter(|(code, _)| !codes.contains(code)).collect();
        pieces.retain(|piece| self.older(&then, piece).is_some());
        let now = all.then(|| self.now(Records::with_lines));
        let older = parallel::map(&pieces, |piece| {
            let older = self.older(&then, piece)?;
            let held = now.as_ref().and_then(|now| self.held(now, piece));
            let follows = held.is_some_and(|held| held.may_follow(&older));
            (!follows).then(|| (piece.code(), older))
        });
        older.into_iter().flatten().chain(lost).collect()
    }

    fn held(&self, now: &Now, piece: &Piece) -> Option<Held> {
        let stood = self.stood(piece)?;
        let against = stood.from.filter(|_| stood.held.is_none()).filter(|from| now.contains_key(&Some(*from)));
        let records = now.get(&against)?;
        Some(Held::of(records, piece, &|keeper| self.making.members.get(keeper as usize).cloned()))
    }

    /// The row that decides on a piece.
    fn stood(&self, piece: &Piece) -> Option<&Stood> {
        self.own.get(&piece.code()).or(self.own.get(SEVERAL))
    }

    /// The older releases that something of it stands from.
    fn needed(&self) -> impl Iterator<Item = (i64, &Old)> {
        let needed = |number: &i64| self.own.values().any(|stood| stood.from == Some(*number));
        self.old.iter().filter(move |(number, _)| needed(number)).map(|(number, old)| (*number, old))
    }

    /// Its records now, cut as those of older releases are that taught other bands.
    fn now<'s>(&'s self, of: impl Fn(&'s Club, &Population) -> Records<'s>) -> Now<'s> {
        let club = self.making.club;
        let others = self.needed().filter(|(_, (then, _))| self.teaches_otherwise(&then.bands));
        let beside = others.map(|(number, (then, _))| (Some(number), of(club, self.population).beside(&then.bands)));
        beside.chain([(None, of(club, self.population))]).collect()
    }

    /// The records of the older releases that something of it stands from.
    fn then<'s>(&'s self, of: impl Fn(&'s Club, &Population) -> Records<'s>) -> Then<'s> {
        let then = self.needed().map(|(number, (club, members))| {
            let records = of(club, &self.population.again(club));
            let bands = &self.making.club.bands;
            let records = if self.teaches_otherwise(&club.bands) { records.beside(bands) } else { records };
            (number, (records, members))
        });
        then.collect()
    }

    fn teaches_otherwise(&self, then: &[ClubBand]) -> bool {
        teaches_otherwise(self.population, &self.making.club.bands, then)
    }

    /// Who was in the figures of a piece when they were last shown.
    fn older(&self, then: &Then, piece: &Piece) -> Option<Held> {
        let stood = self.stood(piece)?;
        match &stood.held {
            Some(held) => Some(held.clone()),
            None => {
                let (records, members) = then.get(&stood.from?)?;
                Some(Held::of(records, piece, &|keeper| members.get(keeper as usize).cloned()))
            }
        }
    }
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
        let held = holdings.map(serde_json::from_value).transpose().map_err(|error| Problem::internal(&error))?;
        stood.entry(taxon).or_default().insert(split, Stood { from, contributions, held });
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

/// From which release a piece of a subject is answered.
struct Row<'a> {
    piece: &'a str,
    /// `None` = withheld.
    from: Option<i64>,
    contributions: &'a Contributions,
    held: Option<&'a Held>,
}

fn put(connection: &mut PgConnection, number: i64, subject: &str, row: Row) -> Result<(), Problem> {
    let held = row.held.map(serde_json::to_value).transpose().map_err(|error| Problem::internal(&error))?;
    diesel::insert_into(release_taxon::table)
        .values((
            release_taxon::release.eq(number),
            release_taxon::taxon.eq(subject),
            release_taxon::split.eq(row.piece),
            release_taxon::answered_from.eq(row.from),
            release_taxon::contributions.eq(row.contributions.as_json()),
            release_taxon::holdings.eq(held),
        ))
        .execute(connection)?;
    Ok(())
}
