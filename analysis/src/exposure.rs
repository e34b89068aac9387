//! The conditions at each moment, from the past only.
//!
//! A condition is a step function of calendar time with numbered levels; a level that is not known is `None`, never a
//! default. A test can be read only through [`Series::up_to`], which hands out the tests of a day or earlier: no level
//! can depend on what was measured later, and no condition is a mean over a whole life (a coral that dies early would
//! choose its own condition). Nothing here knows whether a specimen died.

pub mod band; // taught bands and ladders: which level a value lies in
mod by_tank; // the levels of a parameter, tank by tank
mod carry; // how long a test speaks
pub mod condition; // the split of a question as levels at each moment
pub mod given; // days on which a list of conditions held
mod habit; // feeding, carbon, changes of water
mod happening; // incidents, many losses in a tank, a keeper's earlier losses
mod neighbours; // who else is in the tank
mod place; // light and flow at the spot
mod season; // halves of the year
mod series; // the tests of one tank and parameter
mod steps; // step functions of calendar time
pub mod trailing; // means over the days before
mod wander; // spread, rate of change and gaps of tests

pub use band::{ABOVE as ABOVE_BAND, BELOW as BELOW_BAND, Band, Scale, WITHIN as WITHIN_BAND};
pub use carry::{Carry, levels};
pub use condition::{Condition, Factor, LevelName, Rules};
pub use series::{Meaning, Past, Series, Test};
pub use steps::{Level, Segment, Steps};

/// Days of a month, everywhere.
pub const MONTH_DAYS: f64 = 30.4375;
/// Days before a test, a habit or a place speaks: ailing corals get tested, fed and moved.
pub const LAG_DAYS: f64 = 14.0;

#[cfg(test)]
mod tests;
