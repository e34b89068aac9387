//! What can happen to a specimen, why, and where it came from. The words members use for each are data
//! (`catalogue/outcomes.toml`); the meanings are types, so that no estimator can forget one.

use serde::{Deserialize, Serialize};

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
