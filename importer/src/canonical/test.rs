//! A number cell on its way to a reading: what it says, its unit, its day, its tank, and what became of it.

use std::rc::Rc;

use analysis::vocabulary::{Parameter, UnitCode, Water};

use crate::canonical::date_column::DayOf;
use crate::canonical::tank::TankOf;
use crate::canonical::wide::When;
use crate::canonical::{Cells, View, Work};
use crate::cell::mark::{Number, Says, Shape, says};
use crate::cell::number::Figures;
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::grid::Raw;
use crate::record::{Qualifier, Reading, Taken};

/// What became of a cell.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum State {
    /// Not decided yet.
    Pending,
    /// Waits for the answer of a key.
    Held,
    /// Says nothing to record: a label.
    Left,
    /// Refused by a finding.
    Refused,
}

/// A value in the catalogue's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Value {
    /// The value; for `<` and `>` the limit.
    pub value: Option<f64>,
    /// Lower end.
    pub lower: Option<f64>,
    /// Upper end.
    pub upper: Option<f64>,
    /// How exactly it was written.
    pub qualifier: Qualifier,
}

impl Value {
    /// A plain value.
    pub fn is(value: f64) -> Self {
        Value { value: Some(value), lower: Some(value), upper: Some(value), qualifier: Qualifier::Equal }
    }

    /// Between two values.
    pub fn between(lower: f64, upper: f64) -> Self {
        Value { value: None, lower: Some(lower), upper: Some(upper), qualifier: Qualifier::Interval }
    }

    /// Below a limit; the lower end is 0 where the parameter cannot be below.
    pub fn below(limit: f64, floor: Option<f64>) -> Self {
        Value { value: Some(limit), lower: floor, upper: Some(limit), qualifier: Qualifier::Below }
    }

    /// Above a limit.
    pub fn above(limit: f64) -> Self {
        Value { value: Some(limit), lower: Some(limit), upper: None, qualifier: Qualifier::Above }
    }

    /// One number that stands for it in comparisons.
    pub fn middle(self) -> f64 {
        self.value.unwrap_or_else(|| match (self.lower, self.upper) {
            (Some(lower), Some(upper)) => (lower + upper) / 2.0,
            (Some(one), None) | (None, Some(one)) => one,
            (None, None) => 0.0,
        })
    }
}

/// A number cell.
#[derive(Debug, Clone)]
pub(crate) struct Test {
    /// The cell.
    pub spot: Spot,
    /// As written.
    pub written: String,
    /// Line of a text file.
    pub line: Option<u32>,
    /// Day and tank, with the cells it uses besides its own; the tests of a row share it.
    pub when: Rc<When>,
    /// Cells of rows that say the same.
    pub more: Cells,
    /// Coral at whose spot it was measured.
    pub specimen: Option<Box<str>>,
    /// What the cell says.
    pub says: Says,
    /// Unit of its own, from the cell or its unit column.
    pub unit: Option<UnitCode>,
    /// Basis of its own.
    pub basis: Option<&'static str>,
    /// Temperature and salinity of the same row.
    pub water: Water,
    /// "No" was answered to a doubt about it: it is taken as written, and not doubted again.
    pub confirmed: bool,
    /// Flags of the reading.
    pub flags: Vec<&'static str>,
    /// A value settled by a doubt, in the catalogue's unit: takes the place of the cell's own.
    pub settled: Option<Value>,
    /// A second reading of the same cell (two tests, a day's lowest and highest).
    pub second: Option<Box<Value>>,
    /// Kept in this unit, which does not convert.
    pub own_scale: Option<Box<(UnitCode, String)>>,
    /// What became of it.
    pub state: State,
}

impl Test {
    /// A cell read.
    pub fn of(raw: &Raw, spot: Spot, decimal_comma: bool, when: Rc<When>) -> Self {
        let says = match raw {
            Raw::Number(number) => Says::Number(Number::certain(*number)),
            Raw::Text(text) => says(text, decimal_comma),
            Raw::Error(_) => Says::Fault,
            Raw::Bool(_) | Raw::Date(_) => Says::Word,
        };
        Test {
            spot,
            written: raw.written(),
            line: None,
            when,
            more: Vec::new(),
            specimen: None,
            says,
            unit: None,
            basis: None,
            water: Water::default(),
            confirmed: false,
            flags: Vec::new(),
            settled: None,
            second: None,
            own_scale: None,
            state: State::Pending,
        }
    }

