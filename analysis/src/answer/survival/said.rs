//! Cautions of an answer, and its levels side by side.

use super::frame::{Framed, Levels};
use super::sensitivity::changing;
use crate::answer::origin;
use crate::answer::{Audience, By, Caution, CoxResult, Question, RunOutcome, SensitivityRun, SurvivalGroup};
use crate::club::Club;
use crate::comparison::Sets;
use crate::comparison::contrast::Compared;
use crate::comparison::curve::{LEVEL, loss_rate};
use crate::comparison::sets::IMPUTATIONS;
use crate::disclosure::rounding;
use crate::evidence::Tally;
use crate::follow_up::decline::looks_without_score;
use crate::follow_up::tank_event::TankEvent;
use crate::follow_up::{End, Follow, Run};
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::rate_ratio;
use crate::wording::caution;
use crate::wording::comparison::{Side, ratio, sides, under};

/// What cautions are made from.
pub(super) struct Heard<'a> {
    pub(super) club: &'a Club,
    pub(super) framed: &'a Framed,
    pub(super) sets: &'a Sets,
    pub(super) by: By,
    pub(super) tallies: &'a [Tally],
    pub(super) events: &'a [TankEvent],
    pub(super) compared: &'a Compared,
    pub(super) sensitivity: &'a [SensitivityRun],
    pub(super) audience: Audience,
}

impl Heard<'_> {
    /// A count as the audience sees it; `None` if nothing is left of it.
    fn counted(&self, n: u64) -> Option<u64> {
        let n = if self.audience == Audience::Public { rounding::count(n) } else { n };
        (n > 0).then_some(n)
    }

    fn follows(&self, is: impl Fn(&Follow) -> bool) -> Option<u64> {
        self.counted(self.framed.follow_up.follows.iter().filter(|follow| is(follow)).count() as u64)
    }

    /// The cautions, in a fixed order.
    pub(super) fn cautions(&self) -> Vec<Caution> {
        let outcome = self.sets.outcome;
        let mut list = vec![caution::association()];
        if self.by.varies_in_time() {
            list.push(caution::present_state());
        }
        if self.by == By::Origin {
            let ids = self.framed.follow_up.follows.iter().map(|follow| follow.specimen);
            list.push(origin::as_said(self.club, ids, self.audience));
        }
        self.of_looks(&mut list);
        if let Some(n) = self.follows(|follow| follow.entry_assumed) {
            list.push(caution::entry_assumed(n));
        }
        if let Some(n) = self.follows(|follow| follow.date_held) {
            list.push(caution::date_held(n));
        }
        if let Some(n) = self.follows(|follow| matches!(follow.end, End::DiedWithin { .. })) {
            list.push(caution::wide_intervals(outcome, n, IMPUTATIONS));
        }
        let in_events = self.events.iter().map(|event| event.lost.len() as u64).sum();
        if let (Some(events), Some(deaths)) = (self.counted(self.events.len() as u64), self.counted(in_events)) {
            list.push(caution::one_tank_event(outcome, events, deaths));
        }
        let changing: Vec<Run> = changing(self.sensitivity, None).into_iter().map(|(run, _)| run).collect();
        if !changing.is_empty() {
            list.push(caution::sensitive(&changing));
        }
        if self.compared.split_by_age {
            list.push(caution::not_proportional());
        }
        if let Some((unknown, known)) = self.unknown_differs() {
            list.push(caution::unknown_goes_with_survival(outcome, unknown, known));
        }
        if self.compared.penalised {
            list.push(caution::wald_limits(outcome));
        }
        match self.audience {
            Audience::Public => list.push(caution::rounded()),
            Audience::Curator => list.push(caution::not_for_passing_on()),
            Audience::Member | Audience::Keeper => {}
        }
        list
    }

    /// What comes of knowing decline from looks.
    fn of_looks(&self, list: &mut Vec<Caution>) {
        let outcome = self.sets.outcome;
        if outcome.has_competing_end() {
            let rows = &self.sets.middle;
            let deaths = (0..rows.len()).filter(|&row| rows.cause[row] > 0 && !rows.episodes.event[row]).count();
            list.push(caution::deaths_apart(self.counted(deaths as u64)));
        }
        if outcome.counts_declines() {
            let (without, all) = looks_without_score(self.club, &self.framed.follow_up);
            if let (Some(without), Some(all)) = (self.counted(without), self.counted(all)) {
                list.push(caution::looks_without_score(without, all));
            }
        } else if outcome.needs_looks() {
            list.push(caution::from_first_poor_look());
        }
    }

    /// Loss rates per 100 coral-months at unknown and at known conditions, if they differ.
    fn unknown_differs(&self) -> Option<(f64, f64)> {
        let (unknown, known) = self.tallies.split_last()?;
        let deaths: u64 = known.iter().map(|tally| tally.deaths).sum();
        let days: f64 = known.iter().map(|tally| tally.days).sum();
        if unknown.days <= 0.0 || days <= 0.0 || self.sets.middle.is_empty() {
            return None;
        }
        let ratio = rate_ratio([unknown.deaths, deaths], [unknown.days, days], LEVEL).ok()?;
        let rates = (loss_rate(unknown.deaths, unknown.days).ok()?, loss_rate(deaths, days).ok()?);
        (ratio.p < 0.05).then_some((rates.0.per_100_months, rates.1.per_100_months))
    }
}

