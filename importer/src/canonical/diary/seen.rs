//! What words tell of a coral: a look, a cut, an end. A certain end is never held back for its day.

use analysis::vocabulary::{FateMatch, LookState, find_condition, find_done, find_fate, find_happening, is_no_reading};
use chrono::NaiveDate;

use super::{Entry, Told, coral_ready, over_remarks, ready};
use crate::canonical::corals::CoralOf;
use crate::canonical::date_column::DayOf;
use crate::canonical::ending::{self, Became, End};
use crate::canonical::register::{look, push_ending};
use crate::canonical::{Cells, View, Work};
use crate::cell::fold;
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::record::{Event, Incident, Record, Taken};

/// Words up to which a look that nobody knows is asked about by itself; under a header of remarks, and elsewhere.
const WORDS_OF_A_LOOK: (usize, usize) = (2, 4);

/// Whether the words say that the coral ended, or may have.
pub(super) fn ends(text: &str) -> bool {
    match find_condition(text) {
        Some(look) => matches!(look.state, LookState::Dead | LookState::Left | LookState::NotFound),
        None => matches!(
            find_fate(text),
            FateMatch::Fate { .. }
                | FateMatch::RescueCut { .. }
                | FateMatch::Unclear { .. }
                | FateMatch::Several { .. }
        ),
    }
}

/// A look, a cut or an end. `false` = the words name none of these.
pub(super) fn seen(
    work: &mut Work,
    entry: &Entry,
    text: &str,
    spot: Spot,
    beside: Option<Spot>,
    told: &mut Told,
) -> bool {
    if is_no_reading(text) {
        work.labels.insert(spot);
        return true;
    }
    let mut cells: Cells = vec![(spot, "condition")];
    cells.extend(beside.map(|spot| (spot, "what")));
    cells.extend(entry.shared.iter().copied());
    let found = find_fate(text);
    let happening = find_happening(text).map(|term| term.code);
    if matches!(found, FateMatch::Cut { .. }) || happening == Some("cut") {
        told.cut.insert(fold::name(&entry.written));
        if ready(work, entry, &cells) {
            event(work, entry, "cut", text, &cells);
        }
        return true;
    }
    if ends(text) {
        if coral_ready(work, entry, &cells) {
            end(work, entry, text, spot, cells, told);
        }
        return true;
    }
    let condition = find_condition(text);
    // Nobody looked, or nobody found it to look at: no sign of life.
    if condition.is_none() && matches!(&found, FateMatch::Alive { signs } if signs.as_slice() == ["not_seen"]) {
        work.labels.insert(spot);
        return true;
    }
    let looks = condition.is_some() || matches!(found, FateMatch::Alive { .. });
    if looks {
        if ready(work, entry, &cells) {
            let (status, score) = match condition {
                Some(look) => (look.state.as_str(), look.score.map(i16::from)),
                None => ("alive", None),
            };
            let remark = (condition.is_none()).then(|| text.to_owned());
            record_look(work, entry, status, score, remark, cells);
        }
        return true;
    }
    // What was done to it stands alone in its cell.
    let fed = find_done(text).is_some_and(|done| done.code == "broadcast_feed" && done.amount.is_none());
    let moved = happening == Some("moved") && words(text) <= 2;
    if !fed && !moved {
        return false;
    }
    if ready(work, entry, &cells) {
        if fed { event(work, entry, "target_feed", text, &cells) } else { record_move(work, entry, text, &cells) }
    }
    true
}

fn words(text: &str) -> usize {
    analysis::vocabulary::text::words(text).len()
}

fn record_look(work: &mut Work, entry: &Entry, status: &str, score: Option<i16>, remark: Option<String>, cells: Cells) {
    let (CoralOf::Known(coral), Some(day)) = (&entry.coral, entry.day.exact()) else { return };
    work.saw_day(day);
    let score = score.filter(|_| status != "alive");
    look(work, entry.row.line, &coral.label.clone(), day, status, score, remark, "look", cells);
}

fn end(work: &mut Work, entry: &Entry, text: &str, spot: Spot, cells: Cells, told: &mut Told) {
    let CoralOf::Known(coral) = &entry.coral else { return };
    if let Some(day) = entry.day.exact() {
        work.saw_day(day);
    }
    let end = End {
        label: coral.label.clone(),
        row_cell: entry.shared.first().map_or(spot, |(spot, _)| *spot),
        day: entry.day.clone(),
        day_cell: entry.shared.get(1).map(|(spot, _)| {
            let day = entry.day.exact().map(|day| day.to_string());
            (*spot, day.unwrap_or_default())
        }),
        fate: Some((spot, text.to_owned())),
        fate_column: true,
        cause: entry.cause.clone(),
        looked: None,
        last_seen: None,
        header: String::new(),
        acquired: None,
        others: Vec::new(),
    };
    match &entry.day {
        DayOf::Left => work.labels.extend(cells.into_iter().map(|(spot, _)| spot)),
        DayOf::Absent | DayOf::Open => told.undated.push((entry.row.line, end)),
        DayOf::Known(_) | DayOf::Held(..) | DayOf::Refused(_) => {
            if let Became::Ended(ending, _) = ending::decide(work, &end) {
                push_ending(work, entry.row.line, &end, *ending);
            }
        }
    }
}

