//! Fed or not, in water within the taught bands or outside: counted by hand, and the laws it keeps on whole clubs.

#[path = "support/random_club.rs"]
mod random_club;
#[path = "support/club_builder.rs"]
mod support;

use analysis::answer::{
    Audience, By, FedByWater, Given, InteractionRatios, Outcome, Question, RunOutcome, SurvivalAnswer, SurvivalResult,
    survival,
};
use analysis::club::{Club, ClubBand, Routine};
use analysis::episode::Episodes;
use analysis::refusal::{Part, RefusalCode};
use analysis::survival::{Covariate, CoxInput, CoxOptions, cox};
use random_club::{Size, random_club};
use support::{ClubBuilder, parameter, stamp, taxon};

fn ask(club: &Club, edges: Option<Vec<f64>>, given: Option<Given>, audience: Audience) -> SurvivalAnswer {
    let question = Question {
        taxon: taxon("goniopora"),
        outcome: Outcome::Death,
        by: By::Feeding,
        edges,
        given,
        horizon_days: 90.0,
        since: None,
    };
    survival(club, &question, audience, &stamp())
}

fn result(answer: &SurvivalAnswer) -> &SurvivalResult {
    answer.result.given().unwrap_or_else(|| panic!("{:?}", answer.result))
}

fn table(answer: &SurvivalAnswer) -> &FedByWater {
    let part = result(answer).interaction.as_ref().expect("the part is there");
    part.given().unwrap_or_else(|| panic!("{part:?}"))
}

/// Ages at death, of ten corals each; the others live to age 100.
const UNFED_IN: [i64; 6] = [10, 20, 30, 40, 50, 60];
const FED_IN: [i64; 5] = [15, 35, 55, 75, 95];
const UNFED_OUT: [i64; 5] = [12, 24, 36, 48, 90];
const FED_OUT: [i64; 6] = [18, 25, 38, 45, 58, 65];
const DEATHS: [&[i64]; 4] = [&UNFED_IN, &FED_IN, &UNFED_OUT, &FED_OUT];

/// Twenty tanks of one keeper each with two corals; water and feeding are known from long before and never change.
fn hand_made() -> Club {
    let mut club = ClubBuilder::new("2023-01-01");
    for (deaths, (fed, within)) in DEATHS.iter().zip([(false, true), (true, true), (false, false), (true, false)]) {
        for tank in 0..5 {
            let tank_id = club.keeper_with_tank();
            for test in -2..18 {
                let nitrate = if within { 10.0 } else { 40.0 };
                let water = [("temperature", 25.0), ("salinity", 35.0), ("alkalinity", 8.0), ("phosphate", 0.05)];
                for (code, value) in water.into_iter().chain([("nitrate", nitrate)]) {
                    club.reading(tank_id, code, 20 * test, value);
                }
            }
            let (from, confirmed) = (club.day(-60), club.day(300));
            club.club.routines.push(Routine {
                tank: tank_id,
                specimen: None,
                kind: "target_feed".to_owned(),
                per_week: Some(if fed { 2.0 } else { 0.5 }),
                from,
                to: None,
                confirmed,
            });
            for of_tank in 0..2 {
                let coral = club.coral("goniopora", tank_id, 20);
                match deaths.get(2 * tank + of_tank) {
                    Some(age) => club.died(coral, 20 + age),
                    None => club.looked_at(coral, 20 + 100),
                }
            }
        }
    }
    club.band("goniopora", "nitrate", 5.0, 15.0, "mg/L");
    club.build()
}

/// Loss rates of the four cells relative to the last, at which every score equation is 0: the deaths of a cell less the
/// sum over all deaths of n r / (sum of n r over cells), n being those still alive. Each is solved by bisection in turn
/// until none moves. All enter at age 0 and deaths are apart.
fn relative_rates_by_bisection() -> [f64; 4] {
    let mut deaths: Vec<(i64, usize)> =
        DEATHS.iter().enumerate().flat_map(|(cell, ages)| ages.iter().map(move |age| (*age, cell))).collect();
    deaths.sort_unstable();
    let score = |rates: &[f64; 4], cell: usize| {
        let mut alive = [10.0; 4];
        let mut sum = 0.0;
        for &(_, died) in &deaths {
            let all: f64 = alive.iter().zip(rates).map(|(n, r)| n * r).sum();
            sum += f64::from(u8::from(died == cell)) - alive[cell] * rates[cell] / all;
            alive[died] -= 1.0;
        }
        sum
    };
    let mut rates = [1.0; 4];
    for _ in 0..400 {
        for cell in 0..3 {
            let (mut low, mut high) = (1e-3_f64, 1e3_f64);
            for _ in 0..100 {
                rates[cell] = (low * high).sqrt();
                if score(&rates, cell) > 0.0 { low = rates[cell] } else { high = rates[cell] }
            }
        }
    }
    rates
}

