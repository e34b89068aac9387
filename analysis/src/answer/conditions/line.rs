//! One condition: its ratios, its p, and the same in words.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::pooled::Pooling;
use super::shown::Ties;
use super::{Called, adjusted, shown};
use crate::answer::growth::contrast::{GrowthLines, grown};
use crate::answer::question::{Audience, Outcome};
use crate::answer::shape::{
    AgeRatio, ConditionLine, CoxCoefficient, Grade, GrowthRatio, LevelEvidence, LevelPair, PairEvidence, Ratio,
};
use crate::answer::survival::events_by_level;
use crate::club::Club;
use crate::comparison::contrast::Contrast;
use crate::comparison::sets::IMPUTATIONS;
use crate::comparison::{ClusterBy, Frame, Sets};
use crate::disclosure::suppressed;
use crate::evidence::{Tally, tallies};
use crate::exposure::condition::{CONTRAST, REFERENCE};
use crate::exposure::{Condition, Factor, Rules};
use crate::follow_up::decline::follow_up_for;
use crate::follow_up::{FollowUp, Population, Run};
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::wording::conditions as words;

/// What lines are made from.
pub(in crate::answer) struct Making<'a> {
    pub(in crate::answer) club: &'a Club,
    pub(in crate::answer) population: &'a Population,
    pub(in crate::answer) outcome: Outcome,
    pub(in crate::answer) audience: Audience,
    pub(in crate::answer) follow_up: FollowUp,
    pub(in crate::answer) cluster: ClusterBy,
    sizes: GrowthLines,
    /// Conditions that are held beside others, made once.
    held: Mutex<BTreeMap<Factor, Arc<Condition>>>,
    /// Only corals acquired since this year.
    pub(in crate::answer) since: Option<i32>,
    ties: OnceLock<Ties<'a>>,
}

/// A condition as a release knows it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(in crate::answer) struct Tested {
    /// Of the comparison within keepers.
    pub(in crate::answer) p: Option<f64>,
    /// The ratio of all corals together.
    pub(in crate::answer) crude: Option<Crude>,
    /// p of the comparison of growth.
    pub(in crate::answer) growth: Option<f64>,
}

/// A log hazard ratio of all corals together, with its robust variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::answer) struct Crude {
    /// The logarithm of the ratio.
    pub(in crate::answer) coef: f64,
    /// Its variance.
    pub(in crate::answer) variance: f64,
}

impl Crude {
    pub(super) fn of(coefficient: &CoxCoefficient) -> Option<Crude> {
        Some(Crude { coef: coefficient.coef?, variance: coefficient.robust_std_error?.powi(2) })
    }
}

/// A condition with its rows.
pub(in crate::answer) struct Cut {
    pub(in crate::answer) condition: Condition,
    pub(in crate::answer) sets: Sets,
    pub(in crate::answer) tallies: Vec<Tally>,
    event_deaths: Vec<u64>,
}

