//! One row a day, one column a parameter.

use std::collections::BTreeMap;
use std::rc::Rc;

use analysis::vocabulary::{HeaderRole, ParameterKind, find_incident_in_remark};

use crate::canonical::date_column::{self, DateColumn, DayOf, Rule};
use crate::canonical::tank::{self, TankOf};
use crate::canonical::test::{Group, Test, Waiting};
use crate::canonical::{Cells, View, Work, diary, event, fill, habit, remark, report_day, summary};
use crate::cell::clock::{Clock, clock};
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::finding::Choice;
use crate::grid::Raw;
use crate::layout::DataRow;
use crate::meaning::{Meaning, Quantity};

/// Columns of a row that say when and where.
pub(crate) struct Frame {
    date: Option<u32>,
    time: Option<u32>,
    tank: Option<u32>,
    days: DateColumn,
    /// Rows whose day or tank stands in a row above.
    day_above: BTreeMap<u32, u32>,
    tank_above: BTreeMap<u32, u32>,
    /// The day that the titles state, asked for once.
    titled_day: Option<Option<(DayOf, Cells)>>,
    /// The day of a table that states none anywhere, asked for once.
    undated: Option<DayOf>,
    table_tank: Option<Rc<TankOf>>,
    /// Tanks of the rows by name as written: many rows have one tank.
    tanks: BTreeMap<String, Rc<TankOf>>,
}

/// A row's day and tank, and the cells that its tests use besides their own.
#[derive(Debug, Clone)]
pub(crate) struct When {
    pub day: DayOf,
    /// For a row without a day, the day above it.
    pub above: Option<Box<DayOf>>,
    pub tank: Rc<TankOf>,
    pub cells: Cells,
}

impl When {
    /// For all tests of a row.
    pub fn shared(mut self) -> Rc<Self> {
        self.cells.shrink_to_fit();
        Rc::new(self)
    }
}

impl Frame {
    /// Reads the dates of a table; its tank is decided when the first row needs it.
    pub fn of(work: &mut Work, view: &View, date: Option<u32>, time: Option<u32>, tank: Option<u32>) -> Self {
        let rule = Rule { in_sequence: true, start: false, end: false, partial: false, order_about: None };
        let days = date.map(|column| date_column::read(work, view, column, rule, None)).unwrap_or_default();
        let above = |column: Option<u32>| column.map(|column| fill::sources(view, column)).unwrap_or_default();
        let (day_above, tank_above) = (above(date), above(tank));
        Frame {
            date,
            time,
            tank,
            days,
            day_above,
            tank_above,
            titled_day: None,
            undated: None,
            table_tank: None,
            tanks: BTreeMap::new(),
        }
    }

    /// Takes note of a row with tests that has no day.
    pub fn count_undated(&self, work: &mut Work, view: &View, when: &When) {
        if self.date.is_some() && matches!(when.day, DayOf::Absent | DayOf::Open) {
            *work.undated.entry(view.at).or_default() += 1;
        }
    }

    /// Day and tank of a row.
    pub fn of_row(&mut self, work: &mut Work, view: &View, row: &DataRow) -> When {
        let mut when = self.day_of_row(work, view, row);
        let housed = self.tank_above.get(&row.row).copied().unwrap_or(row.row);
        let named = self.tank.and_then(|column| Some((column, view.text(view.row(housed)?, column)?)));
        when.tank = match named {
            Some((column, text)) => {
                let spot = view.spot(housed, column);
                when.cells.push((spot, "tank"));
                let tank = tank::named(work, &text, spot, "tank");
                match self.tanks.get(&text) {
                    Some(known) if **known == tank => Rc::clone(known),
                    _ => {
                        let tank = Rc::new(tank);
                        self.tanks.insert(text, Rc::clone(&tank));
                        tank
                    }
                }
            }
            // Other rows or columns name theirs: the keeper's only tank is not meant without a word.
            None if !view.over.is_empty()
                || self
                    .tank
                    .is_some_and(|column| view.table.rows.iter().any(|row| view.raw(row, column).is_some())) =>
            {
                Rc::new(tank::of_row_without(work, view, row.row))
            }
            None => Rc::clone(self.table_tank.get_or_insert_with(|| Rc::new(tank::of_table(work, view)))),
        };
        when
    }

