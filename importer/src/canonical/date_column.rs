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
    out: Option<DayOf>,
}

/// Reads the dates of a column, top to bottom.
pub(crate) fn read(work: &mut Work, view: &View, column: u32, rule: Rule, sister: Option<Order>) -> DateColumn {
    let about = view.about(column);
    let header = view.header(column);
    let mut items = collect(work, view, column);
    day_numbers(work, &about, &header, &mut items);
    without_year(work, view, &about, &header, &mut items);
    settle_order(work, rule.order_about.unwrap_or(&about), &header, &mut items, sister);
    swapped_by_program(work, &about, &mut items);
    impossible_and_unreadable(work, &header, &mut items, rule);
    in_future(work, &mut items);
    if rule.in_sequence {
        out_of_sequence(work, &about, &mut items);
    }
    for item in &items {
        if item.short_year && matches!(item.out, Some(DayOf::Known(_))) {
            let day = item.out.as_ref().and_then(DayOf::exact).map_or_else(String::new, |day| day.to_string());
            work.desk.raise(
                Doubt::of("date_year_short")
                    .about(&about)
                    .at(item.spot, &item.written)
                    .fill("written", &item.written)
                    .fill("day", day)
                    .cell(item.spot, "date"),
            );
        }
        if let Some(DayOf::Known(known)) = &item.out {
            if known.earliest.is_none() {
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
                        .fill("earliest", known.earliest.map_or_else(String::new, |day| day.to_string()))
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
            Raw::Number(number) if number.fract() == 0.0 && *number >= 0.0 && *number < 1e8 => {
                item.said = date::date(&format!("{number}")).said;
            }
            Raw::Number(_) | Raw::Bool(_) => {}
            Raw::Text(text) if crate::cell::mark::is_error_value(text) || text.starts_with('=') => {
                item.out = Some(refuse(work, spot, &item.written))
            }
            Raw::Text(text) => {
                let cell = date::date(text);
                (item.said, item.clock, item.short_year) = (cell.said, cell.clock, cell.short_year);
            }
            Raw::Error(_) => item.out = Some(refuse(work, spot, &item.written)),
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

fn refuse(work: &mut Work, spot: Spot, written: &str) -> DayOf {
    work.desk.raise(Doubt::of("formula_error").at(spot, written).fill("written", written).cell(spot, "date"));
    DayOf::Refused("formula_error".to_owned())
}

fn known(said: &Said, clock: Option<Clock>, order: Order) -> Option<DayOf> {
    let (earliest, latest) = said.days(order)?;
    Some(DayOf::Known(Known { earliest, latest, clock }))
}

/// Day numbers of a spreadsheet: day 0 is 1899-12-30.
fn day_numbers(work: &mut Work, about: &str, header: &str, items: &mut [Item]) {
    let zero = NaiveDate::from_ymd_opt(1899, 12, 30).unwrap_or_default();
    let day_of = |number: i64| {
        u64::try_from(number)
            .ok()
            .filter(|n| (35_000..=50_000).contains(n))
            .and_then(|n| zero.checked_add_days(Days::new(n)))
    };
    let settled = work.desk.ask("date_number", about);
    for item in items.iter_mut() {
        let Said::Serial(number) = item.said else { continue };
        let Some(day) = day_of(number) else {
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
                let mut doubt = Doubt::of("date_year_missing")
                    .about(about)
                    .at(item.spot, &item.written)
                    .fill("column", header)
                    .fill("written", &item.written)
                    .fill("year", proposed.map_or_else(String::new, |year| year.to_string()))
                    .cell(item.spot, "date");
                doubt = match proposed {
                    Some(_) => doubt.propose("year", None),
                    None => doubt
                        .choices(vec![Choice {
                            code: "other".into(),
                            label: "a year".into(),
                            needs: Some("number".into()),
                        }])
                        .propose_nothing(),
                };
                item.out = Some(DayOf::Held(doubt.key(), None));
                work.desk.raise(doubt);
            }
        }
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
    match order::decide(&entries, sister) {
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

/// Text dates with a day above twelve beside real dates with days up to twelve that are out of sequence: the
/// program that opened the file read the latter month first.
fn swapped_by_program(work: &mut Work, about: &str, items: &mut [Item]) {
    let proved_texts = items
        .iter()
        .any(|item| !item.from_workbook && item.said.numerics().iter().any(|n| n.proves() == Some(Order::DayFirst)));
    let real: Vec<usize> =
        (0..items.len()).filter(|&i| items[i].from_workbook && matches!(items[i].said, Said::Day(_))).collect();
    let swap = |day: NaiveDate| NaiveDate::from_ymd_opt(day.year(), day.day(), day.month());
    if !proved_texts
        || real.is_empty()
        || real.iter().any(|&i| matches!(items[i].said, Said::Day(day) if day.day() > 12))
    {
        return;
    }
    let back = |days: &[NaiveDate]| days.windows(2).filter(|pair| pair[1] < pair[0]).count();
    let as_shown: Vec<NaiveDate> = items.iter().filter_map(|item| item.out.as_ref().and_then(DayOf::exact)).collect();
    let as_swapped: Vec<NaiveDate> = items
        .iter()
        .filter_map(|item| {
            let day = item.out.as_ref().and_then(DayOf::exact)?;
            if item.from_workbook { swap(day) } else { Some(day) }
        })
        .collect();
    if back(&as_swapped) >= back(&as_shown) {
        return;
    }
    let settled = work.desk.ask("date_swapped", about);
    for &i in &real {
        let Said::Day(day) = items[i].said else { continue };
        let Some(swapped) = swap(day).filter(|swapped| *swapped != day) else { continue };
        let item = &mut items[i];
        match settled {
            Settled::Choice("swap", _) => {
                item.out = Some(DayOf::Known(Known { earliest: Some(swapped), latest: swapped, clock: item.clock }))
            }
            Settled::Choice(..) => {}
            Settled::LeaveOut => item.out = Some(DayOf::Left),
            Settled::Open | Settled::DontKnow => {
                let doubt = Doubt::of("date_swapped")
                    .about(about)
                    .at(item.spot, &item.written)
                    .fill("written", &item.written)
                    .fill("day", swapped.to_string())
                    .cell(item.spot, "date");
                item.out = Some(DayOf::Held(doubt.key(), Some((Some(day.min(swapped)), day.max(swapped)))));
                work.desk.raise(doubt);
            }
        }
    }
}

fn impossible_and_unreadable(work: &mut Work, header: &str, items: &mut [Item], rule: Rule) {
    for item in items.iter_mut() {
        let partial_day = matches!(&item.out, Some(DayOf::Known(known)) if known.exact().is_none());
        if item.out.is_some() && (rule.partial || !partial_day) {
            continue;
        }
        let (code, bounds) = match item.said {
            Said::Impossible { year, month, .. } => ("date_impossible", days_of_month(year, month)),
            _ if partial_day => ("date_unreadable", None),
            _ => ("date_unreadable", None),
        };
        let settled = work.desk.ask(code, &item.written);
        item.out = Some(match settled {
            Settled::LeaveOut => DayOf::Left,
            Settled::Choice("day", None) if bounds.is_some() => {
                let day = bounds.and_then(|(_, after)| after.pred_opt()).unwrap_or_default();
                DayOf::Known(Known { earliest: Some(day), latest: day, clock: item.clock })
            }
            Settled::Choice(..) if settled.day().is_some() => {
                let day = settled.day().unwrap_or_default();
                DayOf::Known(Known { earliest: Some(day), latest: day, clock: item.clock })
            }
            Settled::Choice(..) if settled.days().is_some() && rule.partial => {
                let (first, last) = settled.days().unwrap_or_default();
                DayOf::Known(Known { earliest: Some(first), latest: last, clock: None })
            }
            _ => {
                let mut doubt = Doubt::of(code)
                    .about(&item.written)
                    .at(item.spot, &item.written)
                    .fill("column", header)
                    .fill("written", &item.written)
                    .cell(item.spot, "date");
                if let Some(near) = bounds.and_then(|(_, after)| after.pred_opt()) {
                    doubt = doubt.fill("day", near.to_string());
                }
                if !rule.partial && code == "date_unreadable" {
                    doubt = doubt.choices(vec![Choice {
                        code: "day".into(),
                        label: "a day".into(),
                        needs: Some("day".into()),
                    }]);
                }
                let key = doubt.key();
                work.desk.raise(doubt.propose_nothing());
                DayOf::Held(key, bounds)
            }
        });
    }
}

fn days_of_month(year: i32, month: u32) -> Option<Bounds> {
    let first = NaiveDate::from_ymd_opt(year, month, 1)?;
    let next = first.checked_add_months(chrono::Months::new(1))?;
    // The day after the month's end is as near as its last day.
    Some((Some(first), next))
}

fn in_future(work: &mut Work, items: &mut [Item]) {
    let Some(today) = work.context.today else { return };
    for item in items.iter_mut() {
        let Some(DayOf::Known(known)) = item.out else { continue };
        let Some(earliest) = known.earliest else { continue };
        if earliest <= today {
            continue;
        }
        let a_year_ago = earliest.with_year(earliest.year() - 1).filter(|day| *day <= today);
        let swapped = NaiveDate::from_ymd_opt(earliest.year(), earliest.day(), earliest.month())
            .filter(|day| *day <= today && *day != earliest);
        let settled = work.desk.ask("date_in_future", &item.written);
        let answer = match settled.choice() {
            Some("last_year") => a_year_ago,
            Some("swapped") => swapped,
            Some(_) => settled.day(),
            None => None,
        };
        item.out = Some(match (settled, answer) {
            (Settled::LeaveOut, _) => DayOf::Left,
            (_, Some(day)) => DayOf::Known(Known { earliest: Some(day), latest: day, clock: known.clock }),
            _ => {
                let doubt = Doubt::of("date_in_future")
                    .about(&item.written)
                    .at(item.spot, &item.written)
                    .fill("written", &item.written)
                    .fill("day", earliest.format("%-d %B %Y").to_string())
                    .cell(item.spot, "date");
                let mut choices = Vec::new();
                if let Some(day) = a_year_ago {
                    choices.push(Choice { code: "last_year".into(), label: format!("last year: {day}"), needs: None });
                }
                if let Some(day) = swapped {
                    choices.push(Choice {
                        code: "swapped".into(),
                        label: format!("day and month swapped: {day}"),
                        needs: None,
                    });
                }
                choices.push(Choice { code: "other".into(), label: "another day".into(), needs: Some("day".into()) });
                let key = doubt.key();
                work.desk.raise(doubt.choices(choices).propose_nothing());
                // Whatever day was meant, it is not later than today.
                DayOf::Held(key, [a_year_ago, swapped].into_iter().flatten().min().map(|first| (Some(first), today)))
            }
        });
    }
}

/// A run of rows a year too early in a column that is otherwise in sequence.
fn out_of_sequence(work: &mut Work, about: &str, items: &mut [Item]) {
    let dated: Vec<(usize, NaiveDate)> =
        items.iter().enumerate().filter_map(|(i, item)| Some((i, item.out.as_ref()?.exact()?))).collect();
    let back = dated.windows(2).filter(|pair| pair[1].1 < pair[0].1).count();
    if dated.len() < 4 || back > 1 + dated.len() / 20 {
        return;
    }
    let mut at = 1;
    while at < dated.len() {
        let before = dated[at - 1].1;
        let late = |day: NaiveDate| (before - day).num_days() >= 300;
        if !late(dated[at].1) {
            at += 1;
            continue;
        }
        let end = (at..dated.len()).find(|&i| !late(dated[i].1)).unwrap_or(dated.len());
        let next_year = |day: NaiveDate| day.with_year(day.year() + 1);
        let mended: Option<Vec<NaiveDate>> = dated[at..end].iter().map(|(_, day)| next_year(*day)).collect();
        let fits = mended.is_some_and(|days| {
            let after = dated.get(end).map(|(_, day)| *day);
            days.iter().all(|day| {
                *day >= before
                    && after.is_none_or(|after| *day <= after)
                    && work.context.today.is_none_or(|today| *day <= today)
            })
        });
        // A short run at a turn of the year is a slip; a long one is a second series in the same column.
        if fits && end - at <= 12 {
            let first = &items[dated[at].0];
            let name = format!("{about}:{}", first.written);
            let settled = work.desk.ask("date_out_of_order", &name);
            let shown = (first.spot, first.written.clone());
            for &(i, day) in &dated[at..end] {
                let Some(moved) = next_year(day) else { continue };
                let item = &mut items[i];
                let clock = if let Some(DayOf::Known(known)) = item.out { known.clock } else { None };
                match settled {
                    Settled::Choice("next_year", _) => {
                        item.out = Some(DayOf::Known(Known { earliest: Some(moved), latest: moved, clock }))
                    }
                    Settled::Choice(..) => {}
                    Settled::LeaveOut => item.out = Some(DayOf::Left),
                    Settled::Open | Settled::DontKnow => {
                        let doubt = Doubt::of("date_out_of_order")
                            .about(&name)
                            .at(shown.0, &shown.1)
                            .fill("written", &shown.1)
                            .fill("day", moved.to_string())
                            .cell(item.spot, "date");
                        item.out = Some(DayOf::Held(doubt.key(), Some((Some(day), moved))));
                        work.desk.raise(doubt);
                    }
                }
            }
        }
        at = end.max(at + 1);
    }
}
