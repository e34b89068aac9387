//! How and when the observation of a specimen ended.

use super::{End, Run, day_number};
use crate::club::{Days, Ending, SightingSource, Specimen};
use crate::vocabulary::{CauseGroup, Fate};

/// Widest interval of a death whose middle is taken, in days.
const WIDEST_MIDPOINT_DAYS: f64 = 7.0;
/// Widest span of days of an exit whose middle is taken: a month, as for an acquisition.
const WIDEST_MONTH_DAYS: f64 = 31.0;
/// Losses are noticed within 14 days; the run that allows for it takes the middle.
const NOTICED_EARLIER_DAYS: f64 = 7.0;

/// An end before it is held against the entry; an interval of a death as it was recorded, however short.
pub(super) struct Ended {
    pub(super) end: End,
    pub(super) cause: CauseGroup,
    pub(super) date_held: bool,
    pub(super) missing: bool,
    pub(super) register_last: bool,
    /// It comes from a recorded ending, not from the last evidence of life.
    pub(super) from_ending: bool,
}

pub(super) fn arrived_dead(ending: &Ending) -> bool {
    ending.fate == Fate::ArrivedDead
}

/// A death after `after` and by `by`, both within the time under observation: the middle if that is within a week.
pub(super) fn within(after: f64, by: f64) -> End {
    if by - after <= WIDEST_MIDPOINT_DAYS { End::Died((after + by) / 2.0) } else { End::DiedWithin { after, by } }
}

/// The end of a specimen whose fate is held, counted as a death; `None` if nothing bounds it.
pub(super) fn held(specimen: &Specimen, days: Days) -> Option<Ended> {
    let by = day_number(days.latest);
    let after = days.earliest.map(day_number).or_else(|| seen_before(specimen, by));
    Some(Ended {
        end: End::DiedWithin { after: after?.min(by), by },
        cause: CauseGroup::Unknown,
        date_held: true,
        missing: false,
        register_last: false,
        from_ending: true,
    })
}

/// The last day up to `day` it is known to have been alive; that on which it was got, if there is no other.
fn seen_before(specimen: &Specimen, day: f64) -> Option<f64> {
    let got = || specimen.acquired.map(|days| day_number(days.earliest.unwrap_or(days.latest)).min(day));
    last_alive(specimen, true, Some(day)).map(|seen| seen.0).or_else(got)
}

/// The end of a specimen whose fate is not held; `None` without any evidence of life.
pub(super) fn ended(specimen: &Specimen, run: Run) -> Option<Ended> {
    let registers = run != Run::NoRegisterSightings;
    let alive = |until: Option<f64>| last_alive(specimen, registers, until);
    let Some(ending) = &specimen.ending else {
        let (day, by_register) = alive(None)?;
        return Some(Ended {
            end: End::Alive(day),
            cause: CauseGroup::Unknown,
            date_held: false,
            missing: false,
            register_last: by_register,
            from_ending: false,
        });
    };
    let (earliest, latest) = (day_number(ending.earliest), day_number(ending.latest));
    let seen_before = |day: f64| seen_before(specimen, day);
    let died = |end: End| {
        Some(Ended {
            end,
            cause: ending.cause_group,
            date_held: ending.date_held,
            missing: ending.fate == Fate::Missing,
            register_last: false,
            from_ending: true,
        })
    };
    let left = |day: f64| {
        Some(Ended {
            end: End::Alive(day),
            cause: CauseGroup::Unknown,
            date_held: false,
            missing: false,
            register_last: false,
            from_ending: true,
        })
    };
    match ending.fate {
        Fate::Missing => {
            let after = if earliest < latest { earliest } else { seen_before(latest).unwrap_or(latest) };
            if run == Run::MissingCensored { left(after) } else { died(End::DiedWithin { after, by: latest }) }
        }
        Fate::Died => died(death(ending, earliest, latest, run, seen_before)),
        Fate::TankClosed if ending.all_died => died(death(ending, earliest, latest, run, seen_before)),
        Fate::Left | Fate::CutUp | Fate::TankClosed | Fate::KeeperLeft => {
            let seen = alive(Some(latest)).map(|seen| seen.0);
            let day = match ending.fate {
                Fate::KeeperLeft => seen.unwrap_or(earliest),
                _ => exit(ending, earliest, latest).max(seen.unwrap_or(earliest)),
            };
            if run == Run::PoorExitsAsDeaths && ending.poor_at_exit { died(End::Died(day)) } else { left(day) }
        }
        Fate::ArrivedDead => None,
    }
}

/// The day on which one that left alive is censored: that day; of a month its middle. Wider, or with its day in question,
/// nothing says that it was under observation after the earliest day, so it counts no longer than to there.
fn exit(ending: &Ending, earliest: f64, latest: f64) -> f64 {
    if ending.date_held || latest - earliest > WIDEST_MONTH_DAYS { earliest } else { (earliest + latest) / 2.0 }
}

fn death(ending: &Ending, earliest: f64, latest: f64, run: Run, seen_before: impl Fn(f64) -> Option<f64>) -> End {
    if earliest < latest {
        return End::DiedWithin { after: earliest, by: latest };
    }
    if run == Run::Noticed14d && ending.written_day {
        // `<`: an observation on the day of the death says nothing of the days before.
        let floor = seen_before(latest - 1.0).unwrap_or(f64::NEG_INFINITY);
        return End::Died((latest - NOTICED_EARLIER_DAYS).max(floor));
    }
    End::Died(latest)
}

/// The last day it is known to have been alive, and whether only an open row of a register says so.
///
/// Looks, roll calls, registers (if they count), sizes, care to it alone and starts of stays, up to `until`.
fn last_alive(specimen: &Specimen, registers: bool, until: Option<f64>) -> Option<(f64, bool)> {
    let sightings = specimen
        .sightings
        .iter()
        .filter(|sighting| sighting.condition != Some(0))
        .map(|sighting| (day_number(sighting.on), sighting.source == SightingSource::Register))
        .filter(|(_, register)| registers || !register);
    let others = specimen
        .sizings
        .iter()
        .map(|sizing| sizing.on)
        .chain(specimen.care_days.iter().copied())
        .chain(specimen.stays.iter().map(|stay| stay.from))
        .map(|day| (day_number(day), false));
    sightings
        .chain(others)
        .filter(|(day, _)| until.is_none_or(|until| *day <= until))
        .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))
}
