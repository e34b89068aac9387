//! The ready-made sheet, filled in: its tabs by the codes of their columns. Closed words, year-month-day, one meaning a
//! cell, so nothing here is asked that the keeper filled in honestly.

use std::collections::BTreeSet;

use analysis::vocabulary::{
    LookState, ParameterCode, find_closing, find_condition, find_happening, find_incident, find_routine, yes_or_no,
};
use chrono::NaiveDate;

use crate::canonical::corals::{self, CoralOf};
use crate::canonical::date_column::{self, DateColumn, Rule};
use crate::canonical::ending::{self, Became, End};
use crate::canonical::register::{self, Columns, Summary, look, push_ending};
use crate::canonical::tank::{self, TankOf};
use crate::canonical::{Cells, View, Work, diary, wide};
use crate::cell::number::numeral;
use crate::context::KnownInstrument;
use crate::doubt::desk::{Doubt, Spot};
use crate::layout::DataRow;
use crate::record::{Ending, Event, Incident, Instrument, Place, Record, Routine, Taken};

/// Reads a tab; readings come back as groups.
pub(crate) fn read(
    work: &mut Work,
    view: &View,
    tab: &str,
    summary: &mut Summary,
) -> Vec<crate::canonical::test::Group> {
    match tab {
        "about" => about(work, view),
        "tanks" => tanks(work, view),
        "kits" => kits(work, view),
        "corals" => register::read(work, view, &Columns::coded(view), summary),
        "looks" => looks(work, view, summary),
        "tests" => return wide::read(work, view),
        "sizes" => drop(diary::read(work, view)),
        "care" => care(work, view),
        "happened" => happened(work, view),
        _ => {}
    }
    // What no record uses is a label.
    for row in &view.table.rows {
        if tab != "corals" {
            work.labels.extend(row.cells.iter().map(|cell| view.spot(row.row, cell.column)));
        }
    }
    Vec::new()
}

/// A cell of a row by its column's code.
fn told(view: &View, row: &DataRow, code: &str) -> Option<(String, Spot)> {
    let column = view.coded(code)?;
    view.text(row, column)
        .filter(|text| !analysis::vocabulary::is_no_reading(text))
        .map(|text| (text, view.spot(row.row, column)))
}

fn number(view: &View, row: &DataRow, code: &str) -> Option<(f64, Spot)> {
    let (text, spot) = told(view, row, code)?;
    numeral(&text, view.table.decimal_comma).map(|figures| (figures.first, spot))
}

fn days(work: &mut Work, view: &View, code: &str) -> DateColumn {
    match view.coded(code) {
        Some(column) => date_column::read(
            work,
            view,
            column,
            Rule { in_sequence: false, start: false, end: false, partial: false, order_about: None },
            None,
        ),
        None => DateColumn::default(),
    }
}

fn about(work: &mut Work, view: &View) {
    let as_of = days(work, view, "as_of");
    let complete = days(work, view, "complete_since");
    for row in &view.table.rows {
        work.stated.as_of = work.stated.as_of.or(as_of.of(row.row).exact());
        work.stated.complete_since = work.stated.complete_since.or(complete.of(row.row).exact());
        let losses = told(view, row, "losses_listed").and_then(|(text, _)| yes_or_no(&text));
        work.stated.losses_listed = work.stated.losses_listed.or(losses);
        let since =
            number(view, row, "keeping_since").map(|(year, _)| year as i32).filter(|year| (1950..=2199).contains(year));
        work.stated.keeping_since = work.stated.keeping_since.or(since);
    }
}

