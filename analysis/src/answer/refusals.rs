//! Every refusal of a result with the place where it stands.

use super::shape::{GrowthResult, PlacedRefusal, RunOutcome, SurvivalAnswer, SurvivalResult};
use crate::refusal::{Part, Refusal};

/// The refusal of everything.
pub(super) fn whole(refusal: &Refusal) -> Vec<PlacedRefusal> {
    vec![PlacedRefusal { key: String::new(), refusal: refusal.clone() }]
}

fn note<T>(list: &mut Vec<PlacedRefusal>, key: String, part: &Part<T>) {
    if let Part::Refused { refused } = part {
        list.push(PlacedRefusal { key, refusal: refused.clone() });
    }
}

/// The refusals of a result on survival, in the order of its parts.
pub(super) fn of_survival(result: &SurvivalResult) -> Vec<PlacedRefusal> {
    let mut list = Vec::new();
    for group in &result.groups {
        let at = |part: &str| format!("groups/{}/{part}", group.group);
        note(&mut list, at("curve"), &group.curve);
        note(&mut list, at("at_horizon"), &group.at_horizon);
        note(&mut list, at("sentence"), &group.sentence);
        note(&mut list, at("median"), &group.median);
        note(&mut list, at("rmst"), &group.rmst);
        if let Some(difference) = group.rmst.given().and_then(|mean| mean.difference.as_ref()) {
            note(&mut list, at("rmst/difference"), difference);
        }
        note(&mut list, at("rates"), &group.rates);
    }
    note(&mut list, "causes".to_owned(), &result.causes);
    note(&mut list, "hazard".to_owned(), &result.hazard);
    note(&mut list, "log_rank".to_owned(), &result.log_rank);
    note(&mut list, "cox".to_owned(), &result.cox);
    note(&mut list, "sentence".to_owned(), &result.sentence);
    if let Part::Given(cox) = &result.cox {
        for coefficient in &cox.coefficients {
            if let Some(refused) = &coefficient.refused {
                let key = format!("cox/{}", coefficient.name);
                list.push(PlacedRefusal { key, refusal: refused.clone() });
            }
        }
        note(&mut list, "cox/proportionality".to_owned(), &cox.proportionality);
    }
    if let Some(interaction) = &result.interaction {
        note(&mut list, "interaction".to_owned(), interaction);
        if let Part::Given(table) = interaction {
            for cell in &table.cells {
                note(&mut list, format!("interaction/cells/{}:{}/rates", cell.feeding, cell.water), &cell.rates);
            }
            note(&mut list, "interaction/hazard_ratios".to_owned(), &table.hazard_ratios);
            if let Part::Given(ratios) = &table.hazard_ratios {
                let of = [("among_in", &ratios.among_in), ("among_out", &ratios.among_out), ("ratio", &ratios.ratio)];
                for (name, refused) in of.into_iter().filter_map(|(name, of)| Some((name, of.refused.as_ref()?))) {
                    let key = format!("interaction/hazard_ratios/{name}");
                    list.push(PlacedRefusal { key, refusal: refused.clone() });
                }
            }
            note(&mut list, "interaction/sentence".to_owned(), &table.sentence);
        }
    }
    list
}

/// Changes every refusal of an answer on survival, wherever it stands.
pub(super) fn each_of_survival(answer: &mut SurvivalAnswer, change: &mut impl FnMut(&mut Refusal)) {
    fn of<T>(part: &mut Part<T>, change: &mut impl FnMut(&mut Refusal)) {
        if let Part::Refused { refused } = part {
            change(refused);
        }
    }
    of(&mut answer.evidence, change);
    of(&mut answer.result, change);
    answer.taxon.fallback.iter_mut().for_each(|step| change(&mut step.refused));
    answer.refusals.iter_mut().for_each(|placed| change(&mut placed.refusal));
    for run in &mut answer.sensitivity {
        if let RunOutcome::Refused { refused } = &mut run.outcome {
            change(refused);
        }
    }
    let Part::Given(result) = &mut answer.result else { return };
    for group in &mut result.groups {
        of(&mut group.curve, change);
        of(&mut group.at_horizon, change);
        of(&mut group.sentence, change);
        of(&mut group.median, change);
        of(&mut group.rmst, change);
        if let Part::Given(mean) = &mut group.rmst
            && let Some(difference) = &mut mean.difference
        {
            of(difference, change);
        }
        of(&mut group.rates, change);
    }
    of(&mut result.causes, change);
    of(&mut result.hazard, change);
    of(&mut result.log_rank, change);
    of(&mut result.sentence, change);
    of(&mut result.cox, change);
    if let Part::Given(cox) = &mut result.cox {
        of(&mut cox.proportionality, change);
        cox.coefficients.iter_mut().filter_map(|coefficient| coefficient.refused.as_mut()).for_each(change);
    }
}

/// The refusals of a result on growth, in the order of its parts.
pub(super) fn of_growth(result: &GrowthResult, names: &[String]) -> Vec<PlacedRefusal> {
    let mut list = Vec::new();
    for (group, name) in result.groups.iter().zip(names) {
        note(&mut list, format!("groups/{name}"), group);
    }
    list
}
