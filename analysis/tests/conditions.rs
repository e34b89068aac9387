//! Conditions side by side, when corals are lost, the weeks before, bands, plans, claims and the casebook: laws that hold
//! for whole clubs made from a seed, and clubs whose truth is written in.

#[path = "support/random_club.rs"]
mod random_club;
#[path = "support/club_builder.rs"]
mod support;

use std::collections::BTreeMap;

use analysis::answer::{
    Audience, ConditionLine, ConditionsResult, Families, LeadUpLine, LeadUpResult, LevelEvidence, Outcome, POWER,
    PlanQuestion, TaxonAnswer, TaxonQuestion, TaxonRecords, bands, casebook, claims, conditions, family, hazard,
    lead_up, listed, plan, ranges,
};
use analysis::club::{Club, ClubClaim, Incident};
use analysis::exposure::Factor;
use analysis::refusal::{Part, RefusalCode};
use analysis::vocabulary::{ClaimOutcome, TaxonSlug};
use analysis::wording::forbidden;
use random_club::{Chance, Size, random_club};
use serde_json::Value;
use support::{ClubBuilder, parameter, stamp, taxon};

const TAXA: &[&str] = &["goniopora", "alveopora", "acropora-millepora", "euphyllia-glabrescens"];
const EVERYONE: [Audience; 4] = [Audience::Public, Audience::Member, Audience::Curator, Audience::Keeper];

fn large(seed: u64) -> Club {
    random_club(seed, &Size { keepers: 20, corals_per_tank: 6, slugs: TAXA })
}

fn small(seed: u64) -> Club {
    random_club(seed, &Size { keepers: 5, corals_per_tank: 3, slugs: TAXA })
}

fn of(slug: &str, outcome: Outcome) -> TaxonQuestion {
    TaxonQuestion { taxon: taxon(slug), outcome, since: None }
}

/// Every answer about a taxon, as it is sent.
fn everything(club: &Club, slug: &str, outcome: Outcome, audience: Audience) -> Vec<(&'static str, String)> {
    let question = of(slug, outcome);
    let planned =
        PlanQuestion { of: question, condition: Factor::Level(parameter("nitrate")), hazard_ratio: 2.0, power: POWER };
    let called = family(club, outcome, audience);
    let of_ranges = ranges(club, outcome, audience);
    let text = |answer: Result<String, serde_json::Error>| answer.expect("JSON");
    vec![
        ("conditions", text(serde_json::to_string(&conditions(club, &question, audience, &stamp(), Some(&called))))),
        (
            "bands",
            text(serde_json::to_string(&bands(club, &question, audience, &stamp(), Some(&called), Some(&of_ranges)))),
        ),
        ("hazard", text(serde_json::to_string(&hazard(club, &question, audience, &stamp())))),
        ("lead_up", text(serde_json::to_string(&lead_up(club, &question, audience, &stamp())))),
        ("plan", text(serde_json::to_string(&plan(club, &planned, audience, &stamp())))),
        ("casebook", text(serde_json::to_string(&casebook(club, &question, audience, &stamp())))),
    ]
}

/// No number that is none, no forbidden word, and no refusal beside what it refuses.
fn check(value: &Value, path: &str) {
    match value {
        Value::Object(fields) => {
            // A line of a list keeps its names beside the reason why it has no numbers.
            let keeps_names =
                fields.contains_key("condition") || fields.contains_key("reference") || path.contains("/bins/");
            if fields.contains_key("refused") && !keeps_names && !path.contains("/fallback/") {
                assert_eq!(fields.len(), 1, "{path}: refused beside {:?}", fields.keys().collect::<Vec<_>>());
            }
            fields.iter().for_each(|(key, value)| check(value, &format!("{path}/{key}")));
        }
        Value::Array(values) => values.iter().enumerate().for_each(|(at, v)| check(v, &format!("{path}/{at}"))),
        Value::String(_) if ["/key", "/result_key", "/code"].iter().any(|name| path.ends_with(name)) => {}
        Value::String(text) => assert_eq!(forbidden(text), Vec::<&str>::new(), "{path}: {text}"),
        Value::Number(number) => assert!(number.as_f64().is_some_and(f64::is_finite), "{path}"),
        Value::Null | Value::Bool(_) => {}
    }
}

