//! One taxon tried: its figures, or why it is refused.

use super::counted::Counted;
use super::frame::{Framed, Levels};
use super::groups::{Level, Making};
use super::said::{Heard, comparison};
use super::sensitivity::{Main, runs, say};
use super::{METHOD_ID, causes, interaction};
use crate::answer::{
    Audience, By, CauseIncidence, Caution, Evidence, Method, Outcome, Question, SensitivityRun, SurvivalGroup,
    SurvivalResult,
};
use crate::club::Club;
use crate::comparison::contrast::{Compared, Contrast, reference};
use crate::comparison::pieces::hazard_by_age;
use crate::comparison::sets::{IMPUTATIONS, SEED};
use crate::comparison::{ClusterBy, GroupCurves, Rows, Sets};
use crate::disclosure::{self, blocks, grid, keepers_needed, passes, suppressed};
use crate::evidence::{Tally, at_risk_at_a_death, minimums, tally};
use crate::exposure::LAG_DAYS;
use crate::follow_up::decline::often_enough;
use crate::follow_up::looks::enough_looks;
use crate::follow_up::tank_event::tank_events;
use crate::follow_up::{FollowUp, Population, Run};
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::vocabulary::TaxonSlug;

/// A taxon tried for a question.
pub(super) struct Attempt<'a> {
    pub(super) club: &'a Club,
    pub(super) question: &'a Question,
    pub(super) population: &'a Population,
    pub(super) audience: Audience,
}

/// The figures of a taxon that answers.
pub(super) struct Figures {
    /// Specimens under observation, as positions in the club.
    pub(super) specimens: Vec<u32>,
    pub(super) evidence: Evidence,
    pub(super) result: SurvivalResult,
    pub(super) cautions: Vec<Caution>,
    pub(super) method: Method,
    pub(super) sensitivity: Vec<SensitivityRun>,
}

/// A taxon that does not answer; its counts stand beside where they may be shown.
pub(super) struct Refused {
    pub(super) refusal: Refusal,
    pub(super) evidence: Option<Box<Evidence>>,
}

impl From<Refusal> for Refused {
    fn from(refusal: Refusal) -> Self {
        Refused { refusal, evidence: None }
    }
}

