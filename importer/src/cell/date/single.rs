//! A single day, month or year: numbers and month names in the orders people write them.

use analysis::vocabulary::month_by_name;
use chrono::NaiveDate;

use crate::cell::date::{DateCell, Numeric, Order, Said};

const PART_OF: &[&str] = &[
    "early",
    "mid",
    "late",
    "end",
    "beginning",
    "start",
    "anfang",
    "mitte",
    "ende",
    "debut",
    "début",
    "fin",
    "milieu",
    "principios",
    "finales",
    "mediados",
    "begin",
    "midden",
    "eind",
];
const FILLERS: &[&str] = &["of", "the", "de", "del", "den", "der", "le", "am", "on", "im", "in", "en", "op", "el"];
const WEEKDAYS: &[&str] = &[
    "mon",
    "monday",
    "tue",
    "tues",
    "tuesday",
    "wed",
    "wednesday",
    "thu",
    "thur",
    "thurs",
    "thursday",
    "fri",
    "friday",
    "sat",
    "saturday",
    "sun",
    "sunday",
    "mo",
    "montag",
    "di",
    "dienstag",
    "mi",
    "mittwoch",
    "do",
    "donnerstag",
    "fr",
    "freitag",
    "sa",
    "samstag",
    "sonnabend",
    "so",
    "sonntag",
    "lun",
    "lundi",
    "mardi",
    "mer",
    "mercredi",
    "jeu",
    "jeudi",
    "ven",
    "vendredi",
    "sam",
    "samedi",
    "dim",
    "dimanche",
    "lunes",
    "martes",
    "miercoles",
    "miércoles",
    "jueves",
    "viernes",
    "sabado",
    "sábado",
    "domingo",
    "maandag",
    "dinsdag",
    "woensdag",
    "donderdag",
    "vrijdag",
    "zaterdag",
    "zondag",
];

enum Token {
    Number { value: u32, digits: usize, apostrophe: bool },
    Month(u32),
}

fn tokens(text: &str) -> Option<(Vec<Token>, bool)> {
    let mut out = Vec::new();
    let mut part_of = false;
    let mut chars = text.chars().peekable();
    let mut apostrophe = false;
    while let Some(&c) = chars.peek() {
        if c.is_ascii_digit() {
            let mut digits = String::new();
            while let Some(&d) = chars.peek().filter(|d| d.is_ascii_digit()) {
                digits.push(d);
                chars.next();
            }
            let value = digits.parse().ok().filter(|_| digits.len() <= 8)?;
            out.push(Token::Number { value, digits: digits.len(), apostrophe });
            let mut suffix = String::new();
            let mut ahead = chars.clone();
            while let Some(&d) = ahead.peek().filter(|d| d.is_alphabetic() || matches!(d, 'º' | 'ª')) {
                suffix.push(d);
                ahead.next();
            }
            if matches!(suffix.as_str(), "st" | "nd" | "rd" | "th" | "er" | "º" | "ª" | "ter" | "ten") {
                chars = ahead;
            }
            apostrophe = false;
        } else if c.is_alphabetic() {
            let mut word = String::new();
            while let Some(&d) = chars.peek().filter(|d| d.is_alphabetic()) {
                word.push(d);
                chars.next();
            }
            if let Some(month) = month_by_name(&word) {
                out.push(Token::Month(month));
            } else if PART_OF.contains(&word.as_str()) {
                part_of = true;
            } else if !FILLERS.contains(&word.as_str()) && !WEEKDAYS.contains(&word.as_str()) {
                return None;
            }
        } else if matches!(c, '/' | '.' | '-' | ' ' | ',' | '\'') {
            apostrophe = c == '\'';
            chars.next();
        } else {
            return None;
        }
    }
    Some((out, part_of))
}

fn year_of(value: u32, digits: usize, apostrophe: bool) -> Option<(i32, bool)> {
    match digits {
        4 => (1950..=2199).contains(&value).then_some((value as i32, false)),
        2 => Some((if value >= 80 { 1900 } else { 2000 } + value as i32, true)),
        1 if apostrophe => Some((2000 + value as i32, true)),
        _ => None,
    }
}

fn ymd(year: i32, month: u32, day: u32) -> Option<Said> {
    ((1..=12).contains(&month) && (1..=31).contains(&day))
        .then(|| NaiveDate::from_ymd_opt(year, month, day).map_or(Said::Impossible { year, month, day }, Said::Day))
}

fn month_span(year: i32, month: u32) -> Option<Said> {
    let first = NaiveDate::from_ymd_opt(year, month, 1)?;
    let next = if month == 12 {
        NaiveDate::from_ymd_opt(year + 1, 1, 1)
    } else {
        NaiveDate::from_ymd_opt(year, month + 1, 1)
    }?;
    Some(Said::Span(first, next.pred_opt()?))
}

