//! Laws that every answer keeps: for whole clubs made from a seed, every split and every reader.

#[path = "support/random_club.rs"]
mod random_club;
#[path = "support/club_builder.rs"]
mod support;

use analysis::answer::{
    Audience, By, Given, GrowthQuestion, Outcome, Question, SensitivityRun, SurvivalAnswer, census, growth, survival,
};
use analysis::club::{Club, Identification};
use analysis::refusal::{Part, RefusalCode};
use analysis::vocabulary::{Origin, OriginBasis};
use analysis::wording::forbidden;
use random_club::{Size, random_club};
use serde_json::Value;
use support::{parameter, stamp, taxon};

const TAXA: &[&str] = &["goniopora", "acropora-millepora", "acropora-tenuis", "euphyllia-glabrescens"];

fn large(seed: u64) -> Club {
    random_club(seed, &Size { keepers: 20, corals_per_tank: 6, slugs: TAXA })
}

fn small(seed: u64) -> Club {
    random_club(seed, &Size { keepers: 6, corals_per_tank: 3, slugs: TAXA })
}

fn ask(slug: &str, by: By) -> Question {
    Question {
        taxon: taxon(slug),
        outcome: Outcome::Death,
        by,
        edges: None,
        given: None,
        horizon_days: 365.0,
        since: None,
    }
}

fn splits() -> Vec<By> {
    let parameters = ["nitrate", "phosphate", "temperature", "par"].map(|code| By::Parameter(parameter(code)));
    By::WORDS.iter().map(|(_, by)| *by).chain(parameters).collect()
}

fn json(answer: &SurvivalAnswer) -> String {
    serde_json::to_string(answer).expect("JSON")
}

const EVERYONE: [Audience; 4] = [Audience::Public, Audience::Member, Audience::Curator, Audience::Keeper];

/// Every object of an answer: no part holds numbers and a refusal at once, no text a forbidden word.
fn check_value(value: &Value, path: &str) {
    match value {
        Value::Object(fields) => {
            if fields.contains_key("refused") && !path.contains("/coefficients/") && !path.contains("/fallback/") {
                let other: Vec<&String> =
                    fields.keys().filter(|key| !["refused", "run", "result_key"].contains(&key.as_str())).collect();
                assert!(other.is_empty(), "{path}: refused beside {other:?}");
            }
            for (key, value) in fields {
                check_value(value, &format!("{path}/{key}"));
            }
        }
        Value::Array(values) => values.iter().enumerate().for_each(|(at, v)| check_value(v, &format!("{path}/{at}"))),
        // Paths and codes are names of parts, not text.
        Value::String(_) if ["/key", "/result_key", "/code"].iter().any(|name| path.ends_with(name)) => {}
        Value::String(text) => assert_eq!(forbidden(text), Vec::<&str>::new(), "{path}: {text}"),
        Value::Number(number) => assert!(number.as_f64().is_some_and(f64::is_finite), "{path}"),
        Value::Null | Value::Bool(_) => {}
    }
}

#[test]
fn every_answer_holds_figures_with_evidence_or_a_refusal_and_no_forbidden_word() {
    let (mut given, mut refused) = (0, 0);
    let restricted = [Audience::Public, Audience::Curator];
    let clubs = [
        (large(1), "goniopora", &EVERYONE[..], splits()),
        (large(1), "sps", &restricted[..], vec![By::None, By::Identification, By::Origin, By::Flow]),
        (small(2), "goniopora", &EVERYONE[..], splits()),
    ];
    for (club, slug, audiences, splits) in &clubs {
        for &by in splits {
            for &audience in *audiences {
                let answer = survival(club, &ask(slug, by), audience, &stamp());
                let value: Value = serde_json::from_str(&json(&answer)).expect("JSON");
                check_value(&value, "");
                match (&answer.result, &answer.evidence) {
                    (Part::Given(result), Part::Given(evidence)) => {
                        given += 1;
                        assert!(evidence.specimens > 0 && !result.groups.is_empty());
                    }
                    (Part::Refused { .. }, _) => refused += 1,
                    (Part::Given(_), Part::Refused { .. }) => panic!("figures without evidence"),
                }
            }
        }
    }
    assert!(given > 40 && refused > 20, "{given} given, {refused} refused");
}

