//! When corals are lost: deaths and days at risk in pieces of age.

use super::curve::loss_rate;
use super::rows::Rows;
use crate::answer::HazardPiece;
use crate::evidence::minimums;
use crate::refusal::Refusal;

/// Ages in days at which the pieces are cut.
const CUTS: &[f64] = &[30.0, 90.0, 180.0, 365.0, 730.0];

/// One piece before its rate.
struct Piece {
    from: f64,
    to: Option<f64>,
    deaths: u64,
    days: f64,
    keepers: std::collections::BTreeSet<u32>,
}

/// Losses by age, in pieces with at least three deaths and `keepers` keepers each that are told beside all other answers, as
/// `is_told` says from their ages; others are joined with the next, the last with the one before.
///
/// # Errors
/// As [`loss_rate`]: no time at risk at all.
pub fn hazard_by_age(
    rows: &Rows,
    keepers: u64,
    mut is_told: impl FnMut(f64, Option<f64>) -> bool,
) -> Result<Vec<HazardPiece>, Refusal> {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut from = 0.0;
    for to in CUTS.iter().copied().map(Some).chain([None]) {
        pieces.push(piece(rows, from, to));
        from = to.unwrap_or(f64::INFINITY);
    }
    pieces.retain(|piece| piece.days > 0.0);
    let mut enough = |piece: &Piece| {
        piece.deaths >= minimums::PIECE_DEATHS && piece.keepers.len() as u64 >= keepers && is_told(piece.from, piece.to)
    };
    let mut joined: Vec<Piece> = Vec::new();
    for piece in pieces {
        match joined.last_mut() {
            Some(last) if !enough(last) => join(last, piece),
            _ => joined.push(piece),
        }
    }
    while joined.len() > 1 && joined.last().is_some_and(|last| !enough(last)) {
        if let (Some(last), Some(before)) = (joined.pop(), joined.last_mut()) {
            join(before, last);
        }
    }
    // The whole is told anyway, but not that some ages hold none of it.
    if let [only] = joined.as_mut_slice()
        && !is_told(only.from, only.to)
    {
        (only.from, only.to) = (0.0, None);
    }
    joined
        .into_iter()
        .map(|piece| {
            let rate = loss_rate(piece.deaths, piece.days)?;
            Ok(HazardPiece {
                from_day: piece.from,
                to_day: piece.to,
                events: piece.deaths,
                specimen_days: piece.days,
                rate: rate.per_100_months,
                lower: rate.lower,
                upper: rate.upper,
            })
        })
        .collect()
}

fn join(into: &mut Piece, next: Piece) {
    into.to = next.to;
    into.deaths += next.deaths;
    into.days += next.days;
    into.keepers.extend(next.keepers);
}

fn piece(rows: &Rows, from: f64, to: Option<f64>) -> Piece {
    let end = to.unwrap_or(f64::INFINITY);
    let mut piece = Piece { from, to, deaths: 0, days: 0.0, keepers: Default::default() };
    for row in 0..rows.len() {
        let (start, stop) = (rows.episodes.start[row], rows.episodes.stop[row]);
        let days = stop.min(end) - start.max(from);
        if days > 0.0 {
            piece.days += days;
            piece.keepers.insert(rows.keeper[row]);
        }
        if rows.episodes.event[row] && stop > from && stop <= end {
            piece.deaths += 1;
        }
    }
    piece
}
