//! Steps of a ladder joined into bins of nearly equal time at risk.

use std::ops::Range;

/// Bins wanted: five, three below 60 deaths, seven above 200.
pub fn wanted_bins(deaths: u64) -> usize {
    match deaths {
        0..60 => 3,
        60..=200 => 5,
        _ => 7,
    }
}

/// Neighbouring steps joined until `wanted` bins are left: again and again the bin with least time is joined to its
/// neighbour with less. Then bins without a death are joined to the neighbour with less time, before any rate is looked at.
///
/// Steps without time at either end belong to no bin. The first of equals is taken.
pub fn bins(days: &[f64], deaths: &[u64], wanted: usize) -> Vec<Range<usize>> {
    let (Some(first), Some(last)) = (days.iter().position(|d| *d > 0.0), days.iter().rposition(|d| *d > 0.0)) else {
        return Vec::new();
    };
    let mut bins: Vec<Range<usize>> = (first..=last).map(|step| step..step + 1).collect();
    let time = |bin: &Range<usize>| -> f64 { days[bin.clone()].iter().sum() };
    while bins.len() > wanted.max(1) {
        let smallest = least(&bins, time, |_| true);
        join(&mut bins, smallest, time);
    }
    let empty = |bin: &Range<usize>| deaths[bin.clone()].iter().all(|&deaths| deaths == 0);
    while bins.len() > 1 && bins.iter().any(empty) {
        let smallest = least(&bins, time, empty);
        join(&mut bins, smallest, time);
    }
    bins
}

/// The position with least time among those that are asked for; there must be one.
fn least(bins: &[Range<usize>], time: impl Fn(&Range<usize>) -> f64, asked: impl Fn(&Range<usize>) -> bool) -> usize {
    let candidates = bins.iter().enumerate().filter(|(_, bin)| asked(bin));
    candidates.min_by(|a, b| time(a.1).total_cmp(&time(b.1))).map_or(0, |(at, _)| at)
}

fn join(bins: &mut Vec<Range<usize>>, at: usize, time: impl Fn(&Range<usize>) -> f64) {
    let below = at.checked_sub(1);
    let above = (at + 1 < bins.len()).then_some(at + 1);
    let other = match (below, above) {
        (Some(below), Some(above)) => Some(if time(&bins[above]) < time(&bins[below]) { above } else { below }),
        (below, above) => below.or(above),
    };
    if let Some(other) = other {
        let first = at.min(other);
        bins[first].end = bins[first + 1].end;
        bins.remove(first + 1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_smallest_bin_is_joined_to_its_smaller_neighbour() {
        // 5 | 1 | 3 | 9 | 2 into three: 1 joins 3 (4), 2 joins 9 (11): 5, 4, 11.
        assert_eq!(bins(&[5.0, 1.0, 3.0, 9.0, 2.0], &[1; 5], 3), [0..1, 1..3, 3..5]);
        // Of equal neighbours the lower one.
        assert_eq!(bins(&[4.0, 1.0, 4.0], &[1; 3], 2), [0..2, 2..3]);
    }

    #[test]
    fn bins_without_deaths_are_joined_and_ends_without_time_left_out() {
        assert_eq!(bins(&[0.0, 4.0, 5.0, 6.0, 0.0], &[0, 2, 0, 3, 0], 5), [1..3, 3..4]);
        assert_eq!(bins(&[4.0, 5.0], &[0, 0], 5).first(), Some(&(0..2)));
        assert!(bins(&[0.0, 0.0], &[0, 0], 5).is_empty());
    }

    #[test]
    fn every_step_with_time_is_in_one_bin() {
        let days: Vec<f64> = (0..23).map(|i| f64::from((i * 7919) % 31)).collect();
        for wanted in 1..9 {
            let found = bins(&days, &[1; 23], wanted);
            assert!(found.windows(2).all(|pair| pair[0].end == pair[1].start));
            assert_eq!(found.len(), wanted);
            let inside: f64 = found.iter().flat_map(|bin| &days[bin.clone()]).sum();
            assert_eq!(inside, days.iter().sum::<f64>());
        }
    }

    #[test]
    fn more_deaths_allow_more_bins() {
        assert_eq!([59, 60, 200, 201].map(wanted_bins), [3, 5, 5, 7]);
    }
}
