//! Rows cut at fixed ages, and columns of 0 and 1.

use crate::episode::Episodes;
use crate::survival::cox::Covariate;

/// Ages in days at which the hazard may change.
pub const AGE_CUTS: [f64; 5] = [30.0, 90.0, 180.0, 365.0, 730.0];

/// The part of a row that lies in one piece of age.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    /// The row, from 0.
    pub row: usize,
    /// The piece: 0 up to and with the first cut, 1 after it, and so on.
    pub piece: usize,
    /// Time at risk in it.
    pub time: f64,
    /// Whether the row ends in it by a death.
    pub died: bool,
}

/// The rows cut at `cuts`, which rise. A death on the day of a cut belongs to the piece that ends there.
pub fn age_pieces(episodes: &Episodes, cuts: &[f64]) -> Vec<Piece> {
    let mut pieces = Vec::with_capacity(episodes.len());
    for row in 0..episodes.len() {
        let (start, stop) = (episodes.start[row], episodes.stop[row]);
        let mut from = start;
        let first = cuts.partition_point(|cut| *cut <= start);
        for piece in first..=cuts.len() {
            let end = cuts.get(piece).copied().unwrap_or(f64::INFINITY);
            let to = end.min(stop);
            let last = stop <= end;
            pieces.push(Piece { row, piece, time: to - from, died: last && episodes.event[row] });
            if last {
                break;
            }
            from = to;
        }
    }
    pieces
}

/// One column of 0 and 1 per level except `reference`, named `name` and the level's number from 1.
pub fn indicators(name: &str, level: &[usize], levels: usize, reference: usize) -> Vec<Covariate> {
    (0..levels)
        .filter(|own| *own != reference)
        .map(|own| Covariate {
            name: format!("{name} {}", own + 1),
            values: level.iter().map(|at| if *at == own { 1.0 } else { 0.0 }).collect(),
        })
        .collect()
}
