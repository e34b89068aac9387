//! The model of a comparison, fitted on every drawn set of rows and pooled by Rubin's rules.

use super::{Contrast, SPLIT_AGE_DAYS, dummy};
use crate::answer::{CoxCoefficient, FirthCoefficient, LogLikelihoodPart, ProportionalityTest};
use crate::comparison::curve::{LEVEL, between, mean, pooled_limits};
use crate::comparison::rows::Rows;
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::cox::{FirthFit, Transform, firth, proportionality};
use crate::survival::{Covariate, CoxFit, CoxInput, CoxOptions, cox};

/// One column of a model.
#[derive(Debug, Clone)]
pub(super) struct Column {
    name: String,
    level: usize,
    /// Only rows up to (`true`) or after (`false`) the split age.
    early: Option<bool>,
}

pub(super) struct Model {
    pub(super) columns: Vec<Column>,
    /// One set of rows a draw, with unknown rows left out where nobody died under unknown conditions.
    sets: Vec<Rows>,
}

pub(super) struct FittedColumn {
    pub(super) level: usize,
    position: usize,
    pub(super) printed: CoxCoefficient,
}

pub(super) struct Fitted {
    pub(super) coefficients: Vec<FittedColumn>,
    pub(super) log_likelihood: LogLikelihoodPart,
    pub(super) iterations: u64,
}

impl Fitted {
    /// With penalised fits beside, where a plain coefficient was refused.
    pub(super) fn or_penalised(mut self, model: &Model, contrast: &Contrast) -> Fitted {
        let lacks = self.coefficients.iter().any(|c| c.printed.coef.is_none() && c.printed.firth.is_none());
        if lacks && let Some(fits) = model.penalised(contrast) {
            for column in &mut self.coefficients {
                column.printed.firth = Some(pooled_firth(&fits, column.position));
            }
        }
        self
    }
}

impl Model {
    pub(super) fn new(contrast: &Contrast, levels: &[usize], split: Option<f64>) -> Model {
        let unknown = contrast.known();
        // Without a death among them the unknown rows say nothing of the ratios: the limit of their own coefficient is
        // the fit without them.
        let with_unknown = contrast.tally(unknown).deaths > 0;
        let mut columns = Vec::new();
        let parts: &[(Option<bool>, &str)] = match split {
            None => &[(None, "")],
            Some(_) => &[(Some(true), " (to day 90)"), (Some(false), " (after day 90)")],
        };
        for &level in levels.iter().chain(with_unknown.then_some(&unknown)) {
            let code = contrast.names.get(level).map_or("unknown", |name| name.code.as_str());
            for (early, suffix) in parts {
                columns.push(Column { name: format!("{}:{code}{suffix}", contrast.condition), level, early: *early });
            }
        }
        let used = |rows: &Rows, row: usize| match rows.level[row] {
            None => with_unknown,
            Some(level) => usize::from(level) == contrast.reference || levels.contains(&usize::from(level)),
        };
        let sets = contrast
            .sets
            .all()
            .iter()
            .map(|rows| {
                let kept: Vec<usize> = (0..rows.len()).filter(|&row| used(rows, row)).collect();
                let rows = rows.subset(&kept);
                // Cutting valid rows leaves valid rows; were it not so, the uncut ones stand.
                split.and_then(|age| rows.split_at(age).ok()).unwrap_or(rows)
            })
            .collect();
        Model { columns, sets }
    }

    pub(super) fn deaths(&self) -> u64 {
        self.sets.first().map_or(0, |rows| rows.episodes.deaths())
    }

    pub(super) fn deaths_per_column(&self) -> f64 {
        self.deaths() as f64 / self.columns.len().max(1) as f64
    }

    fn covariates(&self, contrast: &Contrast, rows: &Rows) -> Vec<Covariate> {
        let groups = contrast.groups(rows);
        self.columns
            .iter()
            .map(|column| {
                dummy(column.name.clone(), rows, |row| {
                    groups[row] as usize == column.level
                        && column.early.is_none_or(|early| (rows.episodes.stop[row] <= SPLIT_AGE_DAYS) == early)
                })
            })
            .collect()
    }

    /// Runs `f` on the input of each set.
    fn each<T>(&self, contrast: &Contrast, f: impl Fn(&CoxInput) -> Result<T, Refusal>) -> Result<Vec<T>, Refusal> {
        self.sets
            .iter()
            .map(|rows| {
                let covariates = self.covariates(contrast, rows);
                let clusters = contrast.clusters(rows);
                let strata = contrast.within_keeper.then_some(rows.keeper.as_slice());
                f(&CoxInput { episodes: &rows.episodes, covariates: &covariates, strata, cluster: Some(&clusters) })
            })
            .collect()
    }