fn tanks(work: &mut Work, view: &View) {
    let started = days(work, view, "started");
    let carbon_since = days(work, view, "carbon_since");
    let closed = days(work, view, "closed");
    for row in &view.table.rows {
        let Some((name, spot)) = told(view, row, "tank") else { continue };
        let TankOf::Named(name) = tank::named(work, &name, spot, "tank") else { continue };
        let litres = number(view, row, "litres").filter(|(litres, _)| *litres > 0.0);
        let (started, closed) = (started.of(row.row).exact(), closed.of(row.row).exact());
        let why =
            told(view, row, "closed_why").and_then(|(text, spot)| find_closing(&text).map(|term| (term.code, spot)));
        let mut cells: Cells = vec![(spot, "tank")];
        cells.extend(litres.map(|(_, spot)| (spot, "litres")));
        cells.extend(told(view, row, "started").filter(|_| started.is_some()).map(|(_, spot)| (spot, "date")));
        cells.extend(told(view, row, "closed").filter(|_| closed.is_some()).map(|(_, spot)| (spot, "date")));
        cells.extend(why.map(|(_, spot)| (spot, "closed_why")));
        work.tanks.tell(&name, cells, |tank| {
            tank.litres = litres.map(|(litres, _)| litres);
            tank.started = started;
            tank.closed = closed;
            tank.closed_why = why.map(|(code, _)| code.to_owned());
        });
        salinity_instrument(work, view, row, &name, spot);
        let from = started.or(work.stated.as_of).or(work.context.as_of);
        let habit = |work: &mut Work, routine: &str, code: &str, per_week: Option<f64>, from: Option<NaiveDate>| {
            let (Some((rate, at)), Some(from)) = (told(view, row, code), from) else { return };
            let place = work.place(&vec![(at, "rate"), (spot, "tank")], row.line);
            let record = Routine {
                tank: Some(name.clone()),
                specimen: None,
                routine: routine.to_owned(),
                rate,
                per_week,
                from,
                to: closed,
                place,
            };
            work.records.push(Record::Routine(record));
        };
        habit(work, "target_feed", "feeds", number(view, row, "feeds").map(|(rate, _)| rate), from);
        habit(work, "water_change", "water_change", number(view, row, "water_change").map(|(rate, _)| rate), from);
        let carbon = told(view, row, "carbon").and_then(|(text, _)| yes_or_no(&text));
        let in_use = carbon.map(|yes| if yes { 1.0 } else { 0.0 });
        habit(work, "carbon", "carbon", in_use, carbon_since.of(row.row).exact().or(from));
    }
}

fn salinity_instrument(work: &mut Work, view: &View, row: &DataRow, tank: &str, tank_cell: Spot) {
    let by = told(view, row, "salinity_by");
    let marked = told(view, row, "marked_at");
    let Some(parameter) = ParameterCode::parse("salinity").filter(|_| by.is_some() || marked.is_some()) else { return };
    let cells: Cells = by
        .iter()
        .map(|(_, spot)| (*spot, "instrument"))
        .chain(marked.iter().map(|(_, spot)| (*spot, "reference")))
        .chain([(tank_cell, "tank")])
        .collect();
    let reference = marked.map(|(text, _)| text);
    work.instruments.push(KnownInstrument {
        tank: Some(tank.to_owned()),
        parameter: parameter.as_str().to_owned(),
        limit: None,
        step: None,
        reference: reference.clone(),
        basis: None,
    });
    let place = work.place(&cells, row.line);
    work.records.push(Record::Instrument(Instrument {
        tank: Some(tank.to_owned()),
        parameter,
        name: by.map(|(text, _)| text).unwrap_or_default(),
        step: None,
        limit: None,
        reference,
        basis: None,
        calibrated_on: None,
        from: None,
        place,
    }));
}

fn kits(work: &mut Work, view: &View) {
    let calibrated = days(work, view, "kit_calibrated");
    let from = days(work, view, "kit_from");
    for row in &view.table.rows {
        let Some((written, spot)) = told(view, row, "kit_parameter") else { continue };
        let found = crate::meaning::quantities(&written);
        let Some(parameter) =
            ParameterCode::parse(written.trim()).or_else(|| found.first().map(|quantity| quantity.parameter))
        else {
            let about = analysis::vocabulary::text::fold(&written);
            work.desk.raise(
                Doubt::of("column_without_code")
                    .about(about)
                    .at(spot, &written)
                    .fill("column", &written)
                    .cell(spot, "parameter"),
            );
            continue;
        };
        let tank = told(view, row, "kit_tank")
            .filter(|(text, _)| !matches!(text.to_lowercase().as_str(), "all" | "alle" | "tous" | "todos"));
        let tank_name = match tank {
            Some((text, at)) => match tank::named(work, &text, at, "tank") {
                TankOf::Named(name) => Some(name),
                _ => continue,
            },
            None => None,
        };
        let step = number(view, row, "kit_step").filter(|(step, _)| *step > 0.0);
        let limit = number(view, row, "kit_limit").filter(|(limit, _)| *limit > 0.0);
        let basis = told(view, row, "kit_basis");
        let name = told(view, row, "kit_name");
        let mut cells: Cells = vec![(spot, "parameter")];
        for (cell, role) in [
            (told(view, row, "kit_tank"), "tank"),
            (name.clone(), "name"),
            (basis.clone(), "basis"),
            (told(view, row, "kit_calibrated"), "date"),
            (told(view, row, "kit_from"), "date"),
        ] {
            cells.extend(cell.map(|(_, at)| (at, role)));
        }
        cells.extend(step.map(|(_, at)| (at, "step")));
        cells.extend(limit.map(|(_, at)| (at, "limit")));
        let instrument = KnownInstrument {
            tank: tank_name.clone(),
            parameter: parameter.as_str().to_owned(),
            limit: limit.map(|(limit, _)| limit),
            step: step.map(|(step, _)| step),
            reference: None,
            basis: basis.as_ref().map(|(text, _)| text.clone()),
        };
        work.instruments.push(instrument);
        let place = work.place(&cells, row.line);
        work.records.push(Record::Instrument(Instrument {
            tank: tank_name,
            parameter,
            name: name.map(|(text, _)| text).unwrap_or_default(),
            step: step.map(|(step, _)| step),
            limit: limit.map(|(limit, _)| limit),
            reference: None,
            basis: basis.map(|(text, _)| text),
            calibrated_on: calibrated.of(row.row).exact(),
            from: from.of(row.row).exact(),
            place,
        }));
    }
}

