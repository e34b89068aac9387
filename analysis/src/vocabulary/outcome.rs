//! What can happen to a specimen, why, and where it came from. The words members use for each are data
//! (`catalogue/outcomes.toml`); the meanings are types, so that no estimator can forget one.

use serde::{Deserialize, Serialize};

mod fate; // a remark to a fate
mod lookup; // words of columns
mod table; // from the file to the types

pub use fate::{FateMatch, find_fate, find_manner};
pub use lookup::{
    DoneMatch, Look, MeasureMatch, SourceMatch, find_cause, find_cause_in_remark, find_closing, find_condition,
    find_done, find_flow_word, find_happening, find_height_word, find_incident, find_incident_in_remark, find_measure,
    find_origin, find_origin_basis, find_routine, find_size_basis, find_source_kind,
};
pub(super) use table::Outcomes;

use super::UnitCode;

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident => $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum $name {
            $($(#[$vdoc])* #[serde(rename = $word)] $variant),+
        }

        impl $name {
            /// All values, in the order of the catalogue.
            pub const ALL: &'static [$name] = &[$($name::$variant),+];

            /// The code as stored and printed.
            pub const fn as_str(self) -> &'static str {
                match self { $($name::$variant => $word),+ }
            }

            /// The value of a code.
            pub fn parse(code: &str) -> Option<Self> {
                match code { $($word => Some($name::$variant),)+ _ => None }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.as_str())
            }
        }
    };
}

words!(
    /// What became of a specimen; one per specimen, dated. No fate = alive as far as known.
    Fate {
        /// Death: the event.
        Died => "died",
        /// Not found: an event of unknown cause; the run that censors it is always printed beside.
        Missing => "missing",
        /// Given away, sold, swapped, returned: censored.
        Left => "left",
        /// All of it made into cuttings: censored.
        CutUp => "cut_up",
        /// Its tank was shut: censored, unless because everything died.
        TankClosed => "tank_closed",
        /// Its keeper stopped logging: censored at the last evidence of life.
        KeeperLeft => "keeper_left",
        /// Dead in the bag: never at risk.
        ArrivedDead => "arrived_dead",
    }
);

words!(
    /// Group of a death's primary cause.
    CauseGroup {
        /// Water, light, flow, food, stings, arrival, treatment.
        Husbandry => "husbandry",
        /// Heaters, pumps, power, leaks, lamps.
        Equipment => "equipment",
        /// Overdose by hand, poison, knocks.
        Accident => "accident",
        /// Fish, crabs, worms, snails and other pests.
        Predation => "predation",
        /// Not said, guessed only, or missing.
        Unknown => "unknown",
    }
);

words!(
    /// Where a specimen comes from.
    Origin {
        /// Collected in the sea.
        WildCollected => "wild_collected",
        /// Farmed in the sea.
        Maricultured => "maricultured",
        /// Cutting of captive stock.
        CaptiveGrown => "captive_grown",
        /// Sexually bred in captivity.
        CaptiveBred => "captive_bred",
        /// A bare "cultured", "farmed".
        FarmedUnclear => "farmed_unclear",
        /// Not known.
        Unknown => "unknown",
    }
);

words!(
    /// How an origin is known.
    OriginBasis {
        /// Cut by the keeper.
        OwnCutting => "own_cutting",
        /// Cut by a member.
        MemberCutting => "member_cutting",
        /// Papers.
        Papers => "papers",
        /// The seller said so.
        SellerSaid => "seller_said",
        /// A guess.
        Guess => "guess",
    }
);

words!(
    /// How a coral looked.
    LookState {
        /// Alive, nothing more said.
        Alive => "alive",
        /// Open and normal.
        Open => "open",
        /// Closed, pale or shrunken, at least half alive.
        Off => "off",
        /// Less than half alive, or half its heads gone.
        Poor => "poor",
        /// Dead.
        Dead => "dead",
        /// Given away, sold, swapped.
        Left => "left",
        /// Not found.
        NotFound => "not_found",
    }
);

impl LookState {
    /// The condition that the bare word stands for: open 4, off 3, poor 2, dead 0.
    pub const fn usual_score(self) -> Option<u8> {
        match self {
            LookState::Open => Some(4),
            LookState::Off => Some(3),
            LookState::Poor => Some(2),
            LookState::Dead => Some(0),
            LookState::Alive | LookState::Left | LookState::NotFound => None,
        }
    }

    /// The word of a condition 0 to 5; higher counts as open.
    pub const fn of_score(score: u8) -> LookState {
        match score {
            0 => LookState::Dead,
            1 | 2 => LookState::Poor,
            3 => LookState::Off,
            _ => LookState::Open,
        }
    }
}

/// A cause of death.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cause {
    /// Code.
    pub code: &'static str,
    /// Its group.
    pub group: CauseGroup,
    /// In words.
    pub name: &'static str,
}

/// A sign seen at a look; never a fate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sign {
    /// Code.
    pub code: &'static str,
    /// How a death looked, if it stands beside one.
    pub manner: Option<&'static str>,
    /// Without a word of death beside it, it is asked.
    pub unclear: bool,
}

/// A code with its words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Term {
    /// Code.
    pub code: &'static str,
    /// As printed.
    pub name: &'static str,
    /// Words of a column.
    pub words: Vec<&'static str>,
}

/// What is measured of a coral's size.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// Code.
    pub code: &'static str,
    /// As printed.
    pub name: &'static str,
    /// The unit it is stored in.
    pub unit: UnitCode,
    /// What it is always taken on, where that is certain.
    pub basis: Option<&'static str>,
    /// Units that convert.
    pub accepts: Vec<MeasureUnit>,
}

/// A unit that a size is written in: `written * scale / divisor`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasureUnit {
    /// As written.
    pub unit: UnitCode,
    /// Multiplies.
    pub scale: f64,
    /// Divides.
    pub divisor: f64,
}

/// What a size was taken on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SizeBasis {
    /// Code.
    pub code: &'static str,
    /// It measures growth in fleshy kinds too.
    pub growth: bool,
}
