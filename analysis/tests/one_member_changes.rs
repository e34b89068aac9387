//! What one member changes shows in nothing that a later release may tell: whatever of it differs is held back.

#[path = "support/random_club.rs"]
mod random_club;
#[path = "support/club_builder.rs"]
mod support;

use analysis::answer::{
    Audience, By, Held, Outcome, Piece, Question, Records, TaxonQuestion, census, conditions, lead_up, survival,
};
use analysis::club::{Club, Incident};
use analysis::follow_up::Population;
use random_club::{Chance, Size, random_club};
use serde_json::Value;
use support::{stamp, taxon};

const TAXA: &[&str] = &["goniopora", "acropora-millepora"];

/// The same club after one member wrote something else.
fn changed(club: &Club, seed: u64) -> (Club, &'static str) {
    let mut chance = Chance::new(seed);
    let keeper = chance.below(club.keepers.len() as i64) as u32;
    let mut club = club.clone();
    let own: Vec<bool> = club.tanks.iter().map(|tank| tank.keeper == keeper).collect();
    let is_own = |tank: u32| own[tank as usize];
    let what = match chance.below(5) {
        0 => {
            let mut nth = 0;
            let mut rest = club.readings.to_vec();
            rest.retain(|reading| {
                nth += 1;
                !(is_own(reading.tank) && nth % 2 == 0)
            });
            club.readings = rest.into();
            "half of the tests gone"
        }
        1 => {
            let mut readings = club.readings.to_vec();
            readings.iter_mut().filter(|reading| is_own(reading.tank)).for_each(|reading| {
                reading.value = reading.value.map(|value| value * 1.3);
                (reading.lower, reading.upper) = (reading.lower * 1.3, reading.upper * 1.3);
            });
            club.readings = readings.into();
            "other values"
        }
        2 => {
            let tank = own.iter().position(|own| *own).unwrap_or(0) as u32;
            for month in 1..7 {
                let on = format!("2023-{month:02}-10").parse().expect("a day");
                club.incidents.push(Incident {
                    tank,
                    specimen: None,
                    from: on,
                    to: None,
                    kind: "power_cut".to_owned(),
                });
            }
            "power cuts"
        }
        3 => {
            club.specimens.iter_mut().filter(|specimen| specimen.keeper == keeper).for_each(|specimen| {
                specimen.ending = None;
                specimen.held = false;
            });
            "nothing lost"
        }
        _ => {
            club.specimens.iter_mut().filter(|specimen| specimen.keeper == keeper).for_each(|one| one.held = true);
            "all held"
        }
    };
    (club, what)
}

fn json(answer: &impl serde::Serialize) -> Value {
    serde_json::to_value(answer).expect("JSON")
}

/// What is told of a taxon: nothing where it does not answer itself.
struct Told<'a> {
    club: &'a Club,
    slug: &'a str,
    audience: Audience,
    conditions: Value,
    lead_up: Value,
    census: Value,
}

impl<'a> Told<'a> {
    fn new(club: &'a Club, slug: &'a str, audience: Audience) -> Told<'a> {
        let question = TaxonQuestion { taxon: taxon(slug), outcome: Outcome::Death, since: None };
        let census = census(club, audience);
        Told {
            club,
            slug,
            audience,
            conditions: json(&conditions(club, &question, audience, &stamp(), None)),
            lead_up: json(&lead_up(club, &question, audience, &stamp())),
            census: json(&census.iter().find(|row| row.slug == slug).map(|row| json(&row.counts))),
        }
    }

    /// Some fields of the lines of an answer of which a field is this.
    fn lines(&self, answer: &Value, list: &str, of: Option<(&str, &str)>, fields: &[&str]) -> Value {
        if answer["taxon"]["answered"] != self.slug {
            return Value::Null;
        }
        let lines = answer["result"][list].as_array().cloned().unwrap_or_default();
        let own = lines.iter().filter(|line| of.is_none_or(|(field, is)| line[field] == is));
        own.map(|line| fields.iter().map(|field| line[*field].clone()).collect::<Value>()).collect()
    }

    fn piece(&self, piece: &Piece) -> Value {
        match piece {
            Piece::Split(by) => {
                let plain = TaxonQuestion { taxon: taxon(self.slug), outcome: Outcome::Death, since: None }.plain();
                let answer = json(&survival(self.club, &Question { by: *by, ..plain }, self.audience, &stamp()));
                self.lines(&answer, "groups", None, &["group", "n", "events"])
            }
            Piece::OnRecord => self.census.clone(),
            Piece::Condition(factor) => {
                self.lines(&self.conditions, "conditions", Some(("condition", &factor.code())), &["evidence"])
            }
            Piece::LeadUp(code) => {
                let code = code.strip_prefix("lead_up/").expect("a code of lead-up");
                self.lines(&self.lead_up, "lines", Some(("condition", code)), &["difference", "cases", "controls"])
            }
        }
    }
}

#[test]
fn what_follows_after_one_member_wrote_is_what_was_told_before() {
    let (mut same, mut differ) = (0, 0);
    for seed in 0..4 {
        let before = random_club(seed, &Size { keepers: 16, corals_per_tank: 5, slugs: TAXA });
        let (after, what) = changed(&before, seed + 100);
        for slug in TAXA {
            let population = |club| Population::of(club, taxon(slug), None);
            let (then, now) = (population(&before), population(&after));
            let records = [(&before, &then), (&after, &now)].map(|(club, of)| Records::with_lines(club, of));
            let mut pieces: Vec<Piece> =
                ["none", "nitrate", "origin"].into_iter().filter_map(By::parse).map(Piece::Split).collect();
            pieces.push(Piece::OnRecord);
            pieces.extend(Piece::lines(&before, &then));
            let told = [Audience::Member, Audience::Public]
                .map(|audience| [&before, &after].map(|club| Told::new(club, slug, audience)));
            for piece in pieces {
                let held = |records: &Records| Held::of(records, &piece, &|keeper| Some(keeper.to_string()));
                let follows = held(&records[1]).may_follow(&held(&records[0]));
                for [older, newer] in &told {
                    let audience = older.audience;
                    let [older, newer] = [older, newer].map(|told| told.piece(&piece));
                    assert!(!follows || older == newer, "{seed} {slug} {what} {audience:?} {piece:?}: {older} {newer}");
                    if older == newer { same += 1 } else { differ += 1 }
                }
            }
        }
    }
    assert!(same > 20 && differ > 20, "{same} the same, {differ} other ones");
}
