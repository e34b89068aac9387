//! Orders of many numbers in linear time: sorted times, and positions grouped by a small number.

/// Fewer values than this are sorted by comparison.
const FEW: usize = 512;
/// Bits of a digit, and the number of digits of a key.
const DIGIT: u32 = 11;
const DIGITS: usize = 6;

/// Sorts numbers as [`f64::total_cmp`] orders them, digit by digit from the lowest (Knuth, *The Art of Computer
/// Programming*, volume 3, 5.2.5, from memory); digits that all values share are passed over. O(n), with two buffers of
/// the values' size.
pub fn sort_times(values: &mut [f64]) {
    if values.is_sorted_by(|a, b| a.total_cmp(b).is_le()) {
        return;
    }
    if values.len() < FEW {
        values.sort_unstable_by(f64::total_cmp);
        return;
    }
    if let Some(counts) = half_days(values) {
        let mut rest = values;
        for (number, count) in counts.into_iter().enumerate() {
            let (own, others) = rest.split_at_mut(count as usize);
            own.fill(number as f64 / 2.0);
            rest = others;
        }
        return;
    }
    let mut keys: Vec<u64> = values.iter().map(|value| key(*value)).collect();
    let mut counts = vec![0u32; DIGITS << DIGIT];
    for &key in &keys {
        for digit in 0..DIGITS {
            counts[(digit << DIGIT) + digit_of(key, digit)] += 1;
        }
    }
    let mut sorted = vec![0u64; keys.len()];
    for digit in 0..DIGITS {
        let counts = &mut counts[digit << DIGIT..(digit + 1) << DIGIT];
        if counts[digit_of(keys[0], digit)] as usize == keys.len() {
            continue;
        }
        let mut first = 0;
        for count in counts.iter_mut() {
            first += std::mem::replace(count, first);
        }
        for &key in &keys {
            let place = &mut counts[digit_of(key, digit)];
            sorted[*place as usize] = key;
            *place += 1;
        }
        std::mem::swap(&mut keys, &mut sorted);
    }
    for (value, key) in values.iter_mut().zip(keys) {
        *value = value_of(key);
    }
}

/// How often each half of a day occurs, where there is nothing else and they lie close: days of a club do.
fn half_days(values: &[f64]) -> Option<Vec<u32>> {
    let is_half =
        |value: &f64| value.is_sign_positive() && *value < values.len() as f64 && (value * 2.0).fract() == 0.0;
    if !values.iter().all(is_half) {
        return None;
    }
    let largest = values.iter().copied().fold(0.0, f64::max);
    let mut counts = vec![0u32; (largest * 2.0) as usize + 1];
    values.iter().for_each(|value| counts[(value * 2.0) as usize] += 1);
    Some(counts)
}

#[inline(always)]
fn digit_of(key: u64, digit: usize) -> usize {
    (key >> (digit as u32 * DIGIT)) as usize & ((1 << DIGIT) - 1)
}

/// A whole number that is ordered as the value is: negative numbers turned over, then all of them above.
#[inline(always)]
fn key(value: f64) -> u64 {
    let bits = value.to_bits();
    if bits >> 63 == 1 { !bits } else { bits | 1 << 63 }
}

#[inline(always)]
fn value_of(key: u64) -> f64 {
    f64::from_bits(if key >> 63 == 1 { key & !(1 << 63) } else { !key })
}

/// Two sorted lists as one.
pub fn merged(a: &[f64], b: &[f64]) -> Vec<f64> {
    let mut merged = Vec::with_capacity(a.len() + b.len());
    let mut rest = b;
    for &value in a {
        while let Some((&first, others)) = rest.split_first()
            && first.total_cmp(&value).is_lt()
        {
            merged.push(first);
            rest = others;
        }
        merged.push(value);
    }
    merged.extend_from_slice(rest);
    merged
}

/// Items grouped by a number: those of number `k` stand at `first[k]..first[k + 1]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Grouped {
    /// Where each number's items begin, and the end of the last.
    pub first: Vec<u32>,
    /// The items, in their own order within a number.
    pub items: Vec<u32>,
}

impl Grouped {
    /// Groups pairs `(number, item)` with numbers below `numbers`; others are left out. O(n).
    pub fn new(numbers: usize, pairs: impl Iterator<Item = (u32, u32)> + Clone) -> Grouped {
        let mut first = vec![0u32; numbers + 1];
        for (number, _) in pairs.clone() {
            if let Some(count) = first.get_mut(number as usize + 1) {
                *count += 1;
            }
        }
        for number in 0..numbers {
            first[number + 1] += first[number];
        }
        let mut next = first.clone();
        let mut items = vec![0u32; first[numbers] as usize];
        for (number, item) in pairs.filter(|(number, _)| (*number as usize) < numbers) {
            let place = &mut next[number as usize];
            items[*place as usize] = item;
            *place += 1;
        }
        Grouped { first, items }
    }

    /// The items of a number.
    pub fn of(&self, number: usize) -> &[u32] {
        &self.items[self.range(number)]
    }

    /// Where the items of a number stand.
    pub fn range(&self, number: usize) -> std::ops::Range<usize> {
        self.first[number] as usize..self.first[number + 1] as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_times_sort_as_comparison_sorts_them() {
        // A multiplicative generator spreads signs, sizes and fractions; zeros of both signs and whole days among them.
        let mut state = 1u64;
        let mut values: Vec<f64> = (0..5_000)
            .map(|i| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                match i % 4 {
                    0 => (state >> 54) as f64,
                    1 => -((state >> 40) as f64) * 1e-3,
                    2 => 0.0 * if state >> 63 == 1 { -1.0 } else { 1.0 },
                    _ => ((state >> 11) as f64) * 1e-300,
                }
            })
            .collect();
        let mut compared = values.clone();
        compared.sort_by(f64::total_cmp);
        sort_times(&mut values);
        assert!(values.iter().zip(&compared).all(|(a, b)| a.to_bits() == b.to_bits()));
    }

    #[test]
    fn days_and_halves_of_days_sort_as_comparison_sorts_them() {
        let days = |odd: f64| {
            let mut days: Vec<f64> = (0..5_000).map(|i| f64::from(i * 7_919 % 2_003) / 2.0).collect();
            days[777] = odd;
            days
        };
        // Zero below zero, no half of a day, and a day too far off for a count of each.
        for odd in [0.0, 4_999.5, -0.0, 3.25, 1e9] {
            let (mut sorted, mut compared) = (days(odd), days(odd));
            sort_times(&mut sorted);
            compared.sort_by(f64::total_cmp);
            assert!(sorted.iter().zip(&compared).all(|(a, b)| a.to_bits() == b.to_bits()), "{odd}");
        }
    }

    #[test]
    fn two_lists_become_one() {
        assert_eq!(merged(&[1.0, 3.0, 3.0], &[0.0, 3.0, 4.0]), [0.0, 1.0, 3.0, 3.0, 3.0, 4.0]);
        assert_eq!(merged(&[], &[2.0]), [2.0]);
    }

    #[test]
    fn items_keep_their_order_within_a_number() {
        let grouped = Grouped::new(3, [(2, 10), (0, 11), (2, 12), (7, 13)].into_iter());
        assert_eq!((grouped.of(0), grouped.of(1), grouped.of(2)), (&[11][..], &[][..], &[10, 12][..]));
    }
}
