//! How long specimens live: one estimator, one file. Every estimator takes [`crate::episode::Episodes`].
//!
//! Estimators refuse only what cannot be computed (no death, a singular fit); how many deaths a printed figure
//! needs is decided elsewhere. Times, horizons and limits are in the unit of the rows, usually days.
//!
//! ```
//! use analysis::episode::Episodes;
//! use analysis::survival::{Interval, kaplan_meier};
//!
//! let rows = Episodes::validated(vec![0.0; 4], vec![10.0, 20.0, 20.0, 30.0], vec![true, true, false, false])?;
//! let curve = kaplan_meier(&rows, None, Interval::LogLog);
//! assert_eq!(curve.survival_at(25.0).map(|step| step.survival), Some(0.5));
//! # Ok::<(), analysis::episode::InvalidRow>(())
//! ```

pub mod cox; // hazard ratios
pub mod cumulative_incidence; // what became of them: competing causes
pub mod e_value; // how strong one hidden cause would need to be
pub mod event_free; // the share without an event beside which there are other ends
pub mod fewest_losses; // the range of a condition with fewest losses so far
pub mod hazard_smooth; // the hazard as a smooth curve
pub mod kaplan_meier; // the share still alive
pub mod log_rank; // do groups differ
pub mod matched_sets; // losses and others alive at the same age
pub mod nelson_aalen; // the accumulated hazard
pub mod piecewise_exponential; // hazards constant within pieces of age
pub mod planning; // how many records a question needs
pub mod quantile; // the day by which a share had died
pub mod rates; // deaths per time at risk
pub mod restricted_mean; // days of life within a horizon
pub mod risk; // who is at risk at which death
pub mod turnbull; // the share still alive when deaths lie between two looks

pub use cox::{Covariate, CoxFit, CoxInput, CoxOptions, Ties, cox};
pub use cumulative_incidence::{CumulativeIncidence, cumulative_incidence};
pub use event_free::{clustered_incidence_std_errors, event_free};
pub use fewest_losses::{FewestLosses, LossCell, bin_test, fewest_losses};
pub use kaplan_meier::{Interval, KaplanMeier, Step, club_start_time, clustered_std_errors, kaplan_meier};
pub use log_rank::{LogRank, log_rank, trend};
pub use matched_sets::{MatchedFit, MatchedInput, conditional_logistic, draw_controls};
pub use nelson_aalen::{NelsonAalen, nelson_aalen};
pub use piecewise_exponential::{Cells, RateFit, piecewise_exponential};
pub use quantile::{Quantile, quantile};
pub use rates::{Rate, rate, rate_ratio};
pub use restricted_mean::{RestrictedMean, restricted_mean, restricted_mean_difference, restricted_mean_influence};
pub use turnbull::{Turnbull, TurnbullBox, turnbull};