#[test]
fn the_same_question_gives_the_same_bytes() {
    let club = large(3);
    for by in [By::None, By::Origin, By::Parameter(parameter("nitrate"))] {
        let first = json(&survival(&club, &ask("goniopora", by), Audience::Curator, &stamp()));
        let again: Vec<String> = std::thread::scope(|scope| {
            let jobs: Vec<_> = (0..4)
                .map(|_| {
                    let club = &club;
                    scope.spawn(move || json(&survival(club, &ask("goniopora", by), Audience::Curator, &stamp())))
                })
                .collect();
            jobs.into_iter().map(|job| job.join().expect("a thread")).collect()
        });
        assert!(again.iter().all(|other| *other == first));
    }
}

#[test]
fn records_of_another_genus_change_no_byte_of_a_curators_answer() {
    let club = large(4);
    let mut fewer = club.clone();
    let euphyllia = taxon("euphyllia");
    let others: Vec<u32> = (0..club.specimens.len() as u32)
        .filter(|&id| {
            let names = &club.specimens[id as usize].identifications;
            !names.last().is_some_and(|name| name.taxon.is_within(euphyllia))
        })
        .collect();
    fewer.specimens = others.iter().map(|&id| club.specimens[id as usize].clone()).collect();
    assert!(fewer.specimens.len() < club.specimens.len());
    for by in [By::None, By::Origin, By::Year, By::Parameter(parameter("nitrate")), By::Feeding] {
        let question = ask("goniopora", by);
        let all = json(&survival(&club, &question, Audience::Curator, &stamp()));
        assert_eq!(all, json(&survival(&fewer, &question, Audience::Curator, &stamp())), "{by:?}");
    }
}

#[test]
fn a_name_learnt_long_after_purchase_changes_no_split() {
    let club = large(5);
    let mut later = club.clone();
    let acropora = taxon("acropora");
    for specimen in &mut later.specimens {
        let named = specimen.identifications.last().map(|name| name.taxon);
        if let (Some(name), Some(days)) = (named, specimen.acquired) {
            let on = days.latest + chrono::TimeDelta::days(90);
            specimen.identifications.push(Identification { taxon: name, on: Some(on), guessed: false });
        }
    }
    let question = Question { taxon: acropora, ..ask("acropora", By::Identification) };
    let groups = |club: &Club| {
        let answer = survival(club, &question, Audience::Curator, &stamp());
        let result = answer.result.given().cloned().expect("figures");
        result.groups.into_iter().map(|group| (group.group, group.n, group.events)).collect::<Vec<_>>()
    };
    assert_eq!(groups(&club), groups(&later));
}

#[test]
fn in_and_out_are_all_and_groups_sum_to_the_whole() {
    let club = large(6);
    let members = club
        .specimens
        .iter()
        .filter(|specimen| specimen.identifications.last().is_some_and(|name| name.taxon == taxon("goniopora")))
        .count() as u64;
    for by in splits() {
        let answer = survival(&club, &ask("goniopora", by), Audience::Curator, &stamp());
        let evidence = answer.evidence.given().expect("evidence");
        let left_out = evidence.left_out.expect("left out");
        assert_eq!(evidence.specimens + left_out.total(), members);
        let groups = &answer.result.given().expect("figures").groups;
        assert_eq!(groups.iter().map(|group| group.events).sum::<u64>(), evidence.deaths, "{by:?}");
        let days: f64 = groups.iter().map(|group| group.evidence.specimen_days).sum();
        assert!((days - evidence.specimen_days).abs() < 1e-6 * days, "{by:?}");
    }
}

