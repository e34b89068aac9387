//! What became of a coral: its fate, its day, its cause. A certain end is never held back for its day; what is unclear
//! is asked.

use analysis::vocabulary::{
    Cause, CauseGroup, Fate, FateMatch, LookState, find_cause, find_condition, find_fate, find_manner,
};
use chrono::NaiveDate;

use crate::canonical::date_column::{Bounds, DayOf};
use crate::canonical::{Cells, Work};
use crate::cell::fold;
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::record::{Ending, Place};

mod day_told; // the day in the text of the fate

/// What a row says about an end.
#[derive(Debug, Clone)]
pub(crate) struct End {
    /// Label of the coral.
    pub label: String,
    /// Cell that stands for the row in questions about it.
    pub row_cell: Spot,
    /// The day it ended.
    pub day: DayOf,
    /// The cell of that day, as written.
    pub day_cell: Option<(Spot, String)>,
    /// What became of it, as written.
    pub fate: Option<(Spot, String)>,
    /// The fate stands in a column of its own, not in remarks.
    pub fate_column: bool,
    /// Cause, as written.
    pub cause: Option<(Spot, String)>,
    /// How it looked then, as written.
    pub looked: Option<(Spot, String)>,
    /// Last day seen alive.
    pub last_seen: Option<NaiveDate>,
    /// Header of the end column: "Died" says what "Gone" does not.
    pub header: String,
    /// When it was acquired, if that is certain.
    pub acquired: Option<Bounds>,
    /// Cells that say another end of the same coral.
    pub others: Vec<(Spot, String)>,
}

/// What became of it.
#[derive(Debug, Clone)]
pub(crate) enum Became {
    /// Alive; with signs as written, and the condition if it names one.
    Living {
        /// `alive`, `open`, `off`, `poor`.
        status: &'static str,
        /// 1–5.
        condition: Option<i16>,
        /// As written.
        remark: Option<(Spot, String)>,
        /// A cut that the mother survived: its day.
        cut: Option<NaiveDate>,
    },
    /// It ended.
    Ended(Box<Ending>, Option<u32>),
    /// Its fate waits for an answer; the bounds of its day.
    Held(Option<Box<Ending>>),
    /// The end was left out by an answer.
    LeftOut,
}

struct Said {
    fate: Fate,
    cause: Option<&'static Cause>,
    manner: Vec<&'static str>,
    kind: Option<&'static str>,
    /// Cuttings saved from a dying mother.
    rescued: Option<u32>,
}

impl Said {
    fn plain(fate: Fate) -> Self {
        Said { fate, cause: None, manner: Vec::new(), kind: None, rescued: None }
    }
}

enum Step {
    Said(Said),
    Became(Became),
}