/// One row a coral, one column a day: looks, and the ends they show.
fn looks(work: &mut Work, view: &View, summary: &mut Summary) {
    let Some(label_column) = view.coded("look_label") else { return };
    let mut ended: BTreeSet<String> = work
        .records
        .iter()
        .filter_map(|record| match record {
            Record::Ending(ending) => Some(crate::cell::fold::name(&ending.specimen)),
            _ => None,
        })
        .collect();
    let days: Vec<(u32, Option<NaiveDate>)> = view
        .meanings
        .keys()
        .filter(|column| **column != label_column)
        .map(|column| (*column, crate::cell::date::date(&view.header(*column)).said))
        .map(|(column, said)| {
            (
                column,
                said.days(crate::cell::date::Order::DayFirst)
                    .and_then(|(first, last)| first.filter(|first| *first == last)),
            )
        })
        .collect();
    for row in &view.table.rows {
        let Some(written) = view.text(row, label_column) else { continue };
        let label_cell = view.spot(row.row, label_column);
        let coral = corals::named(work, &written, label_cell);
        let mut last_alive: Option<NaiveDate> = None;
        for (column, day) in &days {
            let Some(text) = view.text(row, *column) else { continue };
            let spot = view.spot(row.row, *column);
            let cells: Cells = vec![(spot, "condition"), (label_cell, "label")];
            let coral = match &coral {
                CoralOf::Known(coral) => coral,
                CoralOf::Held(key) => {
                    work.desk.wait(key, cells);
                    continue;
                }
                CoralOf::Left => continue,
            };
            let Some(day) = *day else {
                undated(work, view, *column, spot, &text);
                continue;
            };
            let Some(seen) = find_condition(&text) else {
                if !analysis::vocabulary::is_no_reading(&text) {
                    let about = text.to_lowercase();
                    work.desk.raise(
                        Doubt::of("word_in_numbers").about(about).at(spot, &text).fill("written", &text).cells(cells),
                    );
                }
                continue;
            };
            work.saw_day(day);
            match seen.state {
                LookState::Alive | LookState::Open | LookState::Off | LookState::Poor => {
                    last_alive = Some(last_alive.map_or(day, |known| known.max(day)));
                    let source = if seen.state == LookState::Alive { "roll_call" } else { "look" };
                    let score = seen.score.map(i16::from).filter(|_| seen.state != LookState::Alive);
                    look(work, row.line, &coral.label.clone(), day, seen.state.as_str(), score, None, source, cells);
                }
                LookState::Dead | LookState::Left | LookState::NotFound => {
                    if ended.insert(crate::cell::fold::name(&coral.label)) {
                        let fate = match seen.state {
                            LookState::Dead => analysis::vocabulary::Fate::Died,
                            LookState::Left => analysis::vocabulary::Fate::Left,
                            _ => analysis::vocabulary::Fate::Missing,
                        };
                        summary.losses = true;
                        summary.open.retain(|open| open.label != coral.label);
                        let place = work.place(&cells, row.line);
                        work.records.push(Record::Ending(seen_ended(
                            &coral.label,
                            fate,
                            last_alive,
                            day,
                            &text,
                            place,
                        )));
                    }
                }
            }
        }
    }
}

