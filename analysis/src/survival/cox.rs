//! Hazard ratios: the proportional hazards model with late entry, time-varying covariates, ties, strata and clusters.
//!
//! Rows are `(start, stop]`, so a covariate that changes over time is one row per value. A coefficient that the rows
//! cannot settle is refused by name; it is never printed as a hazard ratio near 0 or without end. Ratios are
//! associations: who kept which corals in which water was chosen by keepers.
//!
//! Cox 1972, J R Stat Soc B 34: 187–220; Efron 1977, J Am Stat Assoc 72: 557–565; Andersen & Gill 1982, Ann Stat 10:
//! 1100–1120; Lin & Wei 1989, J Am Stat Assoc 84: 1074–1078; Therneau & Grambsch 2000, *Modeling Survival Data*.

use crate::episode::Episodes;
use crate::numeric::Matrix;
use crate::numeric::tail::{
    chi_squared_upper, normal_multiplier, normal_two_sided, student_multiplier, student_two_sided,
};
use crate::refusal::{Refusal, RefusalCode};

mod design; // rows sorted once, sums over risk sets
mod fit; // the maximum of the partial likelihood
mod robust; // scores by row and by cluster

pub mod baseline; // the hazard at covariates of 0
pub mod bootstrap; // limits from drawing whole clusters
pub mod firth; // finite estimates where deaths are on one side only
pub mod jackknife; // the variance from leaving out one cluster at a time
pub mod proportionality; // does the ratio change with time
pub mod residuals; // what each row adds

pub use firth::{FirthCoefficient, FirthFit, firth};
pub use proportionality::{ProportionalityTest, Transform, proportionality};

use design::Design;
use robust::Clusters;

/// Fewest clusters for limits that allow for clusters.
pub const CLUSTERS_FOR_LIMITS: usize = 10;

/// Fewest clusters that must hold another than the commonest value of a covariate.
pub const CLUSTERS_OFF_THE_COMMON_VALUE: usize = 3;

/// A column of numbers, one per row.
#[derive(Debug, Clone, PartialEq)]
pub struct Covariate {
    /// Name for print.
    pub name: String,
    /// One value per row; a category is a column of 0 and 1 per level except the reference.
    pub values: Vec<f64>,
}

/// What a fit is made from. All columns hold one value per row.
#[derive(Debug, Clone, Copy)]
pub struct CoxInput<'a> {
    /// Who is at risk when.
    pub episodes: &'a Episodes,
    /// At least one.
    pub covariates: &'a [Covariate],
    /// Hazards are compared within strata only.
    pub strata: Option<&'a [u32]>,
    /// Rows of one cluster may depend on each other (tanks, keepers).
    pub cluster: Option<&'a [u32]>,
}

/// How deaths on the same day are treated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Ties {
    /// Efron's approximation, the default.
    #[default]
    Efron,
    /// Breslow's, cruder with many ties.
    Breslow,
}

/// Choices of a fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoxOptions {
    /// Treatment of ties.
    pub ties: Ties,
    /// Coverage of the limits.
    pub level: f64,
}

impl Default for CoxOptions {
    fn default() -> Self {
        CoxOptions { ties: Ties::Efron, level: 0.95 }
    }
}

/// One coefficient. Numbers that cannot be given are `None`, with the reason in `refused`.
#[derive(Debug, Clone, PartialEq)]
pub struct Coefficient {
    /// Name of the covariate.
    pub name: String,
    /// Log hazard ratio per unit of the covariate.
    pub coef: Option<f64>,
    /// `exp(coef)`.
    pub hazard_ratio: Option<f64>,
    /// From the information matrix, ignoring clusters.
    pub std_error: Option<f64>,
    /// The plain sandwich by cluster, without small-sample factor, as other software prints it.
    pub robust_std_error: Option<f64>,
    /// Lower limit of the hazard ratio: with clusters from `G/(G-1)` times the sandwich and t with G-1 degrees of
    /// freedom, else from `std_error` and the normal.
    pub lower: Option<f64>,
    /// Upper limit of the hazard ratio.
    pub upper: Option<f64>,
    /// Two-sided p of no association, from the same variance as the limits.
    pub p: Option<f64>,
    /// Why numbers are absent: all of them on `Separation`, limits and p on `TooFewClusters`.
    pub refused: Option<Refusal>,
}

