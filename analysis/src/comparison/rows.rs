//! Rows of specimens at risk, cut wherever tank or level changes.

use crate::answer::Outcome;
use crate::club::{Club, Stay, TankId};
use crate::episode::{Episodes, InvalidRow};
use crate::exposure::given::{FAILED, HELD, WaterInBand};
use crate::exposure::{Condition, Level, MONTH_DAYS};
use crate::follow_up::{End, Follow, FollowUp, day_number};
use crate::vocabulary::CauseGroup;

/// Rows `(start, stop]` in days since acquisition, as columns.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Rows {
    /// Start, end, event of the outcome.
    pub episodes: Episodes,
    /// Position of the specimen in [`FollowUp::follows`].
    pub specimen: Vec<u32>,
    /// Tank; `None` where no stay says.
    pub tank: Vec<Option<TankId>>,
    /// Keeper.
    pub keeper: Vec<u32>,
    /// Level of the split.
    pub level: Vec<Level>,
    /// What ended it, from 1, in the order of [`Outcome::ends`]; 0 for a row that ends without. Where death is another end
    /// than the event, it stands here only.
    pub cause: Vec<u32>,
}

/// Days kept and not kept by a condition that had to hold.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct GivenTally {
    /// It held.
    pub kept: f64,
    /// It did not.
    pub outside: f64,
    /// Not known.
    pub unknown: f64,
}

/// What rows are cut from.
#[derive(Debug, Clone, Copy)]
pub struct Frame<'a> {
    /// The records.
    pub club: &'a Club,
    /// Who was under observation when.
    pub follow_up: &'a FollowUp,
    /// The split.
    pub condition: &'a Condition,
    /// Days on which this did not hold are left out.
    pub given: Option<&'a WaterInBand>,
}

/// Number of the end of a specimen that ended, in the order of [`Outcome::ends`].
fn number_of_end(outcome: Outcome, follow: &Follow) -> u32 {
    match outcome {
        Outcome::FirstSeriousDecline | Outcome::DeathOrDecline => {
            if follow.declined {
                DECLINE
            } else {
                DEATH_BEFORE_DECLINE
            }
        }
        Outcome::Death | Outcome::DeathAfterDecline => {
            CauseGroup::ALL.iter().position(|cause| *cause == follow.cause).map_or(0, |at| at as u32 + 1)
        }
    }
}

/// Number of serious decline among the ends of [`Outcome::FirstSeriousDecline`] and [`Outcome::DeathOrDecline`].
pub const DECLINE: u32 = 1;
/// Number of death without one.
const DEATH_BEFORE_DECLINE: u32 = 2;

/// Which pieces of time a set of rows is made from, and the level that each of its rows has.
type Pick<'a> = &'a dyn Fn(Level, Level) -> Option<Level>;

/// A stretch of calendar time in one tank.
pub(crate) struct Stretch {
    pub(crate) tank: Option<TankId>,
    pub(crate) from: f64,
    pub(crate) to: f64,
}

