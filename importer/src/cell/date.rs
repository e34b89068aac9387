//! Days as written: full days, months, years, "before …", "between … and …", day numbers of a spreadsheet.
//!
//! Never by locale: "03/04/2024" stays two days until the column's evidence, or its keeper, says which.

use chrono::{Datelike, NaiveDate};

use crate::cell::clock::{Clock, clock};
use crate::cell::fold;

mod single; // one day, month or year

use single::day_only;

/// Which part comes first in "03/04/2024".
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Order {
    /// The 3rd of April.
    DayFirst,
    /// March 4th.
    MonthFirst,
}

impl Order {
    /// Both orders.
    pub const ALL: [Order; 2] = [Order::DayFirst, Order::MonthFirst];

    /// The other one.
    pub fn other(self) -> Order {
        match self {
            Order::DayFirst => Order::MonthFirst,
            Order::MonthFirst => Order::DayFirst,
        }
    }
}

/// Two numbers and a year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Numeric {
    /// First number.
    pub first: u32,
    /// Second number.
    pub second: u32,
    /// Year.
    pub year: i32,
}

impl Numeric {
    /// The day under an order; `None` if there is none.
    pub fn day(self, order: Order) -> Option<NaiveDate> {
        let (day, month) = match order {
            Order::DayFirst => (self.first, self.second),
            Order::MonthFirst => (self.second, self.first),
        };
        NaiveDate::from_ymd_opt(self.year, month, day)
    }

    /// The order this date proves by a part that cannot be a month.
    pub fn proves(self) -> Option<Order> {
        match (self.first > 12, self.second > 12) {
            (true, false) => Some(Order::DayFirst),
            (false, true) => Some(Order::MonthFirst),
            _ => None,
        }
    }

    /// Both orders give the same day.
    pub fn same_either_way(self) -> bool {
        self.first == self.second
    }
}

/// What a date cell says.
#[derive(Debug, Clone, PartialEq)]
pub enum Said {
    /// No day: a no-reading word.
    Nothing,
    /// "?", "unknown": a day there was, but nobody knows which.
    Open,
    /// One certain day.
    Day(NaiveDate),
    /// Day and month in an order to be found out.
    Numeric(Numeric),
    /// A month or a year only: first and last day.
    Span(NaiveDate, NaiveDate),
    /// "before …".
    Before(Box<Said>),
    /// "between … and …".
    Between(Box<Said>, Box<Said>),
    /// Day and month without a year: two numbers, or day and named month.
    NoYear {
        /// First number, or the day.
        first: u32,
        /// Second number, or the month.
        second: u32,
        /// The month was named, so that `first` is the day.
        named: bool,
    },
    /// A whole number that may be a spreadsheet's day number.
    Serial(i64),
    /// A day that no calendar has: year, month, day as far as they can be told.
    Impossible {
        /// Year.
        year: i32,
        /// Month, 1 to 12.
        month: u32,
        /// Day.
        day: u32,
    },
    /// Not a date.
    Unreadable,
}

/// A date cell, read.
#[derive(Debug, Clone, PartialEq)]
pub struct DateCell {
    /// The day or days.
    pub said: Said,
    /// Time of day, if it stands in the same cell.
    pub clock: Option<Clock>,
    /// A two-digit year was written.
    pub short_year: bool,
    /// It was written as a count of seconds, or of thousandths, since 1970 in universal time.
    pub seconds: bool,
}

impl DateCell {
    fn bare(said: Said) -> Self {
        DateCell { said, clock: None, short_year: false, seconds: false }
    }
}

/// Seconds since 1970-01-01T00:00Z as POSIX counts them (IEEE Std 1003.1, "Seconds Since the Epoch"): ten digits, or
/// thirteen in thousandths, from 2001-09-09 on. No other way to write a day has as many digits in one.
fn since_epoch(text: &str) -> Option<DateCell> {
    let thousandths = match text.len() {
        10 => 1,
        13 => 1000,
        _ => return None,
    };
    let count: i64 = text.bytes().all(|byte| byte.is_ascii_digit()).then(|| text.parse().ok())??;
    let at = chrono::DateTime::from_timestamp(count / thousandths, 0)?;
    (2001..2100).contains(&at.year()).then(|| DateCell {
        said: Said::Day(at.date_naive()),
        clock: Some(Clock { time: at.time(), offset_minutes: Some(0) }),
        short_year: false,
        seconds: true,
    })
}

