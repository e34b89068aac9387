//! A column of dates → a day, or days, for each row. Decides the order once for the column, asks once for what is alike.

use std::collections::BTreeMap;

use chrono::{Datelike, Days, NaiveDate, NaiveTime};

use crate::canonical::{View, Work};
use crate::cell::clock::Clock;
use crate::cell::date::{self, Numeric, Order, Said};
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::doubt::order::{self, Entry, Verdict};
use crate::finding::Choice;
use crate::grid::Raw;

mod month_only; // months where days are wanted
mod slip; // days that cannot be meant as written
pub(crate) mod year; // days a year off

/// First and last possible day; no first = open.
pub(crate) type Bounds = (Option<NaiveDate>, NaiveDate);

/// A day or days with a time of day, if one was written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Known {
    /// First possible day; `None` = open.
    pub earliest: Option<NaiveDate>,
    /// Last possible day.
    pub latest: NaiveDate,
    /// Time of day.
    pub clock: Option<Clock>,
}

impl Known {
    /// The day, if it is one day.
    pub fn exact(self) -> Option<NaiveDate> {
        self.earliest.filter(|earliest| *earliest == self.latest)
    }
}

/// What a date cell gives.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum DayOf {
    /// No cell, or a no-reading word.
    Absent,
    /// "?": there was a day, nobody knows which.
    Open,
    /// A day or days.
    Known(Known),
    /// Waits for the answer of a key; bounds over all readings, where there are any.
    Held(String, Option<Bounds>),
    /// Left out by an answer.
    Left,
    /// Cannot be read: a formula's error value.
    Refused(String),
}

impl DayOf {
    /// The day, if it is one certain day.
    pub fn exact(&self) -> Option<NaiveDate> {
        match self {
            DayOf::Known(known) => known.exact(),
            _ => None,
        }
    }
}

/// How a column of dates is read.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Rule<'r> {
    /// Name of the question about the order, where columns of one hand share it.
    pub order_about: Option<&'r str>,
    /// Rows follow one another in time: a date out of line is asked about.
    pub in_sequence: bool,
    /// The day something began: "before 2020" leaves its start open.
    pub start: bool,
    /// The day something ended: a word of fate or a plain "no" in it is no day.
    pub end: bool,
    /// A month or a year will do.
    pub partial: bool,
}

/// A column of dates, read.
#[derive(Debug, Clone, Default)]
pub(crate) struct DateColumn {
    /// What each row says.
    pub days: BTreeMap<u32, DayOf>,
}

impl DateColumn {
    /// The day of a row.
    pub fn of(&self, row: u32) -> DayOf {
        self.days.get(&row).cloned().unwrap_or(DayOf::Absent)
    }

    /// The nearest day above a row.
    pub fn above(&self, row: u32) -> Option<&DayOf> {
        self.days.range(..row).rev().map(|(_, day)| day).find(|day| matches!(day, DayOf::Known(_)))
    }
}

/// An order proved by a column's own dates.
pub(crate) fn proved(view: &View, column: u32) -> Option<Order> {
    let mut found = None;
    for row in &view.table.rows {
        if let Some(Raw::Text(text)) = view.raw(row, column) {
            for numeric in date::date(text).said.numerics() {
                match (found, numeric.proves()) {
                    (None, proof) => found = proof,
                    (Some(known), Some(proof)) if known != proof => return None,
                    _ => {}
                }
            }
        }
    }
    found
}

struct Item {
    row: u32,
    spot: Spot,
    written: String,
    from_workbook: bool,
    said: Said,
    clock: Option<Clock>,
    short_year: bool,
    seconds: bool,
    out: Option<DayOf>,
}