/// Decides what became of a coral.
pub(crate) fn decide(work: &mut Work, end: &End) -> Became {
    let found = end.fate.as_ref().map_or(FateMatch::NoWord, |(_, text)| match find_fate(text) {
        // A ticked header is no remark: "Swapped on".
        FateMatch::NoWord if end.fate_column => implied(text),
        found => found,
    });
    let told = match (&end.day, &end.fate, &found) {
        (DayOf::Absent, Some((spot, text)), FateMatch::Fate { .. } | FateMatch::RescueCut { .. }) => {
            day_told::day(work, text).map(|day| End { day, day_cell: Some((*spot, text.clone())), ..end.clone() })
        }
        _ => None,
    };
    let end = told.as_ref().unwrap_or(end);
    let has_end = !matches!(end.day, DayOf::Absent);
    let step = match found {
        _ if !end.others.is_empty() => contradicts(work, end),
        FateMatch::Fate { fate, cause, manner, kind } => Step::Said(Said { fate, cause, manner, kind, rescued: None }),
        FateMatch::RescueCut { pieces, cause, manner } => {
            if let Some((spot, text)) = &end.fate {
                let doubt = Doubt::of("rescue_cut_read")
                    .about(fold::name(&end.label))
                    .at(*spot, text)
                    .fill("label", &end.label)
                    .fill("written", text)
                    .cell(*spot, "fate");
                work.desk.raise(doubt);
            }
            Step::Said(Said { fate: Fate::Died, cause, manner, kind: None, rescued: Some(pieces.unwrap_or(0)) })
        }
        FateMatch::Unclear { cause, manner, .. } if has_end && dies(end) => {
            Step::Said(Said { cause, manner, ..Said::plain(Fate::Died) })
        }
        FateMatch::Unclear { word, cause, manner } => unclear(work, end, word, cause, manner),
        FateMatch::Several { .. } => contradicts(work, end),
        FateMatch::Alive { .. } if has_end => match end.fate.as_ref().and_then(|(_, text)| find_manner(text)) {
            Some(manner) if dies(end) => Step::Said(Said { manner, ..Said::plain(Fate::Died) }),
            _ => contradicts(work, end),
        },
        // "Not seen" is no sign of life.
        FateMatch::Alive { signs } if end.fate_column && signs.as_slice() == ["not_seen"] => {
            let word = end.fate.as_ref().map(|(_, text)| analysis::vocabulary::text::fold(text)).unwrap_or_default();
            unclear(work, end, &word, None, Vec::new())
        }
        FateMatch::Alive { .. } => Step::Became(living(end)),
        FateMatch::Cut { .. } if has_end => cut_or_end(work, end),
        FateMatch::Cut { .. } => Step::Became(living(end)),
        FateMatch::NoWord => no_word(work, end, has_end),
    };
    match step {
        Step::Became(became) => became,
        Step::Said(said) => ended(work, end, said),
    }
}

fn living(end: &End) -> Became {
    let look = end.fate.as_ref().and_then(|(_, text)| find_condition(text));
    let status = match look.map(|look| look.state) {
        Some(LookState::Open) => "open",
        Some(LookState::Off) => "off",
        Some(LookState::Poor) => "poor",
        _ => "alive",
    };
    Became::Living {
        status,
        condition: look.and_then(|look| look.score).map(i16::from).filter(|_| status != "alive"),
        remark: end.fate.clone(),
        cut: None,
    }
}

/// A header such as "Died on" or "Date swapped" says the fate of every day under it.
pub(crate) fn implied(header: &str) -> FateMatch {
    const DAYS: [&str; 17] = [
        "date", "day", "of", "on", "when", "datum", "tag", "am", "jour", "de", "le", "fecha", "dia", "el", "dag",
        "van", "op",
    ];
    let header = header.split(['(', '[']).next().unwrap_or(header);
    match find_fate(header) {
        FateMatch::NoWord => {}
        found => return found,
    }
    let words = analysis::vocabulary::text::words(header);
    let rest: Vec<&str> = words.iter().map(String::as_str).filter(|word| !DAYS.contains(word)).collect();
    if rest.len() == words.len() { FateMatch::NoWord } else { find_fate(&rest.join(" ")) }
}

/// The column of the end is one of deaths: a sign beside a day in it ("RTN", "brown jelly") is how the coral died.
fn dies(end: &End) -> bool {
    matches!(implied(&end.header), FateMatch::Fate { fate: Fate::Died, .. })
}

fn no_word(work: &mut Work, end: &End, has_end: bool) -> Step {
    let text = end.fate.as_ref().map(|(_, text)| text.as_str());
    let look = text.and_then(find_condition).map(|look| look.state);
    match look {
        Some(LookState::Dead) => return Step::Said(Said::plain(Fate::Died)),
        Some(LookState::Left) => return Step::Said(Said::plain(Fate::Left)),
        Some(LookState::NotFound) => return Step::Said(Said::plain(Fate::Missing)),
        Some(_) if !has_end => return Step::Became(living(end)),
        _ => {}
    }
    if !has_end {
        return match text {
            // A word in the column of fates that no table holds is asked about, never taken for alive.
            Some(text) if end.fate_column => {
                let word = analysis::vocabulary::text::fold(text);
                unclear(work, end, &word, None, Vec::new())
            }
            _ => Step::Became(living(end)),
        };
    }
    match implied(&end.header) {
        FateMatch::Fate { fate, kind, .. } => Step::Said(Said {
            kind,
            cause: text.and_then(analysis::vocabulary::find_cause_in_remark),
            ..Said::plain(fate)
        }),
        _ => {
            let word = match text {
                Some(text) if end.fate_column => analysis::vocabulary::text::fold(text),
                _ => analysis::vocabulary::text::fold(&end.header),
            };
            unclear(work, end, &word, text.and_then(analysis::vocabulary::find_cause_in_remark), Vec::new())
        }
    }
}