fn close(ours: f64, by_hand: f64, tolerance: f64, what: &str) {
    assert!((ours - by_hand).abs() <= tolerance * by_hand.abs(), "{what}: {ours} is not {by_hand}");
}

#[test]
fn four_cells_and_three_ratios_counted_by_hand() {
    let club = hand_made();
    let answer = ask(&club, None, None, Audience::Curator);
    let table = table(&answer);
    assert_eq!(table.days_unknown, 0.0);
    let codes: Vec<(&str, &str)> = table.cells.iter().map(|cell| (cell.feeding, cell.water)).collect();
    assert_eq!(codes, [("unfed", "in"), ("fed", "in"), ("unfed", "out"), ("fed", "out")]);
    // Days: ages at death, and 100 for each that lived.
    let days = [210 + 4 * 100, 275 + 5 * 100, 210 + 5 * 100, 249 + 4 * 100];
    let deaths = [6, 5, 5, 6];
    for (cell, (days, deaths)) in table.cells.iter().zip(days.into_iter().zip(deaths)) {
        let of = &cell.evidence;
        assert_eq!((of.specimens, of.keepers, of.tanks, of.deaths), (10, 5, 5, deaths), "{}", cell.label);
        assert_eq!(of.specimen_days, f64::from(days), "{}", cell.label);
        let rate = cell.rates.given().expect("a rate").per_100_months;
        close(rate, 100.0 * deaths as f64 / (f64::from(days) / 30.4375), 1e-12, &cell.label);
    }
    let ratios = table.hazard_ratios.given().unwrap_or_else(|| panic!("{:?}", table.hazard_ratios));
    let [unfed_in, fed_in, unfed_out, fed_out] = relative_rates_by_bisection();
    close(ratios.among_in.hazard_ratio, unfed_in / fed_in, 1e-7, "among in");
    close(ratios.among_out.hazard_ratio, unfed_out / fed_out, 1e-7, "among out");
    close(ratios.ratio.hazard_ratio, unfed_in / fed_in / (unfed_out / fed_out), 1e-7, "their ratio");
    // 22 deaths for three coefficients: the penalised fit stands beside. 20 tanks give limits.
    for ratio in [&ratios.among_in, &ratios.among_out, &ratios.ratio] {
        let (lower, upper) = (ratio.lower.expect("a limit"), ratio.upper.expect("a limit"));
        assert!(lower < ratio.hazard_ratio && ratio.hazard_ratio < upper);
        let firth = ratio.firth.as_ref().expect("a penalised fit");
        assert!(firth.coef.abs() < ratio.coef.abs() + 0.1 && firth.lower < firth.upper);
    }
    same_limits_from_the_other_side(ratios);
    let said = table.sentence.given().expect("a sentence");
    assert!(said.starts_with("In water within the taught bands, these records cannot tell"), "{said}");
}