/// Reads the dates of a column, top to bottom.
pub(crate) fn read(work: &mut Work, view: &View, column: u32, rule: Rule, sister: Option<Order>) -> DateColumn {
    let about = view.about(column);
    let header = view.header(column);
    let mut items = collect(work, view, column);
    day_numbers(work, &about, &header, &mut items);
    month_only::named_alone(work, view, &about, &header, &mut items);
    without_year(work, view, &about, &header, &mut items);
    let sister = sister.or(work.order);
    settle_order(work, rule.order_about.unwrap_or(&about), &header, &mut items, sister);
    slip::swapped_by_program(work, &about, &mut items);
    if !rule.partial {
        month_only::settle(work, &about, &header, &mut items);
    }
    slip::impossible_and_unreadable(work, (&about, &header), &mut items, rule);
    slip::in_future(work, &mut items);
    if rule.in_sequence {
        year::out_of_sequence(work, &about, &mut items);
    }
    for item in &items {
        let read_as = match item {
            Item { seconds: true, .. } => Some("date_seconds"),
            Item { short_year: true, out: Some(DayOf::Known(_)), .. } => Some("date_year_short"),
            _ => None,
        };
        if let Some(code) = read_as {
            let day = item.out.as_ref().and_then(DayOf::exact).map_or_else(String::new, |day| day.to_string());
            work.desk.raise(
                Doubt::of(code)
                    .about(&about)
                    .at(item.spot, &item.written)
                    .fill("written", &item.written)
                    .fill("day", day)
                    .cell(item.spot, "date"),
            );
        }
        if let Some(DayOf::Known(known)) = &item.out {
            if known.earliest.is_none() && rule.start {
                work.desk.raise(
                    Doubt::of("start_open")
                        .at(item.spot, &item.written)
                        .fill("written", &item.written)
                        .cell(item.spot, "date"),
                );
            } else if known.exact().is_none() {
                work.desk.raise(
                    Doubt::of("date_partial")
                        .at(item.spot, &item.written)
                        .fill("written", &item.written)
                        .fill("earliest", known.earliest.map_or_else(|| "some day".to_owned(), |day| day.to_string()))
                        .fill("latest", known.latest.to_string())
                        .cell(item.spot, "date"),
                );
            }
        }
        if matches!(item.out, Some(DayOf::Left)) || item.out.is_none() || item.said == Said::Nothing {
            work.labels.insert(item.spot);
        }
    }
    DateColumn { days: items.into_iter().map(|item| (item.row, item.out.unwrap_or(DayOf::Absent))).collect() }
}

fn collect(work: &mut Work, view: &View, column: u32) -> Vec<Item> {
    let mut items = Vec::new();
    let month = view.month_in_titles();
    let month_only = view.month_without_year().filter(|_| month.is_none());
    for row in &view.table.rows {
        let Some(raw) = view.raw(row, column) else { continue };
        let spot = view.spot(row.row, column);
        let mut item = Item {
            row: row.row,
            spot,
            written: raw.written(),
            from_workbook: false,
            said: Said::Unreadable,
            clock: None,
            short_year: false,
            seconds: false,
            out: None,
        };
        match raw {
            Raw::Date(at) => {
                item.from_workbook = true;
                if at.date().year() >= 1950 {
                    item.said = Said::Day(at.date());
                    item.clock = (at.time() != NaiveTime::MIN).then(|| Clock { time: at.time(), offset_minutes: None });
                }
            }
            Raw::Number(number) if number.fract() == 0.0 && *number >= 0.0 && *number < 1e13 => {
                let cell = date::date(&format!("{number}"));
                (item.said, item.clock, item.seconds) = (cell.said, cell.clock, cell.seconds);
            }
            Raw::Number(_) | Raw::Bool(_) => {}
            Raw::Text(text) if crate::cell::mark::is_error_value(text) || text.starts_with('=') => {
                item.out = Some(refuse(work, spot, &item.written))
            }
            Raw::Text(text) => {
                let cell = date::date(text);
                (item.said, item.clock, item.short_year) = (cell.said, cell.clock, cell.short_year);
                item.seconds = cell.seconds;
            }
            Raw::Error(_) => item.out = Some(refuse(work, spot, &item.written)),
        }
        // "March 2024" above, and the days as numbers.
        if let (Said::Unreadable, Some((year, month)), Some(day)) = (&item.said, month, day_number(raw)) {
            item.said =
                NaiveDate::from_ymd_opt(year, month, day).map_or(Said::Impossible { year, month, day }, Said::Day);
        }
        if let (Said::Unreadable, Some(month), Some(day)) = (&item.said, month_only, day_number(raw)) {
            item.said = Said::NoYear { first: day, second: month, named: true };
        }
        match item.said {
            Said::Nothing => item.out = Some(DayOf::Absent),
            Said::Open => item.out = Some(DayOf::Open),
            _ => {}
        }
        items.push(item);
    }
    items
}

/// A day of a month as a bare number: "7", "7.".
fn day_number(raw: &Raw) -> Option<u32> {
    let written = raw.written();
    written.trim().trim_end_matches('.').parse().ok().filter(|day| (1..=31).contains(day))
}

fn refuse(work: &mut Work, spot: Spot, written: &str) -> DayOf {
    work.desk.raise(Doubt::of("formula_error").at(spot, written).fill("written", written).cell(spot, "date"));
    DayOf::Refused("formula_error".to_owned())
}

fn known(said: &Said, clock: Option<Clock>, order: Order) -> Option<DayOf> {
    let (earliest, latest) = said.days(order)?;
    Some(DayOf::Known(Known { earliest, latest, clock }))
}

/// The day of a spreadsheet's day number, counted from 1899-12-30, if it is one of a log's years.
pub(crate) fn of_serial(number: i64) -> Option<NaiveDate> {
    let days = u64::try_from(number).ok().filter(|days| (35_000..=50_000).contains(days))?;
    NaiveDate::from_ymd_opt(1899, 12, 30)?.checked_add_days(Days::new(days))
}

