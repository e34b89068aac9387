//! A condition with others held: those of a fixed list, as many as the losses bear.

use std::sync::Arc;

use super::line::{Cut, Making};
use crate::answer::shape::{AdjustedRatio, Ratio};
use crate::comparison::joint::{INSEPARABLE, JointRows, adjusted as fitted};
use crate::evidence::minimums;
use crate::exposure::condition::CONTRAST;
use crate::exposure::{Condition, Factor};
use crate::refusal::{Refusal, RefusalCode};
use crate::vocabulary::ParameterCode;

/// What is held, in this order: the level of the parameter whose spread, change or gap is asked about; feeding; the five
/// parameters of the taught water; origin; the age of the tank; the keeper's earlier losses.
fn held(factor: Factor) -> Vec<Factor> {
    let mut list = Vec::new();
    if let (Some(code), false) =
        (factor.parameter(), matches!(factor, Factor::Level(_) | Factor::Below(_) | Factor::Above(_)))
    {
        list.push(Factor::Level(code));
    }
    list.push(Factor::Feeding);
    let water = ["nitrate", "phosphate", "alkalinity", "temperature", "salinity"];
    list.extend(water.iter().filter_map(|code| ParameterCode::parse(code)).map(Factor::Level));
    list.extend([Factor::Origin, Factor::TankAge, Factor::EarlierLosses]);
    // The two sides of a band are its level, and are not held beside it.
    let mut seen = vec![factor];
    if let (Some(code), true) = (factor.parameter(), list.first() == Some(&Factor::Feeding)) {
        seen.push(Factor::Level(code));
    }
    list.retain(|other| {
        !seen.contains(other) && {
            seen.push(*other);
            true
        }
    });
    list
}

/// The ratio with others held.
///
/// # Errors
/// `TooFewEvents` where the losses bear no second condition, `Singular` where one cannot be told from another, otherwise
/// as the fit.
pub(super) fn adjusted(making: &Making, factor: Factor, cut: &Cut) -> Result<AdjustedRatio, Refusal> {
    let deaths = cut.sets.middle.episodes.deaths() as f64;
    let mut conditions: Vec<(Factor, Arc<Condition>)> = Vec::new();
    let rows = |conditions: &[(Factor, Arc<Condition>)]| {
        let all: Vec<&Condition> =
            std::iter::once(&cut.condition).chain(conditions.iter().map(|(_, condition)| condition.as_ref())).collect();
        JointRows::new(&making.follow_up, &cut.sets.middle, &all)
    };
    let alone = rows(&[])?.columns(0);
    if !alone.contains(&Some(CONTRAST)) {
        return Err(Refusal::plain(RefusalCode::Separation, "All losses lie on one side: no finite ratio fits."));
    }
    let mut columns = vec![alone];
    let mut inseparable = None;
    let mut lacking = None;
    for other in held(factor) {
        // A condition that has no cut for this taxon cannot be held.
        let Some(condition) = making.beside(other) else { continue };
        // Every condition takes one column at least: where that is too many, no rows need be cut.
        let wanted = columns.iter().map(Vec::len).sum::<usize>() + 1;
        if deaths < minimums::DEATHS_PER_COEFFICIENT * wanted as f64 {
            lacking.get_or_insert(minimums::DEATHS_PER_COEFFICIENT * wanted as f64);
            break;
        }
        conditions.push((other, condition));
        let joint = rows(&conditions)?;
        let own = joint.columns(conditions.len());
        if !own.contains(&Some(CONTRAST)) {
            conditions.pop();
            continue;
        }
        if joint.correlation(0, conditions.len()).is_some_and(|correlation| correlation.abs() > INSEPARABLE) {
            inseparable.get_or_insert(other);
            conditions.pop();
            continue;
        }
        let wanted = columns.iter().map(Vec::len).sum::<usize>() + own.len();
        let need = minimums::DEATHS_PER_COEFFICIENT * wanted as f64;
        if deaths < need {
            lacking.get_or_insert(need);
            conditions.pop();
            continue;
        }
        columns.push(own);
    }
    if conditions.is_empty() {
        if let Some(other) = inseparable {
            let message = format!("It goes with {} and cannot be told from it in these records.", other.name());
            return Err(Refusal::plain(RefusalCode::Singular, message));
        }
        let need = lacking.unwrap_or(2.0 * minimums::DEATHS_PER_COEFFICIENT);
        let words = making.outcome.words();
        return Err(Refusal::counted(
            RefusalCode::TooFewEvents,
            deaths,
            need,
            format!("Needs {:.0} more {} to hold another condition.", (need - deaths).max(1.0), words.many),
        ));
    }
    let all: Vec<&Condition> =
        std::iter::once(&cut.condition).chain(conditions.iter().map(|(_, condition)| condition.as_ref())).collect();
    let ratio = fitted(&making.follow_up, &cut.sets, &all, &columns, CONTRAST, making.cluster)?;
    Ok(AdjustedRatio {
        ratio: Ratio {
            hazard_ratio: ratio.coef.exp(),
            std_error: ratio.std_error,
            lower: ratio.lower,
            upper: ratio.upper,
        },
        held: conditions.iter().map(|(factor, _)| factor.code()).collect(),
    })
}