impl Frame<'_> {
    /// The rows with deaths known to an interval at its middle.
    ///
    /// # Errors
    /// A row without length: the records contradict themselves.
    pub fn middle(&self) -> Result<(Rows, GivenTally), InvalidRow> {
        self.middle_of(&self.lives())
    }

    pub(super) fn middle_of(&self, lives: &Lives) -> Result<(Rows, GivenTally), InvalidRow> {
        self.rows(lives, &held, |follow| follow.end.middle())
    }

    /// What is the same in every draw, cut once.
    pub(super) fn lives(&self) -> Lives {
        let known = |follow: &Follow| !matches!(follow.end, End::DiedWithin { .. });
        let cut = |follow: &Follow| known(follow).then(|| self.pieces(follow, follow.ended(follow.end.middle()).0));
        Lives(self.follow_up.follows.iter().map(cut).collect())
    }

    /// All rows by level and by the condition that has to hold, deaths at the middle or at drawn shares of their
    /// interval. `cell` gives the level that a row has, of the split's own and of the condition's ([`HELD`],
    /// [`FAILED`], unknown).
    ///
    /// # Errors
    /// As [`Frame::middle`].
    pub(super) fn crossed(
        &self,
        lives: &Lives,
        shares: Option<&[f64]>,
        cell: fn(Level, Level) -> u16,
    ) -> Result<Rows, InvalidRow> {
        let pick = |level, given| Some(Some(cell(level, given)));
        let mut position = 0;
        let rows = self.rows(lives, &pick, |follow| {
            let share = shares.map(|shares| shares.get(position).copied().unwrap_or(1.0));
            position += 1;
            share.map_or_else(|| follow.end.middle(), |share| follow.end.drawn(share))
        });
        Ok(rows?.0)
    }

    /// The rows with deaths known to an interval at a drawn share of it: one value a specimen, in order.
    ///
    /// # Errors
    /// As [`Frame::middle`].
    pub(super) fn drawn(&self, lives: &Lives, shares: &[f64]) -> Result<Rows, InvalidRow> {
        let mut position = 0;
        let (rows, _) = self.rows(lives, &held, |follow| {
            let share = shares.get(position).copied().unwrap_or(1.0);
            position += 1;
            follow.end.drawn(share)
        })?;
        Ok(rows)
    }

    fn rows(
        &self,
        lives: &Lives,
        pick: Pick,
        mut end_of: impl FnMut(&Follow) -> f64,
    ) -> Result<(Rows, GivenTally), InvalidRow> {
        let mut rows = Rows::default();
        let mut tally = GivenTally::default();
        let outcome = self.follow_up.outcome;
        let (mut start, mut stop, mut event) = (Vec::new(), Vec::new(), Vec::new());
        for (position, follow) in self.follow_up.follows.iter().enumerate() {
            let (end, ended) = follow.ended(end_of(follow));
            let drawn;
            let pieces = match lives.0.get(position) {
                Some(Some(known)) => known,
                _ => {
                    drawn = self.pieces(follow, end);
                    &drawn
                }
            };
            if self.given.is_some() {
                for piece in pieces {
                    match piece.given {
                        Some(HELD) => tally.kept += piece.to - piece.from,
                        Some(_) => tally.outside += piece.to - piece.from,
                        None => tally.unknown += piece.to - piece.from,
                    }
                }
            }
            for piece in pieces {
                let Some(level) = pick(piece.level, piece.given) else { continue };
                let ends = ended && piece.to == end;
                start.push(piece.from - follow.day0);
                stop.push(piece.to - follow.day0);
                event.push(ends && (follow.declined || !outcome.has_competing_end()));
                rows.specimen.push(position as u32);
                rows.tank.push(piece.tank);
                rows.keeper.push(follow.keeper);
                rows.level.push(level);
                rows.cause.push(if ends { number_of_end(outcome, follow) } else { 0 });
            }
        }
        rows.episodes = Episodes::validated(start, stop, event)?;
        Ok((rows, tally))
    }

    /// The time of one specimen, cut at moves and changes of level, equal neighbours joined.
    fn pieces(&self, follow: &Follow, end: f64) -> Vec<Piece> {
        let mut pieces: Vec<Piece> = Vec::new();
        let stays = self.club.specimens.get(follow.specimen as usize).map_or(&[][..], |specimen| &specimen.stays);
        for stretch in stretches(stays, follow.entry, end) {
            let (id, keeper, tank) = (follow.specimen, follow.keeper, stretch.tank);
            for segment in self.condition.between(id, keeper, tank, stretch.from, stretch.to) {
                let parts = match self.given {
                    None => vec![(segment.start, segment.stop, Some(HELD))],
                    Some(given) => given
                        .steps(tank)
                        .between(segment.start, segment.stop)
                        .into_iter()
                        .map(|part| (part.start, part.stop, part.level))
                        .collect(),
                };
                for (from, to, given) in parts {
                    let given = if given.is_some_and(|level| level != HELD) { Some(FAILED) } else { given };
                    match pieces.last_mut() {
                        Some(last)
                            if last.to == from
                                && last.tank == tank
                                && last.level == segment.level
                                && last.given == given =>
                        {
                            last.to = to;
                        }
                        _ => pieces.push(Piece { from, to, tank, level: segment.level, given }),
                    }
                }
            }
        }
        pieces
    }
}