pub(crate) fn fate_of_choice(choice: &str) -> Option<(Fate, Option<&'static str>)> {
    Some(match choice {
        "died" | "dead" => (Fate::Died, None),
        "left" | "given_away" | "given" => (Fate::Left, Some("given")),
        "sold" => (Fate::Left, Some("sold")),
        "swapped" => (Fate::Left, Some("swapped")),
        "returned" => (Fate::Left, Some("returned")),
        "missing" | "not_found" => (Fate::Missing, None),
        other => (Fate::parse(other)?, None),
    })
}

/// A word that does not say which fate: one question a word, or one a coral where it differs.
fn unclear(work: &mut Work, end: &End, word: &str, cause: Option<&'static Cause>, manner: Vec<&'static str>) -> Step {
    let of_label = format!("{word}:{}", fold::name(&end.label));
    let of_word = work.desk.ask("fate_word_unclear", word);
    let (settled, about) = if of_word.choice() == Some("differs") {
        (work.desk.ask("fate_word_unclear", &of_label), of_label.as_str())
    } else {
        (of_word, word)
    };
    match settled {
        Settled::LeaveOut => return Step::Became(Became::LeftOut),
        Settled::Choice("alive", _) => return Step::Became(living(end)),
        Settled::Choice(choice, _) => {
            if let Some((fate, kind)) = fate_of_choice(choice) {
                return Step::Said(Said { fate, cause, manner, kind, rescued: None });
            }
        }
        Settled::Open | Settled::DontKnow => {}
    }
    let (spot, written) = end.fate.clone().or_else(|| end.day_cell.clone()).unwrap_or((end.row_cell, String::new()));
    let mut doubt = Doubt::of("fate_word_unclear")
        .about(about)
        .at(spot, written)
        .fill("word", word)
        .fill("written", word)
        .fill("label", &end.label);
    doubt = doubt.cells(cells_of(end, true));
    work.desk.raise(doubt);
    Step::Became(Became::Held(held_ending(end, &cause, &manner).map(Box::new)))
}

/// Alive with an end date, or two fates.
fn contradicts(work: &mut Work, end: &End) -> Step {
    let about = fold::name(&end.label);
    match work.desk.ask("fate_contradicts", &about) {
        Settled::LeaveOut => return Step::Became(Became::LeftOut),
        Settled::Choice("alive", _) => return Step::Became(living(end)),
        Settled::Choice(choice, _) => {
            if let Some((fate, kind)) = fate_of_choice(choice) {
                return Step::Said(Said { kind, ..Said::plain(fate) });
            }
        }
        Settled::Open | Settled::DontKnow => {}
    }
    raise_about(work, end, "fate_contradicts", &about);
    Step::Became(Became::Held(held_ending(end, &None, &[]).map(Box::new)))
}

fn raise_about(work: &mut Work, end: &End, code: &'static str, about: &str) {
    let at = end.fate.clone().or_else(|| end.day_cell.clone());
    let (spot, written) = at.unwrap_or((end.row_cell, String::new()));
    let doubt = Doubt::of(code)
        .about(about)
        .at(spot, &written)
        .fill("label", &end.label)
        .fill("written", &written)
        .cells(cells_of(end, true));
    work.desk.raise(doubt);
}

