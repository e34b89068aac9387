//! Answers about a taxon that are neither survival nor growth.

use serde::Serialize;

use super::{Asked, Caution, Evidence, Method, PlacedRefusal, SensitivityRun, State, TaxonAnswered};
use crate::refusal::Part;

/// An answer about a taxon.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TaxonAnswer<R> {
    /// State of the records.
    #[serde(flatten)]
    pub state: State,
    /// The question as understood.
    pub question: Asked,
    /// Taxon asked and answered.
    pub taxon: TaxonAnswered,
    /// What stands behind the figures.
    pub evidence: Part<Evidence>,
    /// The figures.
    pub result: Part<R>,
    /// Every refusal in the result, with where it stands.
    pub refusals: Vec<PlacedRefusal>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
    /// How it was computed.
    pub method: Method,
    /// The same figures under other rules.
    pub sensitivity: Vec<SensitivityRun>,
}
