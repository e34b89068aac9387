//! The weeks before losses: what differed from corals of the same age that lived on, and from the same coral earlier.
//!
//! For each loss up to five corals of the same taxon, at risk at the same age in other tanks, are drawn by a seeded rule
//! from those at risk (incidence density sampling: one drawn may be lost later; Langholz & Goldstein 1996, Stat Sci 11:
//! 35–53, from memory). The same corals' earlier months are a second comparison (case–crossover, Maclure 1991, Am J
//! Epidemiol 133: 144–153, from memory). How a coral looks may be the loss itself beginning: signs and conditions are
//! marked apart and never ranked together.

use std::collections::BTreeMap;

use super::based::{Based, TaxonQuestion};
use super::hazard::no_coral;
use super::question::{Audience, Stamp};
use super::round;
use super::shape::{Estimate, LeadUpLine, LeadUpResult, TaxonAnswer, WithinSpecimenLine};
use crate::club::{Club, TankId};
use crate::comparison::curve::LEVEL;
use crate::comparison::rows::stretches;
use crate::disclosure::cells::{Entry, tally};
use crate::disclosure::{passes, suppressed};
use crate::episode::Episodes;
use crate::evidence::minimums;
use crate::exposure::{Factor, Rules};
use crate::follow_up::decline::follow_up_for;
use crate::follow_up::population::latest_name;
use crate::follow_up::{End, Follow, FollowUp, Population, Run};
use crate::numeric::bootstrap::{REPLICATES, cluster_limits};
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::survival::Covariate;
use crate::survival::matched_sets::{MatchedInput, RiskRows, conditional_logistic, draw_controls};
use crate::wording;

mod looked_back; // a condition or sign over a window

use looked_back::{LookedBack, Sign};

/// Stable id of the method: changes when a figure made by the same records would.
const METHOD_ID: &str = "lead-up-1";
/// Seed of the draws of controls and tanks.
const SEED: u64 = 11;
/// Windows before the loss, in days, both ends included.
pub const WINDOWS: [[u32; 2]; 4] = [[1, 14], [15, 30], [31, 60], [61, 120]];
/// The last window of a coral that is set against earlier ones of its own.
const LAST: [u32; 2] = [1, 30];
/// The earlier ones.
const EARLIER: [[u32; 2]; 3] = [[31, 60], [61, 90], [91, 120]];

/// The weeks before the losses of a taxon, for an audience.
pub fn lead_up(club: &Club, question: &TaxonQuestion, audience: Audience, stamp: &Stamp) -> TaxonAnswer<LeadUpResult> {
    let based = Based::new(club, question, audience, stamp);
    let result = match (&based.population, based.refusal()) {
        (Some(population), None) => Back::new(club, population, question, audience).and_then(|back| back.result()),
        (_, refusal) => Err(refusal.unwrap_or_else(no_coral)),
    };
    let mut answer = based.answer("lead_up", METHOD_ID, result, Vec::new());
    // Looking back from the day itself, a test speaks from its own day.
    answer.method.lag_days = 0.0;
    answer.method.seed = Some(SEED);
    round::lead_up(&mut answer, audience);
    answer
}

/// A moment from which is looked back: a loss, or a control of one.
#[derive(Debug, Clone, Copy)]
struct Moment {
    specimen: u32,
    keeper: u32,
    tank: Option<TankId>,
    /// Calendar day.
    day: f64,
}

/// A loss with its controls.
struct Loss {
    case: Moment,
    controls: Vec<Moment>,
}

struct Back<'a> {
    club: &'a Club,
    population: &'a Population,
    audience: Audience,
    losses: Vec<Loss>,
}

/// The day from which a loss is looked back: that of the loss, or the last look where it is known to an interval.
fn index(follow: &Follow) -> Option<f64> {
    match follow.end {
        End::Alive(_) => None,
        End::Died(day) => Some(day),
        End::DiedWithin { after, .. } => Some(after),
    }
}

