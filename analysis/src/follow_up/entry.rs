//! When a specimen came under observation.

use super::{End, day_number};
use crate::club::Specimen;

/// Widest interval of acquisition whose middle is taken, in days.
const WIDEST_ACQUISITION_DAYS: f64 = 31.0;

/// The day or days on which it was acquired; calendar days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Acquired {
    earliest: f64,
    latest: f64,
}

/// When it was acquired; `None` if unknown, open, or known to more than 31 days.
pub(super) fn acquired(specimen: &Specimen) -> Option<Acquired> {
    let days = specimen.acquired?;
    let (earliest, latest) = (day_number(days.earliest?), day_number(days.latest));
    (latest >= earliest && latest - earliest <= WIDEST_ACQUISITION_DAYS).then_some(Acquired { earliest, latest })
}

impl Acquired {
    pub(super) fn is_interval(self) -> bool {
        self.latest > self.earliest
    }

    /// Day 0: the middle, or the earliest day if the middle does not lie before the end.
    pub(super) fn day0_before(self, end: End) -> f64 {
        let middle = (self.earliest + self.latest) / 2.0;
        let last = match end {
            End::Alive(day) | End::Died(day) | End::DiedWithin { by: day, .. } => day,
        };
        if !self.is_interval() || middle < last { middle } else { self.earliest }
    }
}

/// The earliest day from which its log would have shown its death.
pub(super) fn observed_from(specimen: &Specimen, day0: f64) -> f64 {
    specimen.complete_since.or(specimen.log_first_day).map_or(day0, |day| day_number(day).max(day0))
}