/// Day and time without marks between their parts, as ISO 8601 (basic format) writes them: "20240302T081500",
/// "20240302 0815"; some loggers leave out the mark between day and time as well.
fn basic(text: &str) -> Option<DateCell> {
    let (day, rest) = text.split_at_checked(8).filter(|(day, _)| day.bytes().all(|byte| byte.is_ascii_digit()))?;
    let rest = rest.strip_prefix(['t', ' ']).unwrap_or(rest).trim();
    let figures = rest.bytes().take_while(u8::is_ascii_digit).count();
    if !matches!(figures, 4 | 6) {
        return None;
    }
    let seconds = if figures == 6 { format!(":{}", &rest[4..6]) } else { String::new() };
    let time = clock(&format!("{}:{}{seconds}{}", &rest[..2], &rest[2..4], &rest[figures..]))?;
    let day = day_only(day).filter(|day| matches!(day.said, Said::Day(_) | Said::Impossible { .. }))?;
    Some(DateCell { clock: Some(time), ..day })
}

const BEFORE: &[&str] = &["before", "pre", "prior to", "earlier than", "vor", "avant", "antes de", "antes del", "voor"];
const BETWEEN: &[&str] = &["between", "zwischen", "entre", "tussen", "from", "von", "vom", "de", "du", "van", "desde"];
const AND: &[&str] = &[
    " and ",
    " und ",
    " et ",
    " y ",
    " en ",
    " to ",
    " until ",
    " till ",
    " bis zum ",
    " bis ",
    " au ",
    " a ",
    " hasta ",
    " tot ",
    " & ",
    " - ",
];
const ABOUT: &[&str] = &[
    "ca.",
    "ca",
    "circa",
    "c.",
    "about",
    "around",
    "approx.",
    "approx",
    "approximately",
    "~",
    "etwa",
    "ungefähr",
    "gegen",
    "um",
    "vers",
    "env.",
    "environ",
    "hacia",
    "rond",
    "ongeveer",
];
/// Reads a date cell written as text.
pub fn date(text: &str) -> DateCell {
    let text = fold::plain(text).to_lowercase();
    let text = text.trim_matches(['"', '\'']).trim();
    if analysis::vocabulary::is_unknown_word(text) && !text.is_empty() {
        return DateCell::bare(Said::Open);
    }
    if text.is_empty() || analysis::vocabulary::is_no_reading(text) {
        return DateCell::bare(Said::Nothing);
    }
    let text = without_about(text);
    for word in BEFORE {
        if let Some(rest) = strip_word(text, word).or_else(|| text.strip_prefix('<')) {
            let inner = date(rest);
            return match inner.said {
                Said::Nothing
                | Said::Open
                | Said::Unreadable
                | Said::Before(_)
                | Said::Between(..)
                | Said::Serial(_) => DateCell::bare(Said::Unreadable),
                said => DateCell { short_year: inner.short_year, ..DateCell::bare(Said::Before(Box::new(said))) },
            };
        }
    }
    if let Some(single) = since_epoch(text).or_else(|| basic(text)).or_else(|| single(text)) {
        return single;
    }
    between(text).unwrap_or(DateCell::bare(Said::Unreadable))
}

fn strip_word<'t>(text: &'t str, word: &str) -> Option<&'t str> {
    text.strip_prefix(word).and_then(|rest| rest.strip_prefix(' ')).map(str::trim)
}

fn without_about(text: &str) -> &str {
    for word in ABOUT {
        if let Some(rest) = text.strip_prefix(word) {
            let joined = word.ends_with(['.', '~']);
            if (joined || rest.starts_with(' ')) && !rest.trim().is_empty() {
                return rest.trim();
            }
        }
    }
    text
}

fn between(text: &str) -> Option<DateCell> {
    let inner = BETWEEN.iter().find_map(|word| strip_word(text, word)).unwrap_or(text);
    for and in AND.iter().copied().chain(["-", "/"]) {
        for (at, _) in inner.match_indices(and) {
            let (left, right) = (inner[..at].trim(), inner[at + and.len()..].trim());
            let Some(right) = single(right.trim_end_matches('.')).or_else(|| single(right)) else { continue };
            let Some(left) = single(left).or_else(|| single(left.trim_end_matches('.'))) else { continue };
            if let (Some(left_said), true) = (with_year_of(&left.said, &right.said), is_day(&right.said)) {
                let short_year = left.short_year || right.short_year;
                let said = Said::Between(Box::new(left_said), Box::new(right.said));
                return Some(DateCell { short_year, ..DateCell::bare(said) });
            }
        }
    }
    None
}

fn is_day(said: &Said) -> bool {
    matches!(said, Said::Day(_) | Said::Numeric(_) | Said::Span(..))
}