fn cut_or_end(work: &mut Work, end: &End) -> Step {
    let about = fold::name(&end.label);
    match work.desk.ask("cut_or_end", &about) {
        Settled::LeaveOut => return Step::Became(Became::LeftOut),
        Settled::Choice("lived", _) => {
            return Step::Became(Became::Living {
                status: "alive",
                condition: None,
                remark: end.fate.clone(),
                cut: end.day.exact(),
            });
        }
        Settled::Choice("died", _) => return Step::Said(Said::plain(Fate::Died)),
        Settled::Choice(..) => return Step::Said(Said::plain(Fate::CutUp)),
        Settled::Open | Settled::DontKnow => {}
    }
    raise_about(work, end, "cut_or_end", &about);
    Step::Became(Became::Held(held_ending(end, &None, &[]).map(Box::new)))
}

/// Cells of an end; the day's cell only where the end uses it.
fn cells_of(end: &End, with_day: bool) -> Cells {
    let mut cells: Cells = Vec::new();
    cells.extend(end.fate.as_ref().map(|(spot, _)| (*spot, "fate")));
    if with_day {
        cells.extend(end.day_cell.as_ref().map(|(spot, _)| (*spot, "date")));
    }
    cells.extend(end.cause.as_ref().map(|(spot, _)| (*spot, "cause")));
    cells.extend(end.looked.as_ref().map(|(spot, _)| (*spot, "condition")));
    cells.extend(end.others.iter().map(|(spot, _)| (*spot, "fate")));
    if cells.is_empty() {
        cells.push((end.row_cell, "label"));
    }
    cells
}

/// An end whose fate waits: its bounds serve the run that counts held fates as deaths.
fn held_ending(end: &End, cause: &Option<&'static Cause>, manner: &[&'static str]) -> Option<Ending> {
    let bounds = match &end.day {
        DayOf::Known(known) => Some((known.earliest, Some(known.latest))),
        DayOf::Held(_, bounds) => Some(bounds.map_or((None, None), |(earliest, latest)| (earliest, Some(latest)))),
        DayOf::Open | DayOf::Absent | DayOf::Refused(_) | DayOf::Left => Some((None, None)),
    };
    bounds.map(|(earliest, latest)| draft(end, None, cause, manner, None, earliest, latest, false, false))
}