    /// Day of a row whose tank is told by each column.
    fn day_of_row(&mut self, work: &mut Work, view: &View, row: &DataRow) -> When {
        let mut cells = Vec::new();
        let dated = self.day_above.get(&row.row).copied().unwrap_or(row.row);
        let mut day = self.date.map_or(DayOf::Absent, |_| self.days.of(dated));
        if let Some(column) = self.date.filter(|column| dated != row.row || view.raw(row, *column).is_some()) {
            cells.push((view.spot(dated, column), "date"));
        }
        if self.date.is_none()
            && let Some((stated, at)) = self.titled_day.get_or_insert_with(|| report_day::of(work, view))
        {
            day = stated.clone();
            cells.extend(at.iter().copied());
        } else if self.date.is_none() {
            day = self.undated.get_or_insert_with(|| undated(work, view, row)).clone();
        }
        if let Some(column) = self.time
            && let Some(time) = view.raw(row, column).and_then(time_of)
        {
            cells.push((view.spot(row.row, column), "time"));
            if let DayOf::Known(known) = &mut day {
                known.clock = known.clock.or(Some(time));
            }
        }
        let undated = matches!(day, DayOf::Absent | DayOf::Open);
        let above = self.days.above(row.row).filter(|_| undated).cloned().map(Box::new);
        When { day, above, tank: Rc::new(TankOf::Left), cells }
    }

    /// Marks the cells of date, time and tank as labels, for rows that hold nothing else.
    pub fn labels(&self, work: &mut Work, view: &View) {
        for column in [self.date, self.time, self.tank].into_iter().flatten() {
            label_column(work, view, column);
        }
    }
}

/// A table without any day: one question for all of its rows.
fn undated(work: &mut Work, view: &View, row: &DataRow) -> DayOf {
    let about = format!("{} table at row {}", view.table_about(), row.row);
    let about = about.trim();
    let settled = work.desk.ask("date_missing", about);
    if let Some(day) = settled.day() {
        return DayOf::Known(date_column::Known { earliest: Some(day), latest: day, clock: None });
    }
    if settled == Settled::LeaveOut {
        return DayOf::Left;
    }
    let first = row.cells.first().map_or(1, |cell| cell.column);
    let doubt = Doubt::of("date_missing")
        .about(about)
        .at(view.spot(row.row, first), "")
        .of_row()
        .fill("row", format!("{} and every other row of this table", row.row))
        .propose_nothing();
    let key = doubt.key();
    work.desk.raise(doubt);
    DayOf::Held(key, None)
}

/// Marks a column's cells as labels; those that a record or a finding uses count there.
pub(crate) fn label_column(work: &mut Work, view: &View, column: u32) {
    work.labels.extend(view.filled(column));
}

/// A time of day in a cell of its own.
fn time_of(raw: &Raw) -> Option<Clock> {
    match raw {
        Raw::Text(text) => clock(text),
        Raw::Date(at) => Some(Clock { time: at.time(), offset_minutes: None }),
        Raw::Number(part) if (0.0..1.0).contains(part) => {
            let seconds = (part * 86_400.0).round() as u32 % 86_400;
            chrono::NaiveTime::from_num_seconds_from_midnight_opt(seconds, 0)
                .map(|time| Clock { time, offset_minutes: None })
        }
        _ => None,
    }
}