/// "01.07." beside "15.07.2023" takes its year.
fn with_year_of(left: &Said, right: &Said) -> Option<Said> {
    let Said::NoYear { first, second, named } = *left else { return is_day(left).then(|| left.clone()) };
    let year = match right {
        Said::Day(day) | Said::Span(day, _) => day.year(),
        Said::Numeric(numeric) => numeric.year,
        _ => return None,
    };
    Some(match named {
        true => NaiveDate::from_ymd_opt(year, second, first)
            .map_or(Said::Impossible { year, month: second, day: first }, Said::Day),
        false => Said::Numeric(Numeric { first, second, year }),
    })
}

fn single(text: &str) -> Option<DateCell> {
    if let Some(cell) = day_only(text) {
        return Some(cell);
    }
    let splits = text.match_indices([' ', 't', ',']).map(|(at, _)| at).collect::<Vec<_>>();
    for at in splits {
        let day = day_only(text[..at].trim_end_matches([',', ' ']));
        let time = clock(text[at + 1..].trim_start_matches([',', ' ']));
        if let (Some(day), Some(time)) = (day, time)
            && matches!(day.said, Said::Day(_) | Said::Numeric(_) | Said::Impossible { .. } | Said::NoYear { .. })
        {
            return Some(DateCell { clock: Some(time), ..day });
        }
    }
    None
}

impl Said {
    /// First and last possible day under an order; the first is `None` for "before …". `None` = no day in it.
    pub fn days(&self, order: Order) -> Option<(Option<NaiveDate>, NaiveDate)> {
        match self {
            Said::Day(day) => Some((Some(*day), *day)),
            Said::Numeric(numeric) => {
                numeric.day(order).or_else(|| numeric.day(order.other())).map(|day| (Some(day), day))
            }
            Said::Span(first, last) => Some((Some(*first), *last)),
            Said::Before(inner) => {
                let (first, _) = inner.days(order)?;
                Some((None, first?.pred_opt()?))
            }
            Said::Between(left, right) => {
                let (first, _) = left.days(order)?;
                let (_, last) = right.days(order)?;
                let first = first?;
                Some(if first <= last { (Some(first), last) } else { (Some(last), first) })
            }
            _ => None,
        }
    }

