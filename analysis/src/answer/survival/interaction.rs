//! Fed or not, in water within the taught bands or outside: four cells and how their ratios compare.

use super::attempt::{Attempt, events_by_level};
use super::counted::Counted;
use super::frame::{Framed, unusable, water};
use super::sensitivity::{Figure, outcome};
use super::shown::Shown;
use crate::answer::{By, FedByWater, InteractionCell, InteractionRatio, InteractionRatios, RunOutcome, SensitivityRun};
use crate::comparison::curve::loss_rate;
use crate::comparison::interaction::{FED_FROM, in_words};
use crate::comparison::sets::{IMPUTATIONS, IMPUTATIONS_BESIDE};
use crate::comparison::{Cell, ClusterBy, Frame, Interaction, Sets};
use crate::disclosure::{block_minimum, passes, suppressed};
use crate::evidence::{Tally, minimums, tallies, tally};
use crate::exposure::{Condition, Rules};
use crate::follow_up::tank_event::TankEvent;
use crate::follow_up::{FollowUp, Run};
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::wording::interaction::sentence;

/// Whether a question has this part: feeding is the split, and nothing had to hold.
pub(super) fn asked(attempt: &Attempt) -> bool {
    let by = By::parse(attempt.question.by.as_str());
    by == Some(By::Feeding) && attempt.question.given.is_none()
}

/// The part as printed, and the rows behind it.
pub(super) struct Made {
    crossed: Crossed,
    pub(super) printed: FedByWater,
}

impl Made {
    /// The ratios, if they are given.
    pub(super) fn ratios(&self) -> Option<&InteractionRatios> {
        self.printed.hazard_ratios.given()
    }
}

/// Rows by cell under the rules of a run.
struct Crossed {
    sets: Sets,
    parameters: Vec<String>,
    tallies: [Tally; 4],
}

impl Crossed {
    fn new(attempt: &Attempt, follow_up: &FollowUp, run: Run) -> Result<Crossed, Refusal> {
        let (club, population, rules) = (attempt.club, attempt.population, Rules::of(run));
        let feeding = Condition::new(club, population, By::Feeding, Some(&[FED_FROM]), rules).map_err(unusable)?;
        let water = water(club, population, rules);
        let frame = Frame { club, follow_up, condition: &feeding, given: Some(&water) };
        let draws = if run == Run::Main { IMPUTATIONS } else { IMPUTATIONS_BESIDE };
        let sets = Sets::crossed(&frame, draws, Cell::of).map_err(unusable)?;
        let rows = &sets.middle;
        let numbers: Vec<u32> = rows.level.iter().map(|level| u32::from(level.unwrap_or(u16::MAX))).collect();
        let all = tallies(rows, &numbers, Cell::all().count())?;
        let tallies = Cell::COMPARED.map(|cell| all.get(usize::from(cell.number())).copied().unwrap_or_default());
        let parameters = water.parameters.iter().map(|parameter| parameter.as_str().to_owned()).collect();
        Ok(Crossed { sets, parameters, tallies })
    }

    /// The rows of one cell.
    fn of(&self, cell: Cell) -> Sets {
        self.sets.filter(|rows, row| rows.level[row] == Some(cell.number()))
    }

    /// Days in a cell that is compared, and all days.
    fn days(&self) -> (f64, f64) {
        let rows = &self.sets.middle;
        (self.tallies.iter().map(|tally| tally.days).sum(), rows.episodes.time_at_risk())
    }

    fn ratios(
        &self,
        attempt: &Attempt,
        follow_up: &FollowUp,
        within_keeper: bool,
    ) -> Result<InteractionRatios, Refusal> {
        let (known, all) = self.days();
        if self.parameters.is_empty() {
            return Err(Refusal::plain(
                RefusalCode::UnknownExposure,
                "No band is taught for this taxon, so water within its bands is not defined.",
            ));
        }
        if known < minimums::UNKNOWN_SHARE * all {
            return Err(Refusal::counted(
                RefusalCode::UnknownExposure,
                known / all,
                minimums::UNKNOWN_SHARE,
                format!(
                    "Feeding or water is unknown on {:.0} % of the coral-days; both must be known on half.",
                    100.0 * (1.0 - known / all)
                ),
            ));
        }
        let by_number = events_by_level(attempt.club, follow_up, &self.sets, Cell::all().count());
        let event_deaths = Cell::COMPARED.map(|cell| by_number.get(usize::from(cell.number())).copied().unwrap_or(0));
        let cluster = if within_keeper { ClusterBy::Keeper } else { ClusterBy::of(&self.sets.middle) };
        Interaction { sets: &self.sets, tallies: &self.tallies, event_deaths: &event_deaths, cluster, within_keeper }
            .ratios()
    }