#[test]
fn answers_hold_figures_or_refusals_say_nothing_forbidden_and_are_the_same_twice() {
    let clubs = [
        (large(1), "goniopora", &[Audience::Public, Audience::Curator][..]),
        (small(2), "goniopora", &EVERYONE[..]),
        (small(3), "acropora-millepora", &[Audience::Member]),
    ];
    for (club, slug, audiences) in clubs {
        for &audience in audiences {
            for (about, text) in everything(&club, slug, Outcome::Death, audience) {
                check(&serde_json::from_str(&text).expect("JSON"), about);
                assert!(
                    !text.contains("coral 1\"") || audience == Audience::Keeper,
                    "{about}: {audience:?} names a coral"
                );
            }
        }
    }
    let club = small(4);
    let declined = |_| everything(&club, "goniopora", Outcome::DeathOrDecline, Audience::Member);
    let first = declined(0);
    assert_eq!(first, declined(1));
    for (about, text) in first {
        check(&serde_json::from_str(&text).expect("JSON"), about);
    }
}

fn lines(answer: &TaxonAnswer<ConditionsResult>) -> &[ConditionLine] {
    answer.result.given().map_or(&[], |result| &result.conditions)
}

#[test]
fn the_list_is_written_before_any_record_is_looked_at() {
    let (one, other) = (large(1), small(5));
    let count = |club: &Club| listed(club).iter().map(|taxon| Factor::list(*taxon).len() as u64).sum::<u64>();
    for club in [&one, &other] {
        assert_eq!(family(club, Outcome::Death, Audience::Curator).comparisons, count(club));
        // Refused and suppressed comparisons stay on the list.
        assert_eq!(family(club, Outcome::Death, Audience::Public).comparisons, count(club));
    }
    let codes = |slug: &str| Factor::list(taxon(slug)).into_iter().map(Factor::code).collect::<Vec<_>>();
    for slug in TAXA {
        let codes = codes(slug);
        let mut once = codes.clone();
        once.sort();
        once.dedup();
        assert_eq!(once.len(), codes.len(), "{slug}: a code stands twice");
        for code in &codes {
            assert_eq!(Factor::parse(code, taxon(slug)).map(Factor::code).as_ref(), Some(code));
        }
    }
}

#[test]
fn the_p_of_a_condition_does_not_hang_on_other_taxa() {
    let club = large(6);
    let mut alone = club.clone();
    // The others stay in their tanks as neighbours; only their names are taken from what is asked.
    for specimen in &mut alone.specimens {
        if specimen.identifications.last().is_some_and(|name| name.taxon == taxon("acropora-millepora")) {
            specimen.held = true;
        }
    }
    let p = |club: &Club| -> Vec<(String, Option<f64>)> {
        let answer = conditions(club, &of("goniopora", Outcome::Death), Audience::Curator, &stamp(), None);
        let mut p: Vec<_> = lines(&answer).iter().map(|line| (line.condition.clone(), line.p)).collect();
        p.retain(|(condition, _)| condition != "many_losses" && !condition.ends_with("corals"));
        p.sort_by(|a, b| a.0.cmp(&b.0));
        p
    };
    let (with, without) = (p(&club), p(&alone));
    assert_eq!(with, without);
}

/// Forty keepers with two tanks each, one of them below 5 mg/L of nitrate, where corals die at a multiple of the rate.
fn two_waters(seed: u64, ratio: f64) -> Club {
    let mut chance = Chance::new(seed);
    let mut builder = ClubBuilder::new("2022-01-01");
    for _ in 0..40 {
        let low = builder.keeper_with_tank();
        let keeper = builder.club.tanks[low as usize].keeper;
        let within = builder.tank(keeper);
        // Keepers differ by far more than waters do; both tanks of one share it.
        let care = 0.4 + 1.6 * chance.unit();
        for (tank, value, factor) in [(low, 2.0, ratio), (within, 10.0, 1.0)] {
            for visit in 0..60 {
                builder.reading(tank, "nitrate", -40 + 20 * visit, value);
            }
            for _ in 0..6 {
                let acquired = chance.below(300);
                let coral = builder.coral("goniopora", tank, acquired);
                let daily = 0.0009 * care * factor;
                let lived = (-(1.0 - chance.unit()).ln() / daily) as i64 + 1;
                if acquired + lived < 1000 {
                    builder.died(coral, acquired + lived);
                } else {
                    builder.looked_at(coral, 1000);
                }
            }
        }
    }
    builder.build()
}