impl<'a> Back<'a> {
    fn new(
        club: &'a Club,
        population: &'a Population,
        question: &TaxonQuestion,
        audience: Audience,
    ) -> Result<Back<'a>, Refusal> {
        let followed = follow_up_for(club, population, question.outcome, Run::Main);
        let losses = losses(club, &followed)?;
        Ok(Back { club, population, audience, losses })
    }

    fn result(&self) -> Result<LeadUpResult, Refusal> {
        if self.losses.is_empty() {
            return Err(Refusal::counted(RefusalCode::NoEvents, 0.0, 1.0, "No loss to look back from."));
        }
        self.passes(self.losses.iter().map(|loss| &loss.case))?;
        let rules = Rules { lag: 0.0, ..Rules::of(Run::Main) };
        let conditions = Factor::list(self.population.taxon).into_iter().filter(|factor| varies(*factor));
        let mut looked: Vec<LookedBack> =
            conditions.filter_map(|factor| LookedBack::condition(self.club, self.population, factor, rules)).collect();
        looked.extend(Sign::ALL.iter().map(|sign| LookedBack::Sign(*sign)));
        let mut lines = Vec::new();
        let mut within_specimen = Vec::new();
        for what in &looked {
            for window in WINDOWS {
                lines.extend(self.line(what, window));
            }
            within_specimen.extend(self.within(what));
        }
        let controls = self.losses.iter().map(|loss| loss.controls.len() as u64).sum();
        let sentence = wording::lead_up::read(&lines);
        Ok(LeadUpResult { losses: self.losses.len() as u64, controls, lines, within_specimen, sentence })
    }

    fn passes<'m>(&self, moments: impl Iterator<Item = &'m Moment>) -> Result<(), Refusal> {
        let entries: Vec<Entry> = moments
            .map(|at| Entry { specimen: at.specimen, keeper: at.keeper, tank: at.tank, days: 1.0, marks: 0 })
            .collect();
        if passes(&tally(entries.iter()), self.audience) { Ok(()) } else { Err(suppressed(self.audience)) }
    }

    /// A line; `None` where no loss has data.
    fn line(&self, what: &LookedBack, window: [u32; 2]) -> Option<LeadUpLine> {
        let value = |at: &Moment| what.over(self.club, at.specimen, at.keeper, at.day, window);
        let mut with: Vec<(&Loss, f64, Vec<f64>)> = Vec::new();
        for loss in &self.losses {
            let controls: Vec<f64> = loss.controls.iter().filter_map(value).collect();
            if let (Some(case), false) = (value(&loss.case), controls.is_empty()) {
                with.push((loss, case, controls));
            }
        }
        if with.is_empty() {
            return None;
        }
        let base = LeadUpLine {
            condition: what.code(),
            name: what.name(),
            kind: what.kind(),
            window,
            difference: Part::Refused { refused: suppressed(self.audience) },
            lower: None,
            upper: None,
            odds_ratio: Part::Refused { refused: suppressed(self.audience) },
            cases: Part::Refused { refused: suppressed(self.audience) },
            controls: Part::Refused { refused: suppressed(self.audience) },
        };
        if self.passes(with.iter().map(|(loss, _, _)| &loss.case)).is_err() {
            return Some(base);
        }
        let differences: Vec<(Option<TankId>, u32, f64)> = with
            .iter()
            .map(|(loss, case, controls)| {
                let mean = controls.iter().sum::<f64>() / controls.len() as f64;
                (loss.case.tank, loss.case.keeper, case - mean)
            })
            .collect();
        let sets: Vec<(&Moment, f64, Vec<f64>)> =
            with.iter().map(|(loss, case, controls)| (&loss.case, *case, controls.clone())).collect();
        let (difference, lower, upper) = drawn(&differences);
        Some(LeadUpLine {
            difference: Part::from(difference),
            lower,
            upper,
            odds_ratio: Part::from(odds(&sets)),
            cases: Part::Given(with.len() as u64),
            controls: Part::Given(with.iter().map(|(_, _, controls)| controls.len() as u64).sum()),
            ..base
        })
    }

    /// The last month of the lost corals against their own earlier months; `None` where no loss has data.
    fn within(&self, what: &LookedBack) -> Option<WithinSpecimenLine> {
        let mut with: Vec<(&Moment, f64)> = Vec::new();
        for loss in &self.losses {
            let at = &loss.case;
            let value = |window| what.over(self.club, at.specimen, at.keeper, at.day, window);
            let earlier: Vec<f64> = EARLIER.into_iter().filter_map(value).collect();
            if let (Some(last), false) = (value(LAST), earlier.is_empty()) {
                with.push((at, last - earlier.iter().sum::<f64>() / earlier.len() as f64));
            }
        }
        if with.is_empty() {
            return None;
        }
        let base = WithinSpecimenLine {
            condition: what.code(),
            name: what.name(),
            kind: what.kind(),
            window: LAST,
            difference: Part::Refused { refused: suppressed(self.audience) },
            lower: None,
            upper: None,
            cases: Part::Refused { refused: suppressed(self.audience) },
        };
        if self.passes(with.iter().map(|(at, _)| *at)).is_err() {
            return Some(base);
        }
        let differences: Vec<(Option<TankId>, u32, f64)> =
            with.iter().map(|(at, difference)| (at.tank, at.keeper, *difference)).collect();
        let (difference, lower, upper) = drawn(&differences);
        Some(WithinSpecimenLine {
            difference: Part::from(difference),
            lower,
            upper,
            cases: Part::Given(with.len() as u64),
            ..base
        })
    }
}

/// What a coral keeps for life cannot differ between its months, and tells nothing of the weeks before.
fn varies(factor: Factor) -> bool {
    !matches!(factor, Factor::Origin | Factor::Form(_) | Factor::KeeperExperience | Factor::TankAge)
}

