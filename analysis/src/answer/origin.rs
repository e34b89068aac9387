//! How the origins of the corals of an answer are known.

use super::question::Audience;
use super::shape::Caution;
use crate::club::Club;
use crate::disclosure::block_minimum;
use crate::vocabulary::{Origin, OriginBasis};
use crate::wording::caution;

/// What to bear in mind where origin is the split, of these corals; counted for who reads exact figures.
pub(super) fn as_said(club: &Club, specimens: impl Iterator<Item = u32>, audience: Audience) -> Caution {
    if block_minimum(audience).is_some() {
        return caution::origin_as_said(&[]);
    }
    let known: Vec<Option<OriginBasis>> = specimens
        .filter_map(|id| club.specimens.get(id as usize))
        .filter(|specimen| specimen.origin.is_some_and(|origin| origin != Origin::Unknown))
        .map(|specimen| specimen.origin_basis)
        .collect();
    let bases: Vec<(Option<OriginBasis>, u64)> = OriginBasis::ALL
        .iter()
        .copied()
        .map(Some)
        .chain([None])
        .map(|basis| (basis, known.iter().filter(|own| **own == basis).count() as u64))
        .filter(|(_, count)| *count > 0)
        .collect();
    caution::origin_as_said(&bases)
}
