//! What the club would have to record to know: open questions first, then tests, then time.

use std::collections::{BTreeMap, BTreeSet};

use super::based::{Based, TaxonQuestion};
use super::conditions::line::{Cut, Making};
use super::question::{Audience, InvalidQuestion, Stamp};
use super::round;
use super::shape::{LevelPair, PlanResult, PlanStep, TaxonAnswer, YearsNeeded};
use crate::club::{Club, SEVERAL};
use crate::comparison::curve::LEVEL;
use crate::disclosure::{block_minimum, keepers_needed, suppressed};
use crate::exposure::condition::{CONTRAST, REFERENCE};
use crate::exposure::{Factor, MONTH_DAYS};
use crate::follow_up::{Population, Run, day_number, follow_up};
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::survival::planning::{Comparison, DAYS_PER_YEAR as YEAR_DAYS, deaths_needed, design_effect_of_fit};
use crate::survival::rate;
use crate::vocabulary::ParameterCode;
use crate::wording;

/// Stable id of the method: changes when a figure made by the same records would.
const METHOD_ID: &str = "plan-1";
/// Ratios that anyone may ask.
pub const RATIOS: &[f64] = &[1.5, 2.0, 3.0];
/// The power that anyone may ask.
pub const POWER: f64 = 0.8;
/// Two-sided error of a test.
const ALPHA: f64 = 0.05;

/// A question about what to record.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanQuestion {
    /// The taxon, the outcome and the years of purchase.
    pub of: TaxonQuestion,
    /// The condition.
    pub condition: Factor,
    /// The ratio to be told from 1.
    pub hazard_ratio: f64,
    /// The power.
    pub power: f64,
}

impl PlanQuestion {
    /// The question as one text.
    pub fn canonical(&self) -> String {
        format!(
            "{}&condition={}&hazard_ratio={}&power={}",
            self.of.canonical("plan"),
            self.condition.code(),
            self.hazard_ratio,
            self.power
        )
    }

    /// Every fault of the question for an audience; none = it may be asked.
    pub fn faults(&self, audience: Audience) -> Vec<InvalidQuestion> {
        let mut faults = self.of.plain().faults(audience);
        let mut fault = |parameter, message: String| faults.push(InvalidQuestion { parameter, message });
        let exact = block_minimum(audience).is_none();
        let ratio_may = if exact {
            self.hazard_ratio.is_finite() && self.hazard_ratio > 0.0 && (self.hazard_ratio.ln()).abs() >= 0.01
        } else {
            RATIOS.contains(&self.hazard_ratio)
        };
        if !ratio_may {
            let what = if exact { "give a ratio above 0 that is not 1" } else { "use 1.5, 2 or 3" };
            fault("hazard_ratio", format!("{} is not offered: {what}", self.hazard_ratio));
        }
        let power_may = if exact { (0.5..=0.99).contains(&self.power) } else { self.power == POWER };
        if !power_may {
            let what = if exact { "give a share from 0.5 to 0.99" } else { "use 0.8" };
            fault("power", format!("{} is not offered: {what}", self.power));
        }
        faults
    }
}

/// What would have to be recorded of the taxon asked, itself and no other.
pub fn plan(club: &Club, question: &PlanQuestion, audience: Audience, stamp: &Stamp) -> TaxonAnswer<PlanResult> {
    let based = Based::new(club, &question.of, SEVERAL, audience, stamp);
    let population = Population::of(club, question.of.taxon, question.of.since);
    let result = result(club, &population, question, audience);
    let mut answer = based.answer("plan", METHOD_ID, result, Vec::new());
    answer.taxon.answered = question.of.taxon.as_str().to_owned();
    answer.taxon.name = question.of.taxon.get().name.to_owned();
    answer.taxon.rank = question.of.taxon.get().rank.as_str().to_owned();
    answer.taxon.without.clear();
    round::plan(&mut answer, audience);
    answer
}