/// Mean difference with limits by drawing whole tanks.
fn drawn(differences: &[(Option<TankId>, u32, f64)]) -> (Result<f64, Refusal>, Option<f64>, Option<f64>) {
    if (differences.len() as u64) < minimums::CELL_DEATHS {
        let refusal = Refusal::counted(
            RefusalCode::TooFewEvents,
            differences.len() as f64,
            minimums::CELL_DEATHS as f64,
            format!("Needs {} losses with data.", minimums::CELL_DEATHS),
        );
        return (Err(refusal), None, None);
    }
    let mean = differences.iter().map(|(_, _, x)| x).sum::<f64>() / differences.len() as f64;
    let mut by_tank: BTreeMap<(Option<TankId>, u32), (f64, f64)> = BTreeMap::new();
    for (tank, keeper, x) in differences {
        // Corals of no known tank share one by keeper.
        let cell = by_tank.entry((*tank, if tank.is_some() { 0 } else { *keeper })).or_default();
        (cell.0, cell.1) = (cell.0 + x, cell.1 + 1.0);
    }
    let cells: Vec<(f64, f64)> = by_tank.into_values().collect();
    let limits = cluster_limits(cells.len(), REPLICATES, SEED, LEVEL, |drawn| {
        let (sum, n) = drawn.iter().fold((0.0, 0.0), |sum, &at| (sum.0 + cells[at].0, sum.1 + cells[at].1));
        (n > 0.0).then(|| sum / n)
    });
    let limits = limits.ok();
    (Ok(mean), limits.map(|limits| limits.lower), limits.map(|limits| limits.upper))
}

/// Odds ratio by conditional logistic regression over sets of (loss, controls), clustered by the loss's tank.
fn odds(sets: &[(&Moment, f64, Vec<f64>)]) -> Result<Estimate, Refusal> {
    let (mut set, mut case, mut values, mut cluster) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for (number, (at, own, controls)) in (0u32..).zip(sets) {
        // Corals of no known tank share one by keeper.
        let tank = at.tank.unwrap_or(u32::MAX - at.keeper);
        for (is_case, value) in std::iter::once((true, *own)).chain(controls.iter().map(|value| (false, *value))) {
            set.push(number);
            case.push(is_case);
            values.push(value);
            cluster.push(tank);
        }
    }
    let covariates = [Covariate { name: "level".to_owned(), values }];
    let input = MatchedInput { set: &set, case: &case, covariates: &covariates, cluster: Some(&cluster) };
    let fit = conditional_logistic(&input)?;
    let none = || Refusal::plain(RefusalCode::NotConverged, "No odds ratio fits these sets.");
    let own = fit.odds_ratios.into_iter().next().ok_or_else(none)?;
    match own.odds_ratio {
        Some(ratio) => Ok(Estimate { estimate: Some(ratio), lower: own.lower, upper: own.upper }),
        None => Err(own.refused.unwrap_or_else(none)),
    }
}

/// Rows to draw controls from: one a stay of each specimen, with a loss known to an interval at the last look before it.
fn losses(club: &Club, followed: &FollowUp) -> Result<Vec<Loss>, Refusal> {
    let (mut start, mut stop, mut event) = (Vec::new(), Vec::new(), Vec::new());
    let (mut specimen, mut species, mut tank, mut of) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut names = BTreeMap::new();
    for (position, follow) in followed.follows.iter().enumerate() {
        let Some(coral) = club.specimens.get(follow.specimen as usize) else { continue };
        let end = index(follow).unwrap_or_else(|| follow.end.middle());
        if end <= follow.entry {
            continue;
        }
        let next = names.len() as u32;
        let name = *names.entry(latest_name(coral)).or_insert(next);
        for stretch in stretches(&coral.stays, follow.entry, end) {
            start.push(stretch.from - follow.day0);
            stop.push(stretch.to - follow.day0);
            event.push(index(follow).is_some() && stretch.to == end);
            specimen.push(position as u32);
            species.push(name);
            // Corals of no known tank share one by keeper.
            tank.push(stretch.tank.unwrap_or(u32::MAX - follow.keeper));
            of.push(stretch.tank);
        }
    }
    let episodes = Episodes::validated(start, stop, event).map_err(|error| {
        Refusal::plain(RefusalCode::InvalidInput, format!("The records contradict themselves: {error}."))
    })?;
    let rows = RiskRows { episodes: &episodes, specimen: &specimen, species: &species, tank: &tank };
    let moment = |row: usize, age: f64| {
        let follow = followed.follows.get(specimen[row] as usize)?;
        Some(Moment { specimen: follow.specimen, keeper: follow.keeper, tank: of[row], day: follow.day0 + age })
    };
    let sets = draw_controls(&rows, SEED)?;
    Ok(sets
        .into_iter()
        .filter_map(|set| {
            let controls = set.controls.iter().filter_map(|control| moment(control.row, control.age)).collect();
            Some(Loss { case: moment(set.case, set.age)?, controls })
        })
        .collect())
}