    /// The numeric dates in it.
    pub fn numerics(&self) -> Vec<Numeric> {
        match self {
            Said::Numeric(numeric) => vec![*numeric],
            Said::Before(inner) => inner.numerics(),
            Said::Between(left, right) => [left.numerics(), right.numerics()].concat(),
            _ => Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn basic_format() {
        use chrono::NaiveTime;
        // ISO 8601-1:2019, 5.4.2.1: 19850412T101530 and 19850412T101530Z.
        let cell = date("19850412T101530");
        assert_eq!(
            (cell.said, cell.clock.map(|clock| clock.time)),
            (Said::Day(ymd(1985, 4, 12)), NaiveTime::from_hms_opt(10, 15, 30))
        );
        assert_eq!(date("19850412T101530Z").clock.and_then(|clock| clock.offset_minutes), Some(0));
        assert_eq!(date("19850412T101530+0400").clock.and_then(|clock| clock.offset_minutes), Some(240));
        for text in ["20240302 0815", "20240302T0815", "202403020815", "20240302081500", "20240302 08:15"] {
            let cell = date(text);
            let time = cell.clock.map(|clock| clock.time);
            assert_eq!((cell.said, time), (Said::Day(ymd(2024, 3, 2)), NaiveTime::from_hms_opt(8, 15, 0)), "{text}");
        }
        for text in ["20240302T25", "20249902T0815", "20240302 9915"] {
            assert_eq!(date(text).clock, None, "{text}");
        }
    }

    fn ymd(y: i32, m: u32, d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(y, m, d).unwrap()
    }

    fn said(text: &str) -> Said {
        date(text).said
    }

    #[test]
    fn certain_days() {
        for text in [
            "2024-03-05",
            "2024/3/5",
            "5 March 2024",
            "March 5, 2024",
            "5. März 2024",
            "5 mars 2024",
            "20240305",
            "5th of March 2024",
            "Tue 5 Mar 2024",
            "5-Mar-2024",
        ] {
            assert_eq!(said(text), Said::Day(ymd(2024, 3, 5)), "{text}");
        }
    }

    #[test]
    fn numbers_wait_for_an_order() {
        let said = said("03/04/2024");
        assert_eq!(said.days(Order::DayFirst), Some((Some(ymd(2024, 4, 3)), ymd(2024, 4, 3))));
        assert_eq!(said.days(Order::MonthFirst), Some((Some(ymd(2024, 3, 4)), ymd(2024, 3, 4))));
        assert_eq!(said.numerics()[0].proves(), None);
        assert_eq!(super::date("19/02/2024").said.numerics()[0].proves(), Some(Order::DayFirst));
        assert_eq!(super::date("1/21/2024").said.numerics()[0].proves(), Some(Order::MonthFirst));
    }

    #[test]
    fn short_years() {
        let cell = date("13/01/24");
        assert!(cell.short_year);
        assert_eq!(cell.said.numerics()[0].year, 2024);
        assert!(!date("13/01/2024").short_year);
        assert_eq!(date("5.3.98").said.numerics()[0].year, 1998);
    }

    #[test]
    fn parts_of_dates() {
        assert_eq!(said("June 2022"), Said::Span(ymd(2022, 6, 1), ymd(2022, 6, 30)));
        assert_eq!(said("2022-02"), Said::Span(ymd(2022, 2, 1), ymd(2022, 2, 28)));
        assert_eq!(said("12/2022"), Said::Span(ymd(2022, 12, 1), ymd(2022, 12, 31)));
        assert_eq!(said("2021"), Said::Span(ymd(2021, 1, 1), ymd(2021, 12, 31)));
        assert_eq!(said("ca. 2021"), Said::Span(ymd(2021, 1, 1), ymd(2021, 12, 31)));
        assert_eq!(said("end of June 2022"), Said::Span(ymd(2022, 6, 1), ymd(2022, 6, 30)));
        assert_eq!(said("Jun '22"), Said::Span(ymd(2022, 6, 1), ymd(2022, 6, 30)));
    }

    #[test]
    fn before_and_between() {
        assert_eq!(said("before 2020").days(Order::DayFirst), Some((None, ymd(2019, 12, 31))));
        assert_eq!(said("vor 2020").days(Order::DayFirst), Some((None, ymd(2019, 12, 31))));
        for text in [
            "between 01.07 and 15.07.2023",
            "01.07.-15.07.2023",
            "01.07.2023 – 15.07.2023",
            "zwischen 01.07. und 15.07.2023",
        ] {
            assert_eq!(said(text).days(Order::DayFirst), Some((Some(ymd(2023, 7, 1)), ymd(2023, 7, 15))), "{text}");
        }
    }

    #[test]
    fn without_a_year() {
        assert_eq!(said("05/02"), Said::NoYear { first: 5, second: 2, named: false });
        assert_eq!(said("5. Feb"), Said::NoYear { first: 5, second: 2, named: true });
    }

    #[test]
    fn days_that_are_not() {
        assert_eq!(said("31/02/2024"), Said::Impossible { year: 2024, month: 2, day: 31 });
        assert_eq!(said("2024-02-30"), Said::Impossible { year: 2024, month: 2, day: 30 });
        assert_eq!(said("31 Feb 2024"), Said::Impossible { year: 2024, month: 2, day: 31 });
    }

    #[test]
    fn times_beside_days() {
        let cell = date("2025-03-04T19:30+02:00");
        assert_eq!(cell.said, Said::Day(ymd(2025, 3, 4)));
        assert_eq!(cell.clock.map(|c| (c.time.to_string(), c.offset_minutes)), Some(("19:30:00".into(), Some(120))));
        assert!(date("4/3/2024 7:30 pm").clock.is_some());
        assert!(date("5 March 2024, 19:30").clock.is_some());
    }

    #[test]
    fn seconds_since_1970() {
        // RFC 3339 of the same moments by `date -u -d @SECONDS` (GNU coreutils).
        let cell = date("1709251200");
        assert_eq!(cell.said, Said::Day(ymd(2024, 3, 1)));
        assert_eq!(cell.clock.map(|c| (c.time.to_string(), c.offset_minutes)), Some(("00:00:00".into(), Some(0))));
        let cell = date("1234567890123");
        assert_eq!(cell.said, Said::Day(ymd(2009, 2, 13)));
        assert_eq!(cell.clock.map(|c| c.time.to_string()), Some("23:31:30".into()));
        assert!(cell.seconds && !date("20240301").seconds);
        for text in ["0123456789", "9999999999", "17092512001", "+1709251200"] {
            assert!(!date(text).seconds, "{text}");
        }
    }

    #[test]
    fn words_that_are_no_days() {
        for text in [
            "last week",
            "on holiday",
            "summer",
            "8.2",
            "45",
            "12 tentacles",
            "2 1/2 in",
            "é",
            "1é/2/2024",
            "99/99/2024",
            "a b c d e",
        ] {
            assert!(matches!(said(text), Said::Unreadable | Said::NoYear { .. }), "{text}: {:?}", said(text));
        }
        assert_eq!(said("?"), Said::Open);
        assert_eq!(said("45352"), Said::Serial(45352));
        assert_eq!(said("-"), Said::Nothing);
    }
}