fn result(
    club: &Club,
    population: &Population,
    question: &PlanQuestion,
    audience: Audience,
) -> Result<PlanResult, Refusal> {
    let making = Making::new(club, population, (question.of.outcome, question.of.since), audience);
    let cut = making.cut(question.condition)?;
    if !super::conditions::shown::may_be_shown(&making, question.condition, &cut) {
        return Err(suppressed(audience));
    }
    let rows = &cut.sets.middle;
    let (deaths, days) = (rows.episodes.deaths(), rows.episodes.time_at_risk());
    if deaths == 0 || days <= 0.0 {
        let words = question.of.outcome.words();
        return Err(Refusal::counted(
            RefusalCode::NoEvents,
            0.0,
            1.0,
            format!("Without a single {} on record nobody can say how long to wait for more.", words.one),
        ));
    }
    let of = |level: u16| cut.tallies.get(usize::from(level)).copied().unwrap_or_default();
    let known = of(REFERENCE).days + of(CONTRAST).days;
    if known <= 0.0 {
        return Err(Refusal::counted(
            RefusalCode::UnknownExposure,
            0.0,
            days,
            "The condition is known on none of the coral-days: tests, or what was done, have to be written down first.",
        ));
    }
    let share = if known > 0.0 { of(CONTRAST).days / known } else { 0.0 };
    if share <= 0.0 || share >= 1.0 {
        return Err(Refusal::counted(
            RefusalCode::EmptyGroup,
            share,
            1.0,
            "All known coral-days lie under one level of this condition: no time in such tanks would tell. Other tanks \
             are needed that are at the other level already.",
        ));
    }
    let design_effect = design_effect(&making, question.condition, &cut);
    let needed =
        deaths_needed(&Comparison { hazard_ratio: question.hazard_ratio, share, alpha: ALPHA, power: question.power })?
            * design_effect;
    let yearly = rate(deaths, days, LEVEL)?;
    let years = |rate: f64| needed / (rate * YEAR_DAYS);
    let specimen_years = YearsNeeded {
        estimate: years(yearly.rate),
        lower: years(yearly.upper),
        upper: (yearly.lower > 0.0).then(|| years(yearly.lower)),
    };
    let steps = steps(&making, question, &cut, known / YEAR_DAYS, specimen_years.estimate, audience);
    let sentence = wording::plan::sentence(&steps);
    let usual = usual_per_keeper(&cut);
    let name = |level: u16| cut.condition.levels.get(usize::from(level)).cloned();
    let (level, reference) = (name(CONTRAST), name(REFERENCE));
    let text = |name: &Option<crate::exposure::LevelName>| {
        name.as_ref().map_or_else(Default::default, |name| (name.code.clone(), name.label.clone()))
    };
    let ((level, level_label), (reference, reference_label)) = (text(&level), text(&reference));
    Ok(PlanResult {
        condition: question.condition.code(),
        contrast: LevelPair { level, level_label, reference, reference_label },
        hazard_ratio: question.hazard_ratio,
        power: question.power,
        share,
        design_effect,
        deaths_needed: needed,
        deaths_so_far: Part::Given(of(REFERENCE).deaths + of(CONTRAST).deaths),
        specimen_years,
        specimen_years_so_far: Part::Given(known / YEAR_DAYS),
        keepers: usual.map(|usual| specimen_years.estimate / usual),
        steps,
        sentence,
    })
}

/// Robust variance over model variance of the present fit, at least 1; 1 where there is no fit.
fn design_effect(making: &Making, factor: Factor, cut: &Cut) -> f64 {
    let fitted = making.coefficient(factor, cut, false).ok();
    let variances = fitted.and_then(|fit| Some((fit.robust_std_error?.powi(2), fit.std_error?.powi(2))));
    variances.and_then(|(robust, model)| design_effect_of_fit(robust, model).ok()).unwrap_or(1.0)
}

/// Coral-years a keeper and year.
fn usual_per_keeper(cut: &Cut) -> Option<f64> {
    let rows = &cut.sets.middle;
    let mut by_keeper: BTreeMap<u32, f64> = BTreeMap::new();
    for row in 0..rows.len() {
        *by_keeper.entry(rows.keeper[row]).or_default() += rows.episodes.stop[row] - rows.episodes.start[row];
    }
    let longest = by_keeper.values().copied().fold(0.0, f64::max);
    let all: f64 = by_keeper.values().sum();
    // Corals a keeper has at a time: coral-days over the days that the keeper with most could have logged.
    let days = (0..rows.len()).map(|row| rows.episodes.stop[row]).fold(0.0, f64::max).min(longest);
    (days > 0.0).then(|| all / by_keeper.len() as f64 / days).filter(|usual| *usual > 0.0)
}