#[test]
fn feeding_given_good_water_counts_the_same_deaths_and_days_as_the_water_alone() {
    let club = large(7);
    let given = |by| Question { given: Some(Given::WaterInBand), ..ask("goniopora", by) };
    let whole = survival(&club, &given(By::None), Audience::Curator, &stamp());
    let fed = survival(&club, &given(By::Feeding), Audience::Curator, &stamp());
    match (whole.evidence.given(), fed.evidence.given()) {
        (Some(whole), Some(fed)) => {
            assert_eq!((whole.deaths, whole.specimen_days), (fed.deaths, fed.specimen_days));
            let days = whole.given.expect("days by condition");
            assert!((days.kept - whole.specimen_days).abs() < 1e-6);
            let all = survival(&club, &ask("goniopora", By::None), Audience::Curator, &stamp());
            let all = all.evidence.given().expect("evidence").specimen_days;
            assert!((days.kept + days.outside + days.unknown - all).abs() < 1e-6);
        }
        other => panic!("no evidence: {other:?}"),
    }
}

#[test]
fn every_run_is_listed_as_an_estimate_the_same_or_a_refusal() {
    let club = large(8);
    let answer = survival(&club, &ask("goniopora", By::Parameter(parameter("nitrate"))), Audience::Curator, &stamp());
    let value: Value = serde_json::from_str(&json(&answer)).expect("JSON");
    let runs = value["sensitivity"].as_array().expect("a list");
    let names: std::collections::BTreeSet<&str> = runs.iter().filter_map(|run| run["run"].as_str()).collect();
    for run in analysis::follow_up::Run::BESIDE {
        assert!(names.contains(run.as_str()), "{} is not listed", run.as_str());
    }
    for run in runs {
        let kinds = ["same", "refused", "estimate"].iter().filter(|kind| !run[**kind].is_null()).count();
        assert_eq!(kinds, 1, "{run}");
    }
    // Without an exposure, its lag and carry change nothing.
    let alone = survival(&club, &ask("goniopora", By::None), Audience::Curator, &stamp());
    for run in alone.sensitivity.iter().filter(|run| ["lag_0", "short_carry"].contains(&run.run)) {
        assert_eq!(run.outcome, analysis::answer::RunOutcome::Same { same: true }, "{}", run.run);
    }
}

#[test]
fn every_ratio_with_limits_has_an_e_value_in_the_method_note() {
    let club = large(3);
    let mut ratios = 0;
    for by in splits() {
        let answer = survival(&club, &ask("goniopora", by), Audience::Curator, &stamp());
        let cox = answer.result.given().and_then(|result| result.cox.given());
        for coefficient in cox.iter().flat_map(|cox| &cox.coefficients).filter(|one| one.lower.is_some()) {
            let key = format!("cox/{}", coefficient.name);
            let line = answer.method.e_values.iter().find(|line| line.result_key == key);
            let line = line.unwrap_or_else(|| panic!("{key}"));
            assert!(line.estimate >= line.limit && line.limit >= 1.0, "{line:?}");
            ratios += 1;
        }
    }
    assert!(ratios > 5, "{ratios}");
}

#[test]
fn days_more_than_the_reference_are_the_difference_of_the_days() {
    let club = random_club(8, &Size { keepers: 20, corals_per_tank: 20, slugs: &["goniopora"] });
    let mut compared = 0;
    for by in splits() {
        let question = Question { horizon_days: 90.0, ..ask("goniopora", by) };
        let answer = survival(&club, &question, Audience::Curator, &stamp());
        let Some(result) = answer.result.given() else { continue };
        let means = || result.groups.iter().filter(|group| group.group != "unknown").filter_map(|g| g.rmst.given());
        let references: Vec<f64> = means().filter(|mean| mean.difference.is_none()).map(|mean| mean.estimate).collect();
        for mean in means() {
            let Some(more) = mean.difference.as_ref().and_then(|difference| difference.given()) else { continue };
            assert_eq!(references.len(), 1, "one level is the reference");
            let estimate = more.estimate.expect("an estimate");
            assert!((estimate - (mean.estimate - references[0])).abs() < 1e-9, "{more:?}");
            assert!(more.lower.zip(more.upper).is_some_and(|(lower, upper)| lower < estimate && estimate < upper));
            compared += 1;
        }
    }
    assert!(compared > 3, "{compared}");
}