#[test]
fn a_condition_that_acts_is_found_and_called_within_keepers() {
    let club = two_waters(11, 2.5);
    let called = family(&club, Outcome::Death, Audience::Curator);
    let answer = conditions(&club, &of("goniopora", Outcome::Death), Audience::Curator, &stamp(), Some(&called));
    let result = answer.result.given().expect("figures");
    let first = &result.conditions[0];
    assert!(first.condition.starts_with("nitrate"), "{}: {}", first.condition, result.sentence);
    let line = lines(&answer).iter().find(|line| line.condition == "nitrate_below").expect("on the list");
    for ratio in [line.hazard_ratio, line.within_keeper.given().map(|within| within.hazard_ratio)] {
        assert!((1.7..3.6).contains(&ratio.expect("a ratio")), "{line:?}");
    }
    assert!(line.p.is_some_and(|p| p < 1e-3), "{line:?}");
    assert!(line.q.given().is_some_and(|q| *q <= 0.05 && *q >= line.p.unwrap_or(1.0)), "{line:?}");
    assert!(result.sentence.starts_with("Clearest association: nitrate"), "{}", result.sentence);
    assert!(result.family.called.is_some_and(|called| called >= 1));
    // Nothing else was ever measured.
    let others = lines(&answer).iter().filter(|line| line.condition.contains("alkalinity"));
    assert!(others.clone().count() > 3 && others.clone().all(|line| line.refused.is_some()));
}

#[test]
fn a_condition_that_does_nothing_is_not_called() {
    let club = two_waters(12, 1.0);
    let called = family(&club, Outcome::Death, Audience::Curator);
    let answer = conditions(&club, &of("goniopora", Outcome::Death), Audience::Curator, &stamp(), Some(&called));
    let result = answer.result.given().expect("figures");
    assert_eq!(result.family.called, Some(0));
    assert!(result.sentence.starts_with("Clearest association: none."), "{}", result.sentence);
}

#[test]
fn the_weeks_before_losses_show_what_was_different_then() {
    let club = two_waters(13, 3.0);
    let answer = lead_up(&club, &of("goniopora", Outcome::Death), Audience::Curator, &stamp());
    let result = answer.result.given().expect("figures");
    let line =
        result.lines.iter().find(|line| line.condition == "nitrate_below" && line.window == [1, 14]).expect("a line");
    // Of the lost 3 of 4 stood in the low water, of the living about half.
    let difference = *line.difference.given().expect("a difference");
    assert!((0.1..0.4).contains(&difference) && line.lower.is_some_and(|lower| lower > 0.0), "{line:?}");
    let odds = line.odds_ratio.given().and_then(|odds| odds.estimate).expect("odds");
    assert!((2.0..4.5).contains(&odds), "{odds}");
    // A tank's water never changes here, so the same coral had it before.
    let within = result.within_specimen.iter().find(|line| line.condition == "nitrate_below").expect("a line");
    assert_eq!(within.difference.given().copied(), Some(0.0));
    assert!(result.controls <= 5 * result.losses);
}

