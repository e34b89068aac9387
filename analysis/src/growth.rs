//! Growth rates from repeated sizes of one specimen, and of groups of specimens.
//!
//! Sizes of unlike kind (diameter, area, weight, heads) or basis (skeleton, tissue) are never mixed: the caller passes
//! sizes of one measure, basis and segment, a cut or breakage starting a new segment. Specimens that die stop being
//! measured, so growth is shown beside survival.
//!
//! ```
//! use analysis::growth::specific_growth_rate;
//!
//! let growth = specific_growth_rate(&[0.0, 30.0], &[20.0, 23.0], 0.95)?;
//! assert!((growth.sgr_percent_per_day - 100.0 * (23.0f64 / 20.0).ln() / 30.0).abs() < 1e-12);
//! # Ok::<(), analysis::refusal::Refusal>(())
//! ```

pub mod falls; // sudden losses of size that no cut explains
pub mod group; // the usual slope of a group, and the difference of two
pub mod group_model; // the slopes of groups from one model
pub mod mixed_model; // many specimens at once
pub mod satterthwaite; // how sure an effect of a mixed model is
pub mod specific_rate; // relative growth per day
pub mod theil_sen; // the median of all slopes

pub use falls::unexplained_falls;
pub use group::{GroupSlope, SlopeDifference, group_slope, slope_difference};
pub use group_model::{GroupModel, Series, group_model};
pub use mixed_model::{MixedInput, MixedModel, mixed_model};
pub use satterthwaite::{Contrast, contrast};
pub use specific_rate::{LeastSquares, SpecificGrowthRate, least_squares, specific_growth_rate};
pub use theil_sen::{TheilSen, theil_sen};