/// Log partial likelihood.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogLikelihood {
    /// At coefficients of 0.
    pub at_zero: f64,
    /// At the fit.
    pub fitted: f64,
}

/// A chi-squared test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChiSquared {
    /// Statistic.
    pub statistic: f64,
    /// Degrees of freedom.
    pub df: usize,
    /// Upper tail.
    pub p: f64,
}

impl ChiSquared {
    fn new(statistic: f64, df: usize) -> ChiSquared {
        ChiSquared { statistic, df, p: chi_squared_upper(statistic, df as f64) }
    }
}

/// Tests that all coefficients are 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoxTests {
    /// Twice the rise of the log likelihood.
    pub likelihood_ratio: ChiSquared,
    /// Score test at 0: without ties and with one covariate of 0 and 1 it is the log-rank test.
    pub score: ChiSquared,
    /// From the estimates and the model's variance; `None` on separation.
    pub wald: Option<ChiSquared>,
    /// From the estimates and the plain sandwich.
    pub robust_wald: Option<ChiSquared>,
    /// `U(0)' (sum over clusters of u u')^-1 U(0)`: the log-rank test that allows for clusters.
    pub robust_score: Option<ChiSquared>,
}

/// A fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct CoxFit {
    /// In the order of the covariates.
    pub coefficients: Vec<Coefficient>,
    /// Inverse information; rows and columns of coefficients without an estimate are 0 and mean nothing.
    pub covariance: Matrix,
    /// Plain sandwich by cluster.
    pub robust_covariance: Option<Matrix>,
    /// Log partial likelihood at 0 and at the fit.
    pub log_likelihood: LogLikelihood,
    /// Tests that all coefficients are 0.
    pub tests: CoxTests,
    /// Newton steps.
    pub iterations: usize,
    /// Rows given.
    pub rows: usize,
    /// Deaths.
    pub deaths: u64,
    /// Clusters with at least one row at risk at a death, if clusters were given.
    pub clusters: Option<usize>,
    /// A penalised fit of the same model, where a plain coefficient was refused for separation.
    pub firth: Option<FirthFit>,
    /// Everything that was refused in this fit.
    pub refusals: Vec<Refusal>,
    /// Choices it was made with.
    pub options: CoxOptions,
    /// Estimates in the scaled covariates, those of refused coefficients wherever the search stopped.
    scaled: Vec<f64>,
}

/// Limits and p from an estimate on the log scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaldLimits {
    /// Lower limit of `exp(estimate)`.
    pub lower: f64,
    /// Upper limit of `exp(estimate)`.
    pub upper: f64,
    /// Two-sided p of no association.
    pub p: f64,
}

/// Limits of a log hazard ratio (or a sum of coefficients) with a variance that ignores clusters: normal.
pub fn model_limits(estimate: f64, variance: f64, level: f64) -> WaldLimits {
    let se = variance.sqrt();
    let z = normal_multiplier(level);
    WaldLimits {
        lower: (estimate - z * se).exp(),
        upper: (estimate + z * se).exp(),
        p: normal_two_sided(estimate / se),
    }
}

/// Limits of a log hazard ratio (or a sum of coefficients) from its plain sandwich variance over `clusters` clusters:
/// `G/(G-1)` times the variance, t with `G-1` degrees of freedom.
///
/// # Errors
/// `TooFewClusters` below [`CLUSTERS_FOR_LIMITS`].
pub fn clustered_limits(estimate: f64, variance: f64, clusters: usize, level: f64) -> Result<WaldLimits, Refusal> {
    let df = clusters.saturating_sub(1) as f64;
    let multiplier = student_multiplier(level, df);
    let (Some(t), true) = (multiplier, clusters >= CLUSTERS_FOR_LIMITS) else {
        return Err(Refusal::counted(
            RefusalCode::TooFewClusters,
            clusters as f64,
            CLUSTERS_FOR_LIMITS as f64,
            format!("limits that allow for clusters need {CLUSTERS_FOR_LIMITS} of them at risk when somebody died"),
        ));
    };
    let se = (variance * clusters as f64 / df).sqrt();
    Ok(WaldLimits {
        lower: (estimate - t * se).exp(),
        upper: (estimate + t * se).exp(),
        p: student_two_sided(estimate / se, df),
    })
}