/// Reads a single day, month or year without a time; `None` = it is none.
pub(super) fn day_only(text: &str) -> Option<DateCell> {
    use Token::{Month, Number};
    let (tokens, part_of) = tokens(text)?;
    if part_of && tokens.len() > 2 {
        return None;
    }
    let mut short_year = false;
    let mut year = |value: u32, digits: usize, apostrophe: bool| -> Option<i32> {
        let (year, short) = year_of(value, digits, apostrophe)?;
        short_year = short;
        Some(year)
    };
    let said = match tokens.as_slice() {
        [
            Number { value: y, digits: 4, .. },
            Number { value: m, digits: 1..=2, .. },
            Number { value: d, digits: 1..=2, .. },
        ] => ymd(year(*y, 4, false)?, *m, *d)?,
        [
            Number { value: y, digits: 2, .. },
            Number { value: m, digits: 1..=2, .. },
            Number { value: d, digits: 1..=2, .. },
        ] if *y > 31 => ymd(year(*y, 2, false)?, *m, *d)?,
        [
            Number { value: a, digits: 1..=2, .. },
            Number { value: b, digits: 1..=2, .. },
            Number { value: y, digits, apostrophe },
        ] => numeric(*a, *b, year(*y, *digits, *apostrophe)?)?,
        [Number { value: d, digits: 1..=2, .. }, Month(m), Number { value: y, digits, apostrophe }]
        | [Month(m), Number { value: d, digits: 1..=2, .. }, Number { value: y, digits, apostrophe }] => {
            ymd(year(*y, *digits, *apostrophe)?, *m, *d)?
        }
        [Number { value: y, digits: 4, .. }, Month(m), Number { value: d, digits: 1..=2, .. }] => {
            ymd(year(*y, 4, false)?, *m, *d)?
        }
        [Month(m), Number { value: y, digits: 4, .. }] | [Number { value: y, digits: 4, .. }, Month(m)] => {
            month_span(year(*y, 4, false)?, *m)?
        }
        [Month(m), Number { value: y, digits: 2, apostrophe: true }] => month_span(year(*y, 2, true)?, *m)?,
        [Month(m), Number { value: y, digits: 2, .. }] if *y > 31 => month_span(year(*y, 2, true)?, *m)?,
        [Number { value: m, digits: 1..=2, .. }, Number { value: y, digits: 4, .. }]
        | [Number { value: y, digits: 4, .. }, Number { value: m, digits: 1..=2, .. }] => {
            month_span(year(*y, 4, false)?, *m)?
        }
        [Number { value: y, digits: 4, .. }] => {
            let year = year(*y, 4, false)?;
            Said::Span(NaiveDate::from_ymd_opt(year, 1, 1)?, NaiveDate::from_ymd_opt(year, 12, 31)?)
        }
        [Number { value, digits: 8, .. }] => ymd(year(*value / 10_000, 4, false)?, *value / 100 % 100, *value % 100)?,
        [Number { value, digits: 5, .. }] if text.trim().len() == 5 => Said::Serial(i64::from(*value)),
        [Number { value: d, digits: 1..=2, .. }, Month(m)] | [Month(m), Number { value: d, digits: 1..=2, .. }]
            if !part_of && (1..=31).contains(d) =>
        {
            Said::NoYear { first: *d, second: *m, named: true }
        }
        [Number { value: a, digits: 1..=2, .. }, Number { value: b, digits: 1..=2, .. }]
            if !part_of
                && text.contains(['/', '.', '-'])
                && (1..=31).contains(a)
                && (1..=31).contains(b)
                && (*a <= 12 || *b <= 12) =>
        {
            Said::NoYear { first: *a, second: *b, named: false }
        }
        _ => return None,
    };
    Some(DateCell { said, clock: None, short_year, seconds: false })
}

/// Two numbers and a year: kept as numbers, unless no order makes a day of them.
fn numeric(first: u32, second: u32, year: i32) -> Option<Said> {
    let numeric = Numeric { first, second, year };
    if !(1..=31).contains(&first) || !(1..=31).contains(&second) {
        return None;
    }
    if numeric.day(Order::DayFirst).is_some() || numeric.day(Order::MonthFirst).is_some() {
        return Some(Said::Numeric(numeric));
    }
    match numeric.proves() {
        Some(Order::DayFirst) => Some(Said::Impossible { year, month: second, day: first }),
        Some(Order::MonthFirst) => Some(Said::Impossible { year, month: first, day: second }),
        None => None,
    }
}