    /// Every cell it uses, the value first.
    pub fn cells(&self) -> impl Iterator<Item = (Spot, &'static str)> + '_ {
        std::iter::once((self.spot, "value")).chain(self.when.cells.iter().copied()).chain(self.more.iter().copied())
    }

    /// Whether it is still to be decided.
    pub fn pending(&self) -> bool {
        self.state == State::Pending && self.settled.is_none() && self.own_scale.is_none()
    }

    /// Its number, as written.
    pub fn number(&self) -> Option<&Number> {
        match &self.says {
            Says::Number(number) => Some(number),
            _ => None,
        }
    }

    /// The number itself, for a pending cell that holds a plain one, "<" or ">".
    pub fn figures(&self) -> Option<Figures> {
        self.number().map(|number| match number.shape {
            Shape::Is(figures) | Shape::Below(figures) | Shape::Above(figures) | Shape::Span(figures, _) => figures,
        })
    }

    /// Replaces the number and keeps its marks.
    pub fn put(&mut self, value: f64) {
        if let Says::Number(number) = &mut self.says {
            let figures = Figures::certain(value);
            number.shape = match number.shape {
                Shape::Is(_) => Shape::Is(figures),
                Shape::Below(_) => Shape::Below(figures),
                Shape::Above(_) => Shape::Above(figures),
                Shape::Span(_, upper) => Shape::Span(figures, upper),
            };
        }
    }
}

/// The cells of one column, or of one test name and unit in a list.
#[derive(Debug, Clone)]
pub(crate) struct Group {
    /// Name in finding keys.
    pub about: String,
    /// As written.
    pub header: String,
    /// What is measured.
    pub parameter: &'static Parameter,
    /// Unit of the column, once known.
    pub unit: Option<UnitCode>,
    /// The unit was stated, not found from the values.
    pub stated: bool,
    /// Basis.
    pub basis: Option<&'static str>,
    /// Smallest value the test shows, in the column's unit.
    pub limit: Option<f64>,
    /// The header cell, or the first cell.
    pub spot: Spot,
    /// Cells, in the order of the file.
    pub tests: Vec<Test>,
    /// Cells that are not taken up yet: a long file's are, one parameter after the other.
    pub waiting: Vec<Waiting>,
    /// The table of the waiting cells.
    pub view: usize,
}

/// A cell whose turn has not come.
#[derive(Debug, Clone)]
pub(crate) struct Waiting {
    /// Position of its row in the table.
    pub row: u32,
    /// Its column.
    pub column: u32,
    /// Day and tank of its row, and the cells it uses besides its own.
    pub when: Rc<When>,
}

impl Group {
    /// Puts a cell at the end of the queue. A long file's queues are its memory: they grow by a quarter, not by half.
    pub fn wait(&mut self, waiting: Waiting) {
        if self.waiting.len() == self.waiting.capacity() {
            self.waiting.reserve_exact(self.waiting.len() / 4 + 16);
        }
        self.waiting.push(waiting);
    }

    /// Takes up the waiting cells.
    pub fn take_up(&mut self, work: &mut Work, views: &[View]) {
        let Some(view) = views.get(self.view) else { return };
        let waiting = std::mem::take(&mut self.waiting);
        self.tests.reserve(waiting.len());
        for Waiting { row, column, when } in waiting {
            let Some(row) = view.table.rows.get(row as usize) else { continue };
            let Some(raw) = view.raw(row, column) else { continue };
            let mut test = Test::of(raw, view.spot(row.row, column), view.table.decimal_comma, when);
            test.line = row.line;
            if matches!(raw, Raw::Date(_)) {
                crate::doubt::mark::became_date(work, self, &mut test, raw);
            }
            self.tests.push(test);
        }
    }

    /// Unit and basis of a cell.
    pub fn unit_of(&self, test: &Test) -> (Option<UnitCode>, Option<&'static str>) {
        match test.unit {
            Some(unit) if Some(unit) != self.unit => {
                (Some(unit), test.basis.or_else(|| self.basis.filter(|basis| self.accepts(unit, basis))))
            }
            _ => (self.unit, test.basis.or(self.basis)),
        }
    }

    fn accepts(&self, unit: UnitCode, basis: &str) -> bool {
        self.parameter.accepts.iter().any(|accepted| accepted.unit == unit && accepted.basis == Some(basis))
    }

    /// A written number of a cell in the catalogue's unit; `None` where it does not convert.
    pub fn canonical(&self, test: &Test, written: f64) -> Option<f64> {
        let (unit, basis) = self.unit_of(test);
        let unit = unit.unwrap_or(self.parameter.unit);
        self.parameter
            .convert_in(written, unit.as_str(), basis, test.water)
            .or_else(|_| self.parameter.convert_in(written, unit.as_str(), None, test.water))
            .ok()
    }

