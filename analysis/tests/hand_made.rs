//! A club small enough to count by hand: 6 keepers, 6 tanks, 12 corals, 5 deaths in each of two nitrate bands.
//!
//! Every number below was counted on paper from the table of lives. Curves are products of fractions, the hazard ratio
//! solves the score equation written out with them.

#[path = "support/club_builder.rs"]
mod support;

use analysis::answer::{Audience, By, Given, Outcome, Question, SurvivalAnswer, survival};
use analysis::club::Club;
use analysis::refusal::RefusalCode;
use support::{ClubBuilder, parameter, stamp, taxon};

/// Nitrate 5 to 15 mg/L is taught. Days are since 1 January 2023; each tank is tested every 20 days from day 0, so a
/// test speaks from 14 days later until 14 days after the next one. W = within, A = above.
///
/// | tank | tests | level on days |
/// |---|---|---|
/// | 1, 2 | 10 up to day 80, 20 from day 100 on | W 14–114, A from 114 |
/// | 3, 4 | 10 always | W from 14 |
/// | 5, 6 | 20 always | A from 14 |
///
/// Corals arrive on day 14, so age is the day less 14; ages in the table.
///
/// | coral | tank | rows | end |
/// |---|---|---|---|
/// | a b c d | 1 | W 0–100, A 100– | died 40 (W), 130 (A), 150 (A), alive 300 |
/// | e f g h | 2 | W 0–100, A 100– | died 60 (W), 80 (W), 170 (A), alive 300 |
/// | i | 3 | W | died 90 |
/// | j | 4 | W | died 110 |
/// | k | 5 | A | died 20 |
/// | l | 6 | A | died 120 |
fn hand_made() -> Club {
    let mut club = ClubBuilder::new("2023-01-01");
    let tanks: Vec<u32> = (0..6).map(|_| club.keeper_with_tank()).collect();
    for (tank, drifts, value) in
        [(0, true, 10.0), (1, true, 10.0), (2, false, 10.0), (3, false, 10.0), (4, false, 20.0), (5, false, 20.0)]
    {
        for test in 0..17 {
            let day = 20 * test;
            let value = if drifts && day >= 100 { 20.0 } else { value };
            club.reading(tanks[tank], "nitrate", day, value);
        }
    }
    let lives: [(usize, Option<i64>); 12] = [
        (0, Some(40)),
        (0, Some(130)),
        (0, Some(150)),
        (0, None),
        (1, Some(60)),
        (1, Some(80)),
        (1, Some(170)),
        (1, None),
        (2, Some(90)),
        (3, Some(110)),
        (4, Some(20)),
        (5, Some(120)),
    ];
    for (tank, died) in lives {
        let coral = club.coral("goniopora", tanks[tank], 14);
        match died {
            Some(age) => club.died(coral, 14 + age),
            None => club.looked_at(coral, 14 + 300),
        }
    }
    club.band("goniopora", "nitrate", 5.0, 15.0, "mg/L");
    club.build()
}

fn by_nitrate(club: &Club, audience: Audience) -> SurvivalAnswer {
    let question = Question {
        taxon: taxon("goniopora"),
        outcome: Outcome::Death,
        by: By::Parameter(parameter("nitrate")),
        edges: None,
        given: None,
        horizon_days: 90.0,
        since: None,
    };
    survival(club, &question, audience, &stamp())
}

fn close(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-9 * want.abs().max(1e-8), "got {got}, by hand {want}");
}

/// Deaths in order, with who is at risk within and above.
///
/// | age | dies | at risk W | at risk A |
/// |---|---|---|---|
/// | 20 | k (A) | 10 (a–j) | 2 (k l) |
/// | 40 | a (W) | 10 | 1 |
/// | 60 | e (W) | 9 | 1 |
/// | 80 | f (W) | 8 | 1 |
/// | 90 | i (W) | 7 (b c d g h i j) | 1 |
/// | 110 | j (W) | 1 (j) | 6 (b c d g h l) |
/// | 120 | l (A) | 0 | 6 |
/// | 130 | b (A) | 0 | 5 (b c d g h) |
/// | 150 | c (A) | 0 | 4 |
/// | 170 | g (A) | 0 | 3 |
const DEATHS: [(f64, f64, f64, bool); 10] = [
    (20.0, 10.0, 2.0, true),
    (40.0, 10.0, 1.0, false),
    (60.0, 9.0, 1.0, false),
    (80.0, 8.0, 1.0, false),
    (90.0, 7.0, 1.0, false),
    (110.0, 1.0, 6.0, false),
    (120.0, 0.0, 6.0, true),
    (130.0, 0.0, 5.0, true),
    (150.0, 0.0, 4.0, true),
    (170.0, 0.0, 3.0, true),
];

