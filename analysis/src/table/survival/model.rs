//! Columns to covariates, hazard ratios, and whether they change with time.

use super::{Rows, SurvivalRequest, too_few_deaths};
use crate::answer::LogLikelihoodPart;
use crate::evidence::minimums;
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::survival::cox::firth::firth;
use crate::survival::cox::proportionality::proportionality_of;
use crate::survival::cox::{Coefficient, FirthFit, Transform};
use crate::survival::{Covariate, CoxFit, CoxInput, CoxOptions, Ties, cox};
use crate::table::LEVEL;
use crate::table::column::{Table, did_you_mean, listed, shown};
use crate::table::error::{Notice, TableError};
use crate::table::shape::{TableCoefficient, TableCox, TableFirth, TableFirthCoefficient, TableProportionality};

/// Most coefficients of one model: beyond, it is a mistaken column of names rather than a model.
const MOST_COEFFICIENTS: usize = 50;

/// Below this p a ratio that changes with time is pointed out.
const CHANGES: f64 = 0.05;

/// Covariates, and which of them belong to which named column.
pub(super) struct Design {
    covariates: Vec<Covariate>,
    terms: Vec<(String, Vec<usize>)>,
    /// Categories with one level only.
    constant: Vec<String>,
}

/// The covariates of a request: numbers as they are, categories as one column of 0 and 1 per level but the reference.
///
/// # Errors
/// A reference of a column that is no covariate or a level that does not occur; a column of numbers with a cell that is
/// none; more coefficients than a model can have.
pub(super) fn design(
    table: &Table,
    request: &SurvivalRequest,
    columns: &[usize],
    rows: &[usize],
) -> Result<Design, TableError> {
    let references = references(table, request, columns)?;
    let mut design = Design { covariates: Vec::new(), terms: Vec::new(), constant: Vec::new() };
    for &column in columns {
        let name = table.name(column).to_owned();
        let reference = references.iter().find(|(own, _)| *own == column).map(|(_, level)| *level);
        let first = design.covariates.len();
        if reference.is_none() && is_numeric(table, column, rows)? {
            design.covariates.push(Covariate { name: name.clone(), values: table.numbers(column, rows)? });
        } else {
            let (codes, levels) = table.coded(column, rows);
            let reference = match reference {
                Some(level) => find_level(table, column, level, &levels)?,
                None => 0,
            };
            if first + levels.len() > MOST_COEFFICIENTS + 1 {
                return Err(TableError::request(
                    format!(
                        "the covariate '{name}' has {} levels; a model has at most {MOST_COEFFICIENTS} ratios",
                        levels.len()
                    ),
                    "join levels, or leave it out: names of specimens or tanks belong to --cluster",
                ));
            }
            if levels.len() < 2 {
                design.constant.push(name.clone());
            }
            for (level, text) in levels.iter().enumerate().filter(|(level, _)| *level != reference) {
                let values = codes.iter().map(|code| f64::from(u8::from(*code as usize == level))).collect();
                design.covariates.push(Covariate { name: format!("{name}:{text}"), values });
            }
        }
        design.terms.push((name, (first..design.covariates.len()).collect()));
    }
    if design.covariates.len() > MOST_COEFFICIENTS {
        return Err(TableError::request(
            format!("the model has {} ratios; at most {MOST_COEFFICIENTS} are fitted", design.covariates.len()),
            "name fewer covariates",
        ));
    }
    Ok(design)
}

/// Columns with a reference level, and the level.
fn references<'r>(
    table: &Table,
    request: &'r SurvivalRequest,
    columns: &[usize],
) -> Result<Vec<(usize, &'r str)>, TableError> {
    let mut found: Vec<(usize, &str)> = Vec::new();
    for (name, level) in &request.references {
        let column = table.column(name)?;
        if !columns.contains(&column) {
            return Err(TableError::request(
                format!("'{}' has a reference level and is no covariate", table.name(column)),
                "name it among the covariates too",
            ));
        }
        if found.iter().any(|(own, _)| *own == column) {
            return Err(TableError::request(format!("'{}' has two reference levels", table.name(column)), "give one"));
        }
        found.push((column, level.trim()));
    }
    Ok(found)
}

fn find_level(table: &Table, column: usize, level: &str, levels: &[String]) -> Result<usize, TableError> {
    let number = table.parse(level);
    let same = |own: &String| own == level || (number.is_some() && table.parse(own) == number);
    levels.iter().position(same).ok_or_else(|| {
        TableError::request(
            format!("'{}' has no level '{}' in the rows that are used", table.name(column), shown(level)),
            format!("{}its levels are {}", did_you_mean(level, levels.iter().map(String::as_str)), listed(levels)),
        )
    })
}

/// Whether a column holds numbers.
///
/// # Errors
/// Some cells are numbers and some are not: the first that is not is named.
fn is_numeric(table: &Table, column: usize, rows: &[usize]) -> Result<bool, TableError> {
    let is_number = |row: usize| table.parse(table.cell(column, row)).is_some();
    let numbers = rows.iter().filter(|&&row| is_number(row)).count();
    if numbers == 0 || numbers == rows.len() {
        return Ok(numbers > 0);
    }
    let odd = rows.iter().copied().find(|&row| !is_number(row)).unwrap_or_default();
    Err(TableError::data(
        format!("'{}' is not a number, and {numbers} other cells of the column are", shown(table.cell(column, odd))),
        table.place(column, odd),
        format!(
            "correct the cell or leave it empty; to make the column a category give it a reference level, --reference {}=LEVEL",
            table.name(column)
        ),
    ))
}

