//! What an outcome is called in sentences.

use super::horizon;
use crate::answer::Outcome;
use crate::refusal::RefusalCode;

/// The words of an outcome.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Words {
    /// One event.
    pub one: &'static str,
    /// Several.
    pub many: &'static str,
    /// Several, as counted in rates.
    pub losses: &'static str,
    /// How often they come.
    pub rate: &'static str,
    /// Everything that ends a follow-up, where that is more than the events.
    pub ends: &'static str,
    /// After a name: what happened to it.
    pub happened: &'static str,
    /// After "None of 14" and a space.
    pub lost: &'static str,
    /// After "Too few tanks" and a space.
    pub tanks_had: &'static str,
    /// From when days are counted.
    pub since: &'static str,
}

impl Outcome {
    /// Its words.
    pub const fn words(self) -> Words {
        const DEATH: Words = Words {
            one: "death",
            many: "deaths",
            losses: "losses",
            rate: "loss rate",
            ends: "losses",
            happened: "died",
            lost: "lost",
            tanks_had: "lost corals",
            since: "acquisition",
        };
        match self {
            Outcome::Death => DEATH,
            Outcome::DeathAfterDecline => Words { since: "the first poor look", ..DEATH },
            Outcome::FirstSeriousDecline => Words {
                one: "serious decline",
                many: "serious declines",
                losses: "serious declines",
                rate: "rate of serious declines",
                ends: "serious declines and deaths",
                happened: "declined",
                lost: "seen in serious decline",
                tanks_had: "had serious declines",
                since: "acquisition",
            },
            Outcome::DeathOrDecline => Words {
                one: "death or serious decline",
                many: "deaths or serious declines",
                losses: "deaths or serious declines",
                rate: "rate of deaths or serious declines",
                ends: "deaths or serious declines",
                happened: "died or declined",
                lost: "lost or seen in serious decline",
                tanks_had: "had deaths or serious declines",
                since: "acquisition",
            },
        }
    }

    /// After a number of corals: that they are without the outcome at a horizon. `still`: they were at the start.
    pub fn without_it(self, days: f64, still: bool) -> String {
        let at = horizon(days);
        match (self, still) {
            (Outcome::Death, _) => format!("were alive after {at}"),
            (Outcome::FirstSeriousDecline, false) => format!("had no serious decline by {at}"),
            (Outcome::FirstSeriousDecline, true) => format!("still had none by {at}"),
            (Outcome::DeathOrDecline, false) => format!("were alive without a serious decline after {at}"),
            (Outcome::DeathOrDecline, true) => format!("still were after {at}"),
            (Outcome::DeathAfterDecline, false) => format!("were alive {at} later"),
            (Outcome::DeathAfterDecline, true) => format!("were alive {at} after it"),
        }
    }

    /// After "of 10", beside another group: that they are without the outcome at a horizon.
    pub fn without_it_beside(self, days: f64) -> String {
        match self {
            Outcome::DeathAfterDecline => format!("were alive {} after a serious decline was seen", horizon(days)),
            other => other.without_it(days, false),
        }
    }

    /// After "Of 10": corals without the outcome on the day from which a curve runs that does not begin at 0.
    pub fn at_start(self, day: f64) -> String {
        match self {
            Outcome::Death => format!("alive at {day} days"),
            Outcome::FirstSeriousDecline => format!("without a serious decline at {day} days"),
            Outcome::DeathOrDecline => format!("alive without a serious decline at {day} days"),
            Outcome::DeathAfterDecline => format!("alive {day} days after a serious decline was seen"),
        }
    }
}

/// [`super::refusal`] where its words speak of deaths and the outcome is another.
pub fn refusal(code: RefusalCode, outcome: Outcome) -> &'static str {
    match (outcome, code) {
        (Outcome::FirstSeriousDecline, RefusalCode::NoEvents) => "no serious decline here",
        (Outcome::FirstSeriousDecline, RefusalCode::TooFewEvents) => "too few serious declines",
        (Outcome::FirstSeriousDecline, RefusalCode::Separation) => "serious declines on one side only",
        (Outcome::DeathOrDecline, RefusalCode::NoEvents) => "no death or serious decline here",
        (Outcome::DeathOrDecline, RefusalCode::TooFewEvents) => "too few deaths or serious declines",
        (Outcome::DeathOrDecline, RefusalCode::Separation) => "deaths or serious declines on one side only",
        (_, code) => super::refusal(code),
    }
}
