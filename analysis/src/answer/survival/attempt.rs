//! One taxon tried: its figures, or why it is refused.

use super::counted::Counted;
use super::frame::Framed;
use super::groups::{Level, Making};
use super::records::Ages;
use super::said::{Heard, comparison};
use super::sensitivity::{Main, runs, say};
use super::shown::Shown;
use super::{METHOD_ID, causes, interaction};
use crate::answer::{
    Audience, CauseIncidence, Caution, CoxCoefficient, CoxResult, EValueLine, Evidence, Method, Outcome, Question,
    SensitivityRun, SurvivalGroup, SurvivalResult,
};
use crate::club::Club;
use crate::comparison::contrast::{Compared, Contrast, reference};
use crate::comparison::pieces::hazard_by_age;
use crate::comparison::sets::{IMPUTATIONS, SEED};
use crate::comparison::{ClusterBy, GroupCurves, Rows, Sets};
use crate::disclosure::{grid, keepers_needed};
use crate::evidence::{at_risk_at_a_death, minimums, tally};
use crate::exposure::LAG_DAYS;
use crate::follow_up::decline::often_enough;
use crate::follow_up::looks::enough_looks;
use crate::follow_up::tank_event::tank_events;
use crate::follow_up::{FollowUp, Population, Run};
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::survival::e_value::e_value;

/// A taxon tried for a question.
pub(super) struct Attempt<'a> {
    pub(super) club: &'a Club,
    /// The question as asked.
    pub(super) asked: &'a Question,
    /// The question by whose levels rows are cut.
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
        let shown = self.may_be_shown(&framed, unknown_days > 0.0)?;
        let levels = &shown.levels;
        let sets = levels.apply(&framed.sets);
        let counted = Counted { framed: &framed, events: &events, unknown_share, shown: &shown };
        let counts_only = |refusal: Refusal| Refused {
            refusal,
            evidence: Some(Box::new(counted.evidence(&sets.middle, &whole, true, false))),
        };
        enough_looks(self.club, self.population).map_err(counts_only)?;
        often_enough(self.club, self.population, &framed.follow_up).map_err(counts_only)?;
        self.known_enough(&framed).map_err(counts_only)?;
        minimums::curve(&whole).map_err(counts_only)?;
        let tallies = levels.tallies(&sets.middle)?;
        let cluster = ClusterBy::of(&sets.middle);
        let taught = framed.condition.band.is_some();
        let mut by_age = shown.by_age(self.asked, self.audience);
        let printed: Vec<Level> = (0..tallies.len())
            .filter(|&level| tallies[level].specimens > 0 || (taught && level < levels.known()))
            .map(|level| {
                let is_told = |age| shown.tells(&mut by_age, level, Ages::At(age));
                let reader = (self.audience, self.question.horizon_days);
                Level::new(levels, &sets, (level, tallies[level]), reader, is_told)
            })
            .collect();
        let longest = printed
            .iter()
            .filter(|level| level.tally.specimens > 0 && level.level < levels.known())
            .map(|level| level.curves.last_time)
            .fold(f64::INFINITY, f64::min);
        let making = Making {
            club: self.club,
            counted: &counted,
            levels,
            cluster,
            horizon: self.question.horizon_days,
            audience: self.audience,
            all_deaths: whole.deaths,
            longest,
        };
        let mut groups: Vec<(usize, SurvivalGroup)> =
            printed.iter().map(|level| (level.level, making.group(level))).collect();
        let reference = reference(&tallies, levels.known());
        if let Some(reference) = reference {
            making.add_differences(&printed, reference, &mut groups);
        }
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
        let fed_by_water = interaction::asked(self).then(|| interaction::made(self, &framed, &events, &shown));
        let main = Main {
            framed: &framed,
            levels,
            reference,
            groups: &groups,
            told_at_horizon: printed.iter().map(|level| level.told_at_horizon).collect(),
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
        let sentence = comparison(self.question, levels, &groups, &compared.cox, reference, &sensitivity);
        groups.iter_mut().for_each(|(_, group)| say(group, &sensitivity));
        let curves = GroupCurves::new(&sets, None);
        let whole_is_told = |age| shown.tells_whole(&mut by_age, Ages::At(age));
        let (start, last) = (curves.start_time, curves.last_time);
        let shown_until = grid::shown_until(&sets.middle, start, last, self.audience, whole_is_told);
        let told_between =
            |from, to: Option<f64>| shown.tells_whole(&mut by_age, Ages::Between(from, to.unwrap_or(f64::INFINITY)));
        let hazard = hazard_by_age(&sets.middle, keepers_needed(self.audience), told_between);
        let given = groups.iter().any(|(_, group)| group.curve.given().is_some());
        let mut method = self.method(&framed, &sets.middle, &curves, cluster);
        let rare = (whole.deaths as f64) < RARE * whole.specimens as f64;
        method.e_values = compared.cox.as_ref().map(|cox| e_values(cox, rare)).unwrap_or_default();
        Ok(Figures {
            specimens: framed.follow_up.follows.iter().map(|follow| follow.specimen).collect(),
            evidence: counted.evidence(&sets.middle, &whole, true, given),
            result: SurvivalResult {
                groups: groups.into_iter().map(|(_, group)| group).collect(),
                causes: Part::from(self.causes(&sets.middle, &curves, shown_until, &shown)),
                hazard: Part::from(hazard),
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

    /// Deaths of each known level in the one tank event that took most of them.
    pub(super) fn event_deaths(&self, framed: &Framed, sets: &Sets, known: usize) -> Vec<u64> {
        events_by_level(self.club, &framed.follow_up, sets, known)
    }

    fn causes(
        &self,
        rows: &Rows,
        curves: &GroupCurves,
        shown_until: f64,
        shown: &Shown,
    ) -> Result<Vec<CauseIncidence>, Refusal> {
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
        let (outcome, beside) = (self.question.outcome, &shown.deaths_beside);
        causes::causes(rows, outcome, curves.start_time, horizon, self.audience, beside)
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
            e_values: Vec::new(),
        }
    }
}

/// Deaths of each of `known` levels in the one tank event that took most of them.
pub(in crate::answer) fn events_by_level(club: &Club, follow_up: &FollowUp, sets: &Sets, known: usize) -> Vec<u64> {
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

/// Share of specimens below which deaths are so few that a hazard ratio is nearly a risk ratio.
const RARE: f64 = 0.15;

fn e_values(cox: &CoxResult, rare: bool) -> Vec<EValueLine> {
    let line = |coefficient: &CoxCoefficient| {
        let of = e_value(coefficient.hazard_ratio?, coefficient.lower?, coefficient.upper?, rare)?;
        let result_key = format!("cox/{}", coefficient.name);
        Some(EValueLine { result_key, estimate: of.point, limit: of.limit })
    };
    cox.coefficients.iter().filter_map(line).collect()
}

fn nothing_happened(outcome: Outcome) -> Refusal {
    let need = minimums::TEST_DEATHS;
    let message = format!("No {} under a known level: nothing to compare.", outcome.words().one);
    Refusal::counted(RefusalCode::NoEvents, 0.0, need as f64, message)
}