/// Fits the model.
///
/// Covariates are centred and scaled for the search and given back in their own units. O(n log n) once and O(n p²) a
/// step for n rows and p covariates.
///
/// With deaths on one side of a covariate only, that coefficient is refused (`Separation`) and a penalised fit of the
/// whole model stands in [`CoxFit::firth`]; the others are those of the limit.
///
/// # Errors
/// `InvalidInput` (a bad row, columns of unlike length, a value that is not finite), `NoEvents`, `Singular` (a
/// covariate that is constant among those at risk, or a combination of others; named), `NotConverged`.
pub fn cox(input: &CoxInput, options: &CoxOptions) -> Result<CoxFit, Refusal> {
    cox_near(input, options, None)
}

/// The same, searched from the estimates of a fit of nearly the same rows by the same covariates.
///
/// # Errors
/// As [`cox`].
pub(crate) fn cox_near(input: &CoxInput, options: &CoxOptions, near: Option<&CoxFit>) -> Result<CoxFit, Refusal> {
    check(input, options)?;
    let design = Design::new(input, options.ties)?;
    let near: Option<Vec<f64>> = near.and_then(|fit| {
        let settled = fit.coefficients.len() == design.covariates() && !fit.is_separated();
        let scaled = |(coefficient, scale): (&Coefficient, &f64)| Some(coefficient.coef? * scale);
        settled.then(|| fit.coefficients.iter().zip(design.scale()).map(scaled).collect()).flatten()
    });
    let found = fit::maximise(&design, near.as_deref()).map_err(|trouble| refused(trouble, input))?;
    let p = design.covariates();
    let covariance = design.unscale(&found.covariance);
    let clustered = input.cluster.map(|cluster| Clusters::new(&design, cluster));
    let scores = clustered.as_ref().map(|clusters| robust::by_cluster(&design, clusters, &found.estimate));
    let robust_scaled = scores.as_ref().map(|by| by.sandwich(&found.covariance));
    let robust_covariance = robust_scaled.as_ref().map(|v| design.unscale(v));
    let settled: Vec<usize> = (0..p).filter(|&j| !found.separated[j]).collect();
    let wald = |v: &Matrix| fit::wald(&found.estimate, v, &settled).map(|w| ChiSquared::new(w, settled.len()));
    let tests = CoxTests {
        likelihood_ratio: ChiSquared::new(2.0 * (found.log_likelihood - found.at_zero.log_likelihood), p),
        score: ChiSquared::new(found.score_test, p),
        wald: if settled.len() == p { wald(&found.covariance) } else { None },
        robust_wald: if settled.len() == p { robust_scaled.as_ref().and_then(&wald) } else { None },
        robust_score: clustered.as_ref().and_then(|clusters| {
            let at_zero = robust::by_cluster(&design, clusters, &vec![0.0; p]);
            at_zero.score_test(&found.at_zero.score).map(|statistic| ChiSquared::new(statistic, p))
        }),
    };
    let mut refusals = Vec::new();
    let coefficients: Vec<Coefficient> = (0..p)
        .map(|j| {
            let name = input.covariates[j].name.clone();
            if found.separated[j] {
                let refused = separation(&name);
                refusals.push(refused.clone());
                return Coefficient { refused: Some(refused), ..Coefficient::unknown(name) };
            }
            let coef = found.estimate[j] / design.scale()[j];
            let robust = robust_covariance.as_ref().map(|v| v[j][j]);
            let limits = match (robust, &clustered) {
                (Some(variance), Some(clusters)) => robust::spread_over_clusters(input, &design, clusters, j)
                    .and_then(|()| clustered_limits(coef, variance, clusters.count(), options.level)),
                _ => Ok(model_limits(coef, covariance[j][j], options.level)),
            };
            let (limits, refused) = match limits {
                Ok(limits) => (Some(limits), None),
                Err(refused) => (None, Some(refused)),
            };
            if let Some(refused) = &refused {
                refusals.push(refused.clone());
            }
            Coefficient {
                coef: Some(coef),
                hazard_ratio: Some(coef.exp()),
                std_error: Some(covariance[j][j].sqrt()),
                robust_std_error: robust.map(f64::sqrt),
                lower: limits.map(|l| l.lower),
                upper: limits.map(|l| l.upper),
                p: limits.map(|l| l.p),
                refused,
                name,
            }
        })
        .collect();
    let firth = if found.separated.contains(&true) {
        match firth::maximise(&design, input, options) {
            Ok(fit) => Some(fit),
            Err(refused) => {
                refusals.push(refused);
                None
            }
        }
    } else {
        None
    };
    refusals.dedup();
    Ok(CoxFit {
        coefficients,
        covariance,
        robust_covariance,
        log_likelihood: LogLikelihood { at_zero: found.at_zero.log_likelihood, fitted: found.log_likelihood },
        tests,
        iterations: found.iterations,
        rows: input.episodes.len(),
        deaths: input.episodes.deaths(),
        clusters: clustered.map(|clusters| clusters.count()),
        firth,
        refusals,
        options: *options,
        scaled: found.estimate,
    })
}