type Parts = (Part<TableCox>, Part<Vec<TableProportionality>>);

/// Fits the model and tests its ratios.
pub(super) fn fit(design: &Design, rows: &Rows, minimums: bool, notices: &mut Vec<Notice>) -> Parts {
    let deaths = rows.episodes.deaths();
    let input = CoxInput {
        episodes: &rows.episodes,
        covariates: &design.covariates,
        strata: rows.strata.as_deref(),
        cluster: rows.cluster.as_deref(),
    };
    let options = CoxOptions { ties: Ties::Efron, level: LEVEL };
    let fitted = feasible(design, deaths, minimums).and_then(|()| cox(&input, &options));
    let fit = match fitted {
        Ok(fit) => fit,
        Err(refused) => return (Err(refused.clone()).into(), Err(refused).into()),
    };
    let per_coefficient = deaths as f64 / design.covariates.len() as f64;
    let few = minimums && per_coefficient < minimums::DEATHS_PER_COEFFICIENT;
    if few {
        notices.push(Notice::new(
            format!("{per_coefficient:.1} deaths for each ratio are few"),
            "read the penalised ratios beside, or name fewer covariates",
        ));
    }
    let penalised = if let Some(fit) = &fit.firth {
        Some(Ok(fit.clone()))
    } else if few || fit.is_separated() {
        Some(firth(&input, &options))
    } else {
        None
    };
    let tests = tests(design, &input, &fit, minimums.then_some(deaths));
    if let Ok(tests) = &tests {
        let changing: Vec<String> = tests
            .iter()
            .filter(|test| test.p < CHANGES && test.name != "GLOBAL")
            .map(|test| test.name.clone())
            .collect();
        if !changing.is_empty() {
            notices.push(Notice::new(
                format!(
                    "the ratio of {} changes with time, so that one number for all times hides that",
                    listed(&changing)
                ),
                "compare early and late times apart",
            ));
        }
    }
    (Part::Given(part(&fit, penalised)), tests.into())
}

/// Whether there is anything to fit.
fn feasible(design: &Design, deaths: u64, minimums: bool) -> Result<(), Refusal> {
    if let Some(name) = design.constant.first() {
        return Err(Refusal::plain(
            RefusalCode::Singular,
            format!(
                "{} has one level only in the rows that are used: there is nothing to compare it with.",
                shown(name)
            ),
        ));
    }
    let ratios = design.covariates.len() as f64;
    let need = if minimums { minimums::DEATHS_PER_COEFFICIENT_AT_ALL * ratios } else { ratios };
    if deaths == 0 || (deaths as f64) < need {
        return Err(too_few_deaths(deaths, need.max(1.0) as u64, &format!("A model with {ratios} ratios")));
    }
    Ok(())
}

fn tests(
    design: &Design,
    input: &CoxInput,
    fit: &CoxFit,
    deaths_to_check: Option<u64>,
) -> Result<Vec<TableProportionality>, Refusal> {
    if let Some(deaths) = deaths_to_check.filter(|deaths| *deaths < minimums::PROPORTIONALITY_DEATHS) {
        return Err(too_few_deaths(
            deaths,
            minimums::PROPORTIONALITY_DEATHS,
            "The test of ratios that change with time",
        ));
    }
    let tests = proportionality_of(input, fit, Transform::Km, &design.terms)?;
    Ok(tests
        .into_iter()
        .map(|test| TableProportionality { name: test.name, statistic: test.statistic, df: test.df as u64, p: test.p })
        .collect())
}

fn part(fit: &CoxFit, penalised: Option<Result<FirthFit, Refusal>>) -> TableCox {
    TableCox {
        coefficients: fit.coefficients.iter().map(coefficient).collect(),
        log_likelihood: LogLikelihoodPart { at_zero: fit.log_likelihood.at_zero, fitted: fit.log_likelihood.fitted },
        iterations: fit.iterations as u64,
        firth: penalised.map(|fit| fit.map(|fit| penalised_part(&fit)).into()),
    }
}

fn coefficient(from: &Coefficient) -> TableCoefficient {
    let numbers = [from.coef, from.hazard_ratio, from.std_error, from.robust_std_error, from.lower, from.upper, from.p];
    let overflown = numbers.iter().flatten().any(|number| !number.is_finite());
    let finite = |value: Option<f64>| value.filter(|value| value.is_finite());
    TableCoefficient {
        name: from.name.clone(),
        coef: finite(from.coef),
        hazard_ratio: finite(from.hazard_ratio),
        std_error: finite(from.std_error),
        robust_std_error: finite(from.robust_std_error),
        lower: finite(from.lower),
        upper: finite(from.upper),
        p: finite(from.p),
        refused: from.refused.clone().or_else(|| overflown.then(|| too_small_a_unit(&from.name))),
    }
}

fn too_small_a_unit(name: &str) -> Refusal {
    Refusal::plain(
        RefusalCode::InvalidInput,
        format!(
            "One unit of {} multiplies the hazard by more than a number can hold: give it in a smaller unit.",
            shown(name)
        ),
    )
}

fn penalised_part(fit: &FirthFit) -> TableFirth {
    TableFirth {
        coefficients: fit
            .coefficients
            .iter()
            .map(|from| TableFirthCoefficient {
                name: from.name.clone(),
                coef: from.coef,
                hazard_ratio: from.hazard_ratio,
                std_error: from.std_error,
                lower: from.lower,
                upper: from.upper,
                p: from.p,
            })
            .collect(),
        penalised_log_likelihood: fit.penalised_log_likelihood,
        iterations: fit.iterations as u64,
    }
}