impl<'a> Making<'a> {
    pub(in crate::answer) fn new(
        club: &'a Club,
        population: &'a Population,
        (outcome, since): (Outcome, Option<i32>),
        audience: Audience,
    ) -> Making<'a> {
        let follow_up = follow_up_for(club, population, outcome, Run::Main);
        let all = Condition::new(club, population, crate::answer::By::None, None, Rules::of(Run::Main));
        let rows = all.ok().and_then(|condition| {
            Frame { club, follow_up: &follow_up, condition: &condition, given: None }.middle().ok()
        });
        let cluster = rows.map_or(ClusterBy::Tank, |(rows, _)| ClusterBy::of(&rows));
        let sizes = GrowthLines::new(club, population);
        let held = Mutex::default();
        Making { club, population, outcome, audience, follow_up, cluster, sizes, held, since, ties: OnceLock::new() }
    }

    /// What its lines are tied to.
    pub(in crate::answer) fn ties(&self) -> &Ties<'a> {
        self.ties.get_or_init(|| Ties::new(self))
    }

    /// A condition that is held beside others; `None` where no cut is written for it.
    pub(in crate::answer) fn beside(&self, factor: Factor) -> Option<Arc<Condition>> {
        if let Some(known) = self.held.lock().unwrap_or_else(PoisonError::into_inner).get(&factor) {
            return Some(known.clone());
        }
        let made = Arc::new(Condition::of_factor(self.club, self.population, factor, Rules::of(Run::Main)).ok()?);
        self.held.lock().unwrap_or_else(PoisonError::into_inner).insert(factor, made.clone());
        Some(made)
    }

    /// The rows of a condition.
    pub(in crate::answer) fn cut(&self, factor: Factor) -> Result<Cut, Refusal> {
        let condition = Condition::of_factor(self.club, self.population, factor, Rules::of(Run::Main))?;
        let frame = Frame { club: self.club, follow_up: &self.follow_up, condition: &condition, given: None };
        let sets = Sets::new(&frame, IMPUTATIONS).map_err(|error| {
            Refusal::plain(RefusalCode::InvalidInput, format!("The records contradict themselves: {error}."))
        })?;
        let known = condition.levels.len();
        let groups: Vec<u32> = sets.middle.level.iter().map(|level| level.map_or(known as u32, u32::from)).collect();
        let tallies = tallies(&sets.middle, &groups, known + 1)?;
        let event_deaths = events_by_level(self.club, &self.follow_up, &sets, known);
        Ok(Cut { condition, sets, tallies, event_deaths })
    }

    pub(in crate::answer) fn contrast<'c>(
        &self,
        factor: Factor,
        cut: &'c Cut,
        code: &'c str,
        within: bool,
    ) -> Contrast<'c> {
        // The losses of many are what is asked about: they are not one tank's story here.
        let event_deaths: &[u64] = if factor == Factor::ManyLosses { &[] } else { &cut.event_deaths };
        Contrast {
            sets: &cut.sets,
            names: &cut.condition.levels,
            condition: code,
            tallies: &cut.tallies,
            event_deaths,
            list_empty: false,
            reference: usize::from(REFERENCE),
            cluster: if within { ClusterBy::Keeper } else { self.cluster },
            within_keeper: within,
        }
    }

    /// The coefficient of the contrast, of all corals together or within keepers.
    pub(in crate::answer) fn coefficient(
        &self,
        factor: Factor,
        cut: &Cut,
        within: bool,
    ) -> Result<CoxCoefficient, Refusal> {
        let code = factor.code();
        let contrast = self.contrast(factor, cut, &code, within);
        self.both_lived(cut)?;
        own(&contrast.ratios_alone(false)?, cut)
    }

    /// A comparison needs corals under both levels.
    fn both_lived(&self, cut: &Cut) -> Result<(), Refusal> {
        for level in [REFERENCE, CONTRAST] {
            let tally = cut.tallies.get(usize::from(level)).copied().unwrap_or_default();
            if tally.specimens == 0 {
                let phrase = cut.condition.levels.get(usize::from(level)).map_or("", |name| name.label.as_str());
                return Err(Refusal::counted(
                    RefusalCode::EmptyGroup,
                    0.0,
                    1.0,
                    format!("No coral {phrase} was under observation."),
                ));
            }
        }
        Ok(())
    }

    /// What a release has to know of a condition before it can be called; nothing of one that may not be shown.
    pub(in crate::answer) fn tested(&self, factor: Factor) -> Tested {
        match self.cut(factor) {
            Ok(cut) if shown::may_be_shown(self, factor, &cut) => Tested {
                p: self.coefficient(factor, &cut, true).ok().and_then(|within| within.p),
                crude: self.coefficient(factor, &cut, false).ok().as_ref().and_then(Crude::of),
                growth: self.grown(&cut).ok().and_then(|growth| growth.p),
            },
            _ => Tested::default(),
        }
    }

    fn grown(&self, cut: &Cut) -> Result<GrowthRatio, Refusal> {
        grown(self.club, &self.sizes, &cut.condition, self.audience)
    }

    /// One line.
    pub(super) fn line(&self, factor: Factor, pooling: &Pooling, called: Option<&Called>) -> ConditionLine {
        match self.cut(factor) {
            Err(refusal) => refused(factor, None, refusal),
            Ok(cut) if !shown::may_be_shown(self, factor, &cut) => {
                refused(factor, Some(&cut.condition), suppressed(self.audience))
            }
            Ok(cut) => self.given(factor, &cut, pooling, called),
        }
    }

    fn given(&self, factor: Factor, cut: &Cut, pooling: &Pooling, called: Option<&Called>) -> ConditionLine {
        let code = factor.code();
        let contrast = self.contrast(factor, cut, &code, false);
        let crude = self.both_lived(cut).and_then(|()| contrast.ratios_by_age());
        let mut line = refused(factor, Some(&cut.condition), changes_with_age());
        line.evidence = evidence(cut);
        let mut said = None;
        match crude {
            Err(refusal) => line.refused = Some(refusal),
            Ok((cox, true)) => {
                line.by_age = cox.coefficients.iter().filter(|c| is_own(c, cut)).map(age).collect();
                line.grade = cox.coefficients.first().and_then(|c| c.grade).unwrap_or(Grade::None);
            }
            Ok((cox, false)) => match own(&cox.coefficients, cut) {
                Err(refusal) => line.refused = Some(refusal),
                Ok(coefficient) => {
                    line.hazard_ratio = coefficient.hazard_ratio;
                    line.std_error = coefficient.std_error;
                    (line.lower, line.upper) = (coefficient.lower, coefficient.upper);
                    line.grade = coefficient.grade.unwrap_or(Grade::None);
                    line.refused.clone_from(&coefficient.refused);
                    said = Some(coefficient);
                }
            },
        }
        let within = self.coefficient(factor, cut, true);
        line.p = within.as_ref().ok().and_then(|coefficient| coefficient.p);
        line.within_keeper = Part::from(within.and_then(|coefficient| ratio(&coefficient)));
        line.adjusted = Part::from(adjusted::adjusted(self, factor, cut));
        line.shrunken = Part::from(pooling.shrunken(factor, said.as_ref()));
        line.growth = Part::from(self.grown(cut));
        if let (Part::Given(growth), Some(called)) = (&mut line.growth, called) {
            growth.q = called.growth_q(self.population.taxon, &line.condition);
        }
        line.q = Part::from(q(called, self, &line));
        line.sentence = Part::from(self.sentence(cut, said.as_ref(), &line));
        line
    }

    fn sentence(&self, cut: &Cut, crude: Option<&CoxCoefficient>, line: &ConditionLine) -> Result<String, Refusal> {
        let Some(crude) = crude else { return Err(line.refused.clone().unwrap_or_else(changes_with_age)) };
        let phrase = cut.condition.levels.get(usize::from(CONTRAST)).map_or("", |name| name.label.as_str());
        words::line(self.outcome, phrase, crude, line).ok_or_else(|| {
            line.refused.clone().unwrap_or_else(|| Refusal::plain(RefusalCode::NotConverged, "No ratio fits."))
        })
    }
}