    /// Plain numbers of cells that are to be decided or decided, in the catalogue's unit, in file order.
    pub fn canonical_values(&self) -> Vec<(usize, f64)> {
        self.tests
            .iter()
            .enumerate()
            .filter(|(_, test)| test.state == State::Pending)
            .filter_map(|(at, test)| match (test.settled, test.number()) {
                (Some(settled), _) => Some((at, settled.middle())),
                (None, Some(Number { shape: Shape::Is(figures), .. })) => {
                    self.canonical(test, figures.first).map(|value| (at, value))
                }
                _ => None,
            })
            .collect()
    }
}

/// Middle of sorted copies of the values; `None` without any.
pub(crate) fn median(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.into_iter().filter(|value| value.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => None,
        n if n % 2 == 1 => Some(values[middle]),
        _ => Some((values[middle - 1] + values[middle]) / 2.0),
    }
}

/// Puts a question about a cell: raises it and holds the cell while it is open, leaves the cell out if told so, and
/// otherwise gives the answer to be applied.
pub(crate) fn put<'w>(work: &mut Work<'w>, test: &mut Test, about: &str, doubt: Doubt) -> Settled<'w> {
    let settled = work.desk.ask(doubt.code(), about);
    match settled {
        Settled::Open | Settled::DontKnow => {
            work.desk.raise(doubt.about(about).cells(test.cells()));
            test.state = State::Held;
        }
        Settled::LeaveOut => leave(work, test),
        Settled::Choice("no" | "right" | "real" | "zero", _) => test.confirmed = true,
        Settled::Choice(..) => {}
    }
    settled
}

/// A cell that says nothing to record.
pub(crate) fn leave(work: &mut Work, test: &mut Test) {
    work.labels.insert(test.spot);
    test.state = State::Left;
}

/// A cell that cannot load.
pub(crate) fn refuse(work: &mut Work, test: &mut Test, doubt: Doubt) {
    work.desk.raise(doubt.cells(test.cells()));
    test.state = State::Refused;
}

/// A finding about a cell of a group, filled in with what the questions name.
pub(crate) fn about_cell(code: &'static str, group: &Group, test: &Test) -> Doubt {
    let unit = group.unit_of(test).0.unwrap_or(group.parameter.unit).get().printed;
    // A unit written in the cell is not printed twice.
    let shown = if test.number().is_some_and(|number| number.unit.is_some()) { "" } else { unit };
    about_written(code, &group.header, group.parameter, test).fill("unit", shown)
}

/// The same from the parts of a group.
pub(crate) fn about_written(code: &'static str, header: &str, parameter: &Parameter, test: &Test) -> Doubt {
    Doubt::of(code)
        .at(test.spot, &test.written)
        .fill("column", header)
        .fill("header", header)
        .fill("parameter", parameter.name)
        .fill("written", &test.written)
        .fill("value", &test.written)
        .fill("unit", parameter.unit.get().printed)
}

/// Readings of what is left of the groups of a parameter, in the order of the file.
pub(crate) fn emit(work: &mut Work, groups: &[Group]) {
    if let [group] = groups {
        return group.tests.iter().for_each(|test| emit_one(work, group, test));
    }
    let mut all: Vec<(&Group, &Test)> =
        groups.iter().flat_map(|group| group.tests.iter().map(move |test| (group, test))).collect();
    all.sort_by_key(|(_, test)| test.spot);
    for (group, test) in all {
        emit_one(work, group, test);
    }
}

fn emit_one(work: &mut Work, group: &Group, test: &Test) {
    if test.state != State::Pending {
        return;
    }
    let (Some(taken), TankOf::Named(tank)) = (taken(&test.when.day), &*test.when.tank) else { return };
    work.saw_day(taken.on);
    let mut flags: Vec<String> = test.flags.iter().map(|flag| (*flag).to_owned()).collect();
    flags.sort();
    flags.dedup();
    for value in test.settled.into_iter().chain(test.second.as_deref().copied()) {
        let unit = test.own_scale.as_ref().map_or(group.parameter.unit, |own| own.0);
        let place = work.place_of(test.cells(), test.line);
        work.keep(Reading {
            tank: Some(tank.clone()),
            parameter: group.parameter.code,
            taken,
            value: value.value,
            lower: value.lower,
            upper: value.upper,
            unit: unit.as_str().to_owned(),
            qualifier: value.qualifier,
            flags: flags.clone(),
            specimen: test.specimen.as_deref().map(str::to_owned),
            written_unit: test.own_scale.as_ref().map(|own| own.1.clone()),
            written: test.written.clone(),
            place,
        });
    }
}

/// The day and time of a reading, if it is one certain day.
pub(crate) fn taken(when: &DayOf) -> Option<Taken> {
    let DayOf::Known(known) = when else { return None };
    let on = known.exact()?;
    Some(Taken {
        on,
        time: known.clock.map(|clock| clock.time),
        offset_minutes: known.clock.and_then(|clock| clock.offset_minutes),
    })
}
