//! Serious decline, known from looks: the first one at which a specimen was less than half alive (condition 2 or lower,
//! tissue cover below 50 %) or had half or fewer of the heads ever counted on it, or a rescue cut, whichever is first.
//!
//! A look is a condition, a photo or a size: its keeper stood before it. Rows of registers and roll calls are none. A look
//! at which none of this was written down counts as one at which nothing serious was seen; how many were such is said
//! beside the answer. Heads are compared between cuts and breakages only: a cutting taken is no decline. The condition
//! when got is a look on the day it was got. A condition of 0 is the death itself, not a decline before it.
//!
//! A specimen is at risk from its first look within 45 days of coming under observation, if that look and all before it
//! were good, until 45 days after its last look. A decline lies after the last good look, by the first poor one. Nothing
//! here decides who is under observation for death; that stands in [`super::follow_up`].

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::{End, Follow, FollowUp, Population, Run, day_number, end, follow_up, tank_event};
use crate::answer::{LeftOut, Outcome};
use crate::club::{Club, SightingSource, Specimen};
use crate::refusal::{Refusal, RefusalCode};

/// Days for which a look speaks: from coming under observation to the first, and after the last. Looks that are further
/// apart than this on half of the days say too little.
pub const LOOK_DAYS: f64 = 45.0;
/// Highest condition that is a serious decline: 25 to 50 % of live tissue.
const POOR_CONDITION: u8 = 2;
/// Tissue cover in % below which it is one.
const POOR_COVER: f64 = 50.0;

/// A day on which it was looked at, or cut to save it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Mark {
    day: f64,
    /// It was looked at.
    look: bool,
    /// That look shows whether it was in decline.
    scored: bool,
    /// It was.
    poor: bool,
    /// Pieces were cut off to save them.
    cut: bool,
}

impl Mark {
    fn declined(&self) -> bool {
        self.poor || self.cut
    }
}

/// Why a specimen under observation for death is not at risk here.
enum Out {
    PoorAtEntry,
    NoLookAtEntry,
    NeverDeclined,
    NoFollowUp,
}

/// Who is under observation for an outcome, and until when, under the rules of a run.
///
/// For death this is [`follow_up`]. Otherwise every specimen under observation for death is at risk here too or is counted
/// once more in [`FollowUp::left_out`].
pub fn follow_up_for(club: &Club, population: &Population, outcome: Outcome, run: Run) -> FollowUp {
    if !outcome.needs_looks() {
        return follow_up(club, population, run);
    }
    // Many losses of one tank in a short time are looked for among the events of this outcome, below.
    let deaths = follow_up(club, population, if run == Run::WithoutTankEvents { Run::Main } else { run });
    let after = outcome == Outcome::DeathAfterDecline;
    let (at_entry, never) = (if after { None } else { Some(0) }, if after { Some(0) } else { None });
    let left_out =
        LeftOut { poor_at_entry: at_entry, no_look_at_entry: at_entry, never_declined: never, ..deaths.left_out };
    let mut result = FollowUp { follows: Vec::new(), left_out, outcome };
    for follow in deaths.follows {
        let Some(specimen) = club.specimens.get(follow.specimen as usize) else { continue };
        let marks = marks(specimen, &follow);
        let one = if after { after_decline(&marks, follow) } else { until_decline(&marks, follow) };
        let left = &mut result.left_out;
        match one {
            Ok(follow) => result.follows.push(follow),
            Err(Out::PoorAtEntry) => *left.poor_at_entry.get_or_insert(0) += 1,
            Err(Out::NoLookAtEntry) => *left.no_look_at_entry.get_or_insert(0) += 1,
            Err(Out::NeverDeclined) => *left.never_declined.get_or_insert(0) += 1,
            Err(Out::NoFollowUp) => left.no_follow_up += 1,
        }
    }
    if run == Run::WithoutTankEvents {
        tank_event::censor(club, &mut result);
    }
    result
}