#[allow(clippy::too_many_arguments)] // one place that fills every field of an ending
fn draft(
    end: &End,
    fate: Option<Fate>,
    cause: &Option<&'static Cause>,
    manner: &[&'static str],
    kind: Option<&'static str>,
    earliest: Option<NaiveDate>,
    latest: Option<NaiveDate>,
    written_day: bool,
    date_held: bool,
) -> Ending {
    let named = end.cause.as_ref().and_then(|(_, text)| find_cause(text)).or(*cause);
    let seen = || end.cause.as_ref().and_then(|(_, text)| find_manner(text)).unwrap_or_default();
    let manner = if manner.is_empty() && fate == Some(Fate::Died) { seen() } else { manner.to_vec() };
    let looked = end
        .looked
        .as_ref()
        .and_then(|(_, text)| find_condition(text))
        .map(|look| look.state.as_str())
        .filter(|state| matches!(*state, "open" | "off" | "poor"));
    let texts: Vec<&str> = [&end.fate, &end.cause].into_iter().flatten().map(|(_, text)| text.as_str()).collect();
    Ending {
        specimen: end.label.clone(),
        fate,
        cause_group: match fate {
            Some(Fate::Missing) => CauseGroup::Unknown,
            _ => named.map_or(CauseGroup::Unknown, |cause| cause.group),
        },
        cause: named.map(|cause| cause.code.to_owned()),
        other_causes: Vec::new(),
        manner: manner.iter().map(|how| (*how).to_owned()).collect(),
        leaving: kind.map(str::to_owned),
        condition: looked.unwrap_or("not_said").to_owned(),
        earliest,
        latest,
        written_day,
        date_held,
        written: texts.join("; "),
        place: Place::default(),
    }
}

fn ended(work: &mut Work, end: &End, said: Said) -> Became {
    let finish = |earliest, latest, written_day, date_held| {
        draft(end, Some(said.fate), &said.cause, &said.manner, said.kind, earliest, latest, written_day, date_held)
    };
    let end_day = end.day.clone();
    match end_day {
        DayOf::Known(known) => {
            if let Some(became) = before_start(work, end, &said, (known.earliest, known.latest)) {
                return became;
            }
            let exact = known.exact().is_some();
            let ending = match said.fate {
                // Not found on a day: gone since it was last seen.
                Fate::Missing => finish(
                    if exact { end.last_seen } else { known.earliest.min(end.last_seen) },
                    Some(known.latest),
                    false,
                    false,
                ),
                _ => finish(known.earliest.or(end.last_seen), Some(known.latest), exact, false),
            };
            Became::Ended(Box::new(ending), said.rescued)
        }
        DayOf::Held(_, bounds) => {
            let (earliest, latest) =
                bounds.map_or((end.last_seen, None), |(earliest, latest)| (earliest, Some(latest)));
            Became::Ended(Box::new(finish(earliest, latest, false, true)), said.rescued)
        }
        DayOf::Absent | DayOf::Open | DayOf::Left | DayOf::Refused(_) => without_day(work, end, &said),
    }
}

/// An end without a day loads at once with open bounds; its day is asked.
fn without_day(work: &mut Work, end: &End, said: &Said) -> Became {
    let about = fold::name(&end.label);
    let settled = work.desk.ask("death_without_date", &about);
    let finish = |earliest, latest, written_day, date_held| {
        draft(end, Some(said.fate), &said.cause, &said.manner, said.kind, earliest, latest, written_day, date_held)
    };
    if let Some(day) = settled.day() {
        return Became::Ended(Box::new(finish(Some(day), Some(day), true, false)), said.rescued);
    }
    if let Some((first, last)) = settled.days() {
        return Became::Ended(Box::new(finish(Some(first), Some(last), false, false)), said.rescued);
    }
    if settled == Settled::LeaveOut {
        return Became::LeftOut;
    }
    if settled != Settled::DontKnow {
        let (spot, written) = end.fate.clone().unwrap_or((end.row_cell, String::new()));
        let doubt = Doubt::of("death_without_date")
            .about(about)
            .at(spot, &written)
            .fill("label", &end.label)
            .fill("written", &written)
            .fill("what", asked_about(said.fate));
        work.desk.raise(doubt.propose_nothing());
    }
    Became::Ended(Box::new(finish(end.last_seen, None, false, true)), said.rescued)
}

/// The word of the question when.
const fn asked_about(fate: Fate) -> &'static str {
    match fate {
        Fate::Died | Fate::ArrivedDead => "die",
        Fate::Missing => "go missing",
        Fate::Left | Fate::KeeperLeft => "leave",
        Fate::CutUp => "get cut up",
        Fate::TankClosed => "lose its tank",
    }
}

/// Ended before acquired: which day is wrong? `None` = the days are in order, or both bounds overlap.
fn before_start(work: &mut Work, end: &End, said: &Said, (_, latest): Bounds) -> Option<Became> {
    let (acquired, _) = end.acquired?;
    if acquired? <= latest {
        return None;
    }
    let about = fold::name(&end.label);
    let finish = |earliest, latest, written_day, date_held| {
        draft(end, Some(said.fate), &said.cause, &said.manner, said.kind, earliest, latest, written_day, date_held)
    };
    let (got, gone) = (acquired?, latest);
    let ending = match work.desk.ask("end_before_start", &about) {
        // The two days stand in each other's place.
        Settled::Choice("swap", _) => finish(Some(got), Some(got), true, false),
        // The day it was got is wrong: the end stands as written.
        Settled::Choice("got", _) => finish(Some(gone), Some(gone), true, false),
        // The end's day is wrong: some day after it was got.
        Settled::Choice(..) => finish(Some(got), None, false, true),
        Settled::LeaveOut => return Some(Became::LeftOut),
        Settled::Open | Settled::DontKnow => finish(None, None, false, true),
    };
    Some(Became::Ended(Box::new(ending), said.rescued))
}

/// Cells of an end as a record uses them.
pub(crate) fn record_cells(end: &End, ending: &Ending) -> Cells {
    let mut cells = cells_of(end, !ending.date_held);
    if !cells.iter().any(|(spot, _)| *spot == end.row_cell) {
        cells.push((end.row_cell, "label"));
    }
    cells
}
