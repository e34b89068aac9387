//! The same figures under other rules.

use super::attempt::Attempt;
use super::frame::{Framed, Levels};
use super::groups::Level;
use super::interaction;
use crate::answer::{CoxCoefficient, CoxResult, RunOutcome, SensitivityRun, SurvivalGroup};
use crate::comparison::contrast::Contrast;
use crate::comparison::{ClusterBy, Sets};
use crate::disclosure::{passes, suppressed};
use crate::follow_up::Run;
use crate::numeric::parallel;
use crate::refusal::{Part, Refusal};
use crate::wording::lead::OutOf;

/// A figure with limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Figure {
    pub(super) estimate: f64,
    pub(super) lower: Option<f64>,
    pub(super) upper: Option<f64>,
}

/// The figures of a run, in the order of the main ones.
struct Headline {
    /// By printed level: the share alive at the horizon.
    groups: Vec<(usize, Result<Figure, Refusal>)>,
    /// By name of the coefficient: the hazard ratio.
    ratios: Ratios,
}

/// What the main answer gave.
pub(super) struct Main<'a> {
    pub(super) framed: &'a Framed,
    pub(super) levels: &'a Levels,
    pub(super) reference: Option<usize>,
    pub(super) groups: &'a [(usize, SurvivalGroup)],
    /// Whether of each of them the share alive at the horizon is told beside all other answers.
    pub(super) told_at_horizon: Vec<bool>,
    pub(super) cox: &'a Result<CoxResult, Refusal>,
    /// The ratios are given for two ages.
    pub(super) split_by_age: bool,
    /// Fed by water, if it is part of the answer.
    pub(super) interaction: Option<&'a interaction::Made>,
}

/// Every run of every figure: share alive of each known level, then each hazard ratio.
pub(super) fn runs(attempt: &Attempt, main: &Main) -> Vec<SensitivityRun> {
    let beside = main.framed.sets.beside();
    parallel::map(Run::BESIDE, |run| run_of(attempt, main, &beside, *run)).concat()
}

fn run_of(attempt: &Attempt, main: &Main, beside: &Sets, run: Run) -> Vec<SensitivityRun> {
    let mut list = Vec::new();
    let other =
        (run != Run::WithinKeeper).then(|| Framed::new(attempt.club, attempt.question, attempt.population, run));
    let same = match &other {
        None => false,
        Some(Err(_)) => false,
        Some(Ok(framed)) => framed.sets.middle == beside.middle && framed.sets.drawn == beside.drawn,
    };
    let headline = if same {
        None
    } else {
        Some(match &other {
            None => Ok(within_keeper(attempt, main)),
            Some(Err(refusal)) => Err(refusal.clone()),
            Some(Ok(framed)) => headline(attempt, main, framed),
        })
    };
    for (level, group) in main.groups.iter().filter(|(level, _)| *level < main.levels.known()) {
        if run == Run::WithinKeeper {
            continue;
        }
        let figure = headline.as_ref().map(|headline| {
            let headline = headline.as_ref().map_err(Clone::clone)?;
            let found = headline.groups.iter().find(|(of, _)| of == level);
            found.map_or_else(|| Err(suppressed(attempt.audience)), |(_, figure)| figure.clone())
        });
        let limits = group.at_horizon.given().map(|at| (at.survival, at.lower, at.upper));
        list.push(SensitivityRun {
            run: run.as_str(),
            result_key: format!("groups/{}/at_horizon", group.group),
            outcome: outcome(figure, limits),
        });
    }
    if let Ok(cox) = main.cox {
        for coefficient in &cox.coefficients {
            let Some(ratio) = coefficient.hazard_ratio else { continue };
            let figure = headline.as_ref().map(|headline| {
                let headline = headline.as_ref().map_err(Clone::clone)?;
                let ratios = headline.ratios.as_ref().map_err(Clone::clone)?;
                let found = ratios.iter().find(|(name, _)| *name == coefficient.name);
                found.map_or_else(
                    || {
                        Err(Refusal::plain(
                            crate::refusal::RefusalCode::DifferentDefinitions,
                            "Under this rule the ratio is not given for the same ages.",
                        ))
                    },
                    |(_, figure)| figure.clone(),
                )
            });
            list.push(SensitivityRun {
                run: run.as_str(),
                result_key: format!("cox/{}", coefficient.name),
                outcome: outcome(figure, Some((ratio, coefficient.lower, coefficient.upper))),
            });
        }
    }
    if let Some(made) = main.interaction {
        match &other {
            Some(Err(refusal)) => list.extend(interaction::refused(made, run, refusal)),
            Some(Ok(framed)) => list.extend(interaction::beside(attempt, main.framed, made, run, Some(framed))),
            None => list.extend(interaction::beside(attempt, main.framed, made, run, None)),
        }
    }
    list
}

