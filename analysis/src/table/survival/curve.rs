//! One group: the curve, its median, its restricted mean.

use super::{Rows, SurvivalRequest, too_few_deaths};
use crate::answer::Estimate;
use crate::episode::Episodes;
use crate::evidence::minimums;
use crate::numeric::distinct;
use crate::numeric::tail::chi_squared_quantile;
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::kaplan_meier::{CurveOptions, KaplanMeier, kaplan_meier_with};
use crate::survival::{RestrictedMean, quantile, restricted_mean, restricted_mean_difference};
use crate::table::LEVEL;
use crate::table::column::{shown, significant};
use crate::table::error::Notice;
use crate::table::shape::{MeanDifference, TableGroup, TableMean, TablePoint};

/// The curves of all groups.
pub(super) struct Curves {
    groups: Vec<Group>,
    /// Why no group has a restricted mean.
    no_mean: Option<Refusal>,
}

struct Group {
    name: String,
    n: u64,
    events: u64,
    /// Time at risk after the start of the curve.
    time_at_risk: f64,
    /// The curve, or why it is too small to be shown.
    curve: Result<KaplanMeier, Refusal>,
    start_time: f64,
}

impl Curves {
    pub(super) fn new(rows: &Rows, request: &SurvivalRequest, notices: &mut Vec<Notice>) -> Curves {
        let groups: Vec<Group> =
            (0..rows.groups.len()).map(|group| Group::new(rows, group, request, notices)).collect();
        let starts = || groups.iter().filter(|group| group.n > 0).map(|group| group.start_time);
        if request.horizon.is_some() && starts().any(|start| Some(start) != starts().next()) {
            notices.push(Notice::new(
                "the groups begin at different times, so that their means up to the horizon cannot be compared",
                "let all curves begin at one time, with --from",
            ));
        }
        let deaths: u64 = groups.iter().map(|group| group.events).sum();
        let few = request.minimums && deaths < minimums::MEAN_DEATHS;
        let no_mean = few.then(|| too_few_deaths(deaths, minimums::MEAN_DEATHS, "A restricted mean"));
        Curves { groups, no_mean }
    }

    pub(super) fn parts(&self, request: &SurvivalRequest) -> Vec<TableGroup> {
        // A mean is compared at one horizon, so a horizon too far for one group is too far for all.
        let reach = self.groups.iter().filter_map(|group| group.curve.as_ref().ok()).map(|curve| curve.last_time);
        let reach = reach.fold(f64::INFINITY, f64::min);
        let mean = |group: &Group, horizon: f64| match &self.no_mean {
            Some(refused) => Err(refused.clone()),
            None => group.mean(horizon, request.minimums.then_some(reach)),
        };
        let first = self.groups.first().zip(request.horizon);
        let first = first.and_then(|(first, horizon)| Some((first, mean(first, horizon).ok()?)));
        self.groups
            .iter()
            .enumerate()
            .map(|(at, group)| TableGroup {
                group: group.name.clone(),
                n: group.n,
                events: group.events,
                curve: group.points().into(),
                median: group.median(request.minimums).into(),
                rmst: request.horizon.map(|horizon| {
                    let own = mean(group, horizon).map(|own| {
                        let less = |(of, mean): &(&Group, RestrictedMean)| group.less(&own, of, mean);
                        let difference = first.as_ref().filter(|_| at > 0).and_then(less);
                        TableMean { estimate: own.estimate, std_error: own.std_error, horizon, difference }
                    });
                    own.into()
                }),
                start_time: group.start_time,
                smallest_risk_set: group.curve.as_ref().ok().and_then(KaplanMeier::smallest_risk_set),
            })
            .collect()
    }
}

impl Group {
    fn new(rows: &Rows, group: usize, request: &SurvivalRequest, notices: &mut Vec<Notice>) -> Group {
        let keep: Vec<bool> = rows
            .group
            .iter()
            .zip(&rows.episodes.stop)
            .map(|(own, stop)| *own as usize == group && request.from.is_none_or(|from| *stop >= from))
            .collect();
        let name = rows.groups[group].clone();
        let own = rows.episodes.filter(&keep);
        let mut curve = follow(&own, request);
        if curve.gap.is_some() {
            notices.push(gap(&name, &curve, &own));
        }
        let start_time = curve.start_time;
        let clipped = own.start.iter().zip(&own.stop).map(|(start, stop)| (stop - start.max(start_time)).max(0.0));
        let time_at_risk = crate::numeric::neumaier(clipped);
        let mut small = None;
        if request.minimums && !own.is_empty() {
            small = too_small(rows, &keep, own.len() as u64).err();
            curve = curve.cut_at_risk(minimums::POINT_AT_RISK);
        }
        Group {
            name,
            n: own.len() as u64,
            events: own.deaths(),
            time_at_risk,
            curve: small.map_or(Ok(curve), Err),
            start_time,
        }
    }

    fn nobody(&self) -> Refusal {
        Refusal::counted(
            RefusalCode::EmptyGroup,
            0.0,
            1.0,
            format!("Group {} has no row that can be used.", shown(&self.name)),
        )
    }

    fn curve(&self) -> Result<&KaplanMeier, Refusal> {
        if self.n == 0 { Err(self.nobody()) } else { self.curve.as_ref().map_err(Clone::clone) }
    }

