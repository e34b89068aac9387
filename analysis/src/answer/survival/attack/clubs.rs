//! Small clubs from a seed, and the same before one upload and after one withdrawal.

use crate::club::Club;

#[path = "../../../../tests/support/random_club.rs"]
pub(in crate::answer::survival) mod random_club;
#[path = "../../../../tests/support/club_builder.rs"]
pub(in crate::answer::survival) mod support;

use random_club::{Size, random_club};

/// Names that corals of the clubs have.
const SLUGS: &[&str] =
    &["acropora-millepora", "acropora-tenuis", "acropora-millepora", "acropora", "montipora-digitata"];
/// Taxa asked.
pub(super) const TAXA: &[&str] =
    &["sps", "acropora", "acropora-millepora", "acropora-tenuis", "montipora", "montipora-digitata"];

/// A club of 5 to 15 keepers with a few corals each: around the minimums, so that some cells pass and others do not.
pub(super) fn club(seed: u64) -> Club {
    let keepers = 5 + (seed * 7 % 11) as usize;
    random_club(seed, &Size { keepers, corals_per_tank: 1 + (seed % 5) as i64, slugs: SLUGS })
}

/// Who uploads and who withdraws.
pub(super) fn changing(club: &Club, seed: u64) -> u32 {
    (seed % club.keepers.len() as u64) as u32
}

/// The club before an upload that brings every second coral of a keeper.
pub(super) fn before_upload(club: &Club, keeper: u32) -> Club {
    let mut nth = 0;
    let mut before = club.clone();
    before.specimens.retain(|specimen| {
        nth += usize::from(specimen.keeper == keeper);
        specimen.keeper != keeper || nth % 2 == 0
    });
    before
}

/// The club without a keeper's corals and tests.
pub(super) fn after_withdrawal(club: &Club, keeper: u32) -> Club {
    let mut after = club.clone();
    let own: Vec<bool> = club.tanks.iter().map(|tank| tank.keeper == keeper).collect();
    after.specimens.retain(|specimen| specimen.keeper != keeper);
    after.readings.retain(|reading| !own[reading.tank as usize]);
    after.routines.retain(|routine| !own[routine.tank as usize]);
    after
}