/// A model of the four cells with fed in good water as the reference has "among in" as a coefficient of its own.
fn same_limits_from_the_other_side(ratios: &InteractionRatios) {
    let (mut stop, mut event, mut cell_of, mut tank) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for (cell, deaths) in DEATHS.iter().enumerate() {
        for coral in 0..10 {
            stop.push(deaths.get(coral).map_or(100.0, |age| *age as f64));
            event.push(coral < deaths.len());
            cell_of.push(cell);
            tank.push((5 * cell + coral / 2) as u32);
        }
    }
    let episodes = Episodes::validated(vec![0.0; 40], stop, event).expect("rows");
    let covariates: Vec<Covariate> = [0, 2, 3]
        .iter()
        .map(|cell| Covariate {
            name: cell.to_string(),
            values: cell_of.iter().map(|of| f64::from(u8::from(of == cell))).collect(),
        })
        .collect();
    let input = CoxInput { episodes: &episodes, covariates: &covariates, strata: None, cluster: Some(&tank) };
    let fit = cox(&input, &CoxOptions::default()).expect("a fit");
    let (other, ours) = (&fit.coefficients[0], &ratios.among_in);
    close(ours.coef, other.coef.expect("a coefficient"), 1e-9, "coefficient");
    close(ours.std_error, other.std_error.expect("a standard error"), 1e-9, "standard error");
    let robust = |x: Option<f64>| x.expect("given");
    close(robust(ours.robust_std_error), robust(other.robust_std_error), 1e-9, "sandwich");
    close(robust(ours.lower), robust(other.lower), 1e-9, "lower limit");
    close(robust(ours.upper), robust(other.upper), 1e-9, "upper limit");
    close(robust(ours.p), robust(other.p), 1e-9, "p");
}

#[test]
fn too_few_deaths_in_a_cell_leave_the_cells_only() {
    let mut club = hand_made();
    // One of the five that died fed in good water lives on.
    let fed_in = &mut club.specimens[10..20];
    let saved = fed_in.iter_mut().find(|specimen| specimen.ending.is_some()).expect("a loss");
    let on = saved.ending.take().expect("it had one").latest;
    saved.sightings.push(analysis::club::Sighting {
        on,
        source: analysis::club::SightingSource::Look,
        condition: None,
        tissue_cover: None,
        polyp_extension: None,
    });
    let answer = ask(&club, None, None, Audience::Curator);
    let table = table(&answer);
    assert_eq!(table.cells.iter().map(|cell| cell.evidence.deaths).collect::<Vec<_>>(), [6, 4, 5, 6]);
    let Part::Refused { refused } = &table.hazard_ratios else { panic!("{:?}", table.hazard_ratios) };
    assert_eq!((refused.code, refused.have, refused.need), (RefusalCode::TooFewEvents, Some(4.0), Some(5.0)));
    assert!(refused.message.contains("fed at least once a week, in water within"), "{}", refused.message);
    assert!(answer.refusals.iter().any(|placed| placed.key == "interaction/hazard_ratios"));
    assert!(!answer.sensitivity.iter().any(|run| run.result_key.starts_with("interaction")));
}

#[test]
fn unknown_water_on_more_than_half_of_the_days_is_refused() {
    let mut club = hand_made();
    club.readings.retain(|reading| reading.parameter.as_str() != "salinity" || reading.tank >= 10);
    let answer = ask(&club, None, None, Audience::Curator);
    let table = table(&answer);
    assert_eq!(table.cells[0].evidence.specimen_days, 0.0);
    assert_eq!(table.cells[0].rates.given(), None);
    assert!(table.days_unknown > 0.0);
    let Part::Refused { refused } = &table.hazard_ratios else { panic!("{:?}", table.hazard_ratios) };
    // 1359 of 2744 days are known: those outside.
    assert_eq!(refused.code, RefusalCode::UnknownExposure);
    close(refused.have.expect("a share"), 1359.0 / 2744.0, 1e-12, "share known");
}

#[test]
fn only_the_split_by_feeding_alone_has_the_part() {
    let club = hand_made();
    let given = ask(&club, None, Some(Given::WaterInBand), Audience::Curator);
    assert!(result(&given).interaction.is_none());
    let question = Question {
        taxon: taxon("goniopora"),
        outcome: Outcome::Death,
        by: By::None,
        edges: None,
        given: None,
        horizon_days: 90.0,
        since: None,
    };
    assert!(result(&survival(&club, &question, Audience::Curator, &stamp())).interaction.is_none());
}