#[test]
fn a_plan_ends_with_its_warning_and_never_speaks_of_deaths() {
    let club = two_waters(14, 1.0);
    for audience in EVERYONE {
        let question = PlanQuestion {
            of: of("goniopora", Outcome::Death),
            condition: Factor::Level(parameter("nitrate")),
            hazard_ratio: 2.0,
            power: POWER,
        };
        assert!(question.faults(audience).is_empty());
        let answer = plan(&club, &question, audience, &stamp());
        let Part::Given(result) = &answer.result else { panic!("{:?}", answer.result) };
        assert!(
            result.sentence.ends_with("Do not change your water or buy corals to fill a gap."),
            "{}",
            result.sentence
        );
        let before = result.sentence.trim_end_matches("Do not change your water or buy corals to fill a gap.");
        for word in ["change your water", "lose", "sacrifice", "death", "die"] {
            assert!(!before.contains(word), "{word}: {before}");
        }
        // Half of the days lie under each level: Schoenfeld's formula gives 65 deaths, less where rounding does.
        if audience == Audience::Curator {
            let alone = result.deaths_needed / result.design_effect;
            assert!((64.0..68.0).contains(&alone), "{alone}");
            assert!((result.share - 0.5).abs() < 0.1);
        }
        let kinds: Vec<&str> = result.steps.iter().map(|step| step.kind).collect();
        let order = ["held", "rare_tests", "wait"];
        assert!(kinds.iter().map(|kind| order.iter().position(|one| one == kind)).is_sorted(), "{kinds:?}");
    }
}

#[test]
fn a_casebook_tells_curators_days_members_months_and_the_public_nothing() {
    let mut club = two_waters(15, 1.0);
    let first = club.specimens.iter().find(|specimen| specimen.ending.is_some()).expect("a loss");
    let (tank, lost) = (first.stays[0].tank, first.ending.as_ref().expect("a loss").latest);
    let from = lost.pred_opt().expect("a day");
    club.incidents.push(Incident { tank, specimen: None, kind: "power_cut".to_owned(), from, to: None });
    let ask = |audience| casebook(&club, &of("goniopora", Outcome::Death), audience, &stamp());
    assert!(
        matches!(&ask(Audience::Public).result, Part::Refused { refused } if refused.code == RefusalCode::Suppressed)
    );
    let curator = ask(Audience::Curator);
    let exact = curator.result.given().expect("lines");
    let deaths = club.specimens.iter().filter(|specimen| specimen.ending.is_some()).count();
    assert_eq!(exact.losses.len(), deaths);
    assert_eq!(exact.losses.len() as u64 + exact.living, club.specimens.len() as u64);
    assert!(exact.losses.iter().all(|line| line.on.is_some() && line.specimen.is_none()));
    assert!(exact.losses.iter().any(|line| line.on == Some(lost) && line.incidents == ["power_cut"]));
    let member = ask(Audience::Member);
    let rounded = member.result.given().expect("lines");
    assert!(rounded.losses.iter().all(|line| line.on.is_none() && line.age_months.is_some_and(|m| m.fract() == 0.0)));
    assert!(rounded.losses.iter().flat_map(|line| &line.last_tests).all(|test| test.days_before % 7.0 == 0.0));
}

#[test]
fn claims_are_in_five_words_and_never_supported_before_a_release() {
    let club = two_waters(16, 3.0);
    let taught = |id, condition: &str, fewer| ClubClaim {
        id,
        code: format!("own_{id}"),
        wording: "As we teach it.".to_owned(),
        taxon: taxon("goniopora"),
        condition: condition.to_owned(),
        outcome: ClaimOutcome::Death,
        fewer,
        since: chrono::NaiveDate::from_ymd_opt(2024, 6, 1).expect("a day"),
        signed_by: "husbandry group".to_owned(),
        note: None,
    };
    let own = [taught(1, "nitrate_below", false), taught(2, "nitrate_below", true), taught(3, "a full moon", false)];
    let claims = |families: Families| {
        let of = |taxon: &TaxonSlug| TaxonRecords { taxon: *taxon, club: &club, families };
        claims(&listed(&club).iter().map(of).collect::<Vec<_>>(), &own, Audience::Curator, &stamp())
    };
    let before = claims(Families::default());
    let text = serde_json::to_string(&before).expect("JSON");
    assert!(!text.contains("\"supported\""), "q awaits a release");
    let called = family(&club, Outcome::Death, Audience::Curator);
    let after = claims(Families { death: Some(&called), decline: None });
    check(&serde_json::to_value(&after).expect("JSON"), "claims");
    let clean = after.claims.iter().find(|claim| claim.claim == "not_too_clean").expect("a claim");
    let of_taxon = clean.taxa.iter().find(|line| line.taxon == "goniopora").expect("it is taught for them");
    assert_eq!(of_taxon.verdict_in_words, "supported", "{of_taxon:?}");
    // The club's own stand beside them, in the direction in which each is taught.
    let word = |code: &str| {
        let line = after.claims.iter().find(|claim| claim.claim == code).expect("a claim");
        assert!(line.club.is_some() && clean.club.is_none());
        line.taxa.iter().find(|line| line.taxon == "goniopora").expect("it is taught for them").verdict_in_words.clone()
    };
    assert_eq!(["own_1", "own_2", "own_3"].map(word), ["supported", "points the other way", "never looked at"]);
}