/// The rows on which the condition that had to hold did.
fn held(level: Level, given: Level) -> Option<Level> {
    (given == Some(HELD)).then_some(level)
}

/// The time of each specimen of which the end is known, in the order of the follow-up; of the others it depends on the
/// draw.
pub(super) struct Lives(Vec<Option<Vec<Piece>>>);

struct Piece {
    from: f64,
    to: f64,
    tank: Option<TankId>,
    level: Level,
    given: Level,
}

/// The tanks of a specimen from one calendar day to another; time that no stay covers has no tank.
pub(crate) fn stretches(stays: &[Stay], from: f64, end: f64) -> Vec<Stretch> {
    let mut stretches = Vec::new();
    let mut at = from;
    for (position, stay) in stays.iter().enumerate() {
        let last = position + 1 == stays.len();
        let from = day_number(stay.from).max(at);
        let mut to = stay.to.map_or(f64::INFINITY, day_number);
        // A stay closed on the day of the end holds the end, half a day after a death on the day of entry too.
        if last && to + 1.0 >= end {
            to = f64::INFINITY;
        }
        let to = to.min(end);
        if from >= to {
            continue;
        }
        if from > at {
            stretches.push(Stretch { tank: None, from: at, to: from });
        }
        stretches.push(Stretch { tank: Some(stay.tank), from, to });
        at = to;
    }
    if at < end {
        stretches.push(Stretch { tank: None, from: at, to: end });
    }
    stretches
}

impl Rows {
    /// Number of rows.
    pub fn len(&self) -> usize {
        self.episodes.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.episodes.is_empty()
    }

    /// The rows at these positions.
    pub fn subset(&self, keep: &[usize]) -> Rows {
        fn pick<T: Copy>(column: &[T], keep: &[usize]) -> Vec<T> {
            keep.iter().filter_map(|&row| column.get(row).copied()).collect()
        }
        Rows {
            episodes: self.episodes.subset(keep),
            specimen: pick(&self.specimen, keep),
            tank: pick(&self.tank, keep),
            keeper: pick(&self.keeper, keep),
            level: pick(&self.level, keep),
            cause: pick(&self.cause, keep),
        }
    }

    /// The same time with every row cut at this age.
    ///
    /// # Errors
    /// None for rows that were valid; the check is that of [`Episodes::validated`].
    pub fn split_at(&self, age: f64) -> Result<Rows, InvalidRow> {
        let mut rows = Rows::default();
        let (mut start, mut stop, mut event) = (Vec::new(), Vec::new(), Vec::new());
        for row in 0..self.len() {
            let (from, to) = (self.episodes.start[row], self.episodes.stop[row]);
            let end = (self.episodes.event[row], self.cause[row]);
            let cut = from < age && age < to;
            let parts: &[(f64, f64, (bool, u32))] =
                if cut { &[(from, age, (false, 0)), (age, to, end)] } else { &[(from, to, end)] };
            for &(from, to, (died, cause)) in parts {
                start.push(from);
                stop.push(to);
                event.push(died);
                rows.specimen.push(self.specimen[row]);
                rows.tank.push(self.tank[row]);
                rows.keeper.push(self.keeper[row]);
                rows.level.push(self.level[row]);
                rows.cause.push(cause);
            }
        }
        rows.episodes = Episodes::validated(start, stop, event)?;
        Ok(rows)
    }

    /// One cluster number a row: the tank, or one of its own for a keeper's corals of which no stay says.
    pub fn tanks_as_clusters(&self) -> Vec<u32> {
        let known = self.tank.iter().flatten().max().map_or(0, |tank| tank + 1);
        self.tank.iter().zip(&self.keeper).map(|(tank, keeper)| tank.unwrap_or(known + keeper)).collect()
    }

    /// The same time with every end an event, whichever it is.
    pub fn any_end(&self) -> Episodes {
        Episodes { event: self.cause.iter().map(|cause| *cause > 0).collect(), ..self.episodes.clone() }
    }

    /// Months at risk, over all rows.
    pub fn months(&self) -> f64 {
        self.episodes.time_at_risk() / MONTH_DAYS
    }
}
