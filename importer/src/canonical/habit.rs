//! Columns of a rate ("feeds a week", "% a week"): what a keeper states week by week is a habit, not so many events.
//!
//! Equal rates in a row are one habit, from the first day stated until the day another rate is; the last one goes on.
//! A rate not stated for [`SILENT_AFTER`] days has ended that many days after it was last stated. 0 is a rate: not fed
//! is only known where it is written.

use analysis::vocabulary::{UnitCode, find_routine, find_unit, yes_or_no};
use chrono::{NaiveDate, TimeDelta};

use crate::canonical::tank::TankOf;
use crate::canonical::test::{Group, State, Test, Value, about_written, leave, refuse, taken};
use crate::canonical::wide::settle_places;
use crate::canonical::{Cells, Work};
use crate::cell::mark::{Says, Shape};
use crate::meaning::Quantity;
use crate::record::{Record, Routine};

/// Days after which a rate that nobody stated again no longer speaks.
const SILENT_AFTER: i64 = 180;

/// The quantity of a column that states a rate, with its unit: so much a week, a day or a month. `None` for a column of
/// single events.
pub(crate) fn rate(quantity: &Quantity, header: &str) -> Option<Quantity> {
    // Carbon is stated as its age, which is no rate.
    if !quantity.parameter.get().unit.as_str().ends_with("/wk") {
        return None;
    }
    let converts = |unit: &UnitCode| per_week(quantity, 1.0, *unit).is_some();
    let unit = quantity.unit.filter(converts).or_else(|| at_the_end(header).find(converts))?;
    Some(Quantity { unit: Some(unit), ..quantity.clone() })
}

/// The units in the last words of a header whose words are one name, the longest first: "feeds a week".
fn at_the_end(header: &str) -> impl Iterator<Item = UnitCode> {
    let words: Vec<&str> = header.split_whitespace().collect();
    let ends = (1..=3.min(words.len())).rev().map(|last| words[words.len() - last..].join(" "));
    ends.filter_map(|end| find_unit(&end)).map(|found| found.unit).collect::<Vec<_>>().into_iter()
}

fn per_week(quantity: &Quantity, value: f64, unit: UnitCode) -> Option<f64> {
    quantity.parameter.get().convert(value, unit.as_str(), None).ok()
}

/// One statement.
struct Stated {
    on: NaiveDate,
    rate: f64,
    written: String,
    cells: Cells,
    line: Option<u32>,
}

/// Records the habits of a column; cells that say no rate keep their findings.
pub(crate) fn settle(work: &mut Work, quantity: &Quantity, mut group: Group) {
    for test in &mut group.tests {
        read(work, quantity, &group.header, test);
    }
    settle_places(work, &mut group);
    let mut by_tank: Vec<(String, Vec<Stated>)> = Vec::new();
    for test in group.tests.into_iter().filter(|test| test.state == State::Pending) {
        let (Some(taken), TankOf::Named(tank)) = (taken(&test.when.day), &*test.when.tank) else { continue };
        let Some(rate) = test.settled.and_then(|settled| settled.value) else { continue };
        work.saw_day(taken.on);
        let cells = test.cells().collect();
        let stated = Stated { on: taken.on, rate, written: test.written, cells, line: test.line };
        match by_tank.iter_mut().find(|(of, _)| of == tank) {
            Some((_, list)) => list.push(stated),
            None => by_tank.push((tank.clone(), vec![stated])),
        }
    }
    let code = match (quantity.parameter.as_str(), find_routine(&group.header)) {
        ("feeding", Some(routine)) if routine.code == "target_feed" => "target_feed",
        ("feeding", _) => "broadcast_feed",
        (other, _) => other,
    };
    for (tank, mut list) in by_tank {
        list.sort_by_key(|stated| stated.on);
        push(work, code, &tank, list);
    }
}

fn read(work: &mut Work, quantity: &Quantity, header: &str, test: &mut Test) {
    let parameter = quantity.parameter.get();
    let rate = match test.says.clone() {
        Says::Word | Says::Nothing if yes_or_no(&test.written.trim().to_lowercase()) == Some(false) => Some(0.0),
        Says::Nothing => return leave(work, test),
        Says::Number(number) => match number.shape {
            Shape::Is(figures) => {
                let own = number.unit.as_deref().and_then(find_unit).map(|found| found.unit);
                own.or(quantity.unit).and_then(|unit| per_week(quantity, figures.first, unit))
            }
            Shape::Below(_) | Shape::Above(_) | Shape::Span(..) => None,
        },
        Says::Fault => {
            let doubt = about_written("formula_error", header, parameter, test);
            return refuse(work, test, doubt);
        }
        Says::Word => None,
        _ => None,
    };
    match rate.filter(|rate| parameter.is_possible(*rate)) {
        Some(rate) => test.settled = Some(Value::is(rate)),
        None => {
            let doubt =
                about_written("word_in_numbers", header, parameter, test).about(test.written.trim().to_lowercase());
            refuse(work, test, doubt);
        }
    }
}

/// A habit while its rate is stated again and again.
struct Run {
    first: Stated,
    cells: Cells,
    last: NaiveDate,
}

impl Run {
    fn of(first: Stated) -> Run {
        Run { cells: first.cells.clone(), last: first.on, first }
    }

    fn silent_from(&self) -> NaiveDate {
        self.last.checked_add_signed(TimeDelta::days(SILENT_AFTER)).unwrap_or(NaiveDate::MAX)
    }
}

fn push(work: &mut Work, code: &str, tank: &str, list: Vec<Stated>) {
    let mut close = |run: Run, to: Option<NaiveDate>| {
        let place = work.place(&run.cells, run.first.line);
        work.records.push(Record::Routine(Routine {
            tank: Some(tank.to_owned()),
            specimen: None,
            routine: code.to_owned(),
            rate: run.first.written,
            per_week: Some(run.first.rate),
            from: run.first.on,
            to,
            place,
        }));
    };
    let mut open: Option<Run> = None;
    for stated in list {
        match open.take() {
            Some(mut run) if run.first.rate == stated.rate && stated.on <= run.silent_from() => {
                run.last = stated.on;
                run.cells.extend(stated.cells);
                open = Some(run);
            }
            ended => {
                if let Some(run) = ended {
                    let to = run.silent_from().min(stated.on);
                    close(run, Some(to));
                }
                open = Some(Run::of(stated));
            }
        }
    }
    if let Some(run) = open {
        close(run, None);
    }
}