impl Coefficient {
    fn unknown(name: String) -> Coefficient {
        Coefficient {
            name,
            coef: None,
            hazard_ratio: None,
            std_error: None,
            robust_std_error: None,
            lower: None,
            upper: None,
            p: None,
            refused: None,
        }
    }
}

impl CoxFit {
    /// The coefficient of this name.
    pub fn coefficient(&self, name: &str) -> Option<&Coefficient> {
        self.coefficients.iter().find(|c| c.name == name)
    }

    /// Whether a coefficient was refused for separation.
    pub fn is_separated(&self) -> bool {
        self.coefficients.iter().any(|c| c.coef.is_none())
    }
}

fn refused(trouble: fit::Trouble, input: &CoxInput) -> Refusal {
    match trouble {
        fit::Trouble::Singular(j) => Refusal::plain(
            RefusalCode::Singular,
            format!(
                "{} does not differ among those at risk together, or follows from the other covariates",
                input.covariates.get(j).map_or("a covariate", |c| c.name.as_str())
            ),
        ),
        fit::Trouble::NotConverged(steps) => Refusal::plain(
            RefusalCode::NotConverged,
            format!("the search for the ratios that fit did not settle in {steps} steps"),
        ),
    }
}

fn separation(name: &str) -> Refusal {
    Refusal::plain(
        RefusalCode::Separation,
        format!("all deaths lie on one side of {name}, so that no finite ratio fits"),
    )
}

/// The fit's own input again, for what is computed after it; refused if it is not the input of this fit.
fn same_design<'a>(input: &CoxInput<'a>, fit: &CoxFit) -> Result<Design, Refusal> {
    check(input, &fit.options)?;
    let same = fit.rows == input.episodes.len() && fit.coefficients.len() == input.covariates.len();
    if !same {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "the rows or covariates are not those of the fit"));
    }
    Design::new(input, fit.options.ties)
}

fn check(input: &CoxInput, options: &CoxOptions) -> Result<(), Refusal> {
    let invalid = |message: String| Err(Refusal::plain(RefusalCode::InvalidInput, message));
    let rows = input.episodes.len();
    if let Err(row) = input.episodes.check() {
        return invalid(row.to_string());
    }
    if input.covariates.is_empty() {
        return invalid("a model needs at least one covariate".into());
    }
    for covariate in input.covariates {
        if covariate.values.len() != rows {
            return invalid(format!("{}: {} values for {rows} rows", covariate.name, covariate.values.len()));
        }
        if let Some(row) = covariate.values.iter().position(|x| !x.is_finite()) {
            return invalid(format!("{}, row {}: {} is not finite", covariate.name, row + 1, covariate.values[row]));
        }
    }
    for (what, column) in [("stratum", input.strata), ("cluster", input.cluster)] {
        if let Some(column) = column.filter(|column| column.len() != rows) {
            return invalid(format!("{} {what} numbers for {rows} rows", column.len()));
        }
    }
    if !(options.level > 0.0 && options.level < 1.0) {
        return invalid(format!("the level of the limits must lie between 0 and 1, not {}", options.level));
    }
    Ok(())
}

#[cfg(test)]
mod tests;
