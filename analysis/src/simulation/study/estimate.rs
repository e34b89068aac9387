//! What the analysis says of a simulated club: the real follow-up, exposure, drawn deaths and comparison.

use std::collections::BTreeSet;

use super::club::TAXON;
use crate::answer::By;
use crate::club::Club;
use crate::comparison::contrast::{Contrast, reference};
use crate::comparison::{ClusterBy, Frame, Rows, Sets};
use crate::evidence::Tally;
use crate::exposure::{Condition, Rules};
use crate::follow_up::{FollowUp, Population, Run, follow_up};
use crate::numeric::tail::student_multiplier;
use crate::survival::cox::jackknife::jackknife;
use crate::survival::{Covariate, CoxInput, CoxOptions, cox};
use crate::vocabulary::{ParameterCode, TaxonSlug};

/// Drawn sets of rows for deaths known to more than a week, as many as a run beside the main one has.
const DRAWS: usize = crate::comparison::sets::IMPUTATIONS_BESIDE;
const LEVEL: f64 = 0.95;
/// Levels of a condition cut once: in the band, out of it.
const IN: u16 = 0;
const OUT: u16 = 1;

/// Who is compared with whom, and what corals share.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Model {
    /// All with all.
    Crude(ClusterBy),
    /// Those of one keeper, clustered by keeper.
    WithinKeeper,
}

/// A log hazard ratio of out of the band against in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Estimate {
    pub(super) log_ratio: f64,
    /// Limits of the logarithm.
    pub(super) lower: f64,
    pub(super) upper: f64,
    pub(super) p: f64,
}

impl Estimate {
    pub(super) fn holds(&self, value: f64) -> bool {
        self.lower <= value && value <= self.upper
    }
}

/// A club's corals under observation.
pub(super) struct Observed<'a> {
    club: &'a Club,
    population: Population,
    follow_up: FollowUp,
    rules: Rules,
}

impl<'a> Observed<'a> {
    /// `None` only if the catalogue lacks the study's taxon.
    pub(super) fn new(club: &'a Club, run: Run) -> Option<Observed<'a>> {
        let population = Population::of(club, TaxonSlug::parse(TAXON)?, None);
        let follow_up = follow_up(club, &population, run);
        Some(Observed { club, population, follow_up, rules: Rules::of(run) })
    }

    /// The corals all together.
    pub(super) fn together(&self) -> Option<Rows> {
        let condition = Condition::new(self.club, &self.population, By::None, None, self.rules).ok()?;
        let frame = Frame { club: self.club, follow_up: &self.follow_up, condition: &condition, given: None };
        Some(frame.middle().ok()?.0)
    }

    /// The corals by a condition, cut where it leaves its band.
    pub(super) fn split(&self, parameter: ParameterCode, cut: f64) -> Option<Split> {
        let by = By::Parameter(parameter);
        let condition = Condition::new(self.club, &self.population, by, Some(&[cut]), self.rules).ok()?;
        let frame = Frame { club: self.club, follow_up: &self.follow_up, condition: &condition, given: None };
        let sets = Sets::new(&frame, DRAWS).ok()?;
        let tallies = [Some(IN), Some(OUT), None].map(|level| tally(&sets.middle, level));
        Some(Split { condition, sets, tallies })
    }
}

/// Corals by one condition.
pub(super) struct Split {
    condition: Condition,
    pub(super) sets: Sets,
    tallies: [Tally; 3],
}

fn tally(rows: &Rows, level: Option<u16>) -> Tally {
    let own: Vec<usize> = (0..rows.len()).filter(|&row| rows.level[row] == level).collect();
    let distinct = |of: &dyn Fn(usize) -> u32| own.iter().map(|&row| of(row)).collect::<BTreeSet<u32>>().len() as u64;
    Tally {
        specimens: distinct(&|row| rows.specimen[row]),
        keepers: distinct(&|row| rows.keeper[row]),
        tanks: distinct(&|row| rows.tank[row].unwrap_or(u32::MAX)),
        deaths: own.iter().filter(|&&row| rows.episodes.event[row]).count() as u64,
        days: own.iter().map(|&row| rows.episodes.stop[row] - rows.episodes.start[row]).sum(),
        largest_share: 0.0,
    }
}

impl Split {
    /// The published ratio with its limits; `None` where the comparison is refused.
    pub(super) fn ratio(&self, model: Model) -> Option<Estimate> {
        let reference = reference(&self.tallies, 2)?;
        let contrast = Contrast {
            sets: &self.sets,
            names: &self.condition.levels,
            condition: self.condition.by.as_str(),
            tallies: &self.tallies,
            event_deaths: &[0, 0],
            list_empty: false,
            reference,
            cluster: match model {
                Model::Crude(cluster) => cluster,
                Model::WithinKeeper => ClusterBy::Keeper,
            },
            within_keeper: model == Model::WithinKeeper,
        };
        let printed = contrast.ratios_alone(false).ok()?.into_iter().next()?;
        let (coef, lower, upper) = (printed.coef?, printed.lower?.ln(), printed.upper?.ln());
        let p = printed.p?;
        // The level with most deaths is the reference; the study speaks of out against in.
        Some(if reference == usize::from(OUT) {
            Estimate { log_ratio: -coef, lower: -upper, upper: -lower, p }
        } else {
            Estimate { log_ratio: coef, lower, upper, p }
        })
    }