    /// Whether the audience may see the cells: each passes, and so does what could be found by taking them from the
    /// answers by feeding, by water and by neither.
    fn may_be_shown(&self, attempt: &Attempt) -> Result<(), Refusal> {
        if block_minimum(attempt.audience).is_none() {
            return Ok(());
        }
        for cell in Cell::all() {
            let tally = tally(&self.of(cell).middle)?;
            let compared = Cell::COMPARED.contains(&cell);
            if (compared || tally.specimens > 0) && !passes(&tally, attempt.audience) {
                return Err(suppressed(attempt.audience));
            }
        }
        Ok(())
    }
}

/// The part.
pub(super) fn made(attempt: &Attempt, framed: &Framed, events: &[TankEvent], shown: &Shown) -> Result<Made, Refusal> {
    let crossed = Crossed::new(attempt, &framed.follow_up, Run::Main)?;
    if !shown.fed_by_water {
        return Err(suppressed(attempt.audience));
    }
    crossed.may_be_shown(attempt)?;
    let (known, all) = crossed.days();
    let unknown_share = if all > 0.0 { 1.0 - known / all } else { 0.0 };
    let counted = Counted { framed, events, unknown_share, shown };
    let cells = Cell::COMPARED
        .iter()
        .zip(&crossed.tallies)
        .map(|(cell, tally)| InteractionCell {
            feeding: if cell.fed == Some(true) { "fed" } else { "unfed" },
            water: if cell.within == Some(true) { "in" } else { "out" },
            label: in_words(*cell).to_owned(),
            evidence: counted.evidence(&crossed.of(*cell).middle, tally, false, tally.days > 0.0),
            rates: Part::from(if tally.days > 0.0 {
                loss_rate(tally.deaths, tally.days)
            } else {
                Err(Refusal::plain(RefusalCode::EmptyGroup, "No coral was ever recorded under these conditions."))
            }),
        })
        .collect();
    let ratios = crossed.ratios(attempt, &framed.follow_up, false);
    let printed = FedByWater {
        parameters: crossed.parameters.clone(),
        days_unknown: all - known,
        cells,
        sentence: Part::from(
            ratios.as_ref().map(|ratios| sentence(ratios, attempt.question.outcome)).map_err(Clone::clone),
        ),
        hazard_ratios: Part::from(ratios),
    };
    Ok(Made { crossed, printed })
}

/// The ratios under the rules of a run; `other` is the frame of that run, if it has one of its own.
pub(super) fn beside(
    attempt: &Attempt,
    main: &Framed,
    made: &Made,
    run: Run,
    other: Option<&Framed>,
) -> Vec<SensitivityRun> {
    let Some(ratios) = made.ratios() else { return Vec::new() };
    let follow_up = other.map_or(&main.follow_up, |framed| &framed.follow_up);
    let here = Crossed::new(attempt, follow_up, run);
    let same = run != Run::WithinKeeper && here.as_ref().is_ok_and(|here| here.sets == made.crossed.sets.beside());
    let found = here.and_then(|here| {
        here.may_be_shown(attempt)?;
        here.ratios(attempt, follow_up, run == Run::WithinKeeper)
    });
    named(ratios)
        .into_iter()
        .enumerate()
        .map(|(position, (name, ratio))| {
            let figure = found.as_ref().map_err(Clone::clone).map(|found| {
                let ratio = named(found)[position].1;
                Figure { estimate: ratio.hazard_ratio, lower: ratio.lower, upper: ratio.upper }
            });
            SensitivityRun {
                run: run.as_str(),
                result_key: format!("interaction/hazard_ratios/{name}"),
                outcome: if same {
                    RunOutcome::Same { same: true }
                } else {
                    outcome(Some(figure), Some((ratio.hazard_ratio, ratio.lower, ratio.upper)))
                },
            }
        })
        .collect()
}

/// The same where the run as a whole is refused.
pub(super) fn refused(made: &Made, run: Run, refusal: &Refusal) -> Vec<SensitivityRun> {
    let entry = |name: &str| SensitivityRun {
        run: run.as_str(),
        result_key: format!("interaction/hazard_ratios/{name}"),
        outcome: RunOutcome::Refused { refused: refusal.clone() },
    };
    made.ratios().map_or_else(Vec::new, |ratios| named(ratios).into_iter().map(|(name, _)| entry(name)).collect())
}

fn named(ratios: &InteractionRatios) -> [(&'static str, &InteractionRatio); 3] {
    [("among_in", &ratios.among_in), ("among_out", &ratios.among_out), ("ratio", &ratios.ratio)]
}