/// Reads a wide table into groups of cells; events are recorded at once.
pub(crate) fn read(work: &mut Work, view: &View) -> Vec<Group> {
    let date = view.column(HeaderRole::Date);
    let mut frame = Frame::of(work, view, date, view.column(HeaderRole::Time), view.column(HeaderRole::Tank));
    let quantities: Vec<(u32, Quantity)> = view
        .meanings
        .iter()
        .filter_map(|(column, meaning)| match meaning {
            Meaning::Quantity(quantity) => Some((*column, quantity.clone())),
            _ => None,
        })
        .collect();
    let mut groups: BTreeMap<u32, Group> = quantities
        .iter()
        .map(|(column, quantity)| {
            (*column, group(view.at, view.about(*column), view.header(*column), quantity, view.header_spot(*column)))
        })
        .collect();
    let rates: BTreeMap<u32, Quantity> = quantities
        .iter()
        .filter_map(|(column, quantity)| Some((*column, habit::rate(quantity, &view.header(*column))?)))
        .collect();
    // Columns of words: remarks, and whatever else nobody can name.
    let wordy: Vec<u32> = view
        .meanings
        .iter()
        .filter(|(_, meaning)| match meaning {
            Meaning::Role(role) => {
                matches!(role, HeaderRole::Remark | HeaderRole::What | HeaderRole::Fate | HeaderRole::Condition)
            }
            Meaning::Label => true,
            _ => false,
        })
        .map(|(column, _)| *column)
        .collect();
    let coral = diary::coral_column(view);
    let mut told: Vec<Group> = Vec::new();
    let columns: Vec<u32> = quantities.iter().map(|(column, _)| *column).collect();
    let over: BTreeMap<u32, (Rc<TankOf>, Spot)> = columns
        .iter()
        .filter_map(|column| {
            tank::over_column(work, view, *column).map(|(tank, spot)| (*column, (Rc::new(tank), spot)))
        })
        .collect();
    for (at, row) in (0..).zip(&view.table.rows) {
        let filled: Vec<&(u32, Quantity)> =
            quantities.iter().filter(|(column, _)| view.raw(row, *column).is_some()).collect();
        remarks(work, view, row);
        for column in &wordy {
            let text = view.text(row, *column).unwrap_or_default();
            // What befell the coral that a row names is read with that coral.
            let of_coral = coral.is_some_and(|coral| view.raw(row, coral).is_some());
            let comma = view.table.decimal_comma;
            if of_coral && remark::tells_tests(&text, comma) {
                let when = frame.of_row(work, view, row);
                told.extend(remark::tests(view, row, *column, &when));
            } else if !of_coral && remark::speaks(work, &view.header(*column), &text, comma) {
                let when = frame.of_row(work, view, row);
                told.extend(remark::read(work, view, row, *column, &when));
            }
            // In a table with a column of corals the rows without one are read with them.
            if coral.is_none() && remark::tells_done(&text) {
                let when = frame.of_row(work, view, row);
                remark::done(work, view, row, *column, &when);
            }
        }
        if filled.is_empty() || summary::is_no_test(work, view, row, date, &columns) {
            continue;
        }
        let when = if filled.iter().all(|(column, _)| over.contains_key(column)) {
            frame.day_of_row(work, view, row)
        } else {
            frame.of_row(work, view, row)
        };
        frame.count_undated(work, view, &when);
        let when = when.shared();
        // Columns under one name share its row.
        let mut under: Option<(Spot, Rc<When>)> = None;
        for (column, quantity) in filled {
            let Some(raw) = view.raw(row, *column) else { continue };
            let mut when = Rc::clone(&when);
            if let Some((tank, spot)) = over.get(column) {
                when = match under.as_ref().filter(|(known, _)| known == spot) {
                    Some((_, shared)) => Rc::clone(shared),
                    None => {
                        let mut cells: Cells = when.cells.iter().copied().filter(|(_, role)| *role != "tank").collect();
                        cells.push((*spot, "tank"));
                        When { day: when.day.clone(), above: when.above.clone(), tank: Rc::clone(tank), cells }.shared()
                    }
                };
                under = Some((*spot, Rc::clone(&when)));
            } else if quantity.other_tank {
                when = Rc::new(When { tank: Rc::new(tank::of_column(work, view, *column)), ..(*when).clone() });
            }
            if quantity.parameter.get().kind == ParameterKind::Routine && !rates.contains_key(column) {
                let mut test = Test::of(raw, view.spot(row.row, *column), view.table.decimal_comma, when);
                test.line = row.line;
                event::read(work, quantity, &view.header(*column), &view.about(*column), test);
            } else if let Some(group) = groups.get_mut(column) {
                group.wait(Waiting { row: at, column: *column, when });
            }
        }
    }
    frame.labels(work, view);
    for (column, meaning) in &view.meanings {
        // Sizes among tests are read with their corals.
        let size = matches!(meaning, Meaning::Role(HeaderRole::Dimension | HeaderRole::Size));
        if matches!(meaning, Meaning::Label | Meaning::Role(_)) && !size {
            label_column(work, view, *column);
        }
    }
    for (column, quantity) in rates {
        if let Some(mut group) = groups.remove(&column) {
            work.needs_whole("a habit goes on over the parts");
            group.view = 0;
            group.take_up(work, std::slice::from_ref(view));
            habit::settle(work, &quantity, group);
        }
    }
    let groups = groups.into_values().filter(|group| !group.waiting.is_empty());
    groups.chain(remark::joined(told)).collect()
}