/// Coral-days within: a 40, e 60, f 80, b c d g h 100 each, i 90, j 110.
const DAYS_WITHIN: f64 = 40.0 + 60.0 + 80.0 + 5.0 * 100.0 + 90.0 + 110.0;
/// Coral-days above: b 30, c 50, g 70, d h 200 each, k 20, l 120.
const DAYS_ABOVE: f64 = 30.0 + 50.0 + 70.0 + 2.0 * 200.0 + 20.0 + 120.0;

#[test]
fn a_curator_reads_the_counted_figures() {
    let answer = by_nitrate(&hand_made(), Audience::Curator);
    let evidence = answer.evidence.given().expect("evidence");
    assert_eq!((evidence.specimens, evidence.keepers, evidence.tanks, evidence.deaths), (12, 6, 6, 10));
    close(evidence.specimen_days, DAYS_WITHIN + DAYS_ABOVE);
    assert_eq!(evidence.days_unknown, 0.0);
    let result = answer.result.given().expect("result");
    let codes: Vec<&str> = result.groups.iter().map(|group| group.group.as_str()).collect();
    assert_eq!(codes, ["below", "within", "above"]);

    // Within: 9/10, then 8/9, 7/8, 6/7 of what is left; the death at 110 has one at risk and is not printed.
    let within = &result.groups[1];
    assert_eq!((within.n, within.events, within.evidence.keepers), (10, 5, 4));
    close(within.evidence.specimen_days, DAYS_WITHIN);
    let points = within.curve.given().expect("a curve");
    let fractions: [f64; 4] = [9.0 / 10.0, 8.0 / 10.0, 7.0 / 10.0, 6.0 / 10.0];
    let greenwood: [f64; 4] =
        [1.0 / 90.0, 1.0 / 90.0 + 1.0 / 72.0, 1.0 / 90.0 + 1.0 / 72.0 + 1.0 / 56.0, 0.1 - 1.0 / 30.0];
    assert_eq!(points.len(), 4);
    for (i, point) in points.iter().enumerate() {
        close(point.survival, fractions[i]);
        assert_eq!(point.time, [40.0, 60.0, 80.0, 90.0][i]);
        assert_eq!(point.at_risk, [10, 9, 8, 7][i]);
        close(point.std_error.expect("Greenwood"), fractions[i] * greenwood[i].sqrt());
        let v = 1.959_963_984_540_054 * greenwood[i].sqrt() / fractions[i].ln().abs();
        close(point.lower.expect("lower"), fractions[i].powf(v.exp()));
        close(point.upper.expect("upper"), fractions[i].powf((-v).exp()));
    }
    // Day 90: seven were at risk that day, so the share is said.
    close(within.at_horizon.given().expect("share at day 90").survival, 6.0 / 10.0);
    // Losses per 100 coral-months of 30.4375 days.
    close(within.rates.given().expect("rate").per_100_months, 5.0 / DAYS_WITHIN * 30.4375 * 100.0);
    assert!(within.median.given().is_none(), "five deaths are too few for a median");

    // Above: seven corals are too few for a curve; deaths, days, rate, test and ratio stand.
    let above = &result.groups[2];
    assert_eq!((above.n, above.events, above.evidence.keepers), (7, 5, 4));
    close(above.evidence.specimen_days, DAYS_ABOVE);
    close(above.rates.given().expect("rate").per_100_months, 5.0 / DAYS_ABOVE * 30.4375 * 100.0);
    let refused = |part: &str| answer.refusals.iter().find(|refusal| refusal.key == part).map(|r| r.refusal.code);
    assert_eq!(refused("groups/above/curve"), Some(RefusalCode::TooFewSpecimens));
    assert_eq!(refused("groups/below/curve"), Some(RefusalCode::EmptyGroup));

    // Log-rank, of the table of deaths: d = 1 each time.
    let expected_above: f64 = DEATHS.iter().map(|(_, w, a, _)| a / (w + a)).sum();
    let variance: f64 = DEATHS.iter().map(|(_, w, a, _)| a * w / ((w + a) * (w + a))).sum();
    let test = result.log_rank.given().expect("log-rank");
    close(test.statistic, (5.0 - expected_above).powi(2) / variance);
    assert_eq!(test.df, 1);
    assert_eq!(test.robust_p, None, "six tanks are too few for a clustered p");

    // The ratio r of above to within solves: 5 = sum of a r / (w + a r).
    let score = |r: f64| 5.0 - DEATHS.iter().map(|(_, w, a, _)| a * r / (w + a * r)).sum::<f64>();
    let (mut low, mut high) = (1e-3, 1e3);
    for _ in 0..200 {
        let middle = f64::sqrt(low * high);
        if score(middle) > 0.0 { low = middle } else { high = middle }
    }
    let cox = result.cox.given().expect("ratios");
    let above = cox.coefficients.iter().find(|c| c.name == "nitrate:above").expect("above");
    assert_eq!(above.reference, "within");
    close(above.hazard_ratio.expect("ratio"), low);
    let information: f64 = DEATHS.iter().map(|(_, w, a, _)| a * low * w / ((w + a * low) * (w + a * low))).sum();
    close(above.std_error.expect("standard error"), 1.0 / information.sqrt());
    assert_eq!((above.lower, above.upper), (None, None));
    assert_eq!(above.refused.as_ref().map(|r| r.code), Some(RefusalCode::TooFewClusters));
    let below = cox.coefficients.iter().find(|c| c.name == "nitrate:below").expect("below");
    assert_eq!((below.hazard_ratio, below.refused.as_ref().map(|r| r.code)), (None, Some(RefusalCode::EmptyGroup)));
}