/// Ends without a day: some day after the coral was last seen, up to the last day of the log.
pub(super) fn without_day(work: &mut Work, view: &View, told: &Told) {
    if told.undated.is_empty() {
        return;
    }
    let log_ends = view
        .column(analysis::vocabulary::HeaderRole::Date)
        .and_then(|column| last_day(work, view, column))
        .max(work.days.map(|(_, last)| last));
    for (line, end) in &told.undated {
        let mut end = end.clone();
        let key = fold::name(&end.label);
        let looks = work.records.iter().filter_map(|record| match record {
            Record::Sighting(sighting) if fold::name(&sighting.specimen) == key => Some(sighting.on),
            _ => None,
        });
        let sizes = told.drafts.iter().filter(|draft| match &draft.coral {
            CoralOf::Known(coral) => fold::name(&coral.label) == key,
            _ => false,
        });
        end.last_seen = looks.chain(sizes.filter_map(|draft| draft.day.exact())).max();
        if let Became::Ended(mut ending, _) = ending::decide(work, &end) {
            let open = ending.latest.is_none() && ending.date_held;
            if let Some(last) = log_ends.filter(|last| open && ending.earliest.is_none_or(|first| first <= *last)) {
                ending.latest = Some(last);
            }
            push_ending(work, *line, &end, *ending);
        }
    }
}

/// The last certain day of a column of days, up to the day of reading.
fn last_day(work: &mut Work, view: &View, column: u32) -> Option<NaiveDate> {
    use crate::canonical::date_column::{Rule, read};
    let rule = Rule { in_sequence: true, start: false, end: false, partial: false, order_about: None };
    let today = work.context.today;
    let days = read(work, view, column, rule, None).days;
    days.values().filter_map(DayOf::exact).filter(|day| today.is_none_or(|today| *day <= today)).max()
}

fn event(work: &mut Work, entry: &Entry, code: &str, text: &str, cells: &Cells) {
    let (CoralOf::Known(coral), Some(day)) = (&entry.coral, entry.day.exact()) else { return };
    work.saw_day(day);
    let place = work.place(cells, entry.row.line);
    work.records.push(Record::Event(Event {
        tank: None,
        specimen: Some(coral.label.clone()),
        event: code.to_owned(),
        taken: Taken::day(day),
        amount: None,
        unit: None,
        written: text.to_owned(),
        place,
    }));
}

fn record_move(work: &mut Work, entry: &Entry, text: &str, cells: &Cells) {
    let (CoralOf::Known(coral), Some(day)) = (&entry.coral, entry.day.exact()) else { return };
    work.saw_day(day);
    let place = work.place(cells, entry.row.line);
    work.records.push(Record::Incident(Incident {
        tank: None,
        specimen: Some(coral.label.clone()),
        incident: "move".to_owned(),
        from: day,
        to: None,
        written: text.to_owned(),
        place,
    }));
}

/// Words about a coral that name no look, no end and nothing that was done: a look in a word of the keeper's own is asked
/// about; what is longer stays a remark under a header of remarks, and is asked about anywhere else.
pub(super) fn unread(
    work: &mut Work,
    view: &View,
    entry: &Entry,
    column: u32,
    (text, looks_only): (&str, bool),
    told: &mut Told,
) {
    let spot = view.spot(entry.row.row, column);
    let remarks = over_remarks(view, column);
    let longest = match (remarks, looks_only) {
        (true, false) => 0,
        (true, true) => WORDS_OF_A_LOOK.0,
        (false, _) => WORDS_OF_A_LOOK.1,
    };
    if words(text) > longest {
        if !remarks {
            told.unread.insert(spot);
        }
        return;
    }
    let mut cells: Cells = vec![(spot, "condition")];
    cells.extend(entry.shared.iter().copied());
    if !ready(work, entry, &cells) {
        return;
    }
    let word = analysis::vocabulary::text::fold(text);
    match work.desk.ask("look_word_unclear", &word) {
        Settled::Choice("dead", _) => {
            end(work, entry, "dead", spot, cells, told);
        }
        Settled::Choice(status @ ("open" | "off" | "poor" | "alive"), _) => {
            let score = LookState::parse(status).and_then(LookState::usual_score).map(i16::from);
            record_look(work, entry, status, score, Some(text.to_owned()), cells);
        }
        Settled::Choice(..) | Settled::LeaveOut => drop(work.labels.insert(spot)),
        Settled::Open | Settled::DontKnow => work.desk.raise(
            Doubt::of("look_word_unclear").about(word).at(spot, text).fill("written", text).cell(spot, "condition"),
        ),
    }
}