/// Day numbers of a spreadsheet.
fn day_numbers(work: &mut Work, about: &str, header: &str, items: &mut [Item]) {
    let settled = work.desk.ask("date_number", about);
    for item in items.iter_mut() {
        let Said::Serial(number) = item.said else { continue };
        let Some(day) = of_serial(number) else {
            item.said = Said::Unreadable;
            continue;
        };
        match settled {
            Settled::Choice("yes", _) => item.said = Said::Day(day),
            // A file counted from 1904 is 1462 days behind.
            Settled::Choice("yes_1904", _) => {
                item.said = day.checked_add_days(Days::new(1462)).map_or(Said::Unreadable, Said::Day)
            }
            Settled::Choice(..) => item.said = Said::Unreadable,
            Settled::LeaveOut => item.out = Some(DayOf::Left),
            Settled::Open | Settled::DontKnow => {
                let doubt = Doubt::of("date_number")
                    .about(about)
                    .at(item.spot, &item.written)
                    .fill("column", header)
                    .fill("written", &item.written)
                    .fill("day", day.to_string())
                    .cell(item.spot, "date");
                item.out = Some(DayOf::Held(doubt.key(), Some((Some(day), day))));
                work.desk.raise(doubt);
            }
        }
    }
}

/// Days without a year: one question a column; the year goes up where the months start again.
fn without_year(work: &mut Work, view: &View, about: &str, header: &str, items: &mut [Item]) {
    if !items.iter().any(|item| item.out.is_none() && matches!(item.said, Said::NoYear { .. })) {
        return;
    }
    let neighbour = items.iter().find_map(|item| match &item.said {
        Said::Day(day) => Some(day.year()),
        Said::Numeric(numeric) => Some(numeric.year),
        _ => None,
    });
    let proposed = view.year_in_titles().or(neighbour).or_else(|| year_in(&work.stem));
    let settled = work.desk.ask("date_year_missing", about);
    let answered =
        settled.number().map(|year| year as i32).filter(|year| (1950..=2199).contains(year)).or_else(|| match settled
            .choice()
        {
            Some("year") => proposed,
            _ => None,
        });
    let mut year = answered;
    let mut before: Option<u32> = None;
    for item in items.iter_mut() {
        let Said::NoYear { first, second, named } = item.said else {
            if let Said::Day(day) = item.said {
                year = answered.map(|_| day.year());
                before = Some(day.month());
            }
            continue;
        };
        if item.out.is_some() {
            continue;
        }
        match (settled, year) {
            (Settled::LeaveOut, _) => item.out = Some(DayOf::Left),
            (Settled::Choice(..), Some(current)) => {
                let month = if named || second <= 12 { second } else { first };
                // From December to January the log goes on into the next year.
                let current = if before.is_some_and(|before| before >= month + 6) { current + 1 } else { current };
                year = Some(current);
                before = Some(month);
                item.said = match named {
                    true => NaiveDate::from_ymd_opt(current, second, first)
                        .map_or(Said::Impossible { year: current, month: second, day: first }, Said::Day),
                    false => Said::Numeric(Numeric { first, second, year: current }),
                };
            }
            _ => {
                let doubt = year_doubt(about, header, item, proposed);
                item.out = Some(DayOf::Held(doubt.key(), None));
                work.desk.raise(doubt);
            }
        }
    }
}

/// Which year days, or months, without one belong to.
fn year_doubt(about: &str, header: &str, item: &Item, proposed: Option<i32>) -> Doubt {
    let doubt = Doubt::of("date_year_missing")
        .about(about)
        .at(item.spot, &item.written)
        .fill("column", header)
        .fill("written", &item.written)
        .fill("year", proposed.map_or_else(String::new, |year| year.to_string()))
        .cell(item.spot, "date");
    match proposed {
        Some(_) => doubt.propose("year", None),
        None => doubt
            .choices(vec![Choice { code: "other".into(), label: "a year".into(), needs: Some("number".into()) }])
            .propose_nothing(),
    }
}

/// A year from 1980 on in a text such as a title or a file name, if it is the only one.
pub(crate) fn year_in(text: &str) -> Option<i32> {
    let years: std::collections::BTreeSet<i32> = text
        .split(|c: char| !c.is_ascii_digit())
        .filter(|digits| digits.len() == 4)
        .filter_map(|digits| digits.parse().ok())
        .filter(|year| (1980..=2100).contains(year))
        .collect();
    (years.len() == 1).then(|| years.into_iter().next()).flatten()
}