/// From the first good look to the first serious decline, to death without one, or to 45 days after the last look.
fn until_decline(marks: &[Mark], follow: Follow) -> Result<Follow, Out> {
    let in_time = follow.entry..=follow.entry + LOOK_DAYS;
    let first = marks.iter().find(|mark| mark.look && in_time.contains(&mark.day)).ok_or(Out::NoLookAtEntry)?;
    let entry = first.day;
    if marks.iter().any(|mark| mark.declined() && mark.day <= entry) {
        return Err(Out::PoorAtEntry);
    }
    let until = marks.iter().rfind(|mark| mark.look).map_or(entry, |mark| mark.day) + LOOK_DAYS;
    let follow = Follow { entry, until, ..follow };
    let Some(decline) = marks.iter().find(|mark| mark.declined() && mark.day <= until) else {
        return watched(follow);
    };
    let good = marks.iter().rfind(|mark| mark.look && mark.day < decline.day).map_or(entry, |mark| mark.day);
    let by = decline.day.min(last_day(follow.end)).max(good);
    Ok(Follow {
        end: end::within(good, by),
        declined: true,
        date_held: follow.date_held && !decline.poor,
        register_last: false,
        missing: false,
        until: f64::INFINITY,
        ..follow
    })
}

/// From the first poor look on, in days since it, as death is.
fn after_decline(marks: &[Mark], follow: Follow) -> Result<Follow, Out> {
    let poor = marks.iter().find(|mark| mark.poor).ok_or(Out::NeverDeclined)?;
    watched(Follow { day0: poor.day, entry: follow.entry.max(poor.day), ..follow })
}

/// The end as death's, held against a later entry and a last day on which anything is seen.
fn watched(follow: Follow) -> Result<Follow, Out> {
    let (entry, until) = (follow.entry, follow.until);
    let end = match follow.end {
        End::Alive(day) if day <= entry => return Err(Out::NoFollowUp),
        End::Died(day) => End::Died(day.max(entry)),
        End::DiedWithin { by, .. } if by <= entry => End::Died(entry),
        End::DiedWithin { after, by } => end::within(after.max(entry), by),
        alive => alive,
    };
    let first = match end {
        End::Alive(day) | End::Died(day) | End::DiedWithin { after: day, .. } => day,
    };
    let end = if first > until { End::Alive(until) } else { end };
    Ok(Follow {
        end,
        date_held: follow.date_held && end.is_death(),
        missing: follow.missing && end.is_death(),
        register_last: follow.register_last && first <= until,
        ..follow
    })
}

/// The latest day on which the end can lie.
fn last_day(end: End) -> f64 {
    match end {
        End::Alive(day) | End::Died(day) | End::DiedWithin { by: day, .. } => day,
    }
}

/// Every look and rescue cut up to the end of a specimen under observation for death, by day, one a day.
fn marks(specimen: &Specimen, follow: &Follow) -> Vec<Mark> {
    // A death whose middle was taken can have come as late as it was noticed.
    let noticed = specimen.ending.as_ref().filter(|_| follow.end.is_death()).map(|ending| day_number(ending.latest));
    let last = last_day(follow.end).max(noticed.unwrap_or(f64::NEG_INFINITY));
    all_marks(specimen, follow.day0).into_iter().take_while(|mark| mark.day <= last).collect()
}

/// Every look and rescue cut of a specimen got on a day.
fn all_marks(specimen: &Specimen, got: f64) -> Vec<Mark> {
    let look = |day: f64, scored: bool, poor: bool| Mark { day, look: true, scored, poor, cut: false };
    let sightings = specimen
        .sightings
        .iter()
        .filter(|sighting| sighting.source == SightingSource::Look && sighting.condition != Some(0))
        .map(|sighting| {
            let poor = sighting.condition.is_some_and(|condition| condition <= POOR_CONDITION)
                || sighting.tissue_cover.is_some_and(|cover| cover < POOR_COVER);
            let scored = sighting.condition.is_some() || sighting.tissue_cover.is_some();
            look(day_number(sighting.on), scored, poor)
        });
    let when_got = specimen.condition_when_got.map(|condition| look(got, true, condition <= POOR_CONDITION));
    let sizes = specimen.sizings.iter().map(|size| look(day_number(size.on), false, false));
    let heads = heads(specimen).into_iter().map(|(on, poor)| look(day_number(on), true, poor));
    let cuts =
        specimen.rescue_cuts.iter().map(|on| Mark { look: false, cut: true, ..look(day_number(*on), false, false) });
    let mut marks: Vec<Mark> = sightings.chain(when_got).chain(sizes).chain(heads).chain(cuts).collect();
    marks.sort_by(|a, b| a.day.total_cmp(&b.day));
    marks.dedup_by(|later, first| {
        let same = later.day == first.day;
        if same {
            first.look |= later.look;
            first.scored |= later.scored;
            first.poor |= later.poor;
            first.cut |= later.cut;
        }
        same
    });
    marks
}