#[test]
fn a_comparison_says_the_ratio_within_keepers_and_an_origin_how_it_is_known() {
    let mut club = random_club(8, &Size { keepers: 20, corals_per_tank: 20, slugs: &["goniopora"] });
    for (number, specimen) in club.specimens.iter_mut().enumerate() {
        specimen.origin = Some(if number % 2 == 0 { Origin::CaptiveGrown } else { Origin::WildCollected });
        specimen.origin_basis = (number % 3 > 0).then_some(OriginBasis::SellerSaid);
    }
    let of = |audience, by| survival(&club, &ask("goniopora", by), audience, &stamp());
    let answer = of(Audience::Curator, By::Origin);
    let within = |run: &SensitivityRun| {
        run.run == "within_keeper" && matches!(run.outcome, analysis::answer::RunOutcome::Estimate { .. })
    };
    assert!(answer.sensitivity.iter().any(within), "the club is large enough for a comparison within keepers");
    let sentence = answer.result.given().and_then(|result| result.sentence.given()).expect("a sentence");
    assert!(sentence.contains("With corals compared within one keeper's tanks only, hazard ratio"), "{sentence}");
    let said = |answer: &SurvivalAnswer| {
        answer.cautions.iter().find(|caution| caution.code == "origin_as_said").map(|caution| caution.sentence.clone())
    };
    let counted = said(&answer).expect("a caution");
    assert!(counted.contains(" as the seller said and "), "{counted}");
    // Without counts for who reads blocks; and only where origin is the split.
    let plain = said(&of(Audience::Public, By::Origin)).expect("a caution");
    assert!(plain.chars().all(|letter| !letter.is_ascii_digit()), "{plain}");
    assert_eq!(said(&of(Audience::Curator, By::Year)), None);
}

/// Every number below `counts` that counts specimens, keepers, tanks or deaths is a multiple of 5.
fn check_rounded(value: &Value, key: &str) {
    const COUNTS: &[&str] =
        &["specimens", "keepers", "tanks", "deaths", "n", "events", "at_risk", "censored", "clusters"];
    match value {
        Value::Object(fields) => fields.iter().for_each(|(key, value)| check_rounded(value, key)),
        Value::Array(values) => values.iter().for_each(|value| check_rounded(value, key)),
        Value::Number(number) if COUNTS.contains(&key) => {
            assert_eq!(number.as_u64().map(|n| n % 5), Some(0), "{key} {number}");
        }
        Value::Number(number) if key == "specimen_days" || key == "days_unknown" => {
            assert_eq!(number.as_f64().map(|n| n % 50.0), Some(0.0), "{key} {number}");
        }
        Value::Number(number)
            if ["survival", "hazard_ratio", "rate", "per_100_months", "lower", "upper"].contains(&key) =>
        {
            let x = number.as_f64().unwrap_or(f64::NAN);
            assert_eq!(analysis::disclosure::rounding::two_digits(x), x, "{key} {number}");
        }
        _ => {}
    }
}

#[test]
fn the_public_reads_rounded_figures_of_blocks_that_pass() {
    let club = large(9);
    let mut shown = 0;
    for slug in ["goniopora", "acropora", "acropora-tenuis"] {
        for by in splits() {
            let answer = survival(&club, &ask(slug, by), Audience::Public, &stamp());
            let value: Value = serde_json::from_str(&json(&answer)).expect("JSON");
            check_rounded(&value, "");
            let Part::Given(result) = &answer.result else {
                let suppressed = answer.refusals.iter().any(|r| r.refusal.code == RefusalCode::Suppressed);
                if suppressed {
                    assert!(answer.evidence.given().is_none() && answer.sensitivity.is_empty());
                }
                continue;
            };
            shown += 1;
            for group in &result.groups {
                assert!(group.evidence.keepers >= 5 && group.evidence.specimens >= 10, "{slug} {by:?} {}", group.group);
                for point in group.curve.given().into_iter().flatten() {
                    let months = (point.time - group.start_time) / 30.4375;
                    assert!(group.start_time > 0.0 || (months - months.round()).abs() < 1e-9);
                }
            }
        }
    }
    assert!(shown > 5, "{shown} answers shown");
}