fn steps(
    making: &Making,
    question: &PlanQuestion,
    cut: &Cut,
    known_years: f64,
    needed_years: f64,
    audience: Audience,
) -> Vec<PlanStep> {
    let (questions, freed) = held(making.club, making.population);
    let (keepers, unknown) = rare_tests(making, question.condition, cut);
    let shown = |count: u64| (count == 0 || count >= keepers_needed(audience)).then_some(count);
    let exact = block_minimum(audience).is_none();
    let kept = |years: f64| (exact || shown(keepers).is_some()).then_some(years);
    let left = (needed_years - known_years - freed - unknown).max(0.0);
    let words = wording::plan::Step { exact };
    let held = (questions > 0).then(|| PlanStep {
        kind: "held",
        count: shown(questions),
        specimen_years: exact.then_some(freed),
        sentence: words.held(shown(questions), exact.then_some(freed)),
    });
    let rare = (keepers > 0).then(|| PlanStep {
        kind: "rare_tests",
        count: shown(keepers),
        specimen_years: kept(unknown),
        sentence: words.rare_tests(shown(keepers)),
    });
    let wait = PlanStep { kind: "wait", count: None, specimen_years: Some(left), sentence: words.wait(left) };
    held.into_iter().chain(rare).chain([wait]).collect()
}

/// Corals with an open question, and the coral-years that settling all of them would add: the smaller of every unclear
/// fate a loss on its first possible day, and every one alive when last seen.
fn held(club: &Club, population: &Population) -> (u64, f64) {
    let open: BTreeSet<u32> = population
        .members
        .iter()
        .copied()
        .filter(|&id| club.specimens.get(id as usize).is_some_and(|specimen| specimen.held))
        .collect();
    let years = |alive: bool| {
        let mut settled = club.clone();
        for &id in &open {
            let Some(specimen) = settled.specimens.get_mut(id as usize) else { continue };
            specimen.held = false;
            if let Some(fate) = specimen.held_fate.take() {
                let earliest = fate.earliest.unwrap_or(fate.latest);
                specimen.ending = (!alive).then_some(crate::club::Ending {
                    fate: crate::vocabulary::Fate::Died,
                    cause_group: crate::vocabulary::CauseGroup::Unknown,
                    cause: None,
                    earliest,
                    latest: earliest,
                    written_day: true,
                    date_held: false,
                    poor_at_exit: false,
                    all_died: false,
                });
            }
        }
        let members = open.iter().copied().collect();
        let followed = follow_up(&settled, &Population { members, ..population.clone() }, Run::Main);
        followed.follows.iter().map(|follow| (follow.end.middle() - follow.entry).max(0.0)).sum::<f64>() / YEAR_DAYS
    };
    if open.is_empty() { (0, 0.0) } else { (open.len() as u64, years(true).min(years(false))) }
}

/// Keepers whose tanks were tested less than monthly while they held these corals, and the coral-years at unknown
/// conditions that are theirs.
fn rare_tests(making: &Making, factor: Factor, cut: &Cut) -> (u64, f64) {
    let Some(parameter) = factor.parameter() else { return (0, 0.0) };
    let rows = &cut.sets.middle;
    let mut unknown: BTreeMap<u32, f64> = BTreeMap::new();
    let mut all: BTreeMap<u32, (f64, f64, BTreeSet<u32>)> = BTreeMap::new();
    for row in 0..rows.len() {
        let Some(follow) = making.follow_up.follows.get(rows.specimen[row] as usize) else { continue };
        let (from, to) = (follow.day0 + rows.episodes.start[row], follow.day0 + rows.episodes.stop[row]);
        let kept = all.entry(rows.keeper[row]).or_insert((from, to, BTreeSet::new()));
        (kept.0, kept.1) = (kept.0.min(from), kept.1.max(to));
        kept.2.extend(rows.tank[row]);
        if rows.level[row].is_none() {
            *unknown.entry(rows.keeper[row]).or_default() += to - from;
        }
    }
    let rarely = |keeper: u32| {
        let Some((from, to, tanks)) = all.get(&keeper) else { return false };
        let tests = tests_of(making.club, parameter, tanks, *from, *to);
        (tests as f64) < (to - from) / MONTH_DAYS * tanks.len().max(1) as f64
    };
    let theirs: Vec<f64> =
        unknown.iter().filter(|(keeper, days)| **days > 0.0 && rarely(**keeper)).map(|(_, days)| *days).collect();
    (theirs.len() as u64, theirs.iter().sum::<f64>() / YEAR_DAYS)
}

fn tests_of(club: &Club, parameter: ParameterCode, tanks: &BTreeSet<u32>, from: f64, to: f64) -> usize {
    let days: BTreeSet<(u32, chrono::NaiveDate)> = tanks
        .iter()
        .flat_map(|tank| club.readings.of(*tank, parameter))
        .filter(|reading| (from..=to).contains(&day_number(reading.on)))
        .map(|reading| (reading.tank, reading.on))
        .collect();
    days.len()
}
