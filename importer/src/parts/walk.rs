//! The first walk over a long text: where its rows start, their days and keys, and what only the whole shows.

use std::collections::{BTreeSet, HashMap};
use std::ops::Range;

use chrono::NaiveDate;

use super::cuts::Cuts;
use super::whole::Whole;
use super::{Keys, Parts, Sizes, at};
use crate::canonical::date_column::{self, year};
use crate::canonical::fill;
use crate::cell::date::{Order, Said, date};
use crate::container::delimited::{Notes, Text};
use crate::container::limit;
use crate::context::Context;
use crate::dialect::split::Field;
use crate::doubt::desk::Spot;
use crate::doubt::order::{self, Entry, Verdict};
use crate::finding::Finding;

/// Names of tests whose order is kept: a list of more names is no list of tests.
const MOST_TESTS: usize = 200;
/// Equal values in a row that may be a probe that hung: they are not parted.
const STUCK: u32 = 12;

/// A run of equal values in a column or of a test.
struct Run {
    value: String,
    first: u32,
    last: u32,
    length: u32,
}

/// What the first walk gathers, row by row.
pub(super) struct Walk {
    notes: Notes,
    rows: Vec<(u32, u32)>,
    cells: Vec<u16>,
    dates: Vec<Option<Entry>>,
    /// Rows with tests that leave the day blank.
    undated: usize,
    /// For each key column, whether a row leaves it blank, and whether it repeats the row above.
    keys: Vec<u8>,
    tanks: Vec<(String, Spot)>,
    tests: Vec<(String, String)>,
    timed: bool,
    runs: HashMap<String, Run>,
    /// First and last row of runs that are not parted.
    stuck: Vec<(u32, u32)>,
}

/// What a date cell is to a text that is cut.
#[derive(Debug, Clone, Copy)]
enum Dated {
    /// A day, two numbers and a year, or nothing that tells a day.
    Day(Option<Entry>),
    /// A month or a year: the title of rows, or what only the whole column can settle.
    Month,
    /// What only the whole column can settle.
    Open,
}

fn dated(text: &str, timed: &mut bool) -> Dated {
    let cell = date(text);
    *timed |= cell.clock.is_some();
    Dated::Day(match cell.said {
        Said::Day(day) => Some(Entry::Certain(day)),
        Said::Numeric(numeric) => Some(Entry::Numeric(numeric)),
        Said::Serial(number) => date_column::of_serial(number).map(Entry::Certain),
        Said::Nothing | Said::Open | Said::Impossible { .. } | Said::Unreadable => None,
        Said::Span(..) => return Dated::Month,
        Said::Before(_) | Said::Between(..) | Said::NoYear { .. } => return Dated::Open,
    })
}

