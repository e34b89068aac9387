//! Water tests as bytes, column by column: what a club of a million tests is read from.
//!
//! Little-endian, in this order: the name `R1`; parameters (a count of 16 bits, each a length of 8 bits and its letters);
//! pairs of an instrument's limit and step (a count of 16 bits, each a byte of which are known and two numbers of 64 bits);
//! runs of tests of one tank and parameter (a count of 32 bits, each tank 32, parameter 16, tests 32); tests (a count of
//! 32 bits), then of all of them the days since 31 December of the year 0 (32), the marks (8), the pair (16), the log (32) and
//! the value (64); numbers that a mark says are written out (a count of 32 bits, each 64): lower ends, upper ends.
//! Numbers come back bit by bit.

use std::collections::HashMap;

use chrono::{Datelike, NaiveDate};

use super::{Reading, Readings};
use crate::club::TankId;
use crate::vocabulary::ParameterCode;

const NAME: &[u8; 2] = b"R1";

/// Marks of a test.
mod mark {
    pub const EXACT: u8 = 1;
    pub const ZERO_REPORTED: u8 = 2;
    pub const VALUE: u8 = 4;
    /// Ends that are not the value itself.
    pub const LOWER: u8 = 8;
    pub const UPPER: u8 = 16;
    pub const LOWER_ZERO: u8 = 32;
    pub const UPPER_OPEN: u8 = 64;
}

/// Bytes that are no packed water tests.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("these bytes are no packed water tests")]
pub struct NotPacked;

impl Readings {
    /// The tests as bytes; `None` with more parameters, instruments or tests than their counts can say (2¹⁶, 2¹⁶, 2³²).
    pub fn pack(&self) -> Option<Vec<u8>> {
        let mut parameters: Vec<ParameterCode> = Vec::new();
        let mut pairs: Vec<(Option<f64>, Option<f64>)> = Vec::new();
        let mut place_of_pair: HashMap<[Option<u64>; 2], u16> = HashMap::new();
        let mut runs: Vec<(TankId, u16, u32)> = Vec::new();
        let mut before = None;
        for reading in self {
            let at = (reading.tank, reading.parameter);
            if before != Some(at) {
                let place = parameters.iter().position(|known| *known == reading.parameter).unwrap_or_else(|| {
                    parameters.push(reading.parameter);
                    parameters.len() - 1
                });
                runs.push((reading.tank, u16::try_from(place).ok()?, 0));
                before = Some(at);
            }
            runs.last_mut()?.2 += 1;
        }
        let (mut days, mut marks, mut of_pairs) = (Vec::new(), Vec::new(), Vec::new());
        let (mut logs, mut values) = (Vec::new(), Vec::new());
        let (mut lower, mut upper) = (Vec::new(), Vec::new());
        for reading in self {
            let same = |end: f64| reading.value.is_some_and(|value| value.to_bits() == end.to_bits());
            let mut marked = 0;
            for (is, bit) in [
                (reading.exact, mark::EXACT),
                (reading.zero_reported, mark::ZERO_REPORTED),
                (reading.value.is_some(), mark::VALUE),
            ] {
                marked |= if is { bit } else { 0 };
            }
            if reading.lower.to_bits() == 0 {
                marked |= mark::LOWER_ZERO;
            } else if !same(reading.lower) {
                marked |= mark::LOWER;
                lower.extend_from_slice(&reading.lower.to_le_bytes());
            }
            if reading.upper == f64::INFINITY {
                marked |= mark::UPPER_OPEN;
            } else if !same(reading.upper) {
                marked |= mark::UPPER;
                upper.extend_from_slice(&reading.upper.to_le_bytes());
            }
            let key = [reading.limit, reading.step].map(|number| number.map(f64::to_bits));
            let pair = match place_of_pair.get(&key) {
                Some(pair) => *pair,
                None => {
                    let pair = u16::try_from(pairs.len()).ok()?;
                    pairs.push((reading.limit, reading.step));
                    place_of_pair.insert(key, pair);
                    pair
                }
            };
            days.extend_from_slice(&reading.on.num_days_from_ce().to_le_bytes());
            marks.push(marked);
            of_pairs.extend_from_slice(&pair.to_le_bytes());
            logs.extend_from_slice(&reading.log.to_le_bytes());
            values.extend_from_slice(&reading.value.unwrap_or(0.0).to_le_bytes());
        }
        let count = |number: usize| u32::try_from(number).ok().map(u32::to_le_bytes);
        let mut bytes = NAME.to_vec();
        bytes.extend_from_slice(&u16::try_from(parameters.len()).ok()?.to_le_bytes());
        for parameter in &parameters {
            bytes.push(u8::try_from(parameter.as_str().len()).ok()?);
            bytes.extend_from_slice(parameter.as_str().as_bytes());
        }
        bytes.extend_from_slice(&u16::try_from(pairs.len()).ok()?.to_le_bytes());
        for (limit, step) in &pairs {
            bytes.push(u8::from(limit.is_some()) | u8::from(step.is_some()) << 1);
            bytes.extend_from_slice(&limit.unwrap_or(0.0).to_le_bytes());
            bytes.extend_from_slice(&step.unwrap_or(0.0).to_le_bytes());
        }
        bytes.extend_from_slice(&count(runs.len())?);
        for (tank, parameter, tests) in &runs {
            bytes.extend_from_slice(&tank.to_le_bytes());
            bytes.extend_from_slice(&parameter.to_le_bytes());
            bytes.extend_from_slice(&tests.to_le_bytes());
        }
        bytes.extend_from_slice(&count(self.len())?);
        for column in [&days, &marks, &of_pairs, &logs, &values] {
            bytes.extend_from_slice(column);
        }
        bytes.extend_from_slice(&count(lower.len() / 8)?);
        bytes.extend_from_slice(&lower);
        bytes.extend_from_slice(&count(upper.len() / 8)?);
        bytes.extend_from_slice(&upper);
        Some(bytes)
    }