#[test]
fn cut_points_are_ladder_steps_for_all_but_curators() {
    let mut question = ask("goniopora", By::Parameter(parameter("nitrate")));
    question.edges = Some(vec![5.0, 7.5]);
    assert!(question.faults(Audience::Curator).is_empty());
    let faults = question.faults(Audience::Public);
    assert_eq!(faults.len(), 1);
    assert_eq!(faults[0].to_string(), "edges: 7.5 is no step of by=nitrate: use 1, 5, 15, 25, 50");
    question.horizon_days = 100.0;
    question.since = Some(1200);
    let named: Vec<&str> = question.faults(Audience::Member).iter().map(|fault| fault.parameter).collect();
    assert_eq!(named, ["edges", "horizon_days", "since"], "all faults at once");
    let refused = survival(&small(1), &question, Audience::Member, &stamp());
    assert!(matches!(&refused.result, Part::Refused { refused } if refused.code == RefusalCode::InvalidInput));
    let flowerpots = ask("flo", By::None);
    assert!(flowerpots.faults(Audience::Curator)[0].message.contains("goniopora"));
}

#[test]
fn ladder_steps_are_joined_as_asked() {
    let club = large(10);
    let mut question = ask("goniopora", By::Parameter(parameter("nitrate")));
    question.edges = Some(vec![5.0, 15.0]);
    let answer = survival(&club, &question, Audience::Curator, &stamp());
    let codes: Vec<String> =
        answer.result.given().expect("figures").groups.iter().map(|group| group.group.clone()).collect();
    assert_eq!(codes, ["<5", "[5,15)", ">=15", "unknown"]);
}

#[test]
fn a_refused_species_is_answered_by_its_genus_with_both_names() {
    let mut club = large(11);
    // Two corals only keep the name of the species.
    let (tenuis, acropora) = (taxon("acropora-tenuis"), taxon("acropora"));
    let mut kept = 0;
    for specimen in &mut club.specimens {
        if let Some(name) = specimen.identifications.last_mut().filter(|name| name.taxon == tenuis) {
            kept += 1;
            if kept > 2 {
                name.taxon = acropora;
            }
        }
    }
    let answer = survival(&club, &ask("acropora-tenuis", By::None), Audience::Curator, &stamp());
    assert_eq!((answer.taxon.asked.as_str(), answer.taxon.answered.as_str()), ("acropora-tenuis", "acropora"));
    assert_eq!(answer.taxon.fallback.len(), 1);
    assert_eq!(answer.taxon.fallback[0].refused.code, RefusalCode::TooFewSpecimens);
    assert!(answer.taxon.mix.iter().any(|line| line.name == "Acropora not named further"));
    assert!(answer.result.given().is_some());
}

#[test]
fn wide_intervals_are_drawn_and_said() {
    let mut club = large(12);
    for specimen in &mut club.specimens {
        if let Some(ending) = specimen.ending.as_mut().filter(|ending| ending.earliest == ending.latest) {
            ending.latest = ending.earliest + chrono::TimeDelta::days(30);
            ending.written_day = false;
        }
    }
    let answer = survival(&club, &ask("goniopora", By::Parameter(parameter("nitrate"))), Audience::Curator, &stamp());
    assert_eq!(answer.method.imputations, 20);
    assert!(answer.cautions.iter().any(|caution| caution.code == "wide_intervals"));
    let group = &answer.result.given().expect("figures").groups[1];
    let points = group.curve.given().expect("a curve");
    for pair in points.windows(2) {
        assert!(pair[1].survival <= pair[0].survival + 1e-12);
        let weeks = (pair[1].time - pair[0].time) / 7.0;
        assert!(weeks >= 1.0 && (weeks - weeks.round()).abs() < 1e-9);
    }
    for point in points {
        if let (Some(lower), Some(upper)) = (point.lower, point.upper) {
            assert!(lower <= point.survival && point.survival <= upper);
        }
    }
}