/// The levels side by side: each with the reference, its ratios, and what these become within keepers and under the rules
/// that move them outside their limits.
///
/// # Errors
/// The refusal of the ratios, or of every one of them.
pub(super) fn comparison(
    question: &Question,
    levels: &Levels,
    groups: &[(usize, SurvivalGroup)],
    cox: &Result<CoxResult, Refusal>,
    reference: Option<usize>,
    list: &[SensitivityRun],
) -> Result<String, Refusal> {
    let cox = cox.as_ref().map_err(Clone::clone)?;
    let outcome = question.outcome;
    let side = |level: usize| {
        let group = groups.iter().find(|(of, _)| *of == level).map(|(_, group)| group)?;
        Some(Side {
            phrase: levels.name(level).phrase,
            start_time: group.start_time,
            at_horizon: group.at_horizon.given().cloned(),
            rate: group.rates.given().cloned(),
        })
    };
    let reference = reference.and_then(side);
    let mut said: Vec<String> = Vec::new();
    let mut beside = None;
    for coefficient in &cox.coefficients {
        let level = levels.names.iter().position(|name| {
            let (_, code) = coefficient.name.split_once(':').unwrap_or_default();
            code == name.code || code.strip_prefix(name.code.as_str()).is_some_and(|rest| rest.starts_with(" ("))
        });
        if let (Some(level), Some(reference)) = (level, reference.as_ref())
            && let Some(other) = side(level)
            && let Some(text) = ratio(outcome, &other.phrase, coefficient)
        {
            // With ratios for two ages, the levels stand side by side once.
            if beside.replace(level) != Some(level) {
                said.extend(sides(outcome, reference, &other, question.horizon_days, question.by.varies_in_time()));
            }
            let age = coefficient.name.split_once(" (").map(|(_, age)| age.trim_end_matches(')'));
            said.push(age.map_or(text.clone(), |age| format!("From {} {age}: {text}", outcome.words().since)));
            said.extend(other_rules(&coefficient.name, list));
        }
    }
    if said.is_empty() {
        let refused = cox.coefficients.iter().find_map(|coefficient| coefficient.refused.clone());
        return Err(refused.unwrap_or_else(|| {
            Refusal::plain(RefusalCode::EmptyGroup, "There is one group only: nothing to compare.")
        }));
    }
    Ok(said.join(" "))
}

/// What a ratio is within keepers, and under the rules that move it outside its limits.
fn other_rules(coefficient: &str, list: &[SensitivityRun]) -> Vec<String> {
    let key = format!("cox/{coefficient}");
    let within = list.iter().filter(|entry| entry.result_key == key && entry.run == Run::WithinKeeper.as_str());
    let within = within.filter_map(|entry| match &entry.outcome {
        RunOutcome::Estimate { estimate, lower, upper, .. } => Some((*estimate, lower.zip(*upper))),
        RunOutcome::Same { .. } | RunOutcome::Refused { .. } => None,
    });
    let moved = changing(list, Some(&key)).into_iter().filter(|(run, _)| *run != Run::WithinKeeper);
    within
        .map(|(estimate, limits)| (Run::WithinKeeper, estimate, limits))
        .chain(moved.map(|(run, estimate)| (run, estimate, None)))
        .map(|(run, estimate, limits)| under(run.in_words(), estimate, limits))
        .collect()
}