/// An end between two looks.
fn seen_ended(
    label: &str,
    fate: analysis::vocabulary::Fate,
    last_alive: Option<NaiveDate>,
    day: NaiveDate,
    written: &str,
    place: Place,
) -> Ending {
    Ending {
        specimen: label.to_owned(),
        fate: Some(fate),
        cause_group: analysis::vocabulary::CauseGroup::Unknown,
        cause: None,
        other_causes: Vec::new(),
        manner: Vec::new(),
        leaving: None,
        condition: "not_said".to_owned(),
        earliest: last_alive,
        latest: Some(day),
        written_day: false,
        date_held: false,
        written: written.to_owned(),
        place,
    }
}

/// Looks under a column without a day.
fn undated(work: &mut Work, view: &View, column: u32, spot: Spot, text: &str) {
    let about = format!("column {column}");
    let settled = work.desk.ask("date_missing", &about);
    if settled != crate::doubt::desk::Settled::LeaveOut {
        let doubt = Doubt::of("date_missing")
            .about(about)
            .at(spot, text)
            .fill("row", view.header_spot(column).row.to_string())
            .cell(spot, "condition");
        work.desk.raise(doubt.choices(Vec::new()).propose_nothing());
    }
}

/// Tank or coral of a row that may name either.
enum Whose {
    Tank(String),
    Coral(String),
    Nobody,
}

fn whose(work: &mut Work, view: &View, row: &DataRow, code: &str) -> (Whose, Cells) {
    let Some((text, spot)) = told(view, row, code) else {
        return (
            match tank::of_table(work, view) {
                TankOf::Named(name) => Whose::Tank(name),
                _ => Whose::Nobody,
            },
            Vec::new(),
        );
    };
    if let Some(coral) = work.corals.find(&text) {
        return (Whose::Coral(coral.label.clone()), vec![(spot, "label")]);
    }
    match tank::named(work, &text, spot, "tank") {
        TankOf::Named(name) => (Whose::Tank(name), vec![(spot, "tank")]),
        _ => (Whose::Nobody, vec![(spot, "tank")]),
    }
}

fn care(work: &mut Work, view: &View) {
    let from = days(work, view, "care_from");
    let to = days(work, view, "care_to");
    for row in &view.table.rows {
        let Some((kind, kind_cell)) = told(view, row, "care_kind") else { continue };
        let Some(routine) = find_routine(&kind) else {
            let about = kind.to_lowercase();
            work.desk.raise(
                Doubt::of("word_in_numbers")
                    .about(about)
                    .at(kind_cell, &kind)
                    .fill("written", &kind)
                    .cell(kind_cell, "routine"),
            );
            continue;
        };
        let (whose, mut cells) = whose(work, view, row, "care_of");
        let rate = told(view, row, "care_rate");
        let per = told(view, row, "care_per");
        let Some(start) = from.of(row.row).exact().or(work.stated.as_of) else {
            missing_day(work, row, kind_cell, &kind);
            continue;
        };
        let times =
            rate.as_ref().and_then(|(text, _)| numeral(text, view.table.decimal_comma)).map(|figures| figures.first);
        let per_week = times.and_then(|times| match per.as_ref().map(|(text, _)| text.to_lowercase()).as_deref() {
            Some("day") => Some(times * 7.0),
            Some("month") => Some(times * 7.0 * 12.0 / 365.25),
            Some("week") | None => Some(times),
            Some(_) => None,
        });
        cells.insert(0, (kind_cell, "routine"));
        cells.extend(rate.iter().map(|(_, at)| (*at, "rate")));
        cells.extend(per.iter().map(|(_, at)| (*at, "per")));
        cells.extend(
            ["care_from", "care_to"].iter().filter_map(|code| told(view, row, code)).map(|(_, at)| (at, "date")),
        );
        let words = [rate.map(|(text, _)| text), per.map(|(text, _)| text)];
        let (tank, specimen) = match whose {
            Whose::Tank(name) => (Some(name), None),
            Whose::Coral(label) => (None, Some(label)),
            Whose::Nobody => continue,
        };
        let place = work.place(&cells, row.line);
        work.records.push(Record::Routine(Routine {
            tank,
            specimen,
            routine: routine.code.to_owned(),
            rate: words.into_iter().flatten().collect::<Vec<_>>().join(" a "),
            per_week,
            from: start,
            to: to.of(row.row).exact(),
            place,
        }));
    }
}