impl Walk {
    /// Walks over a text; `None` if it cannot be cut.
    ///
    /// # Errors
    /// If it is over a limit.
    pub fn of(text: &Text, keys: &Keys, head: u32) -> Result<Option<Self>, Box<Finding>> {
        let mut walk = Walk {
            notes: Notes::default(),
            rows: Vec::new(),
            cells: Vec::new(),
            dates: Vec::new(),
            undated: 0,
            keys: Vec::new(),
            tanks: Vec::new(),
            tests: Vec::new(),
            timed: keys.time.is_some(),
            runs: HashMap::new(),
            stuck: Vec::new(),
        };
        let mut records = text.records();
        let mut last = (String::new(), Dated::Day(None));
        let key_columns = [Some(keys.date), keys.tank, keys.name];
        // Each key column's last text, and whether the row above has it.
        let mut above: [(String, bool); 3] = Default::default();
        let mut met = BTreeSet::new();
        let mut number = 0_u32;
        loop {
            let (start, line) = records.position();
            let Some(record) = records.next_record() else { break };
            number = number.saturating_add(1);
            let before = walk.notes.cells();
            walk.notes.see(number, record.fields)?;
            let cells = walk.notes.cells() - before;
            if u64::from(number) > limit::ROWS {
                // Only blank lines come so far.
                continue;
            }
            walk.rows.push((start as u32, line));
            walk.cells.push(cells.min(u64::from(u16::MAX)) as u16);
            if number <= head || cells == 0 {
                walk.dates.push(None);
                walk.keys.push(0);
                continue;
            }
            let written = at(record.fields, keys.date);
            if let Some(written) = written.filter(|written| *written != last.0) {
                last = (written.to_owned(), dated(written, &mut walk.timed));
            }
            let day = if written.is_some() { last.1 } else { Dated::Day(None) };
            walk.dates.push(match day {
                Dated::Day(entry) => entry,
                // The title of a month stands with the rows above it as well as with its own.
                Dated::Month if cells == 1 => None,
                Dated::Month | Dated::Open => return Ok(None),
            });
            walk.undated += usize::from(written.is_none() && keys.hold_a_test(number, &record));
            let mut flags = 0;
            for ((column, above), bit) in key_columns.iter().zip(&mut above).zip(0..) {
                let Some(column) = *column else { continue };
                let text = at(record.fields, column);
                flags |= u8::from(text.is_none()) << bit;
                flags |= u8::from(above.1 && text == Some(above.0.as_str())) << (bit + 4);
                above.1 = text.is_some();
                let Some(text) = text else { continue };
                if bit == 1 && !met.contains(text) && keys.hold_a_test(number, &record) {
                    met.insert(text.to_owned());
                    walk.tanks.push((text.trim().to_owned(), Spot { sheet: 0, row: number, column }));
                }
                if text != above.0 {
                    above.0 = text.to_owned();
                }
            }
            walk.keys.push(flags);
            if let Some(name) = keys.name.and_then(|column| at(record.fields, column)) {
                let unit = keys.unit.and_then(|column| at(record.fields, column)).unwrap_or_default();
                // Few names stand in many rows.
                if walk.tests.len() < MOST_TESTS
                    && !walk.tests.iter().any(|known| known.0 == name.trim() && known.1 == unit.trim())
                {
                    walk.tests.push((name.trim().to_owned(), unit.trim().to_owned()));
                }
            }
            walk.follow(record.fields, keys, number - 1);
        }
        let runs = std::mem::take(&mut walk.runs);
        runs.into_values().for_each(|run| walk.close(&run));
        Ok(Some(walk))
    }

    /// Follows runs of equal values.
    fn follow(&mut self, fields: &[Field], keys: &Keys, row: u32) {
        match (keys.name, keys.value) {
            (Some(name), Some(value)) => {
                if let (Some(name), Some(value)) = (at(fields, name), at(fields, value)) {
                    self.go_on(name, value, row);
                }
            }
            _ => {
                for (column, about) in &keys.about {
                    if let Some(value) = at(fields, *column) {
                        self.go_on(about, value, row);
                    }
                }
            }
        }
    }

    fn go_on(&mut self, name: &str, value: &str, row: u32) {
        let new = || Run { value: value.to_owned(), first: row, last: row, length: 1 };
        match self.runs.get_mut(name) {
            Some(run) if run.value == value => (run.last, run.length) = (row, run.length + 1),
            Some(run) => {
                let ended = std::mem::replace(run, new());
                self.close(&ended);
            }
            None => drop(self.runs.insert(name.to_owned(), new())),
        }
    }

    fn close(&mut self, run: &Run) {
        if run.length >= STUCK {
            self.stuck.push((run.first, run.last));
        }
    }

