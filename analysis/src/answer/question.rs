//! What can be asked: a taxon, an outcome, a split, conditions and a horizon.

use serde::{Deserialize, Serialize};

use super::shape::State;
use crate::vocabulary::{CauseGroup, ParameterCode, TaxonSlug};

/// A question about survival.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// Species, genus or group.
    pub taxon: TaxonSlug,
    /// What ends the follow-up.
    pub outcome: Outcome,
    /// The split.
    pub by: By,
    /// Cut points in the condition's unit, ascending; `None` = the taught band, or the whole ladder where none is
    /// taught.
    pub edges: Option<Vec<f64>>,
    /// Only the days on which this held.
    pub given: Option<Given>,
    /// Day since acquisition at which survival is said, in days.
    pub horizon_days: f64,
    /// Only corals acquired on or after 1 January of this year.
    pub since: Option<i32>,
}

/// A question about growth.
#[derive(Debug, Clone, PartialEq)]
pub struct GrowthQuestion {
    /// Species, genus or group.
    pub taxon: TaxonSlug,
    /// The split.
    pub by: By,
    /// Cut points in the condition's unit, ascending; `None` as in [`Question::edges`].
    pub edges: Option<Vec<f64>>,
    /// Only corals acquired on or after 1 January of this year.
    pub since: Option<i32>,
}

/// What ends the follow-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Outcome {
    /// Death of the specimen.
    #[default]
    Death,
    /// First serious decline seen; death without one is another end ([`crate::follow_up::decline`]).
    FirstSeriousDecline,
    /// Death or first serious decline, whichever is first.
    DeathOrDecline,
    /// Death, in days since the first look that showed serious decline.
    DeathAfterDecline,
}

impl Outcome {
    /// All outcomes.
    pub const ALL: &'static [Outcome] =
        &[Outcome::Death, Outcome::FirstSeriousDecline, Outcome::DeathOrDecline, Outcome::DeathAfterDecline];

    /// The code as asked and printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Outcome::Death => "death",
            Outcome::FirstSeriousDecline => "first_serious_decline",
            Outcome::DeathOrDecline => "death_or_decline",
            Outcome::DeathAfterDecline => "death_after_decline",
        }
    }

    /// The outcome of a code.
    pub fn parse(code: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|outcome| outcome.as_str() == code)
    }

    /// Whether it is known from looks, not from deaths alone.
    pub const fn needs_looks(self) -> bool {
        !matches!(self, Outcome::Death)
    }

    /// Whether serious declines are among its ends.
    pub const fn counts_declines(self) -> bool {
        matches!(self, Outcome::FirstSeriousDecline | Outcome::DeathOrDecline)
    }

    /// Whether follow-up can also end by an event that is not the one asked about.
    pub const fn has_competing_end(self) -> bool {
        matches!(self, Outcome::FirstSeriousDecline)
    }

    /// What can end the follow-up, as printed, in the order of their numbers from 1: groups of causes of death, or the
    /// two kinds of end.
    pub fn ends(self) -> Vec<&'static str> {
        match self {
            Outcome::Death | Outcome::DeathAfterDecline => CauseGroup::ALL.iter().map(|cause| cause.as_str()).collect(),
            Outcome::FirstSeriousDecline | Outcome::DeathOrDecline => vec!["decline", "death_before_decline"],
        }
    }
}

/// Only the days on which a condition held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Given {
    /// Temperature, salinity, alkalinity, nitrate and phosphate all known and within the taxon's taught bands.
    WaterInBand,
}

impl Given {
    /// All conditions.
    pub const ALL: &'static [Given] = &[Given::WaterInBand];

    /// The code as asked and printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Given::WaterInBand => "water_in_band",
        }
    }

    /// The condition of a code.
    pub fn parse(code: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|given| given.as_str() == code)
    }
}

/// How the corals (or their days) are split.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum By {
    /// All together.
    None,
    /// Where they come from, as written at purchase.
    Origin,
    /// The name at purchase.
    Identification,
    /// The form at purchase.
    Form,
    /// Year of purchase.
    Year,
    /// Age of the tank at the time.
    TankAge,
    /// Years the keeper had kept reefs at the time.
    KeeperExperience,
    /// Feeds a week at the time.
    Feeding,
    /// Photon flux at the spot at the time.
    Light,
    /// Flow word at the time.
    Flow,
    /// Activated carbon in use at the time.
    Carbon,
    /// Share of the water changed a week at the time.
    WaterChange,
    /// Stinging corals in the tank at the time.
    Neighbours,
    /// A water value at the time: below, within or above the taught band, or steps of the ladder.
    Parameter(ParameterCode),
}

impl By {
    /// The splits that are not parameters, with their codes.
    pub const WORDS: &'static [(&'static str, By)] = &[
        ("none", By::None),
        ("origin", By::Origin),
        ("identification", By::Identification),
        ("form", By::Form),
        ("year", By::Year),
        ("tank_age", By::TankAge),
        ("keeper_experience", By::KeeperExperience),
        ("feeding", By::Feeding),
        ("light", By::Light),
        ("flow", By::Flow),
        ("carbon", By::Carbon),
        ("water_change", By::WaterChange),
        ("neighbours", By::Neighbours),
    ];

    /// The code as asked and printed.
    pub fn as_str(self) -> &'static str {
        match self {
            By::Parameter(code) => code.as_str(),
            word => Self::WORDS.iter().find(|(_, by)| *by == word).map_or("none", |(code, _)| code),
        }
    }

    /// Whether the split can change while a coral lives.
    pub fn varies_in_time(self) -> bool {
        !matches!(self, By::None | By::Origin | By::Identification | By::Form | By::Year)
    }
}

/// Who reads the answer. The rules for each are those of [`crate::disclosure`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Audience {
    /// Anyone, and the newsletter.
    Public,
    /// A member of the club.
    Member,
    /// A curator: exact, not for passing on.
    Curator,
    /// A keeper reading own records only: exact. The club handed over must hold nothing else.
    Keeper,
}

impl Audience {
    /// The code as printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Audience::Public => "public",
            Audience::Member => "member",
            Audience::Curator => "curator",
            Audience::Keeper => "keeper",
        }
    }
}

/// What an answer was computed from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamp {
    /// State of the records.
    pub state: State,
    /// Version of the program.
    pub program_version: String,
}

/// A question that cannot be asked in this form.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{parameter}: {message}")]
pub struct InvalidQuestion {
    /// Name of the part of the question at fault: `edges`, `horizon_days`, `since`, `by`, `given`.
    pub parameter: &'static str,
    /// What is wrong and what would do.
    pub message: String,
}