/// A group without cells yet.
pub(crate) fn group(view: usize, about: String, header: String, quantity: &Quantity, spot: Spot) -> Group {
    Group {
        about,
        header,
        parameter: quantity.parameter.get(),
        unit: quantity.unit,
        stated: quantity.unit.is_some(),
        basis: quantity.basis,
        limit: quantity.limit,
        spot,
        tests: Vec::new(),
        waiting: Vec::new(),
        view,
    }
}

/// Remarks stay labels; one that names an incident is pointed out.
pub(crate) fn remarks(work: &mut Work, view: &View, row: &DataRow) {
    for column in view.columns(HeaderRole::Remark) {
        let Some(text) = view.text(row, column) else { continue };
        incident(work, view.spot(row.row, column), &text);
    }
}

/// Points out an incident that words name; `false` if they name none.
pub(crate) fn incident(work: &mut Work, spot: Spot, text: &str) -> bool {
    let Some(incident) = find_incident_in_remark(text) else { return false };
    work.desk.raise(
        Doubt::of("incident_in_remark")
            .about(incident.code)
            .at(spot, text)
            .fill("written", text)
            .fill("incident", incident.name)
            .cell(spot, "remark"),
    );
    true
}

/// Tank and day of every cell that is otherwise settled: what waits for them waits here.
pub(crate) fn settle_places(work: &mut Work, group: &mut Group) {
    use crate::canonical::test::{State, leave};
    let undated =
        work.whole.as_ref().map_or_else(|| work.undated.get(&group.view).copied(), |whole| Some(whole.undated));
    let many = undated.is_some_and(|rows| rows > UNDATED);
    let mut tests = std::mem::take(&mut group.tests);
    for test in &mut tests {
        if test.state != State::Pending {
            continue;
        }
        match &*test.when.tank {
            TankOf::Named(_) => {}
            TankOf::Held(key) => {
                work.desk.wait(key, test.cells());
                test.state = State::Held;
                continue;
            }
            TankOf::Left => {
                leave(work, test);
                continue;
            }
        }
        let when = Rc::clone(&test.when);
        match &when.day {
            DayOf::Known(_) => {}
            DayOf::Held(key, _) => {
                work.desk.wait(key, test.cells());
                test.state = State::Held;
            }
            DayOf::Refused(key) => {
                work.desk.wait(key, test.cells());
                test.state = State::Refused;
            }
            DayOf::Left => leave(work, test),
            DayOf::Absent | DayOf::Open => missing_date(work, test, many),
        }
    }
    group.tests = tests;
}

/// Rows without a day that are asked about one by one; more are one question.
const UNDATED: usize = 5;

/// A row without a date: the day above, a day, or it waits.
fn missing_date(work: &mut Work, test: &mut Test, many: bool) {
    use crate::canonical::test::{State, put};
    let above = test.when.above.as_deref().cloned();
    let row = test.spot.row;
    let mut about = format!("row {row}");
    let mut doubt = Doubt::of("date_missing").at(test.spot, &test.written).fill("row", row.to_string());
    if many {
        about =
            work.sheet_name(test.spot.sheet).map(|name| analysis::vocabulary::text::fold(&name)).unwrap_or_default();
        about = format!("{about} rows").trim().to_owned();
        let above = Choice { code: "above".to_owned(), label: "the day above each".to_owned(), needs: None };
        doubt = doubt.fill("row", format!("{row}, and each other row without a day")).choices(vec![above]);
    }
    if above.is_none() {
        doubt = doubt.propose_nothing();
    }
    let settled = put(work, test, &about, doubt.clone());
    if let Settled::Choice(choice, _) = settled {
        let day = match (choice, above, settled.day()) {
            (_, _, Some(day)) => DayOf::Known(date_column::Known { earliest: Some(day), latest: day, clock: None }),
            ("above", Some(above), _) => above,
            _ => {
                work.desk.raise(doubt.about(&about).cells(test.cells()));
                test.state = State::Held;
                return;
            }
        };
        Rc::make_mut(&mut test.when).day = day;
    }
}