/// `None` = the same records. A figure changes the answer if it lies outside the limits of the main one.
pub(super) fn outcome(
    figure: Option<Result<Figure, Refusal>>,
    main: Option<(f64, Option<f64>, Option<f64>)>,
) -> RunOutcome {
    match figure {
        None => RunOutcome::Same { same: true },
        Some(Err(refused)) => RunOutcome::Refused { refused },
        Some(Ok(figure)) => {
            let outside = main.is_some_and(|(_, lower, upper)| {
                lower.is_some_and(|lower| figure.estimate < lower) || upper.is_some_and(|upper| figure.estimate > upper)
            });
            RunOutcome::Estimate {
                estimate: figure.estimate,
                lower: figure.lower,
                upper: figure.upper,
                changes_answer: outside,
            }
        }
    }
}

type Ratios = Result<Vec<(String, Result<Figure, Refusal>)>, Refusal>;

fn ratios(cox: Result<Vec<CoxCoefficient>, Refusal>) -> Ratios {
    Ok(cox?
        .into_iter()
        .map(|c| {
            let figure = match (c.hazard_ratio, c.refused) {
                (Some(estimate), _) => Ok(Figure { estimate, lower: c.lower, upper: c.upper }),
                (None, Some(refused)) => Err(refused),
                (None, None) => Err(Refusal::plain(crate::refusal::RefusalCode::NotConverged, "No ratio fits.")),
            };
            (c.name, figure)
        })
        .collect())
}

fn within_keeper(attempt: &Attempt, main: &Main) -> Headline {
    let sets = main.levels.apply(&main.framed.sets.beside());
    let cox = main.levels.tallies(&sets.middle).and_then(|tallies| {
        let reference = main.reference.ok_or_else(|| suppressed(attempt.audience))?;
        Contrast {
            sets: &sets,
            names: &main.levels.names,
            condition: attempt.question.by.as_str(),
            tallies: &tallies,
            event_deaths: &[],
            list_empty: false,
            reference,
            cluster: ClusterBy::Keeper,
            within_keeper: true,
        }
        .ratios_alone(main.split_by_age)
    });
    Headline { groups: Vec::new(), ratios: ratios(cox) }
}

fn headline(attempt: &Attempt, main: &Main, framed: &Framed) -> Result<Headline, Refusal> {
    let sets = main.levels.apply(&framed.sets);
    let tallies = main.levels.tallies(&sets.middle)?;
    let cluster = ClusterBy::of(&sets.middle);
    let fails = |level: usize| tallies[level].specimens > 0 && !passes(&tallies[level], attempt.audience);
    if (0..tallies.len()).any(fails) {
        return Err(suppressed(attempt.audience));
    }
    let groups = main
        .groups
        .iter()
        .zip(&main.told_at_horizon)
        .map(|(&(level, _), &told)| {
            let own = Level::for_horizon(main.levels, &sets, (level, tallies[level]), told);
            let at = own.at_horizon(cluster, attempt.question.horizon_days, attempt.audience);
            (level, at.map(|at| Figure { estimate: at.survival, lower: at.lower, upper: at.upper }))
        })
        .collect();
    let cox = match main.reference {
        None => Err(suppressed(attempt.audience)),
        Some(reference) => {
            let event_deaths = attempt.event_deaths(framed, &sets, main.levels.known());
            Contrast {
                sets: &sets,
                names: &main.levels.names,
                condition: attempt.question.by.as_str(),
                tallies: &tallies,
                event_deaths: &event_deaths,
                list_empty: false,
                reference,
                cluster,
                within_keeper: false,
            }
            .ratios_alone(main.split_by_age)
        }
    };
    Ok(Headline { groups, ratios: ratios(cox) })
}

/// Runs that move a figure outside its limits, each once, in order; with the figure of a key if it is one of a share.
pub(super) fn changing(list: &[SensitivityRun], key: Option<&str>) -> Vec<(Run, f64)> {
    let mut changing: Vec<(Run, f64)> = Vec::new();
    for entry in list.iter().filter(|entry| key.is_none_or(|key| entry.result_key == key)) {
        if let RunOutcome::Estimate { estimate, changes_answer: true, .. } = &entry.outcome
            && let Some(run) = Run::BESIDE.iter().copied().find(|run| run.as_str() == entry.run)
            && !changing.iter().any(|(other, _)| *other == run)
        {
            changing.push((run, *estimate));
        }
    }
    changing
}

/// Adds to the lead sentence what it would say under the rules that move it outside its limits.
pub(super) fn say(group: &mut SurvivalGroup, list: &[SensitivityRun]) {
    let key = format!("groups/{}/at_horizon", group.group);
    if let Part::Given(sentence) = &mut group.sentence {
        for (run, share) in changing(list, Some(&key)) {
            let middle = OutOf::new(10, share, share, share).in_words();
            sentence.push_str(&format!(" With {}, {middle} of 10.", run.in_words()));
        }
    }
}
