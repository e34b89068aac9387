//! Whether levels differ and by how much: log-rank test and hazard ratios, with their minimums.

use std::collections::BTreeMap;

use super::curve::ClusterBy;
use super::rows::Rows;
use super::sets::Sets;
use crate::answer::{CoxCoefficient, CoxResult, LogRankTest};
use crate::evidence::{Graded, Tally, at_risk_at_a_death, grade, minimums};
use crate::exposure::LevelName;
use crate::numeric::distinct;
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::survival::{Covariate, CoxInput, CoxOptions, cox, log_rank};
use crate::wording::outcome::Words;

mod model; // the fit over all drawn sets

use model::{Fitted, Model};

/// Age in days at which ratios are split where they do not stay the same.
pub const SPLIT_AGE_DAYS: f64 = 90.0;
/// p of the global test below which they are.
const NOT_PROPORTIONAL: f64 = 0.05;

/// The level that the contrasts of [`crate::exposure::Factor`] are compared with.
pub const REFERENCE_LEVEL: u16 = 0;

/// What is compared.
#[derive(Debug, Clone)]
pub struct Contrast<'a> {
    /// The rows; a level is a position in `names`, unknown none.
    pub sets: &'a Sets,
    /// The known levels.
    pub names: &'a [LevelName],
    /// Name of the condition, before the colon of a coefficient.
    pub condition: &'a str,
    /// Tally of each known level, then of the unknown one.
    pub tallies: &'a [Tally],
    /// Deaths of each known level that fell in one tank event, the largest of them.
    pub event_deaths: &'a [u64],
    /// Levels without any coral are refused by name, not passed over.
    pub list_empty: bool,
    /// Level with which the others are compared.
    pub reference: usize,
    /// What corals share.
    pub cluster: ClusterBy,
    /// Only corals of one keeper are compared with each other.
    pub within_keeper: bool,
}

/// The level with most deaths, the first of equals; `None` without a death in a known level.
pub fn reference(tallies: &[Tally], known: usize) -> Option<usize> {
    let mut best: Option<usize> = None;
    for (level, tally) in tallies.iter().take(known).enumerate() {
        let more = best.is_none_or(|best| tally.deaths > tallies[best].deaths);
        if tally.deaths > 0 && more {
            best = Some(level);
        }
    }
    best
}

/// What came of a comparison.
#[derive(Debug, Clone)]
pub struct Compared {
    /// Test.
    pub log_rank: Result<LogRankTest, Refusal>,
    /// Ratios.
    pub cox: Result<CoxResult, Refusal>,
    /// The ratio changes with age, and is given for two ages.
    pub split_by_age: bool,
    /// A penalised fit is printed, whose limits do not allow for clusters.
    pub penalised: bool,
}

impl Compared {
    /// Nothing is compared, for this reason.
    pub fn refused(refusal: Refusal) -> Compared {
        Compared { log_rank: Err(refusal.clone()), cox: Err(refusal), split_by_age: false, penalised: false }
    }
}