fn changes_with_age() -> Refusal {
    Refusal::plain(
        RefusalCode::DifferentDefinitions,
        "The ratio changes with time since acquisition: one ratio for all ages would be neither, so it is given for two.",
    )
}

/// Whether a coefficient is that of the contrast, at any age.
fn is_own(coefficient: &CoxCoefficient, cut: &Cut) -> bool {
    let Some(name) = cut.condition.levels.get(usize::from(CONTRAST)) else { return false };
    let (_, level) = coefficient.name.split_once(':').unwrap_or_default();
    level == name.code || level.strip_prefix(name.code.as_str()).is_some_and(|rest| rest.starts_with(" ("))
}

fn own(coefficients: &[CoxCoefficient], cut: &Cut) -> Result<CoxCoefficient, Refusal> {
    let found = coefficients.iter().find(|coefficient| is_own(coefficient, cut)).cloned();
    let found = found.ok_or_else(|| {
        Refusal::plain(RefusalCode::EmptyGroup, "No coral under this level was at risk when another was lost.")
    })?;
    match (&found.coef, &found.refused) {
        (None, Some(refusal)) => Err(refusal.clone()),
        _ => Ok(found),
    }
}

fn ratio(coefficient: &CoxCoefficient) -> Result<Ratio, Refusal> {
    let std_error = coefficient.robust_std_error.or(coefficient.std_error);
    match (coefficient.hazard_ratio, std_error) {
        (Some(hazard_ratio), Some(std_error)) => {
            Ok(Ratio { hazard_ratio, std_error, lower: coefficient.lower, upper: coefficient.upper })
        }
        _ => Err(coefficient
            .refused
            .clone()
            .unwrap_or_else(|| Refusal::plain(RefusalCode::NotConverged, "No ratio fits."))),
    }
}