    /// The plain fit, with a penalised one beside it if asked.
    pub(super) fn fit(&self, contrast: &Contrast, penalised: bool) -> Result<Fitted, Refusal> {
        let options = CoxOptions::default();
        let fits = self.each(contrast, |input| cox(input, &options))?;
        let penalised = if penalised { self.penalised(contrast) } else { None };
        let coefficients = self
            .columns
            .iter()
            .enumerate()
            .filter(|(_, column)| column.level < contrast.known())
            .map(|(j, column)| {
                let mut printed = self.combine(contrast, column, &fits, j);
                printed.firth = penalised.as_deref().map(|fits| pooled_firth(fits, j));
                FittedColumn { level: column.level, position: j, printed }
            })
            .collect();
        let average = |of: fn(&CoxFit) -> f64| mean(&fits.iter().map(of).collect::<Vec<_>>());
        Ok(Fitted {
            coefficients,
            log_likelihood: LogLikelihoodPart {
                at_zero: average(|fit| fit.log_likelihood.at_zero),
                fitted: average(|fit| fit.log_likelihood.fitted),
            },
            iterations: fits.iter().map(|fit| fit.iterations as u64).max().unwrap_or(0),
        })
    }

    /// The penalised fits; `None` if one of them does not settle.
    fn penalised(&self, contrast: &Contrast) -> Option<Vec<FirthFit>> {
        self.each(contrast, |input| firth(input, &CoxOptions::default())).ok()
    }

    /// One coefficient over the sets: of one set its own figures, of several those of Rubin's rules.
    fn combine(&self, contrast: &Contrast, column: &Column, fits: &[CoxFit], j: usize) -> CoxCoefficient {
        let base = CoxCoefficient { name: column.name.clone(), ..contrast.empty("") };
        let of: Vec<_> = fits.iter().map(|fit| &fit.coefficients[j]).collect();
        if of.iter().any(|c| c.coef.is_none()) {
            let tally = contrast.tally(column.level);
            let label = contrast.names.get(column.level).map_or("", |name| name.phrase.as_str());
            let many = contrast.sets.outcome.words().many;
            let message = if tally.deaths == 0 {
                format!("0 {many} in {} days of corals {label}: no finite ratio fits.", tally.days)
            } else {
                format!("All {many} lie on one side: no finite ratio fits.")
            };
            let refused = Some(Refusal::plain(RefusalCode::Separation, message));
            return CoxCoefficient { refused, ..base };
        }
        if let [only] = of.as_slice() {
            return CoxCoefficient {
                coef: only.coef,
                hazard_ratio: only.hazard_ratio,
                std_error: only.std_error,
                robust_std_error: only.robust_std_error,
                lower: only.lower,
                upper: only.upper,
                p: only.p,
                refused: only.refused.clone(),
                ..base
            };
        }
        let coefs: Vec<f64> = of.iter().filter_map(|c| c.coef).collect();
        let coef = mean(&coefs);
        let extra = between(&coefs);
        let within = |errors: Vec<f64>| mean(&errors.iter().map(|se| se * se).collect::<Vec<_>>());
        let model = within(of.iter().filter_map(|c| c.std_error).collect()) + extra;
        let robust: Vec<f64> = of.iter().filter_map(|c| c.robust_std_error).collect();
        let clusters = fits.iter().filter_map(|fit| fit.clusters).min().unwrap_or(0);
        let published = of.iter().all(|c| c.lower.is_some() && c.upper.is_some());
        let all = published && robust.len() == of.len();
        let limits = all.then(|| pooled_limits(coef, within(robust.clone()), extra, clusters).ok()).flatten();
        CoxCoefficient {
            coef: Some(coef),
            hazard_ratio: Some(coef.exp()),
            std_error: Some(model.sqrt()),
            robust_std_error: (robust.len() == of.len()).then(|| (within(robust) + extra).sqrt()),
            lower: limits.map(|limits| limits.lower),
            upper: limits.map(|limits| limits.upper),
            p: limits.map(|limits| limits.p),
            refused: of.iter().find_map(|c| c.refused.clone()),
            ..base
        }
    }

    pub(super) fn proportionality(&self, contrast: &Contrast) -> Result<Vec<ProportionalityTest>, Refusal> {
        // One set is enough for a test: the draws differ in days only.
        let one = Model { columns: self.columns.clone(), sets: self.sets.iter().take(1).cloned().collect() };
        let mut tests = one.each(contrast, |input| {
            let fit = cox(input, &CoxOptions::default())?;
            proportionality(input, &fit, Transform::Km)
        })?;
        Ok(tests
            .pop()
            .unwrap_or_default()
            .into_iter()
            .map(|test| ProportionalityTest {
                name: test.name,
                statistic: test.statistic,
                df: test.df as u64,
                p: test.p,
            })
            .collect())
    }
}

fn pooled_firth(fits: &[FirthFit], j: usize) -> FirthCoefficient {
    let of: Vec<_> = fits.iter().map(|fit| &fit.coefficients[j]).collect();
    let average = |of: Vec<f64>| mean(&of);
    let coefs: Vec<f64> = of.iter().map(|c| c.coef).collect();
    let coef = mean(&coefs);
    let variance = average(of.iter().map(|c| c.std_error * c.std_error).collect()) + between(&coefs);
    match of.as_slice() {
        [only] => FirthCoefficient {
            coef: only.coef,
            hazard_ratio: only.hazard_ratio,
            std_error: only.std_error,
            lower: only.lower,
            upper: only.upper,
            p: only.p,
        },
        _ => {
            let limits = crate::survival::cox::model_limits(coef, variance, LEVEL);
            FirthCoefficient {
                coef,
                hazard_ratio: coef.exp(),
                std_error: variance.sqrt(),
                lower: limits.lower,
                upper: limits.upper,
                p: limits.p,
            }
        }
    }
}