impl Contrast<'_> {
    fn known(&self) -> usize {
        self.names.len()
    }

    fn words(&self) -> Words {
        self.sets.outcome.words()
    }

    fn tally(&self, level: usize) -> Tally {
        self.tallies.get(level).copied().unwrap_or_default()
    }

    /// Levels, unknown last, as group numbers of rows.
    fn groups(&self, rows: &Rows) -> Vec<u32> {
        rows.level.iter().map(|level| level.map_or(self.known() as u32, u32::from)).collect()
    }

    /// Test and ratios.
    pub fn compare(&self) -> Compared {
        if let Err(refusal) = self.comparable() {
            return Compared::refused(refusal);
        }
        let (cox, split_by_age, penalised) = match self.ratios() {
            Ok((cox, split, penalised)) => (Ok(cox), split, penalised),
            Err(refusal) => (Err(refusal), false, false),
        };
        Compared { log_rank: self.test(), cox, split_by_age, penalised }
    }

    fn comparable(&self) -> Result<(), Refusal> {
        let lived = (0..self.known()).filter(|&level| self.tally(level).specimens > 0).count();
        if lived == 0 && self.known() > 1 {
            return Err(Refusal::counted(
                RefusalCode::UnknownExposure,
                0.0,
                1.0 - minimums::UNKNOWN_SHARE,
                "The condition is known on none of the coral-days; levels are compared once it is known on half.",
            ));
        }
        if lived < 2 {
            let message = if self.known() < 2 {
                "There is one group only: nothing to compare."
            } else {
                "These corals were all under one level of this condition: nothing to compare."
            };
            return Err(Refusal::counted(RefusalCode::EmptyGroup, lived as f64, 2.0, message));
        }
        let known: f64 = (0..self.known()).map(|level| self.tally(level).days).sum();
        let unknown = self.tally(self.known()).days;
        let share = unknown / (known + unknown);
        if share > minimums::UNKNOWN_SHARE {
            return Err(Refusal::counted(
                RefusalCode::UnknownExposure,
                1.0 - share,
                1.0 - minimums::UNKNOWN_SHARE,
                format!(
                    "The condition is unknown on {:.0} % of the coral-days; levels are compared once it is known on half.",
                    100.0 * share
                ),
            ));
        }
        Ok(())
    }

    /// The log-rank test. The unknown level is a group of its own if two or more of its deaths were expected, and is
    /// left out otherwise.
    fn test(&self) -> Result<LogRankTest, Refusal> {
        let rows = &self.sets.middle;
        let deaths: u64 = (0..self.known()).map(|level| self.tally(level).deaths).sum();
        minimums::events(deaths, minimums::TEST_DEATHS, self.sets.outcome)?;
        let groups = self.groups(rows);
        let run = |rows: &Rows, groups: &[u32], count: usize| {
            let strata = self.within_keeper.then_some(rows.keeper.as_slice());
            log_rank(&rows.episodes, groups, count, strata, 0.0)
        };
        let mut test = run(rows, &groups, self.known() + 1)?;
        let unknown_counts = test.groups[self.known()].expected >= minimums::TEST_EXPECTED;
        let kept: Vec<usize> =
            (0..rows.len()).filter(|&row| unknown_counts || (groups[row] as usize) < self.known()).collect();
        let rows = rows.subset(&kept);
        let groups = self.groups(&rows);
        if !unknown_counts {
            test = run(&rows, &groups, self.known())?;
        }
        for (level, name) in self.names.iter().enumerate() {
            let expected = test.groups[level].expected;
            if self.tally(level).specimens > 0 && expected < minimums::TEST_EXPECTED {
                return Err(Refusal::counted(
                    RefusalCode::TooFewEvents,
                    expected,
                    minimums::TEST_EXPECTED,
                    format!(
                        "Too few {} would be expected among corals {}: at least two are needed.",
                        self.words().many,
                        name.phrase
                    ),
                ));
            }
        }
        let robust_p = self.robust_p(&rows, &groups);
        Ok(LogRankTest { statistic: test.statistic, df: test.df as u64, p: test.p, robust_p })
    }

    /// p of the score test clustered as published, on the rows and groups of the log-rank test.
    fn robust_p(&self, rows: &Rows, groups: &[u32]) -> Option<f64> {
        let clusters = self.clusters(rows);
        if at_risk_at_a_death(rows, &clusters) < minimums::CLUSTERS {
            return None;
        }
        let levels = distinct(groups.iter().copied());
        let covariates: Vec<Covariate> = levels
            .iter()
            .filter(|level| **level as usize != self.reference)
            .map(|level| dummy(level.to_string(), rows, |row| groups[row] == *level))
            .collect();
        let strata = self.within_keeper.then_some(rows.keeper.as_slice());
        let input = CoxInput { episodes: &rows.episodes, covariates: &covariates, strata, cluster: Some(&clusters) };
        cox(&input, &CoxOptions::default()).ok()?.tests.robust_score.map(|test| test.p)
    }

    /// Within keepers the keeper is the cluster.
    fn clusters(&self, rows: &Rows) -> Vec<u32> {
        if self.within_keeper { rows.keeper.clone() } else { self.cluster.column(rows) }
    }

    /// Known levels other than the reference, each with the reason why it has no ratio.
    fn candidates(&self) -> Vec<(usize, Option<Refusal>)> {
        let groups = self.groups(&self.sets.middle);
        let at_risk = at_risk_levels(&self.sets.middle, &groups);
        (0..self.known())
            .filter(|&level| level != self.reference && (self.list_empty || self.tally(level).specimens > 0))
            .map(|level| {
                let tally = self.tally(level);
                let refusal = if tally.specimens == 0 {
                    Some(
                        minimums::curve(&tally)
                            .err()
                            .unwrap_or_else(|| never_compared(&self.names[level], self.words())),
                    )
                } else if !at_risk.contains(&(level as u32)) {
                    Some(never_compared(&self.names[level], self.words()))
                } else {
                    self.one_event(level)
                        .or_else(|| self.one_event(self.reference))
                        .or_else(|| self.too_few_within(level))
                };
                (level, refusal)
            })
            .collect()
    }

    fn one_event(&self, level: usize) -> Option<Refusal> {
        let (of_event, all) = (self.event_deaths.get(level).copied().unwrap_or(0), self.tally(level).deaths);
        (2 * of_event > all).then(|| {
            Refusal::counted(
                RefusalCode::OneTankEvent,
                (all - of_event) as f64,
                all.div_ceil(2) as f64,
                format!(
                    "{of_event} of the {all} {} among corals {} fell in one tank within two weeks: that is the \
                     story of one tank.",
                    self.words().losses,
                    self.names[level].phrase
                ),
            )
        })
    }

    fn too_few_within(&self, level: usize) -> Option<Refusal> {
        if !self.within_keeper {
            return None;
        }
        let rows = &self.sets.middle;
        let mut deaths: BTreeMap<u32, [bool; 2]> = BTreeMap::new();
        for row in (0..rows.len()).filter(|&row| rows.episodes.event[row]) {
            let at = rows.level[row].map(usize::from);
            let of_keeper = deaths.entry(rows.keeper[row]).or_default();
            of_keeper[0] |= at == Some(level);
            of_keeper[1] |= at == Some(self.reference);
        }
        let keepers = deaths.values().filter(|both| both[0] && both[1]).count() as u64;
        (keepers < minimums::WITHIN_KEEPERS).then(|| {
            Refusal::counted(
                RefusalCode::TooFewKeepers,
                keepers as f64,
                minimums::WITHIN_KEEPERS as f64,
                format!(
                    "{} {} under both levels; a comparison within keepers needs {}.",
                    keepers_have(keepers),
                    self.words().losses,
                    minimums::WITHIN_KEEPERS
                ),
            )
        })
    }

    /// The ratios alone, for one age or for two: no test, no penalised fit.
    ///
    /// # Errors
    /// As the `cox` of [`Contrast::compare`].
    pub fn ratios_alone(&self, split_by_age: bool) -> Result<Vec<CoxCoefficient>, Refusal> {
        self.comparable()?;
        let candidates = self.candidates();
        let model = self.model(&candidates, split_by_age)?;
        Ok(self.printed(&candidates, model.fit(self, false)?))
    }

    /// The ratios, for two ages where they change with it; whether they do.
    ///
    /// # Errors
    /// As the `cox` of [`Contrast::compare`].
    pub fn ratios_by_age(&self) -> Result<(CoxResult, bool), Refusal> {
        self.comparable()?;
        self.ratios().map(|(cox, split, _)| (cox, split))
    }

    /// The model of the levels that have a ratio.
    fn model(&self, candidates: &[(usize, Option<Refusal>)], split_by_age: bool) -> Result<Model, Refusal> {
        let levels: Vec<usize> = candidates.iter().filter(|(_, no)| no.is_none()).map(|(level, _)| *level).collect();
        if levels.is_empty()
            && let Some(refusal) = candidates.iter().find_map(|(_, refusal)| refusal.clone())
        {
            return Err(refusal);
        }
        let model = Model::new(self, &levels, split_by_age.then_some(SPLIT_AGE_DAYS));
        if model.deaths_per_column() >= minimums::DEATHS_PER_COEFFICIENT_AT_ALL {
            return Ok(model);
        }
        let (have, need) = (model.deaths(), minimums::DEATHS_PER_COEFFICIENT_AT_ALL * model.columns.len() as f64);
        if split_by_age {
            return Err(Refusal::counted(
                RefusalCode::TooFewEvents,
                have as f64,
                need,
                format!(
                    "The ratio changes with time since {}, and the {} are too few to give it for two ages.",
                    self.words().since,
                    self.words().many
                ),
            ));
        }
        Err(minimums::events(have, need as u64, self.sets.outcome).err().unwrap_or_else(|| {
            let message = format!("Needs more {} on record.", self.words().many);
            Refusal::counted(RefusalCode::TooFewEvents, have as f64, need, message)
        }))
    }

    fn ratios(&self) -> Result<(CoxResult, bool, bool), Refusal> {
        let candidates = self.candidates();
        let model = self.model(&candidates, false)?;
        let tests = if model.deaths() < minimums::PROPORTIONALITY_DEATHS {
            Err(Refusal::counted(
                RefusalCode::TooFewEvents,
                model.deaths() as f64,
                minimums::PROPORTIONALITY_DEATHS as f64,
                format!(
                    "Whether the ratio stays the same over time is not testable with so few {}.",
                    self.words().many
                ),
            ))
        } else {
            model.proportionality(self)
        };
        let split = tests
            .as_ref()
            .is_ok_and(|tests| tests.iter().any(|test| test.name == "GLOBAL" && test.p < NOT_PROPORTIONAL));
        let model = if split { self.model(&candidates, true)? } else { model };
        let few = model.deaths_per_column() < minimums::DEATHS_PER_COEFFICIENT;
        let fit = model.fit(self, few)?.or_penalised(&model, self);
        let (log_likelihood, iterations) = (fit.log_likelihood.clone(), fit.iterations);
        let coefficients = self.printed(&candidates, fit);
        let penalised = coefficients.iter().any(|coefficient| coefficient.firth.is_some());
        let proportionality = Part::from(tests);
        Ok((CoxResult { coefficients, log_likelihood, iterations, proportionality }, split, penalised))
    }

    /// One line a level: its ratios, or why it has none.
    fn printed(&self, candidates: &[(usize, Option<Refusal>)], fit: Fitted) -> Vec<CoxCoefficient> {
        let mut coefficients = Vec::new();
        for (level, refusal) in candidates {
            match refusal {
                Some(refusal) => coefficients
                    .push(CoxCoefficient { refused: Some(refusal.clone()), ..self.empty(&self.names[*level].code) }),
                None => coefficients.extend(
                    fit.coefficients
                        .iter()
                        .filter(|c| c.level == *level)
                        .map(|c| CoxCoefficient { grade: Some(self.grade(*level)), ..c.printed.clone() }),
                ),
            }
        }
        coefficients
    }

    fn empty(&self, level: &str) -> CoxCoefficient {
        CoxCoefficient {
            name: format!("{}:{level}", self.condition),
            reference: self.names[self.reference].code.clone(),
            coef: None,
            hazard_ratio: None,
            std_error: None,
            robust_std_error: None,
            lower: None,
            upper: None,
            p: None,
            grade: None,
            firth: None,
            refused: None,
        }
    }

    fn grade(&self, level: usize) -> crate::answer::Grade {
        let (one, other) = (self.tally(level), self.tally(self.reference));
        let smaller = if one.days <= other.days { one } else { other };
        let all: f64 = self.tallies.iter().map(|tally| tally.days).sum();
        grade(&Graded {
            deaths: one.deaths + other.deaths,
            keepers: smaller.keepers,
            tanks: smaller.tanks,
            unknown: self.tally(self.known()).days / all,
            given: true,
        })
    }
}