#[test]
fn the_public_is_told_that_it_is_suppressed_and_nothing_else() {
    let answer = by_nitrate(&hand_made(), Audience::Public);
    let text = serde_json::to_string(&answer).expect("JSON");
    let code = |part: Option<RefusalCode>| assert_eq!(part, Some(RefusalCode::Suppressed));
    code(match &answer.result {
        analysis::refusal::Part::Refused { refused } => Some(refused.code),
        analysis::refusal::Part::Given(_) => None,
    });
    code(match &answer.evidence {
        analysis::refusal::Part::Refused { refused } => Some(refused.code),
        analysis::refusal::Part::Given(_) => None,
    });
    assert!(answer.taxon.mix.is_empty() && answer.sensitivity.is_empty() && answer.cautions.is_empty());
    assert!(!text.contains("\"specimens\":1") && !text.contains("\"deaths\""), "{text}");
}

#[test]
fn all_together_the_public_reads_rounded_figures() {
    let question = Question {
        taxon: taxon("goniopora"),
        outcome: Outcome::Death,
        by: By::None,
        edges: None,
        given: None,
        horizon_days: 90.0,
        since: None,
    };
    let answer = survival(&hand_made(), &question, Audience::Public, &stamp());
    let evidence = answer.evidence.given().expect("twelve corals of six keepers may be shown");
    assert_eq!((evidence.specimens, evidence.keepers, evidence.deaths), (10, 5, 10));
    let all = &answer.result.given().expect("result").groups[0];
    // 7 of 12 alive at age 90, the deaths of that day counted.
    assert_eq!(all.at_horizon.given().map(|at| at.survival), Some(0.58));
    // One month on the grid with five keepers still followed; the next, at 60.9 days, too.
    let points = all.curve.given().expect("a curve");
    assert_eq!(points[0].time, 30.4375);
    assert_eq!(points[0].survival, 0.92);
    assert_eq!(answer.question.given, None::<Given>.map(Given::as_str));
}