/// What a restricted audience finds by taking one answer from another is nothing, or enough to be a block.
#[test]
fn no_line_can_be_taken_from_another() {
    let mut compared = 0;
    for seed in 20..32 {
        let club = large(seed);
        for slug in ["goniopora", "acropora-millepora"] {
            let by_year = |since| {
                let question = TaxonQuestion { since, ..of(slug, Outcome::Death) };
                conditions(&club, &question, Audience::Member, &stamp(), None)
            };
            let years: Vec<_> =
                [None, Some(2022), Some(2023), Some(2024), Some(2025)].map(by_year).into_iter().collect();
            let counts = |answer: &TaxonAnswer<ConditionsResult>| -> BTreeMap<String, Vec<u64>> {
                // A wider taxon answers of other corals.
                if answer.taxon.answered != slug {
                    return BTreeMap::new();
                }
                let count = |part: &Part<LevelEvidence>| part.given().map(|level| level.specimens);
                let of_line = |line: &ConditionLine| {
                    let counts = [count(&line.evidence.level)?, count(&line.evidence.reference)?];
                    Some((line.condition.clone(), counts.to_vec()))
                };
                lines(answer).iter().filter_map(of_line).collect()
            };
            for (at, wide) in years.iter().enumerate() {
                let wide = counts(wide);
                for narrow in &years[at + 1..] {
                    for (condition, fewer) in counts(narrow) {
                        let Some(more) = wide.get(&condition) else { continue };
                        for (more, fewer) in more.iter().zip(&fewer) {
                            let left = more - fewer;
                            assert!(left == 0 || left >= 5, "{seed} {slug} {condition}: {left} by subtraction");
                            compared += 1;
                        }
                    }
                }
            }
        }
    }
    assert!(compared > 200, "{compared} differences were looked at");
}

const TWO_SPECIES: &[&str] = &["acropora-millepora", "acropora-millepora", "acropora-tenuis"];

#[test]
fn losses_of_a_genus_less_those_of_its_species_are_none_or_a_block() {
    let mut compared = 0;
    for seed in 40..60 {
        let club = random_club(seed, &Size { keepers: 14, corals_per_tank: 4, slugs: TWO_SPECIES });
        let cases = |slug: &str, outcome: Outcome| -> BTreeMap<(String, [u32; 2]), u64> {
            let answer: TaxonAnswer<LeadUpResult> = lead_up(&club, &of(slug, outcome), Audience::Member, &stamp());
            if answer.taxon.answered != slug {
                return BTreeMap::new();
            }
            let Some(result) = answer.result.given() else { return BTreeMap::new() };
            let shown = |line: &LeadUpLine| Some(((line.condition.clone(), line.window), *line.cases.given()?));
            result.lines.iter().filter_map(shown).collect()
        };
        for outcome in [Outcome::Death, Outcome::DeathOrDecline] {
            let genus = cases("acropora", outcome);
            for (line, species) in cases("acropora-millepora", outcome) {
                let Some(all) = genus.get(&line) else { continue };
                let left = all.abs_diff(species);
                assert!(left == 0 || left >= 5, "{seed} {line:?}: {left} losses by subtraction");
                compared += 1;
            }
        }
    }
    assert!(compared > 0, "nothing was compared");
}