/// "1 keeper has", "3 keepers have".
pub(super) fn keepers_have(keepers: u64) -> String {
    if keepers == 1 { "1 keeper has".to_owned() } else { format!("{keepers} keepers have") }
}

fn never_compared(name: &LevelName, words: Words) -> Refusal {
    Refusal::plain(
        RefusalCode::EmptyGroup,
        format!("No coral {} was under observation when another {}.", name.phrase, words.happened),
    )
}

/// Group numbers with at least one row at risk at a death.
fn at_risk_levels(rows: &Rows, groups: &[u32]) -> Vec<u32> {
    distinct(groups.iter().copied())
        .into_iter()
        .filter(|level| {
            let mut deaths: Vec<f64> =
                (0..rows.len()).filter(|&row| rows.episodes.event[row]).map(|row| rows.episodes.stop[row]).collect();
            deaths.sort_by(f64::total_cmp);
            (0..rows.len()).filter(|&row| groups[row] == *level).any(|row| {
                let next = deaths.partition_point(|death| *death <= rows.episodes.start[row]);
                deaths.get(next).is_some_and(|death| *death <= rows.episodes.stop[row])
            })
        })
        .collect()
}

fn dummy(name: String, rows: &Rows, is: impl Fn(usize) -> bool) -> Covariate {
    Covariate { name, values: (0..rows.len()).map(|row| f64::from(u8::from(is(row)))).collect() }
}
