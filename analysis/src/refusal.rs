//! What cannot be said, and what is lacking. A refusal is an answer: data, never an error and never a zero.

use serde::{Deserialize, Serialize};

/// Why a figure is not given. Names are public and stable.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[non_exhaustive]
pub enum RefusalCode {
    /// No death among the rows.
    NoEvents,
    /// Fewer deaths than the figure needs.
    TooFewEvents,
    /// A group without rows.
    EmptyGroup,
    /// Fewer specimens than the figure needs.
    TooFewSpecimens,
    /// Fewer tanks than the figure needs.
    TooFewTanks,
    /// Fewer keepers than the figure needs.
    TooFewKeepers,
    /// Fewer clusters than a clustered interval needs.
    TooFewClusters,
    /// Fewer than five at risk.
    RiskSetTooSmall,
    /// The asked time lies after the last observed time.
    BeyondFollowUp,
    /// Deaths on one side of a covariate only.
    Separation,
    /// A constant or collinear covariate.
    Singular,
    /// The iteration did not settle.
    NotConverged,
    /// Figures made under unlike definitions.
    DifferentDefinitions,
    /// Too few keepers, tanks or specimens to show to this audience.
    Suppressed,
    /// Most living specimens were never looked at.
    NoLooks,
    /// Looks are too far apart for this outcome.
    LooksTooRare,
    /// Too many days with unknown conditions.
    UnknownExposure,
    /// Most deaths of a group come from one event in one tank.
    OneTankEvent,
    /// Known only once the release is made.
    AwaitsRelease,
    /// A split that is never given.
    NotAsked,
    /// The input itself cannot be used.
    InvalidInput,
}

/// A figure that is not given: the reason, what there is, what it would need, in words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Refusal {
    /// The reason.
    pub code: RefusalCode,
    /// What there is, in the unit of `need`.
    pub have: Option<f64>,
    /// What the figure needs.
    pub need: Option<f64>,
    /// One plain sentence.
    pub message: String,
}

impl Refusal {
    /// A refusal that counts something: `have` of the `need` that the figure asks for.
    pub fn counted(code: RefusalCode, have: f64, need: f64, message: impl Into<String>) -> Self {
        Refusal { code, have: Some(have), need: Some(need), message: message.into() }
    }

    /// A refusal without counts.
    pub fn plain(code: RefusalCode, message: impl Into<String>) -> Self {
        Refusal { code, have: None, need: None, message: message.into() }
    }
}

impl std::fmt::Display for Refusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Refusal {}

/// A part of an answer: the object itself, or `{"refused": {…}}`; never both and never neither.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Part<T> {
    /// The figure is not given.
    Refused {
        /// Why, and what is lacking.
        refused: Refusal,
    },
    /// The figure.
    Given(T),
}

impl<T> Part<T> {
    /// The figure, if given.
    pub fn given(&self) -> Option<&T> {
        match self {
            Part::Given(value) => Some(value),
            Part::Refused { .. } => None,
        }
    }
}

impl<T> From<Result<T, Refusal>> for Part<T> {
    fn from(result: Result<T, Refusal>) -> Self {
        match result {
            Ok(value) => Part::Given(value),
            Err(refused) => Part::Refused { refused },
        }
    }
}