impl Attempt<'_> {
    pub(super) fn figures(&self) -> Result<Figures, Refused> {
        let framed = Framed::new(self.club, self.question, self.population, Run::Main)?;
        let events = tank_events(self.club, &framed.follow_up);
        let rows = &framed.sets.middle;
        let whole = tally(rows)?;
        let unknown_days: f64 = (0..rows.len())
            .filter(|&row| rows.level[row].is_none())
            .map(|row| rows.episodes.stop[row] - rows.episodes.start[row])
            .sum();
        let unknown_share = if whole.days > 0.0 { unknown_days / whole.days } else { 0.0 };
        let counted = Counted { framed: &framed, events: &events, unknown_share };
        self.may_be_shown(&framed, &whole)?;
        let counts_only = |refusal: Refusal| Refused {
            refusal,
            evidence: Some(Box::new(counted.evidence(rows, &whole, true, false))),
        };
        enough_looks(self.club, self.population).map_err(counts_only)?;
        often_enough(self.club, self.population, &framed.follow_up).map_err(counts_only)?;
        self.known_enough(&framed).map_err(counts_only)?;
        minimums::curve(&whole).map_err(counts_only)?;
        let levels = self.levels(&framed, unknown_days > 0.0)?;
        let sets = levels.apply(&framed.sets);
        let tallies = levels.tallies(&sets.middle)?;
        let cluster = ClusterBy::of(&sets.middle);
        let taught = framed.condition.band.is_some();
        let printed: Vec<Level> = (0..tallies.len())
            .filter(|&level| tallies[level].specimens > 0 || (taught && level < levels.known()))
            .map(|level| Level::new(&levels, &sets, level, tallies[level], self.audience))
            .collect();
        let longest = printed
            .iter()
            .filter(|level| level.tally.specimens > 0 && level.level < levels.known())
            .map(|level| level.curves.last_time)
            .fold(f64::INFINITY, f64::min);
        let making = Making {
            club: self.club,
            counted: &counted,
            levels: &levels,
            cluster,
            horizon: self.question.horizon_days,
            audience: self.audience,
            all_deaths: whole.deaths,
            longest,
        };
        let mut groups: Vec<(usize, SurvivalGroup)> =
            printed.iter().map(|level| (level.level, making.group(level))).collect();
        let reference = reference(&tallies, levels.known());
        let event_deaths = self.event_deaths(&framed, &sets, levels.known());
        let compared = match reference {
            None => Compared::refused(nothing_happened(self.question.outcome)),
            Some(reference) => Contrast {
                sets: &sets,
                names: &levels.names,
                condition: self.question.by.as_str(),
                tallies: &tallies,
                event_deaths: &event_deaths,
                list_empty: taught,
                reference,
                cluster,
                within_keeper: false,
            }
            .compare(),
        };
        let fed_by_water = interaction::asked(self).then(|| interaction::made(self, &framed, &events));
        let main = Main {
            framed: &framed,
            levels: &levels,
            reference,
            groups: &groups,
            cox: &compared.cox,
            split_by_age: compared.split_by_age,
            interaction: fed_by_water.as_ref().and_then(|made| made.as_ref().ok()),
        };
        let sensitivity = runs(self, &main);
        let heard = Heard {
            club: self.club,
            framed: &framed,
            sets: &sets,
            by: self.question.by,
            tallies: &tallies,
            events: &events,
            compared: &compared,
            sensitivity: &sensitivity,
            audience: self.audience,
        };
        let cautions = heard.cautions();
        let sentence = comparison(self.question, &levels, &groups, &compared.cox, reference, &sensitivity);
        groups.iter_mut().for_each(|(_, group)| say(group, &sensitivity));
        let curves = GroupCurves::new(&sets, None);
        let shown_until = grid::shown_until(&sets.middle, curves.start_time, curves.last_time, self.audience);
        let given = groups.iter().any(|(_, group)| group.curve.given().is_some());
        let method = self.method(&framed, &sets.middle, &curves, cluster);
        Ok(Figures {
            specimens: framed.follow_up.follows.iter().map(|follow| follow.specimen).collect(),
            evidence: counted.evidence(&sets.middle, &whole, true, given),
            result: SurvivalResult {
                groups: groups.into_iter().map(|(_, group)| group).collect(),
                causes: Part::from(self.causes(&sets.middle, &curves, shown_until)),
                hazard: Part::from(hazard_by_age(&sets.middle, keepers_needed(self.audience))),
                log_rank: Part::from(compared.log_rank),
                cox: Part::from(compared.cox),
                sentence: Part::from(sentence),
                interaction: fed_by_water.map(|made| Part::from(made.map(|made| made.printed))),
            },
            cautions,
            method,
            sensitivity,
        })
    }

    /// Whether the answer as a whole may be shown: it, and what could be found by taking it from a wider answer.
    fn may_be_shown(&self, framed: &Framed, whole: &Tally) -> Result<(), Refusal> {
        if disclosure::block_minimum(self.audience).is_none() {
            return Ok(());
        }
        let refused = || Err(suppressed(self.audience));
        let beside =
            disclosure::tree::may_stand_beside(self.club, self.population.taxon, self.question.since, self.audience);
        if !passes(whole, self.audience) || (self.population.without.is_empty() && !beside) {
            return refused();
        }
        if framed.given.is_some() {
            let rest = tally(&framed.left_out_by_given(self.club)?)?;
            if rest.specimens > 0 && !passes(&rest, self.audience) {
                return refused();
            }
        }
        if self.question.outcome.needs_looks() && !self.rest_of_deaths_passes(framed)? {
            return refused();
        }
        // What a wider answer holds beyond this one: earlier purchases, genera left out of the group.
        if self.question.since.is_some() && !self.rest_passes(self.population.taxon, None)? {
            return refused();
        }
        if !self.population.without.is_empty() && !self.rest_passes(self.population.taxon, self.question.since)? {
            return refused();
        }
        Ok(())
    }

    /// Whether the specimens under observation for death that are not so for this outcome may be shown, or are none: they
    /// are what is left of the answer about death without this one.
    fn rest_of_deaths_passes(&self, framed: &Framed) -> Result<bool, Refusal> {
        let inside: Vec<u32> = framed.follow_up.follows.iter().map(|follow| follow.specimen).collect();
        let members = self.population.members.iter().copied().filter(|id| inside.binary_search(id).is_err()).collect();
        let rest = Population { members, ..self.population.clone() };
        let question = Question { outcome: Outcome::Death, by: By::None, edges: None, ..self.question.clone() };
        let tally = tally(&Framed::new(self.club, &question, &rest, Run::Main)?.sets.middle)?;
        Ok(tally.specimens == 0 || passes(&tally, self.audience))
    }

    /// Whether the specimens of a wider population that are not in this one may be shown, or are none.
    fn rest_passes(&self, taxon: TaxonSlug, since: Option<i32>) -> Result<bool, Refusal> {
        let wider = Population::of(self.club, taxon, since);
        let members =
            wider.members.iter().copied().filter(|id| self.population.members.binary_search(id).is_err()).collect();
        let rest = Population { members, ..wider };
        let question = Question { since: None, by: By::None, edges: None, ..self.question.clone() };
        let tally = tally(&Framed::new(self.club, &question, &rest, Run::Main)?.sets.middle)?;
        Ok(tally.specimens == 0 || passes(&tally, self.audience))
    }

    /// Refuses a condition that had to hold where it is unknown on more than half of the days.
    fn known_enough(&self, framed: &Framed) -> Result<(), Refusal> {
        let Some(given) = &framed.given else { return Ok(()) };
        if given.parameters.is_empty() {
            return Err(Refusal::plain(
                RefusalCode::UnknownExposure,
                "No band is taught for this taxon, so water within its bands is not defined.",
            ));
        }
        let days = framed.sets.given;
        let share = days.unknown / (days.kept + days.outside + days.unknown);
        if share > minimums::UNKNOWN_SHARE {
            return Err(Refusal::counted(
                RefusalCode::UnknownExposure,
                1.0 - share,
                1.0 - minimums::UNKNOWN_SHARE,
                format!(
                    "Whether the water was within the bands is unknown on {:.0} % of the coral-days; it must be known \
                     on half.",
                    100.0 * share
                ),
            ));
        }
        Ok(())
    }

    /// The levels as printed: joined until the audience may see each.
    fn levels(&self, framed: &Framed, unknown_has_rows: bool) -> Result<Levels, Refusal> {
        let known = framed.condition.levels.len();
        let rows = &framed.sets.middle;
        let blocks = blocks::blocks(known, unknown_has_rows, self.audience, |levels| {
            let kept: Vec<usize> =
                (0..rows.len()).filter(|&row| levels.contains(&rows.level[row].map_or(known, usize::from))).collect();
            tally(&rows.subset(&kept))
        })?;
        Ok(Levels::new(&framed.condition, &blocks))
    }

    /// Deaths of each known level in the one tank event that took most of them.
    pub(super) fn event_deaths(&self, framed: &Framed, sets: &Sets, known: usize) -> Vec<u64> {
        events_by_level(self.club, &framed.follow_up, sets, known)
    }

    fn causes(&self, rows: &Rows, curves: &GroupCurves, shown_until: f64) -> Result<Vec<CauseIncidence>, Refusal> {
        let horizon = self.question.horizon_days;
        let last = curves.last_time.min(shown_until);
        if horizon > last || horizon <= curves.start_time {
            return Err(Refusal::counted(
                RefusalCode::BeyondFollowUp,
                last,
                horizon,
                format!("The longest horizon these records bear is day {}.", last.floor()),
            ));
        }
        causes::causes(rows, self.question.outcome, curves.start_time, horizon, self.audience)
    }

    fn method(&self, framed: &Framed, rows: &Rows, curves: &GroupCurves, cluster: ClusterBy) -> Method {
        let condition = &framed.condition;
        let lagged = condition.lagged || framed.given.is_some();
        let given = framed.given.as_ref().map_or_else(Vec::new, |given| {
            given.parameters.iter().map(|parameter| parameter.as_str().to_owned()).collect()
        });
        let drawn = !framed.sets.drawn.is_empty();
        Method {
            id: METHOD_ID,
            program_version: String::new(),
            start_time: Some(curves.start_time),
            interval: "log-log",
            cluster: cluster.as_str(),
            clusters: at_risk_at_a_death(rows, &cluster.column(rows)),
            variance: "cr0_g",
            lag_days: if lagged { LAG_DAYS } else { 0.0 },
            carry_days: condition.carry_days,
            step_tolerance: condition.band.as_ref().map(|band| band.half_step(None)),
            band: condition.band.as_ref().map(|band| band.as_taught.clone()),
            given,
            imputations: if drawn { IMPUTATIONS as u64 } else { 0 },
            seed: drawn.then_some(SEED),
            bands_dated: condition.band.as_ref().and_then(|band| band.since),
        }
    }
}

/// Deaths of each of `known` levels in the one tank event that took most of them.
pub(super) fn events_by_level(club: &Club, follow_up: &FollowUp, sets: &Sets, known: usize) -> Vec<u64> {
    let rows = &sets.middle;
    let mut most = vec![0; known];
    for event in tank_events(club, follow_up) {
        let mut of_level = vec![0; known];
        for row in (0..rows.len()).filter(|&row| rows.episodes.event[row]) {
            if let Some(level) = rows.level[row].map(usize::from)
                && event.lost.contains(&(rows.specimen[row] as usize))
                && level < known
            {
                of_level[level] += 1;
            }
        }
        for (most, of_event) in most.iter_mut().zip(of_level) {
            *most = of_event.max(*most);
        }
    }
    most
}

fn nothing_happened(outcome: Outcome) -> Refusal {
    let need = minimums::TEST_DEATHS;
    let message = format!("No {} under a known level: nothing to compare.", outcome.words().one);
    Refusal::counted(RefusalCode::NoEvents, 0.0, need as f64, message)
}