fn age(coefficient: &CoxCoefficient) -> AgeRatio {
    let ages = coefficient.name.split_once(" (").map_or("", |(_, ages)| ages.trim_end_matches(')'));
    AgeRatio {
        ages: ages.to_owned(),
        hazard_ratio: coefficient.hazard_ratio,
        lower: coefficient.lower,
        upper: coefficient.upper,
    }
}

/// There is no q outside a release.
pub(in crate::answer) fn awaits_release() -> Refusal {
    Refusal::plain(
        RefusalCode::AwaitsRelease,
        "q is worked out over the whole list of comparisons when a release is made.",
    )
}

fn q(called: Option<&Called>, making: &Making, line: &ConditionLine) -> Result<f64, Refusal> {
    let Some(called) = called else {
        return Err(awaits_release());
    };
    if !making.population.without.is_empty() {
        return Err(Refusal::plain(
            RefusalCode::NotAsked,
            "A group without some of its kinds is on no list of comparisons: it has no q.",
        ));
    }
    match (&line.within_keeper, called.q(making.population.taxon, &line.condition)) {
        (_, Some(q)) => Ok(q),
        (Part::Refused { refused }, None) => Err(refused.clone()),
        (Part::Given(_), None) => Err(Refusal::plain(
            RefusalCode::TooFewKeepers,
            "The comparison within keepers has no limits, and counts as not passed.",
        )),
    }
}

fn evidence(cut: &Cut) -> PairEvidence {
    let of = |level: u16| {
        let tally = cut.tallies.get(usize::from(level)).copied().unwrap_or_default();
        Part::Given(LevelEvidence {
            specimens: tally.specimens,
            keepers: tally.keepers,
            tanks: tally.tanks,
            events: tally.deaths,
            specimen_days: tally.days,
        })
    };
    let unknown = cut.tallies.last().map_or(0.0, |tally| tally.days);
    PairEvidence { level: of(CONTRAST), reference: of(REFERENCE), days_unknown: Part::Given(unknown) }
}

/// A line of which nothing is given.
fn refused(factor: Factor, condition: Option<&Condition>, refusal: Refusal) -> ConditionLine {
    fn no<T>(refusal: &Refusal) -> Part<T> {
        Part::Refused { refused: refusal.clone() }
    }
    let name = |level: u16| {
        let found = condition.and_then(|condition| condition.levels.get(usize::from(level)));
        found.map_or_else(|| ("none".to_owned(), "none is written".to_owned()), |n| (n.code.clone(), n.label.clone()))
    };
    let ((level, level_label), (reference, reference_label)) = (name(CONTRAST), name(REFERENCE));
    ConditionLine {
        condition: factor.code(),
        name: factor.name(),
        contrast: LevelPair { level, level_label, reference, reference_label },
        hazard_ratio: None,
        std_error: None,
        lower: None,
        upper: None,
        grade: Grade::None,
        by_age: Vec::new(),
        within_keeper: no(&refusal),
        adjusted: no(&refusal),
        shrunken: no(&refusal),
        growth: no(&refusal),
        p: None,
        q: no(&refusal),
        sentence: no(&refusal),
        evidence: PairEvidence { level: no(&refusal), reference: no(&refusal), days_unknown: no(&refusal) },
        refused: Some(refusal),
    }
}