    fn points(&self) -> Result<Vec<TablePoint>, Refusal> {
        let curve = self.curve()?;
        if self.events == 0 {
            return Err(self.no_deaths());
        }
        if curve.steps.is_empty() {
            return Err(Refusal::plain(
                RefusalCode::RiskSetTooSmall,
                format!(
                    "The curve of {} ends at {}, before its first death: too few were at risk from then on.",
                    shown(&self.name),
                    curve.last_time
                ),
            ));
        }
        Ok(curve
            .steps
            .iter()
            .map(|step| TablePoint {
                time: step.time,
                at_risk: step.at_risk,
                events: step.events,
                survival: step.survival,
                std_error: step.std_error,
                lower: step.lower,
                upper: step.upper,
            })
            .collect())
    }

    /// A flat curve without limits would look sure; the exact upper limit of the rate is what can be said (Garwood 1936).
    fn no_deaths(&self) -> Refusal {
        let limit = chi_squared_quantile(1.0 - 0.5 * (1.0 - LEVEL), 2.0).map(|double| 0.5 * double / self.time_at_risk);
        let rate = limit.filter(|limit| limit.is_finite()).map_or_else(String::new, |limit| {
            format!(": a rate of up to {} per unit of time would fit that", significant(limit))
        });
        Refusal::counted(
            RefusalCode::NoEvents,
            0.0,
            1.0,
            format!("No death in group {} in {} units of time at risk{rate}.", shown(&self.name), self.time_at_risk),
        )
    }

    fn median(&self, minimums: bool) -> Result<Estimate, Refusal> {
        let curve = self.curve()?;
        if minimums && self.events < minimums::MEDIAN_DEATHS {
            return Err(too_few_deaths(self.events, minimums::MEDIAN_DEATHS, "A median"));
        }
        let median = quantile(curve, 0.5);
        Ok(Estimate { estimate: median.estimate, lower: median.lower, upper: median.upper })
    }

    /// `reach`: a horizon beyond it is refused.
    fn mean(&self, horizon: f64, reach: Option<f64>) -> Result<RestrictedMean, Refusal> {
        let curve = self.curve()?;
        if let Some(reach) = reach.filter(|reach| horizon > *reach) {
            return Err(Refusal::counted(
                RefusalCode::BeyondFollowUp,
                reach,
                horizon,
                format!(
                    "Fewer than {} were at risk in a group after {reach}: take a horizon up to then.",
                    minimums::POINT_AT_RISK
                ),
            ));
        }
        restricted_mean(curve, horizon)
    }

    /// Its mean less that of another group, where both begin at one time.
    fn less(&self, own: &RestrictedMean, other: &Group, theirs: &RestrictedMean) -> Option<MeanDifference> {
        let difference = restricted_mean_difference(own, theirs, LEVEL).ok()?;
        (self.start_time == other.start_time).then(|| MeanDifference {
            reference: other.name.clone(),
            estimate: difference.estimate,
            std_error: difference.std_error,
            lower: difference.lower,
            upper: difference.upper,
            p: difference.p,
        })
    }
}

/// The curve from the asked time, else from the group's first entry.
///
/// If nobody is at risk yet at the asked time, it begins with the next entry. A curve that has fallen to 0 stays there
/// whoever enters later; one that is above 0 ends where nobody is at risk.
fn follow(own: &Episodes, request: &SurvivalRequest) -> KaplanMeier {
    let mut options =
        CurveOptions { start_time: request.from, interval: request.interval, level: LEVEL, across_gaps: false };
    let mut curve = kaplan_meier_with(own, &options);
    if curve.gap == Some(curve.start_time) && curve.steps.is_empty() {
        options.start_time =
            own.start.iter().copied().filter(|start| *start >= curve.start_time).min_by(f64::total_cmp);
        curve = kaplan_meier_with(own, &options);
    }
    if curve.gap.is_some() && curve.steps.last().is_some_and(|step| step.survival == 0.0) {
        options.across_gaps = true;
        curve = kaplan_meier_with(own, &options);
    }
    curve
}

fn gap(name: &str, curve: &KaplanMeier, own: &Episodes) -> Notice {
    let empty = curve.gap.unwrap_or(curve.last_time);
    let later = own.start.iter().filter(|start| **start >= empty).count();
    let end = if curve.last_time > empty { "falls to 0 and stays there" } else { "ends" };
    Notice::new(
        format!(
            "the curve of {} {end} at {empty}, where nobody is at risk, although rows enter later ({later})",
            shown(name)
        ),
        "begin the curve after that time, with --from",
    )
}

/// # Errors
/// `TooFewSpecimens`, `TooFewTanks`.
fn too_small(rows: &Rows, keep: &[bool], n: u64) -> Result<(), Refusal> {
    if n < minimums::CURVE_SPECIMENS {
        return Err(Refusal::counted(
            RefusalCode::TooFewSpecimens,
            n as f64,
            minimums::CURVE_SPECIMENS as f64,
            format!("A curve needs {} rows; there are {n}.", minimums::CURVE_SPECIMENS),
        ));
    }
    let Some(cluster) = &rows.cluster else { return Ok(()) };
    let ids = distinct(cluster.iter().zip(keep).filter(|(_, keep)| **keep).map(|(id, _)| *id));
    if (ids.len() as u64) < minimums::CURVE_TANKS {
        return Err(Refusal::counted(
            RefusalCode::TooFewTanks,
            ids.len() as f64,
            minimums::CURVE_TANKS as f64,
            format!("A curve needs rows of {} clusters; there are {}.", minimums::CURVE_TANKS, ids.len()),
        ));
    }
    Ok(())
}
