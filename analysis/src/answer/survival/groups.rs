//! The figures of each level.

use super::counted::Counted;
use super::frame::Levels;
use crate::answer::{Audience, CurvePoint, SurvivalGroup};
use crate::club::Club;
use crate::comparison::curve::loss_rate;
use crate::comparison::{ClusterBy, GroupCurves, Sets};
use crate::disclosure::{grid, suppressed};
use crate::evidence::{Tally, minimums};
use crate::follow_up::FollowUp;
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::wording::{Lead, Started, lead_sentence};

/// One level with its curves.
pub(super) struct Level {
    /// Printed level; the one after the known is unknown.
    pub(super) level: usize,
    pub(super) tally: Tally,
    pub(super) sets: Sets,
    pub(super) curves: GroupCurves,
    /// Last moment that the audience sees of the curve.
    pub(super) shown_until: f64,
    /// Whether it is told beside all other answers how many are alive at the horizon.
    pub(super) told_at_horizon: bool,
    /// The curve as it is seen, if the level is large enough for one; empty where it was not asked for.
    pub(super) curve: Result<Vec<CurvePoint>, Refusal>,
    /// Whether the level is large enough for a curve.
    pub(super) enough: Result<(), Refusal>,
}

impl Level {
    /// A level of which is told what `is_told` says, by age.
    pub(super) fn new(
        levels: &Levels,
        sets: &Sets,
        (level, tally): (usize, Tally),
        (audience, horizon): (Audience, f64),
        mut is_told: impl FnMut(f64) -> bool,
    ) -> Level {
        let own = Level::for_horizon(levels, sets, (level, tally), true);
        let (rows, start, last) = (&own.sets.middle, own.curves.start_time, own.curves.last_time);
        let shown_until = grid::shown_until(rows, start, last, audience, &mut is_told);
        let curve = own
            .enough
            .clone()
            .and_then(|()| grid::curve(own.curves.points()?, rows, start, shown_until, audience, &mut is_told));
        let told_at_horizon = is_told(horizon);
        Level { shown_until, told_at_horizon, curve, ..own }
    }

    /// A level without its curve.
    pub(super) fn for_horizon(
        levels: &Levels,
        sets: &Sets,
        (level, tally): (usize, Tally),
        told_at_horizon: bool,
    ) -> Level {
        let sets = levels.of(sets, level);
        let curves = GroupCurves::new(&sets, None);
        let enough = minimums::curve(&tally);
        let curve = Ok(Vec::new());
        Level { level, tally, sets, curves, shown_until: f64::INFINITY, told_at_horizon, curve, enough }
    }

    /// The share alive at the horizon, as far as the audience sees the curve.
    pub(super) fn at_horizon(
        &self,
        cluster: ClusterBy,
        horizon: f64,
        audience: Audience,
    ) -> Result<crate::answer::AtHorizon, Refusal> {
        self.enough.clone()?;
        let at = self.curves.at_horizon(&self.sets, cluster, horizon)?;
        let keepers = grid::keepers_at_risk(&self.sets.middle, horizon);
        let seen = keepers >= crate::disclosure::keepers_needed(audience) && self.told_at_horizon;
        if seen { Ok(at) } else { Err(suppressed(audience)) }
    }
}

/// How the corals of some rows started.
pub(super) fn started(club: &Club, follow_up: &FollowUp, sets: &Sets) -> Started {
    let (mut cut, mut all) = (0_usize, 0_usize);
    let mut seen = std::collections::BTreeSet::new();
    for &position in sets.middle.specimen.iter().filter(|position| seen.insert(**position)) {
        let Some(follow) = follow_up.follows.get(position as usize) else { continue };
        let own = club
            .specimens
            .get(follow.specimen as usize)
            .is_some_and(|specimen| specimen.source_kind.as_deref() == Some("own_cutting"));
        all += 1;
        cut += usize::from(own);
    }
    match cut {
        0 => Started::Bought,
        cut if cut == all => Started::Cut,
        _ => Started::Either,
    }
}

/// What the figures of a level are made with.
pub(super) struct Making<'a> {
    pub(super) club: &'a Club,
    pub(super) counted: &'a Counted<'a>,
    pub(super) levels: &'a Levels,
    pub(super) cluster: ClusterBy,
    pub(super) horizon: f64,
    pub(super) audience: Audience,
    /// Events of all levels together.
    pub(super) all_deaths: u64,
    /// Last day with five at risk in every level compared.
    pub(super) longest: f64,
}