    /// The same ratio with the variance from leaving out one cluster at a time, that of the first drawn set plus what the
    /// draws differ by; `None` where a fit without one of the clusters has no estimate.
    pub(super) fn jackknifed(&self, model: Model, published: &Estimate) -> Option<Estimate> {
        let rows = self.sets.all().first()?;
        let (variance, clusters) = with_input(rows, model, |input| {
            let fit = cox(input, &CoxOptions::default()).ok()?;
            Some((jackknife(input, &fit).ok()?[0][0], fit.clusters?))
        })?;
        let coefs = self.sets.drawn.iter().map(|rows| {
            with_input(rows, model, |input| cox(input, &CoxOptions::default()).ok()?.coefficients.first()?.coef)
        });
        let coefs = coefs.collect::<Option<Vec<f64>>>()?;
        let t = student_multiplier(LEVEL, clusters as f64 - 1.0)?;
        let half = t * (variance + between(&coefs)).sqrt();
        let (lower, upper) = (published.log_ratio - half, published.log_ratio + half);
        Some(Estimate { lower, upper, ..*published })
    }
}

/// Rubin's part of the variance that the draws differ by (Rubin 1987, from memory).
fn between(values: &[f64]) -> f64 {
    if values.len() < 2 {
        return 0.0;
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (1.0 + 1.0 / n) * values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1.0)
}

/// The model's input: out of the band, and unknown where anybody died under unknown conditions.
fn with_input<T>(rows: &Rows, model: Model, f: impl FnOnce(&CoxInput) -> Option<T>) -> Option<T> {
    let died_unknown = (0..rows.len()).any(|row| rows.level[row].is_none() && rows.episodes.event[row]);
    let kept: Vec<usize> = (0..rows.len()).filter(|&row| died_unknown || rows.level[row].is_some()).collect();
    let rows = rows.subset(&kept);
    let column = |name: &str, level: Option<u16>| Covariate {
        name: name.to_owned(),
        values: rows.level.iter().map(|own| f64::from(u8::from(*own == level))).collect(),
    };
    let mut covariates = vec![column("out", Some(OUT))];
    covariates.extend(died_unknown.then(|| column("unknown", None)));
    let cluster = match model {
        Model::Crude(cluster) => cluster.column(&rows),
        Model::WithinKeeper => rows.keeper.clone(),
    };
    let strata = (model == Model::WithinKeeper).then_some(rows.keeper.as_slice());
    f(&CoxInput { episodes: &rows.episodes, covariates: &covariates, strata, cluster: Some(&cluster) })
}

/// Each coral's life as one row, with the share of its known days out of the band: what must not be done, since a coral
/// that dies early chooses its own share.
pub(super) struct Lives {
    rows: Rows,
    share: Vec<f64>,
}

impl Lives {
    pub(super) fn of(rows: &Rows) -> Lives {
        let mut lives = Lives { rows: Rows::default(), share: Vec::new() };
        let mut first = 0;
        while first < rows.len() {
            let own =
                first..first + rows.specimen[first..].iter().take_while(|id| **id == rows.specimen[first]).count();
            let days = |level: u16| -> f64 {
                own.clone()
                    .filter(|&row| rows.level[row] == Some(level))
                    .map(|row| rows.episodes.stop[row] - rows.episodes.start[row])
                    .sum()
            };
            let (within, out) = (days(IN), days(OUT));
            let last = own.end - 1;
            first = own.end;
            if within + out == 0.0 {
                continue;
            }
            lives.share.push(out / (within + out));
            lives.rows.episodes.start.push(rows.episodes.start[own.start]);
            lives.rows.episodes.stop.push(rows.episodes.stop[last]);
            lives.rows.episodes.event.push(rows.episodes.event[last]);
            lives.rows.keeper.push(rows.keeper[last]);
        }
        lives
    }

    /// The log hazard ratio and its p by "mostly out of the band", or by the whole share.
    pub(super) fn ratio(&self, mostly: bool) -> Option<(f64, f64)> {
        let value = |share: &f64| if mostly { f64::from(u8::from(*share > 0.5)) } else { *share };
        let covariates = [Covariate { name: "out".to_owned(), values: self.share.iter().map(value).collect() }];
        let input = CoxInput {
            episodes: &self.rows.episodes,
            covariates: &covariates,
            strata: None,
            cluster: Some(&self.rows.keeper),
        };
        let fit = cox(&input, &CoxOptions::default()).ok()?;
        Some((fit.coefficients[0].coef?, fit.coefficients[0].p?))
    }
}