fn missing_day(work: &mut Work, row: &DataRow, spot: Spot, written: &str) {
    let about = format!("row {}", row.row);
    if work.desk.ask("date_missing", &about) != crate::doubt::desk::Settled::LeaveOut {
        work.desk.raise(
            Doubt::of("date_missing")
                .about(about)
                .at(spot, written)
                .fill("row", row.row.to_string())
                .cell(spot, "value")
                .choices(Vec::new())
                .propose_nothing(),
        );
    }
}

fn happened(work: &mut Work, view: &View) {
    let from = days(work, view, "happened_day");
    let to = days(work, view, "happened_to");
    for row in &view.table.rows {
        let Some((what, what_cell)) = told(view, row, "happened_what") else { continue };
        let Some(day) = from.of(row.row).exact() else {
            missing_day(work, row, what_cell, &what);
            continue;
        };
        work.saw_day(day);
        let (whose, of) = whose(work, view, row, "happened_where");
        let note = told(view, row, "happened_note");
        let mut cells: Cells = vec![(what_cell, "incident")];
        cells.extend(of);
        cells.extend(
            ["happened_day", "happened_to"].iter().filter_map(|code| told(view, row, code)).map(|(_, at)| (at, "date")),
        );
        cells.extend(note.iter().map(|(_, at)| (*at, "remark")));
        let written =
            [Some(what.clone()), note.map(|(text, _)| text)].into_iter().flatten().collect::<Vec<_>>().join(": ");
        let (tank, specimen) = match whose {
            Whose::Tank(name) => (Some(name), None),
            Whose::Coral(label) => (None, Some(label)),
            Whose::Nobody => continue,
        };
        // "power_cut" is no cut: a code as it stands comes before words inside it.
        let exact = |term: &&analysis::vocabulary::Term| term.code == what.trim();
        let named = find_incident(&what);
        let happening = find_happening(&what).filter(|term| exact(term) || named.is_none()).map(|term| term.code);
        match (happening, specimen) {
            (Some("rescue_cut"), Some(label)) => rescue(work, row, &label, day, what_cell, &cells),
            (Some("cut" | "rescue_cut"), specimen) => {
                let place = work.place(&cells, row.line);
                work.records.push(Record::Event(Event {
                    tank,
                    specimen,
                    event: "cut".to_owned(),
                    taken: Taken::day(day),
                    amount: None,
                    unit: None,
                    written,
                    place,
                }));
            }
            // Another food is kept as written: what is fed how often stands in the tab of care.
            (Some("fed_differently"), _) => {}
            (moved, specimen) => {
                let incident = named.map(|term| term.code).or(moved.map(|_| "move"));
                let Some(incident) = incident else {
                    let about = what.to_lowercase();
                    work.desk.raise(
                        Doubt::of("word_in_numbers")
                            .about(about)
                            .at(what_cell, &what)
                            .fill("written", &what)
                            .cells(cells),
                    );
                    continue;
                };
                let place = work.place(&cells, row.line);
                let record = Incident {
                    tank,
                    specimen,
                    incident: incident.to_owned(),
                    from: day,
                    to: to.of(row.row).exact(),
                    written,
                    place,
                };
                work.records.push(Record::Incident(record));
            }
        }
    }
}

/// Cuttings saved from a dying colony: the mother died that day.
fn rescue(work: &mut Work, row: &DataRow, label: &str, day: NaiveDate, spot: Spot, cells: &Cells) {
    let end = End {
        label: label.to_owned(),
        row_cell: spot,
        day: date_column::DayOf::Known(date_column::Known { earliest: Some(day), latest: day, clock: None }),
        day_cell: cells.iter().find(|(_, role)| *role == "date").map(|(spot, _)| (*spot, day.to_string())),
        fate: Some((spot, "rescue cut".to_owned())),
        fate_column: true,
        cause: None,
        looked: None,
        last_seen: None,
        header: String::new(),
        acquired: None,
        others: Vec::new(),
    };
    if let Became::Ended(ending, _) = ending::decide(work, &end) {
        push_ending(work, row.line, &end, *ending);
    }
}