/// Each day of a count of heads, and whether half or fewer of the most counted before were left. The largest count of a
/// day stands; a cut or breakage starts anew.
fn heads(specimen: &Specimen) -> Vec<(NaiveDate, bool)> {
    let mut counts: BTreeMap<(u32, NaiveDate), f64> = BTreeMap::new();
    for size in specimen.sizings.iter().filter(|size| size.measure == "head_count") {
        let most = counts.entry((size.segment, size.on)).or_insert(size.value);
        *most = most.max(size.value);
    }
    let mut most: BTreeMap<u32, f64> = BTreeMap::new();
    counts
        .into_iter()
        .map(|((segment, on), count)| {
            let before = most.entry(segment).or_insert(0.0);
            let poor = *before > 0.0 && 2.0 * count <= *before;
            *before = before.max(count);
            (on, poor)
        })
        .collect()
}

/// The looks at each specimen at risk for serious decline, from its entry to the decline or its end.
fn looks_at_risk(club: &Club, follow_up: &FollowUp) -> Vec<Vec<Mark>> {
    let of = |follow: &Follow| {
        let marks = all_marks(club.specimens.get(follow.specimen as usize)?, follow.day0);
        let from = marks.partition_point(|mark| mark.day < follow.entry);
        let to = if follow.declined {
            marks.iter().position(Mark::declined).map_or(marks.len(), |first| first + 1)
        } else {
            marks.partition_point(|mark| mark.day <= last_day(follow.end))
        };
        Some(marks.get(from..to).unwrap_or_default().to_vec())
    };
    follow_up.follows.iter().filter_map(of).collect()
}

/// Looks of an answer on serious decline: those at which nothing was scored, and all.
pub fn looks_without_score(club: &Club, follow_up: &FollowUp) -> (u64, u64) {
    let looks = looks_at_risk(club, follow_up).into_iter().flatten().filter(|mark| mark.look);
    looks.fold((0, 0), |(without, all), mark| (without + u64::from(!mark.scored), all + 1))
}

/// Refuses serious decline where looks are too rare: half of the days between two looks at one specimen lie between looks
/// more than 45 days apart.
///
/// # Errors
/// [`RefusalCode::LooksTooRare`] with that median gap (none if nothing was looked at twice) and 45;
/// [`RefusalCode::EmptyGroup`] if death after decline is asked about and no decline was seen.
pub fn often_enough(club: &Club, population: &Population, follow_up: &FollowUp) -> Result<(), Refusal> {
    if !follow_up.outcome.needs_looks() {
        return Ok(());
    }
    let at_risk = follow_up_for(club, population, Outcome::FirstSeriousDecline, Run::Main);
    let mut gaps: Vec<f64> = looks_at_risk(club, &at_risk)
        .iter()
        .flat_map(|looks| looks.windows(2).map(|pair| pair[1].day - pair[0].day).collect::<Vec<_>>())
        .collect();
    gaps.sort_by(f64::total_cmp);
    let half = gaps.iter().sum::<f64>() / 2.0;
    let mut days = 0.0;
    let median = gaps.iter().copied().find(|gap| {
        days += gap;
        days >= half
    });
    match median {
        Some(gap) if gap <= LOOK_DAYS => {}
        Some(gap) => {
            return Err(Refusal::counted(
                RefusalCode::LooksTooRare,
                gap,
                LOOK_DAYS,
                format!(
                    "Half of the coral-days lie between looks {gap} or more days apart; decline is said once looks come \
                     every {LOOK_DAYS} days."
                ),
            ));
        }
        None => {
            return Err(Refusal {
                need: Some(LOOK_DAYS),
                ..Refusal::plain(
                    RefusalCode::LooksTooRare,
                    format!(
                        "No coral was seen in good condition within {LOOK_DAYS} days of coming under observation and \
                         looked at again."
                    ),
                )
            });
        }
    }
    if follow_up.follows.is_empty() {
        return Err(Refusal::counted(
            RefusalCode::EmptyGroup,
            0.0,
            1.0,
            "No coral was followed after a serious decline.",
        ));
    }
    Ok(())
}
