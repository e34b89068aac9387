//! Groups of a split: curves, rates and ratios of bands, origins, years.
//!
//! Rows join and leave groups as conditions change, so a curve of a group that changes over time is what would be seen
//! if its condition were kept, not the fate of any set of corals (Simon & Makuch 1984, Stat Med 3: 35–44, from memory).
//! Figures here are exact; minimums and refusals are those of the trade's few records, the same for every reader. What
//! may be shown to whom is decided afterwards.

pub mod contrast; // whether levels differ, and by how much
pub mod curve; // curve, share alive, median, mean and rate of one group
pub mod interaction; // fed or not, in water within the bands or outside
pub mod joint; // several conditions in one model
pub mod pieces; // losses by age
pub mod rows; // rows of specimens with their level, tank and keeper
pub mod sets; // rows with uncertain deaths drawn

pub use curve::{ClusterBy, GroupCurves};
pub use interaction::{Cell, Interaction};
pub use rows::{Frame, Rows};
pub use sets::Sets;