#[test]
fn growth_is_answered_by_fixed_and_by_changing_conditions() {
    let club = large(13);
    for by in [By::None, By::Origin, By::Parameter(parameter("nitrate")), By::Feeding] {
        let question = GrowthQuestion { taxon: taxon("goniopora"), by, edges: None, since: None };
        for audience in EVERYONE {
            let answer = growth(&club, &question, audience, &stamp());
            let text = serde_json::to_string(&answer).expect("JSON");
            check_value(&serde_json::from_str(&text).expect("JSON"), "");
            if audience == Audience::Curator {
                let result = answer.result.given().expect("growth");
                assert_eq!(result.measure, "max_diameter");
                assert!(result.specimens.is_none(), "specimens are for their keeper only");
                // Sizes grow by about 3 % a look of 60 days: a ratio of about 1.015 a month.
                for group in result.groups.iter().filter_map(Part::given) {
                    assert!((1.005..1.03).contains(&group.ratio_per_month), "{group:?}");
                }
            }
        }
    }
}

#[test]
fn sizes_of_tissue_change_no_figure_on_growth() {
    let club = large(14);
    let mut moody = club.clone();
    for specimen in &mut moody.specimens {
        let mut open = specimen.sizings.clone();
        for size in &mut open {
            size.basis = "open_tissue".to_owned();
            size.value *= 3.0;
        }
        specimen.sizings.extend(open);
    }
    let question = GrowthQuestion { taxon: taxon("goniopora"), by: By::Origin, edges: None, since: None };
    let without = growth(&club, &question, Audience::Curator, &stamp());
    let with = growth(&moody, &question, Audience::Curator, &stamp());
    assert_eq!(with.result, without.result);
    assert!(with.evidence.given().expect("evidence").tissue_only > 0);
}

#[test]
fn a_census_shows_no_part_that_could_be_found_by_subtraction() {
    let club = small(15);
    let exact = census(&club, Audience::Curator);
    assert!(exact.iter().all(|line| line.counts.given().is_some()));
    let find = |lines: &[analysis::answer::TaxonCensus], slug: &str| {
        lines.iter().find(|line| line.slug == slug).and_then(|line| line.counts.given().map(|counts| counts.specimens))
    };
    let genus = find(&exact, "acropora").expect("counted");
    let species = ["acropora-millepora", "acropora-tenuis"].map(|slug| find(&exact, slug).unwrap_or(0));
    assert_eq!(species.iter().sum::<u64>(), genus);
    let public = census(&club, Audience::Public);
    let hidden = ["acropora-millepora", "acropora-tenuis"].iter().filter(|slug| find(&public, slug).is_none()).count();
    assert_ne!(hidden, 1, "one hidden species is the genus less the other");
}

#[test]
fn an_answer_since_a_year_is_hidden_where_the_earlier_corals_are_too_few_to_show() {
    let mut club = large(16);
    let hidden = |club: &Club, audience| {
        let question = Question { since: Some(2022), ..ask("goniopora", By::None) };
        let answer = survival(club, &question, audience, &stamp());
        matches!(&answer.result, Part::Refused { refused } if refused.code == RefusalCode::Suppressed)
    };
    assert!(!hidden(&club, Audience::Public), "nobody bought earlier");
    // Two corals of one keeper were bought the year before: taking one answer from the other would show them.
    let mut moved = 0;
    for specimen in &mut club.specimens {
        let is_goniopora = specimen.identifications.last().is_some_and(|name| name.taxon == taxon("goniopora"));
        if is_goniopora && moved < 2 {
            let before = "2021-06-01".parse().expect("a date");
            specimen.acquired = Some(analysis::club::Days { earliest: Some(before), latest: before });
            moved += 1;
        }
    }
    assert!(hidden(&club, Audience::Public));
    assert!(!hidden(&club, Audience::Curator));
}
