//! What to bear in mind: one sentence for each code.

use crate::answer::{Caution, Outcome};
use crate::follow_up::Run;
use crate::vocabulary::OriginBasis;

fn caution(code: &'static str, sentence: String) -> Caution {
    Caution { code, sentence }
}

fn corals(count: u64) -> String {
    if count == 1 { "1 coral".to_owned() } else { format!("{count} corals") }
}

/// Said with every comparison.
pub fn association() -> Caution {
    caution(
        "association",
        "This shows what went together. Keepers chose their water, species and corals; careful keepers test more and \
         have steadier water; members who log are not all keepers, and corals never logged are absent. Tests speak for \
         some weeks, which blurs differences: a small ratio is no sign of a small difference. Never change water or \
         buy corals on the strength of a record."
            .to_owned(),
    )
}

/// An origin is what was said of it; `bases`: how it is known and for how many corals, empty where counts are not shown.
pub fn origin_as_said(bases: &[(Option<OriginBasis>, u64)]) -> Caution {
    let counts: Vec<String> = bases
        .iter()
        .map(|(basis, count)| {
            let words = match basis {
                Some(OriginBasis::OwnCutting) => "cut by their keepers",
                Some(OriginBasis::MemberCutting) => "cut by a member",
                Some(OriginBasis::Papers) => "by papers",
                Some(OriginBasis::SellerSaid) => "as the seller said",
                Some(OriginBasis::Guess) => "by a guess",
                None => "with no word on how it is known",
            };
            format!("{count} {words}")
        })
        .collect();
    let known = if counts.is_empty() {
        "by the seller, by papers, by a guess or by who cut it".to_owned()
    } else {
        crate::evidence::minimums::list(&counts)
    };
    caution(
        "origin_as_said",
        format!(
            "Where these corals come from is as it was said when they were got: {known}; nobody checked it. Corals of \
             unlike origin differ in size and in the year they were bought too; these records cannot separate that."
        ),
    )
}

/// Some logs never said since when they are complete.
pub fn entry_assumed(count: u64) -> Caution {
    caution(
        "entry_assumed",
        format!(
            "For {} nobody has said since when every loss was written down; the first day of their log was taken.",
            corals(count)
        ),
    )
}

/// Some deaths have a day under question.
pub fn date_held(count: u64) -> Caution {
    caution("date_held", format!("The day of death is under question for {}; the deaths are counted.", corals(count)))
}

/// Some deaths, or other events, are known to more than a week.
pub fn wide_intervals(outcome: Outcome, count: u64, draws: usize) -> Caution {
    caution(
        "wide_intervals",
        format!(
            "The {} is known only to more than a week for {}: curves and ratios are the mean over {draws} draws of \
             the day, and their limits allow for it.",
            outcome.words().one,
            corals(count)
        ),
    )
}

/// Many losses of one tank in a short time.
pub fn one_tank_event(outcome: Outcome, events: u64, ends: u64) -> Caution {
    let events = if events == 1 { "1 event".to_owned() } else { format!("{events} events") };
    caution(
        "one_tank_event",
        format!(
            "{ends} of the {} fell in {events} in which one tank {}three or more, or half of its corals, within two weeks.",
            outcome.words().ends,
            if outcome.counts_declines() { "had them in " } else { "lost " }
        ),
    )
}

/// Other rules change the figure.
pub fn sensitive(runs: &[Run]) -> Caution {
    let words: Vec<String> = runs.iter().map(|run| run.in_words().to_owned()).collect();
    caution(
        "sensitive",
        format!("The figure moves outside its limits with {}.", crate::evidence::minimums::list(&words)),
    )
}

/// The ratio changes with age.
pub fn not_proportional() -> Caution {
    caution(
        "not_proportional",
        "The ratio is not the same over time since acquisition; it is given for the first 90 days and for later."
            .to_owned(),
    )
}

/// Days on which the condition is unknown have another loss rate.
pub fn unknown_goes_with_survival(outcome: Outcome, unknown: f64, known: f64) -> Caution {
    let (more, less) = (super::comparison::two_digits(unknown), super::comparison::two_digits(known));
    caution(
        "unknown_goes_with_survival",
        format!(
            "On days with the condition unknown, {} per 100 coral-months were {more}, against {less} on days with it known: \
             testing itself goes with {}.",
            outcome.words().losses,
            if outcome.counts_declines() { "them" } else { "survival" }
        ),
    )
}

/// A penalised fit is printed.
pub fn wald_limits(outcome: Outcome) -> Caution {
    let few = match outcome {
        Outcome::Death | Outcome::DeathAfterDecline => "Deaths",
        Outcome::FirstSeriousDecline => "Serious declines",
        Outcome::DeathOrDecline => "Deaths and serious declines",
    };
    caution(
        "wald_limits",
        format!(
            "{few} are few: a penalised ratio stands beside, whose limits are approximate and do not allow for tanks."
        ),
    )
}

/// Death is another end than the decline asked about.
pub fn deaths_apart(count: Option<u64>) -> Caution {
    let who = count.map_or_else(|| "Corals".to_owned(), corals);
    caution(
        "deaths_apart",
        format!(
            "{who} that died with no serious decline seen first count apart: they are no decline, and they stay without one \
             in these shares. Tests and ratios compare how often corals still watched declined."
        ),
    )
}

/// Days are counted from the look that showed the decline.
pub fn from_first_poor_look() -> Caution {
    caution(
        "from_first_poor_look",
        "Days count from the look at which serious decline was first seen; it began earlier, by as much as looks lie apart. \
         Corals that died with no decline seen are not among these."
            .to_owned(),
    )
}

/// At some looks nothing was scored.
pub fn looks_without_score(without: u64, all: u64) -> Caution {
    caution(
        "looks_without_score",
        format!(
            "At {without} of {all} looks no condition, tissue cover or heads were written down: they count as looks at which \
             nothing serious was seen."
        ),
    )
}

/// Growth is that of the corals that lived.
pub fn survivors_measured() -> Caution {
    caution(
        "survivors_measured",
        "Corals that die stop being measured, and sizes are taken when a keeper feels like it: read growth beside \
         survival."
            .to_owned(),
    )
}

/// Figures are rounded for the reader.
pub fn rounded() -> Caution {
    caution(
        "rounded",
        "Counts are rounded to the nearest 5, days to the nearest 50, other figures to two digits, so that no keeper \
         can be singled out."
            .to_owned(),
    )
}

/// An exact answer, for the desk only.
pub fn not_for_passing_on() -> Caution {
    caution("not_for_passing_on", "Exact figures for the curators' desk: not for passing on.".to_owned())
}

/// A curve of a condition that changes.
pub fn present_state() -> Caution {
    caution(
        "present_state",
        "Corals join and leave these groups as the condition changes: each curve shows what would be seen if the \
         present condition were kept, not the fate of any set of corals."
            .to_owned(),
    )
}
