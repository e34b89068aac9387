//! The pieces that a release decides on one by one, and who is in each: splits, whose older figures stand as a whole, and
//! lines of conditions and of the weeks before losses, which are withheld alone.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::conditions::shown::{line_code, of_no_split};
use super::lead_up::held::{LossesOnRecord, Moments, line_codes};
use super::question::By;
use super::survival::holdings::{Holdings, OnRecord, code_of_split, splits};
use super::survival::records::Divided;
use crate::club::{Club, ClubBand};
use crate::exposure::{Band, Factor};
use crate::follow_up::Population;

/// Members that must have changed a piece before it changes.
pub const MEMBERS: usize = 3;
/// The code of answers that are not split.
pub const UNDIVIDED: &str = "none";
/// The code of what is on record, also of corals that were never under observation.
pub const ON_RECORD: &str = "on_record";

/// A piece.
#[derive(Debug, Clone, PartialEq)]
pub enum Piece {
    /// Answers by one split, or by none.
    Split(By),
    /// Counts of what is on record.
    OnRecord,
    /// The line of a condition by which no answer on survival is split.
    Condition(Factor),
    /// The lines about the weeks before losses of one condition or sign, by their code.
    LeadUp(String),
}

impl Piece {
    /// Those whose older figures stand where they may not follow.
    pub fn standing() -> Vec<Piece> {
        splits().into_iter().map(Piece::Split).chain([Piece::OnRecord]).collect()
    }

    /// Those that are withheld where they may not follow.
    pub fn lines(club: &Club, population: &Population) -> Vec<Piece> {
        let conditions = of_no_split(population.taxon).map(Piece::Condition);
        conditions.chain(line_codes(club, population).into_iter().map(Piece::LeadUp)).collect()
    }

    /// Its code.
    pub fn code(&self) -> String {
        match self {
            Piece::Split(by) => code_of_split(*by).to_owned(),
            Piece::OnRecord => ON_RECORD.to_owned(),
            Piece::Condition(factor) => line_code(*factor),
            Piece::LeadUp(code) => code.clone(),
        }
    }
}

/// What is on record of a population, by any piece.
pub struct Records<'a> {
    cells: OnRecord<'a>,
    losses: Option<LossesOnRecord<'a>>,
}

impl<'a> Records<'a> {
    /// What the standing pieces are made from.
    pub fn of(club: &'a Club, population: &Population) -> Records<'a> {
        Records { cells: OnRecord::of(club, population), losses: None }
    }

    /// What the lines are made from too.
    pub fn with_lines(club: &'a Club, population: &Population) -> Records<'a> {
        Records { losses: Some(LossesOnRecord::of(club, population)), ..Records::of(club, population) }
    }
}

impl<'a> Records<'a> {
    /// The same, cut at the edges of another release's bands too, so that blocks of both are made of the same cells.
    pub fn beside(self, bands: &'a [ClubBand]) -> Records<'a> {
        Records { cells: self.cells.beside(bands), ..self }
    }
}

/// Whether the club's own bands give a population, or what it is part of, another band of anything.
pub fn teaches_otherwise(population: &Population, one: &[ClubBand], other: &[ClubBand]) -> bool {
    let taught = one.iter().chain(other).map(|band| band.parameter);
    let pairs: BTreeSet<_> =
        taught.flat_map(|code| population.taxon.ancestors().into_iter().map(move |of| (of, code))).collect();
    let key = |bands, (taxon, code)| Band::among(bands, taxon, code).map(|band| band.key());
    pairs.into_iter().any(|pair| key(one, pair) != key(other, pair))
}

/// Who is in a piece.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Held {
    /// What members hold in cells.
    Cells(Holdings),
    /// What members have in lines.
    Moments(Moments),
}

impl Held {
    /// Who is in a piece; `key` gives a member's key. Empty where nothing is on record.
    pub fn of(records: &Records, piece: &Piece, key: &dyn Fn(u32) -> Option<String>) -> Held {
        match piece {
            Piece::Split(by) => Held::Cells(Holdings::of(&records.cells, Divided::By(*by), key)),
            Piece::OnRecord => Held::Cells(Holdings::of_all(&records.cells, key)),
            Piece::Condition(factor) => Held::Cells(Holdings::of(&records.cells, Divided::Factor(*factor), key)),
            Piece::LeadUp(code) => {
                Held::Moments(records.losses.as_ref().map_or_else(Moments::default, |of| Moments::of(of, code, key)))
            }
        }
    }

    /// Whether these figures may follow older ones of the same piece.
    pub fn may_follow(&self, older: &Held) -> bool {
        match (self, older) {
            (Held::Cells(newer), Held::Cells(older)) => newer.may_follow(older),
            (Held::Moments(newer), Held::Moments(older)) => newer.may_follow(older),
            // Written down of another piece: nothing can be told of it.
            _ => false,
        }
    }

    /// The same without anything that those who are no members any more had written: only that they were in it.
    pub fn without_the_gone(self, is_member: impl Fn(&str) -> bool) -> Held {
        match self {
            Held::Cells(holdings) => Held::Cells(holdings.without_the_gone(is_member)),
            Held::Moments(moments) => Held::Moments(moments.without_the_gone(is_member)),
        }
    }
}
