//! The lead sentence: "Of 10 bought, about 7 were alive after a year (5 to 9)."

use crate::answer::{Grade, Outcome};
use crate::refusal::{Refusal, RefusalCode};

/// How the corals of a figure came to their keepers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Started {
    /// None is a cutting of the keeper's own.
    Bought,
    /// All are.
    Cut,
    /// Some are.
    Either,
}

/// What the sentence is made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lead {
    /// What is asked about.
    pub outcome: Outcome,
    /// Share alive at the horizon.
    pub survival: f64,
    /// Lower published limit.
    pub lower: f64,
    /// Upper published limit.
    pub upper: f64,
    /// Days since acquisition.
    pub horizon: f64,
    /// Day from which the curve runs; 0 = from acquisition.
    pub start_time: f64,
    /// How they started.
    pub started: Started,
    /// Grade of the figure.
    pub grade: Grade,
    /// Corals join and leave the group as its condition changes.
    pub varies: bool,
}

/// A share as whole corals of `of`: half-up middle, limits rounded outward.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OutOf {
    /// 10 or 100.
    pub of: u32,
    /// Middle.
    pub middle: u32,
    /// Lower limit, rounded down.
    pub lower: u32,
    /// Upper limit, rounded up.
    pub upper: u32,
}

/// What a computed number may miss a whole one by and still be it.
const SLACK: f64 = 1e-9;
/// Limits of 10 this far apart say nothing.
const TELLS_NOTHING: u32 = 6;
/// Widest limits, as a share, that are said of 100.
const OF_HUNDRED_WIDTH: f64 = 0.20;

impl OutOf {
    /// The numbers of a share with limits.
    pub fn new(of: u32, survival: f64, lower: f64, upper: f64) -> OutOf {
        let n = f64::from(of);
        let whole = |x: f64| x.clamp(0.0, n) as u32;
        OutOf {
            of,
            middle: whole((n * survival + 0.5 + SLACK).floor()),
            lower: whole((n * lower + SLACK).floor()),
            upper: whole((n * upper - SLACK).ceil()),
        }
    }

    /// The numbers of a lead: of 100 only if the grade is strong and the limits are close.
    pub fn of_lead(lead: &Lead) -> OutOf {
        let close = lead.grade == Grade::Strong && lead.upper - lead.lower <= OF_HUNDRED_WIDTH + SLACK;
        OutOf::new(if close { 100 } else { 10 }, lead.survival, lead.lower, lead.upper)
    }

    /// Whether its limits, of 10, are close enough to say anything.
    pub fn tells(&self) -> bool {
        self.of != 10 || self.upper - self.lower < TELLS_NOTHING
    }

    /// "about 7 were alive …" without what follows.
    pub fn in_words(&self) -> String {
        match self.middle {
            0 => "hardly any".to_owned(),
            middle if middle == self.of => "nearly all".to_owned(),
            middle => format!("about {middle}"),
        }
    }
}

/// The lead sentence.
///
/// # Errors
/// `TooFewEvents` in words of its own where limits six or more of ten apart say nothing.
pub fn lead_sentence(lead: &Lead) -> Result<String, Refusal> {
    let numbers = OutOf::of_lead(lead);
    if !numbers.tells() {
        return Err(Refusal::plain(
            RefusalCode::TooFewEvents,
            format!("Cannot tell: anything between {} and {} of 10.", numbers.lower, numbers.upper),
        ));
    }
    let started = if lead.start_time > 0.0 {
        lead.outcome.at_start(lead.start_time)
    } else if lead.outcome == Outcome::DeathAfterDecline {
        "seen in serious decline".to_owned()
    } else {
        match lead.started {
            Started::Bought => "bought".to_owned(),
            Started::Cut => "started".to_owned(),
            Started::Either => "bought or started".to_owned(),
        }
    };
    let of = if lead.varies { "If the present condition were kept: of" } else { "Of" };
    Ok(format!(
        "{of} {} {started}, {} {} ({} to {}).",
        numbers.of,
        numbers.in_words(),
        lead.outcome.without_it(lead.horizon, lead.start_time > 0.0),
        numbers.lower,
        numbers.upper
    ))
}

/// What is said where nobody died, or nothing else asked about came: how many events would still fit.
pub fn no_event(outcome: Outcome, specimens: u64, days: f64) -> Refusal {
    // -ln(0.025): the exact upper 97.5 % limit of the mean of a Poisson count of 0.
    let years = days / 365.25;
    let most = (10.0 * -(-0.025_f64.ln().abs() / years).exp_m1() - SLACK).ceil().clamp(0.0, 10.0);
    Refusal::counted(
        RefusalCode::NoEvents,
        0.0,
        1.0,
        format!(
            "None of {specimens} {} in {:.0} coral-months; up to {most} of 10 a year would still fit, not allowing for \
             tanks.",
            outcome.words().lost,
            days / crate::exposure::MONTH_DAYS
        ),
    )
}