    /// Cuts the text; `None` if it must be read at once.
    pub fn cut<'t>(
        mut self,
        text: &'t Text<'t>,
        keys: &Keys,
        head: u32,
        context: &Context,
        sizes: Sizes,
    ) -> Option<(Parts<'t>, Whole)> {
        let entries: Vec<Entry> = self.dates.iter().flatten().copied().collect();
        let order = order::decide(&entries, None);
        drop(entries);
        let taken = match &order {
            Verdict::Mixed(_) => return None,
            Verdict::Decided(order) => *order,
            Verdict::NotNeeded => Order::DayFirst,
            Verdict::Unclear(proposed) => answered(context).or(*proposed).unwrap_or(Order::DayFirst),
        };
        let dates = std::mem::take(&mut self.dates);
        let mut days: Vec<Option<NaiveDate>> = dates
            .into_iter()
            .map(|entry| match entry? {
                Entry::Certain(day) => Some(day),
                Entry::Numeric(numeric) => numeric.day(taken),
            })
            .collect();
        let dated = days.iter().enumerate().filter_map(|(row, day)| Some((row as u32 + 1, (*day)?)));
        let dated = dated.filter(|(_, day)| context.today.is_none_or(|today| *day <= today)).collect();
        let slips = year::found(dated, context.today);
        for slip in &slips {
            // Rows that slipped together are asked about together.
            let first = slip.rows.iter().map(|(_, day)| *day).min().and_then(|day| year::moved(day, slip.years));
            slip.rows.iter().for_each(|(row, _)| days[*row as usize - 1] = first);
        }
        let days = filled(days, head)?;
        let parts = Cuts::of(&days, &self.cells, head).without(&self.stuck, &days, self.timed).parts(sizes)?;
        let mut runs: Vec<Vec<Range<u32>>> = vec![Vec::new(); parts.len()];
        for row in head..days.len() as u32 {
            let part = parts.partition_point(|first| *first <= days[row as usize]).saturating_sub(1);
            match runs[part].last_mut() {
                Some(run) if run.end == row => run.end = row + 1,
                _ => runs[part].push(row..row + 1),
            }
        }
        runs.sort_by_key(|runs| runs.first().map(|run| run.start));
        let filled_down = self.filled_down(&runs, head)?;
        let decimal_comma = self.notes.decimal_comma(text.dialect);
        let parts = Parts {
            text,
            rows: self.rows,
            head,
            runs,
            decimal_comma,
            tanks: self.tanks,
            tests: self.tests,
            findings: self.notes.findings(),
            total: self.notes.cells(),
        };
        let samples = parts.samples(keys);
        let (units, levels) = Default::default();
        let undated = if filled_down { 0 } else { self.undated };
        Some((parts, Whole { order, slips, undated, samples, units, levels, unsound: None }))
    }

    /// Whether days are written once and left blank below. `None` if what a blank key takes from above may be in another
    /// part: a day never is. A column that is filled down in one part must be so in all.
    fn filled_down(&self, runs: &[Vec<Range<u32>>], head: u32) -> Option<bool> {
        let filled_down = |rows: &mut dyn Iterator<Item = u32>| -> [bool; 3] {
            let (mut filled, mut blanks, mut repeats) = (0_usize, [0_usize; 3], [0_usize; 3]);
            for row in rows.map(|row| row as usize).filter(|row| self.cells[*row] > 0) {
                filled += 1;
                for bit in 0..3 {
                    blanks[bit] += usize::from(self.keys[row] >> bit & 1);
                    repeats[bit] += usize::from(self.keys[row] >> (bit + 4) & 1);
                }
            }
            [0, 1, 2].map(|bit| fill::is_habit(filled - blanks[bit], blanks[bit], repeats[bit]))
        };
        let whole = filled_down(&mut (head..self.rows.len() as u32));
        let alike = runs.iter().all(|runs| filled_down(&mut runs.iter().cloned().flatten()) == whole);
        (alike && !whole[1] && !whole[2]).then_some(whole[0])
    }
}

/// The answer to the question about day and month, whichever column it names.
fn answered(context: &Context) -> Option<Order> {
    let about_order = |key: &str| key.split(':').next() == Some("date_order_unclear");
    let answer = context.answers.iter().rev().find(|answer| about_order(&answer.key))?;
    match answer.choice.as_str() {
        "day_first" => Some(Order::DayFirst),
        "month_first" => Some(Order::MonthFirst),
        _ => None,
    }
}

/// Days of all rows: a row without one goes with the row above it. `None` if no row has a day.
fn filled(days: Vec<Option<NaiveDate>>, head: u32) -> Option<Vec<NaiveDate>> {
    let mut above = days.iter().skip(head as usize).find_map(|day| *day)?;
    let fill = |day: Option<NaiveDate>| {
        above = day.unwrap_or(above);
        above
    };
    Some(days.into_iter().map(fill).collect())
}