    /// Tests that were packed.
    ///
    /// # Errors
    /// The bytes are none.
    pub fn unpack(bytes: &[u8]) -> Result<Readings, NotPacked> {
        let mut all = Unpacked::default();
        all.add(bytes, Places::AsPacked)?;
        Ok(all.readings())
    }
}

/// Under which numbers tests of a pack come back.
#[derive(Debug, Clone, Copy)]
pub enum Places<'a> {
    /// Those that they have in the pack.
    AsPacked,
    /// Positions in the club, by the pack's numbers of tanks and of logs.
    Of(&'a [TankId], &'a [u32]),
}

/// Tests of several packs.
#[derive(Debug, Default)]
pub struct Unpacked(Vec<Reading>);

impl Unpacked {
    /// Makes room for so many tests more.
    pub fn reserve(&mut self, tests: usize) {
        self.0.reserve(tests);
    }

    /// Adds the tests of a pack.
    ///
    /// # Errors
    /// The bytes are none, or name a tank or log without a place. Nothing is added then.
    pub fn add(&mut self, bytes: &[u8], places: Places<'_>) -> Result<(), NotPacked> {
        let before = self.0.len();
        let added = add(&mut self.0, bytes, places).ok_or(NotPacked);
        if added.is_err() {
            self.0.truncate(before);
        }
        added
    }

    /// All of them in their order.
    pub fn readings(self) -> Readings {
        self.0.into()
    }
}

/// What is left of the bytes.
struct Left<'a>(&'a [u8]);

impl<'a> Left<'a> {
    fn take(&mut self, bytes: usize) -> Option<&'a [u8]> {
        let (taken, left) = self.0.split_at_checked(bytes)?;
        self.0 = left;
        Some(taken)
    }

    fn number<const N: usize>(&mut self) -> Option<[u8; N]> {
        self.take(N)?.try_into().ok()
    }

    /// A column of numbers of `N` bytes.
    fn column<const N: usize>(&mut self, numbers: usize) -> Option<&'a [[u8; N]]> {
        Some(self.take(numbers.checked_mul(N)?)?.as_chunks::<N>().0)
    }
}