#[test]
fn the_public_sees_cells_of_five_keepers_rounded_and_none_of_four() {
    let club = hand_made();
    let shown = ask(&club, None, None, Audience::Public);
    let cells = &table(&shown).cells;
    assert!(cells.iter().all(|cell| cell.evidence.specimens == 10 && cell.evidence.deaths == 5));
    assert_eq!(cells[0].evidence.specimen_days, 600.0);
    // The tanks of one cell fall to four keepers.
    let mut fewer = club.clone();
    fewer.tanks[1].keeper = 0;
    for specimen in &mut fewer.specimens[2..4] {
        specimen.keeper = 0;
    }
    let hidden = ask(&fewer, None, None, Audience::Public);
    let refused = match &hidden.result {
        Part::Refused { refused } => refused,
        Part::Given(result) => match &result.interaction {
            Some(Part::Refused { refused }) => refused,
            other => panic!("{other:?}"),
        },
    };
    assert_eq!(refused.code, RefusalCode::Suppressed);
    assert!(!serde_json::to_string(&hidden).expect("JSON").contains("interaction/hazard_ratios"));
}

/// Every other tank with a habit is fed less than once a week; only nitrate leaves its band.
fn large(seed: u64) -> Club {
    let size = Size { keepers: 40, corals_per_tank: 12, slugs: &["goniopora", "goniopora", "alveopora"] };
    let mut club = random_club(seed, &size);
    for routine in club.routines.iter_mut().step_by(2) {
        routine.per_week = Some(0.5);
    }
    let wide = [("nitrate", 5.0, 15.0, "mg/L"), ("phosphate", 0.0, 1.0, "mg/L"), ("alkalinity", 5.0, 12.0, "dKH")];
    for (code, lower, upper, unit) in wide {
        club.bands.push(ClubBand {
            taxon: taxon("goniopora"),
            parameter: parameter(code),
            lower,
            upper,
            unit_basis: None,
            unit: unit.to_owned(),
            as_taught: format!("{lower}–{upper} {unit}"),
            since: chrono::NaiveDate::from_ymd_opt(2022, 1, 1).expect("a day"),
        });
    }
    club
}

#[test]
fn the_row_in_good_water_is_the_answer_given_good_water() {
    let mut with_ratios = 0;
    for seed in 0..2 {
        let club = large(seed);
        let table_answer = ask(&club, None, None, Audience::Curator);
        let table = table(&table_answer);
        let given = ask(&club, Some(vec![1.0]), Some(Given::WaterInBand), Audience::Curator);
        // Levels below and from one feed a week: not fed, fed. A refusal for unknown water says nothing of the cells.
        let Some(given) = given.result.given() else { continue };
        for (cell, group) in table.cells[..2].iter().zip(&given.groups) {
            assert_eq!(cell.evidence.deaths, group.events, "{}", cell.label);
            assert_eq!(cell.evidence.specimen_days, group.evidence.specimen_days, "{}", cell.label);
            assert_eq!(cell.evidence.specimens, group.n, "{}", cell.label);
        }
        if let Some(ratios) = table.hazard_ratios.given() {
            with_ratios += 1;
            close(
                ratios.among_in.hazard_ratio,
                ratios.among_out.hazard_ratio * ratios.ratio.hazard_ratio,
                1e-10,
                "in = out x ratio",
            );
        }
        let in_cells: f64 = table.cells.iter().map(|cell| cell.evidence.specimen_days).sum();
        let all = table_answer.evidence.given().expect("evidence").specimen_days;
        close(in_cells + table.days_unknown, all, 1e-12, "every day is in a cell or unknown");
    }
    assert!(with_ratios > 0, "no club had ratios");
}

#[test]
fn each_run_stands_beside_each_ratio() {
    let answer = ask(&hand_made(), None, None, Audience::Curator);
    for name in ["among_in", "among_out", "ratio"] {
        let key = format!("interaction/hazard_ratios/{name}");
        let runs: Vec<&str> =
            answer.sensitivity.iter().filter(|run| run.result_key == key).map(|run| run.run).collect();
        assert_eq!(runs.len(), analysis::follow_up::Run::BESIDE.len(), "{runs:?}");
        let within =
            answer.sensitivity.iter().find(|run| run.result_key == key && run.run == "within_keeper").expect("a run");
        // Each keeper has one tank, so nobody has losses both fed and not fed.
        let RunOutcome::Refused { refused } = &within.outcome else { panic!("{within:?}") };
        assert_eq!((refused.code, refused.have), (RefusalCode::TooFewKeepers, Some(0.0)));
        let missing = answer
            .sensitivity
            .iter()
            .find(|run| run.result_key == key && run.run == "missing_censored")
            .expect("a run");
        assert_eq!(missing.outcome, RunOutcome::Same { same: true });
    }
}