fn settle_order(work: &mut Work, about: &str, header: &str, items: &mut [Item], sister: Option<Order>) {
    let mut entries = Vec::new();
    for item in items.iter().filter(|item| item.out.is_none()) {
        match &item.said {
            Said::Day(day) => entries.push(Entry::Certain(*day)),
            said => entries.extend(said.numerics().into_iter().map(Entry::Numeric)),
        }
    }
    let whole = work.whole.as_ref().map(|whole| whole.order.clone());
    match whole.unwrap_or_else(|| order::decide(&entries, sister)) {
        Verdict::NotNeeded => apply_order(items, |_| Order::DayFirst),
        Verdict::Decided(order) => apply_order(items, |_| order),
        Verdict::Mixed(orders) => mixed(work, about, header, items, &orders),
        Verdict::Unclear(proposed) => unclear(work, about, header, items, proposed),
    }
}

fn apply_order(items: &mut [Item], order_of: impl Fn(usize) -> Order) {
    let mut position = 0;
    for item in items.iter_mut().filter(|item| item.out.is_none()) {
        let numerics = item.said.numerics().len();
        item.out = known(&item.said, item.clock, order_of(position));
        position += numerics;
    }
}

fn unclear(work: &mut Work, about: &str, header: &str, items: &mut [Item], proposed: Option<Order>) {
    let settled = work.desk.ask("date_order_unclear", about);
    let chosen = match settled.choice() {
        Some("day_first") => Some(Order::DayFirst),
        Some("month_first") => Some(Order::MonthFirst),
        _ => None,
    };
    if let Some(order) = chosen {
        apply_order(items, |_| order);
        return;
    }
    for item in items.iter_mut().filter(|item| item.out.is_none()) {
        let numerics = item.said.numerics();
        if numerics.iter().all(|numeric| numeric.same_either_way()) {
            item.out = known(&item.said, item.clock, Order::DayFirst);
            continue;
        }
        if settled == Settled::LeaveOut {
            item.out = Some(DayOf::Left);
            continue;
        }
        let numeric = numerics[0];
        let spoken = |order| numeric.day(order).map_or_else(String::new, |day| day.format("%-d %B %Y").to_string());
        let mut doubt = Doubt::of("date_order_unclear")
            .about(about)
            .at(item.spot, &item.written)
            .fill("column", header)
            .fill("written", &item.written)
            .fill("day_first", spoken(Order::DayFirst))
            .fill("month_first", spoken(Order::MonthFirst))
            .cell(item.spot, "date");
        doubt = match proposed {
            Some(Order::DayFirst) => doubt.propose("day_first", None),
            Some(Order::MonthFirst) => doubt.propose("month_first", None),
            None => doubt.propose_nothing(),
        };
        item.out = Some(DayOf::Held(doubt.key(), both_readings(&item.said)));
        work.desk.raise(doubt);
    }
}

/// First and last day over both orders.
fn both_readings(said: &Said) -> Option<Bounds> {
    let readings: Vec<Bounds> = Order::ALL.iter().filter_map(|order| said.days(*order)).collect();
    let latest = readings.iter().map(|(_, latest)| *latest).max()?;
    let earliest = readings.iter().map(|(earliest, _)| *earliest).min()?;
    Some((earliest, latest))
}

fn mixed(work: &mut Work, about: &str, header: &str, items: &mut [Item], orders: &[Order]) {
    let settled = work.desk.ask("date_order_mixed", about);
    match settled.choice() {
        Some("as_shown") => {
            return apply_order(items, |position| orders.get(position).copied().unwrap_or(Order::DayFirst));
        }
        Some("day_first") => return apply_order(items, |_| Order::DayFirst),
        Some("month_first") => return apply_order(items, |_| Order::MonthFirst),
        _ => {}
    }
    let month_first: Vec<String> = {
        let mut position = 0;
        let mut rows = Vec::new();
        for item in items.iter().filter(|item| item.out.is_none()) {
            let numerics = item.said.numerics().len();
            if numerics > 0 && orders.get(position) == Some(&Order::MonthFirst) {
                rows.push(item.row.to_string());
            }
            position += numerics;
        }
        rows
    };
    for item in items.iter_mut().filter(|item| item.out.is_none()) {
        if item.said.numerics().is_empty() {
            item.out = known(&item.said, item.clock, Order::DayFirst);
            continue;
        }
        if settled == Settled::LeaveOut {
            item.out = Some(DayOf::Left);
            continue;
        }
        let doubt = Doubt::of("date_order_mixed")
            .about(about)
            .at(item.spot, &item.written)
            .fill("column", header)
            .fill("rows", month_first.join(", "))
            .cell(item.spot, "date");
        item.out = Some(DayOf::Held(doubt.key(), both_readings(&item.said)));
        work.desk.raise(doubt);
    }
}