impl Making<'_> {
    /// The printed figures of a level.
    pub(super) fn group(&self, level: &Level) -> SurvivalGroup {
        let name = self.levels.name(level.level);
        let curve = level.curve.clone();
        let evidence = self.counted.evidence(&level.sets.middle, &level.tally, false, curve.is_ok());
        let at_horizon = level.at_horizon(self.cluster, self.horizon, self.audience);
        let sentence = self.sentence(level, &at_horizon, evidence.grade);
        let median = level.enough.clone().and_then(|()| {
            let median = level.curves.median(level.tally.deaths)?;
            let seen = |day: Option<f64>| day.is_none_or(|day| day <= level.shown_until);
            if seen(median.estimate) && seen(median.lower) && seen(median.upper) {
                Ok(median)
            } else {
                Err(suppressed(self.audience))
            }
        });
        let rmst = level.enough.clone().and_then(|()| {
            // Where it is not defined, no number of events would help.
            if !level.sets.outcome.has_competing_end() {
                minimums::events(self.all_deaths, minimums::MEAN_DEATHS, level.sets.outcome)?;
            }
            let longest = self.longest.min(level.shown_until);
            level.curves.restricted_mean(&level.sets, self.cluster, self.horizon, longest)
        });
        SurvivalGroup {
            group: name.code,
            label: name.label,
            n: level.tally.specimens,
            events: level.tally.deaths,
            start_time: level.curves.start_time,
            curve: Part::from(curve),
            at_horizon: Part::from(at_horizon),
            sentence: Part::from(sentence),
            median: Part::from(median),
            rmst: Part::from(rmst),
            rates: Part::from(self.rates(level)),
            evidence,
        }
    }

    /// Adds how many days more each level's corals lived than those of the reference.
    pub(super) fn add_differences(&self, levels: &[Level], reference: usize, groups: &mut [(usize, SurvivalGroup)]) {
        let Some(base) = levels.iter().find(|level| level.level == reference) else { return };
        if groups.iter().any(|(at, group)| *at == reference && group.rmst.given().is_none()) {
            return;
        }
        for (level, (_, group)) in levels.iter().zip(groups) {
            if level.level == reference || level.level >= self.levels.known() {
                continue;
            }
            if let Part::Given(mean) = &mut group.rmst {
                let beside = (&base.curves, &base.sets);
                let more = level.curves.days_more(&level.sets, beside, self.cluster, self.horizon);
                mean.difference = Some(Part::from(more));
            }
        }
    }

    fn rates(&self, level: &Level) -> Result<crate::answer::RatePart, Refusal> {
        if level.tally.specimens == 0 {
            return Err(minimums::curve(&level.tally).err().unwrap_or_else(|| {
                Refusal::plain(RefusalCode::EmptyGroup, "No coral was ever recorded under this condition.")
            }));
        }
        loss_rate(level.tally.deaths, level.tally.days)
    }

    fn sentence(
        &self,
        level: &Level,
        at_horizon: &Result<crate::answer::AtHorizon, Refusal>,
        grade: crate::answer::Grade,
    ) -> Result<String, Refusal> {
        level.enough.clone()?;
        if level.tally.deaths == 0 {
            return Err(crate::wording::lead::no_event(level.sets.outcome, level.tally.specimens, level.tally.days));
        }
        let at = at_horizon.as_ref().map_err(Clone::clone)?;
        let (Some(lower), Some(upper)) = (at.lower, at.upper) else {
            return Err(Refusal::plain(
                RefusalCode::TooFewClusters,
                format!(
                    "Too few tanks {} for limits that allow for corals sharing a tank.",
                    level.sets.outcome.words().tanks_had
                ),
            ));
        };
        lead_sentence(&Lead {
            outcome: level.sets.outcome,
            survival: at.survival,
            lower,
            upper,
            horizon: self.horizon,
            start_time: level.curves.start_time,
            started: started(self.club, &self.counted.framed.follow_up, &level.sets),
            grade,
            varies: self.counted.framed.condition.by.varies_in_time(),
        })
    }
}
