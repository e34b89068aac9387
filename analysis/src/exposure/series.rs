//! The tests of one tank and parameter, readable only up to a day.

use crate::club::Reading;
use crate::follow_up::day_number;

/// One test on the calendar axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Test {
    /// Calendar day; a test acts after a death of that day.
    pub day: f64,
    /// What it can mean, in the parameter's unit.
    pub meaning: Meaning,
    /// The instrument's smallest step, if known.
    pub step: Option<f64>,
    /// Log of the keeper it comes from.
    pub log: u32,
}

/// What a written value can mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Meaning {
    /// The value as written.
    Exact(f64),
    /// `[0, limit)`, as `<limit` says.
    Under(f64),
    /// `(limit, inf)`, as `>limit` says.
    Over(f64),
    /// `[lower, upper]`.
    Between(f64, f64),
    /// Nothing: a 0 from an instrument whose limit is not known.
    Nothing,
}

impl Test {
    /// A reading as a test. `zero_is_limit`: a plain 0 of this parameter means "below what the instrument can show".
    pub fn of(reading: &Reading, zero_is_limit: bool) -> Test {
        let meaning = if reading.exact {
            match reading.value {
                Some(0.0) if zero_is_limit => reading.limit.map_or(Meaning::Nothing, Meaning::Under),
                Some(value) => Meaning::Exact(value),
                None if reading.lower == reading.upper => Meaning::Exact(reading.lower),
                None => Meaning::Between(reading.lower, reading.upper),
            }
        } else if reading.upper.is_infinite() {
            Meaning::Over(reading.lower)
        } else if reading.value == Some(reading.upper) {
            Meaning::Under(reading.upper)
        } else {
            Meaning::Between(reading.lower, reading.upper)
        };
        Test { day: day_number(reading.on), meaning, step: reading.step, log: reading.log }
    }
}

/// The tests of one tank and parameter, by day.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    tests: Vec<Test>,
    /// The distinct days, ascending.
    days: Vec<Day>,
}

/// A day of testing.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Day {
    day: f64,
    /// Position after its last test.
    end: usize,
    /// The tests up to this day come from a probe.
    probe: bool,
}

impl Series {
    /// Tests in any order.
    pub fn new(mut tests: Vec<Test>) -> Series {
        tests.sort_by(|a, b| a.day.total_cmp(&b.day).then(a.log.cmp(&b.log)));
        let mut days: Vec<Day> = Vec::new();
        for (position, test) in tests.iter().enumerate() {
            match days.last_mut() {
                Some(last) if last.day == test.day => last.end = position + 1,
                _ => days.push(Day { day: test.day, end: position + 1, probe: false }),
            }
        }
        for known in 1..=days.len() {
            days[known - 1].probe = is_probe(&days[..known]);
        }
        Series { tests, days }
    }

    /// The days of tests: instants at which a level may change. What was found is read by [`Series::up_to`].
    pub fn days(&self) -> impl Iterator<Item = f64> + '_ {
        self.days.iter().map(|day| day.day)
    }

    /// What is known on each day of testing, in order.
    pub fn each_day(&self) -> impl Iterator<Item = Past<'_>> {
        (1..=self.days.len())
            .map(|known| Past { tests: &self.tests[..self.days[known - 1].end], days: &self.days[..known] })
    }

    /// Everything known on `day`: the tests of that day and of the days before.
    pub fn up_to(&self, day: f64) -> Past<'_> {
        let known = self.days.partition_point(|tested| tested.day <= day);
        let tests = match known {
            0 => 0,
            known => self.days[known - 1].end,
        };
        Past { tests: &self.tests[..tests], days: &self.days[..known] }
    }
}

/// The tests known on a day: the only way to read a test.
#[derive(Debug, Clone, Copy)]
pub struct Past<'a> {
    tests: &'a [Test],
    days: &'a [Day],
}

/// Gaps that are looked back at to tell a probe from a kit.
const PROBE_GAPS: usize = 9;
/// Fewest gaps that can tell.
const PROBE_GAPS_AT_LEAST: usize = 5;
/// A probe's median gap is at most this many days.
const PROBE_GAP_DAYS: f64 = 1.5;

impl<'a> Past<'a> {
    /// The last day of testing.
    pub fn last_day(&self) -> Option<f64> {
        self.days.last().map(|last| last.day)
    }

    /// The tests of the last day of testing.
    pub fn last_tests(&self) -> &'a [Test] {
        let from = self.days.len().checked_sub(2).map_or(0, |before| self.days[before].end);
        &self.tests[from..]
    }

    /// Mean of the tests of the last day of testing: a value under a limit counts as that limit, one over it as that limit,
    /// an interval as its middle; `None` if none of them says anything.
    pub fn last_mean(&self) -> Option<f64> {
        let values: Vec<f64> = self
            .last_tests()
            .iter()
            .filter_map(|test| match test.meaning {
                Meaning::Exact(value) | Meaning::Under(value) | Meaning::Over(value) => Some(value),
                Meaning::Between(lower, upper) => Some((lower + upper) / 2.0),
                Meaning::Nothing => None,
            })
            .collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    }

    /// Whether the tests come from a probe: the median of the last nine gaps (at least five) is at most 1.5 days.
    pub fn is_probe(&self) -> bool {
        self.days.last().is_some_and(|last| last.probe)
    }
}

/// Whether the days of testing up to the last of these are a probe's.
fn is_probe(days: &[Day]) -> bool {
    let gaps = days.len().saturating_sub(1);
    if gaps < PROBE_GAPS_AT_LEAST {
        return false;
    }
    let mut last = [0.0; PROBE_GAPS];
    let last = &mut last[..gaps.min(PROBE_GAPS)];
    let from = days.len() - 1 - last.len();
    for (gap, pair) in last.iter_mut().zip(days[from..].windows(2)) {
        *gap = pair[1].day - pair[0].day;
    }
    let short = last.iter().filter(|gap| **gap <= PROBE_GAP_DAYS).count();
    let middle = last.len() / 2;
    // Fewer short gaps than half: the median is a longer one. Most series are told here.
    if short < middle || (last.len() % 2 == 1 && short == middle) {
        return false;
    }
    last.sort_unstable_by(f64::total_cmp);
    let median = if last.len() % 2 == 1 { last[middle] } else { (last[middle - 1] + last[middle]) / 2.0 };
    median <= PROBE_GAP_DAYS
}
