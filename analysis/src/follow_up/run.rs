//! The same figures under other rules: each shows what one choice of method does to the answer.

/// A set of rules. [`Run::Main`] is the answer; every other changes one rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Run {
    /// The rules of the answer itself.
    Main,
    /// Open rows of registers are no evidence of life.
    NoRegisterSightings,
    /// Specimens not found again are censored when last seen.
    MissingCensored,
    /// Specimens with an unclear fate died.
    HeldAsDeaths,
    /// Specimens that left in poor condition died that day.
    PoorExitsAsDeaths,
    /// Deaths with a written day happened a week before.
    Noticed14d,
    /// Without logs of which nobody said since when they are complete.
    NoAssumedEntry,
    /// Losses of three or more in one tank within 14 days are censored.
    WithoutTankEvents,
    /// A test speaks from its own day.
    Lag0,
    /// A test speaks for fewer days.
    ShortCarry,
    /// Corals are compared within their keeper's tanks only.
    WithinKeeper,
    /// Without specimens whose name is a guess.
    NoGuessedNames,
}

impl Run {
    /// Every run beside the main one, in the order printed.
    pub const BESIDE: &'static [Run] = &[
        Run::NoRegisterSightings,
        Run::MissingCensored,
        Run::HeldAsDeaths,
        Run::PoorExitsAsDeaths,
        Run::Noticed14d,
        Run::NoAssumedEntry,
        Run::WithoutTankEvents,
        Run::Lag0,
        Run::ShortCarry,
        Run::WithinKeeper,
        Run::NoGuessedNames,
    ];

    /// The name as printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Run::Main => "main",
            Run::NoRegisterSightings => "no_register_sightings",
            Run::MissingCensored => "missing_censored",
            Run::HeldAsDeaths => "held_as_deaths",
            Run::PoorExitsAsDeaths => "poor_exits_as_deaths",
            Run::Noticed14d => "noticed_14d",
            Run::NoAssumedEntry => "no_assumed_entry",
            Run::WithoutTankEvents => "without_tank_events",
            Run::Lag0 => "lag_0",
            Run::ShortCarry => "short_carry",
            Run::WithinKeeper => "within_keeper",
            Run::NoGuessedNames => "no_guessed_names",
        }
    }

    /// The rule in words, as the end of "with …".
    pub const fn in_words(self) -> &'static str {
        match self {
            Run::Main => "the rules of the answer",
            Run::NoRegisterSightings => "open rows of registers not taken as seen alive",
            Run::MissingCensored => "missing corals counted as last seen alive, not as lost",
            Run::HeldAsDeaths => "every unclear fate counted as a loss",
            Run::PoorExitsAsDeaths => "corals that left in poor condition counted as lost that day",
            Run::Noticed14d => "written losses dated a week earlier",
            Run::NoAssumedEntry => "only logs whose keeper said since when they are complete",
            Run::WithoutTankEvents => "losses of many corals of one tank within two weeks left out",
            Run::Lag0 => "tests speaking from their own day",
            Run::ShortCarry => "tests speaking for fewer days",
            Run::WithinKeeper => "corals compared within one keeper's tanks only",
            Run::NoGuessedNames => "guessed names left out",
        }
    }
}