fn add(to: &mut Vec<Reading>, bytes: &[u8], places: Places<'_>) -> Option<()> {
    let mut left = Left(bytes);
    if left.take(NAME.len())? != NAME {
        return None;
    }
    let mut parameters = Vec::new();
    for _ in 0..u16::from_le_bytes(left.number()?) {
        let [letters] = left.number()?;
        parameters.push(ParameterCode::parse(std::str::from_utf8(left.take(usize::from(letters))?).ok()?)?);
    }
    let mut pairs = Vec::new();
    for _ in 0..u16::from_le_bytes(left.number()?) {
        let [known] = left.number()?;
        let (limit, step) = (f64::from_le_bytes(left.number()?), f64::from_le_bytes(left.number()?));
        pairs.push(((known & 1 != 0).then_some(limit), (known & 2 != 0).then_some(step)));
    }
    let mut runs = Vec::new();
    for _ in 0..u32::from_le_bytes(left.number()?) {
        let (tank, parameter) = (u32::from_le_bytes(left.number()?), u16::from_le_bytes(left.number()?));
        runs.push((tank, *parameters.get(usize::from(parameter))?, u32::from_le_bytes(left.number()?) as usize));
    }
    let tests = u32::from_le_bytes(left.number()?) as usize;
    let days = left.column::<4>(tests)?;
    let marks = left.take(tests)?;
    let of_pairs = left.column::<2>(tests)?;
    let logs = left.column::<4>(tests)?;
    let values = left.column::<8>(tests)?;
    let lower = u32::from_le_bytes(left.number()?) as usize;
    let mut lower = left.column::<8>(lower)?.iter();
    let upper = u32::from_le_bytes(left.number()?) as usize;
    let mut upper = left.column::<8>(upper)?.iter();
    if !left.0.is_empty() {
        return None;
    }
    to.reserve(tests);
    let mut at = 0;
    for (tank, parameter, of_run) in runs {
        let tank = match places {
            Places::AsPacked => tank,
            Places::Of(tanks, _) => *tanks.get(tank as usize)?,
        };
        let end = at + of_run;
        let columns = days.get(at..end)?.iter().zip(&marks[at..end]).zip(&of_pairs[at..end]);
        for (((day, &marked), pair), (log, value)) in columns.zip(logs[at..end].iter().zip(&values[at..end])) {
            let log = u32::from_le_bytes(*log);
            let log = match places {
                Places::AsPacked => log,
                Places::Of(_, logs) => *logs.get(log as usize)?,
            };
            let value = f64::from_le_bytes(*value);
            let (limit, step) = *pairs.get(usize::from(u16::from_le_bytes(*pair)))?;
            to.push(Reading {
                tank,
                parameter,
                on: NaiveDate::from_num_days_from_ce_opt(i32::from_le_bytes(*day))?,
                value: (marked & mark::VALUE != 0).then_some(value),
                lower: match marked {
                    marked if marked & mark::LOWER_ZERO != 0 => 0.0,
                    marked if marked & mark::LOWER != 0 => f64::from_le_bytes(*lower.next()?),
                    _ => value,
                },
                upper: match marked {
                    marked if marked & mark::UPPER_OPEN != 0 => f64::INFINITY,
                    marked if marked & mark::UPPER != 0 => f64::from_le_bytes(*upper.next()?),
                    _ => value,
                },
                exact: marked & mark::EXACT != 0,
                zero_reported: marked & mark::ZERO_REPORTED != 0,
                limit,
                step,
                log,
            });
        }
        at = end;
    }
    (at == tests).then_some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ends() -> impl Strategy<Value = f64> {
        prop_oneof![
            Just(0.0),
            Just(-0.0),
            Just(f64::INFINITY),
            Just(0.1),
            any::<f64>().prop_filter("", |x| !x.is_nan())
        ]
    }

    prop_compose! {
        fn reading()(
            tank in 0..4_u32,
            parameter in prop::sample::select(vec!["nitrate", "par", "temperature"]),
            day in 700_000..740_000_i32,
            value in prop::option::of(ends()),
            lower in ends(),
            upper in ends(),
            as_value in any::<(bool, bool)>(),
            said in any::<(bool, bool)>(),
            limit in prop::option::of(ends()),
            step in prop::option::of(prop::sample::select(vec![0.1, 1.0])),
            log in any::<u32>(),
        ) -> Reading {
            let end = |as_value: bool, own: f64| value.filter(|_| as_value).unwrap_or(own);
            Reading {
                tank,
                parameter: ParameterCode::parse(parameter).unwrap(),
                on: NaiveDate::from_num_days_from_ce_opt(day).unwrap(),
                value,
                lower: end(as_value.0, lower),
                upper: end(as_value.1, upper),
                exact: said.0,
                zero_reported: said.1,
                limit,
                step,
                log,
            }
        }
    }

    /// As text that tells numbers of other bits apart.
    fn bits(readings: &Readings) -> Vec<String> {
        let bits = |number: f64| format!("{:016x}", number.to_bits());
        readings
            .iter()
            .map(|of| {
                let numbers = [Some(of.lower), Some(of.upper), of.value, of.limit, of.step].map(|of| of.map(bits));
                format!(
                    "{} {} {} {numbers:?} {} {} {}",
                    of.tank, of.parameter, of.on, of.exact, of.zero_reported, of.log
                )
            })
            .collect()
    }

    proptest! {
        #[test]
        fn tests_come_back_bit_by_bit(all in prop::collection::vec(reading(), 0..60)) {
            let readings = Readings::from(all);
            let back = Readings::unpack(&readings.pack().unwrap()).unwrap();
            prop_assert_eq!(bits(&back), bits(&readings));
        }

        #[test]
        fn no_bytes_are_read_past_their_end(all in prop::collection::vec(reading(), 1..20), cut in any::<prop::sample::Index>(), other in any::<u8>()) {
            let bytes = Readings::from(all).pack().unwrap();
            let at = cut.index(bytes.len());
            prop_assert_eq!(Readings::unpack(&bytes[..at]).unwrap_err(), NotPacked);
            let mut spoilt = bytes;
            spoilt[at] = other;
            // Whatever it means now, it is read or refused.
            let _ = Readings::unpack(&spoilt);
        }
    }

    #[test]
    fn packs_are_joined_under_the_places_of_the_club() {
        let test = |tank, log, value| Reading {
            tank,
            parameter: ParameterCode::parse("nitrate").unwrap(),
            on: "2024-03-01".parse().unwrap(),
            value: Some(value),
            lower: value,
            upper: value,
            exact: true,
            zero_reported: false,
            limit: None,
            step: None,
            log,
        };
        let one = Readings::from(vec![test(0, 0, 1.0), test(1, 1, 2.0)]).pack().unwrap();
        let other = Readings::from(vec![test(0, 0, 3.0)]).pack().unwrap();
        let mut all = Unpacked::default();
        all.reserve(3);
        all.add(&one, Places::Of(&[7, 5], &[3, 9])).unwrap();
        all.add(&other, Places::Of(&[6], &[4])).unwrap();
        assert_eq!(all.add(&one, Places::Of(&[7], &[3, 9])), Err(NotPacked), "a tank without a place");
        assert_eq!(all.add(&one, Places::Of(&[7, 5], &[3])), Err(NotPacked), "a log without a place");
        let found: Vec<_> = all.readings().iter().map(|of| (of.tank, of.log, of.value)).collect();
        assert_eq!(found, [(5, 9, Some(2.0)), (6, 4, Some(3.0)), (7, 3, Some(1.0))]);
    }
}
