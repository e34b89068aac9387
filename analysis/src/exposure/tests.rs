//! Levels of single tests against bands and ladders.

use super::series::{Meaning, Series, Test};
use super::{ABOVE_BAND, BELOW_BAND, Band, Carry, Level, Scale, WITHIN_BAND, levels};
use crate::club::Club;
use crate::vocabulary::{ParameterCode, TaxonSlug};

fn taught(code: &str) -> Scale {
    let taxon = TaxonSlug::parse("goniopora");
    let parameter = ParameterCode::parse(code);
    let band = taxon.zip(parameter).and_then(|(taxon, code)| Band::taught(&Club::default(), taxon, code));
    Scale::Taught(band.unwrap_or_else(|| panic!("a band of {code} is taught")))
}

fn test(meaning: Meaning) -> Test {
    Test { day: 0.0, meaning, step: None, log: 0 }
}

fn in_unit(code: &str, value: f64, unit: &str, basis: Option<&str>) -> Option<f64> {
    ParameterCode::parse(code)?.get().convert(value, unit, basis).ok()
}

/// A value written in the unit taught.
fn written(code: &str, value: f64, unit: &str, basis: Option<&str>, step: f64) -> Level {
    let canonical = in_unit(code, value, unit, basis)?;
    let above = in_unit(code, value + step, unit, basis)?;
    taught(code).level(&Test { step: Some((above - canonical).abs()), ..test(Meaning::Exact(canonical)) })
}

#[test]
fn the_edges_as_taught_are_within_and_one_step_outside_is_not() {
    for (code, edges, unit, basis, step) in [
        ("nitrate", [5.0, 15.0], "mg/L", None, 1.0),
        ("phosphate", [0.03, 0.10], "mg/L", None, 0.01),
        ("temperature", [76.0, 78.0], "degF", None, 0.5),
        ("salinity", [1.025, 1.0265], "SG", Some("25/25"), 0.0005),
        ("alkalinity", [8.0, 9.5], "dKH", None, 0.5),
    ] {
        for edge in edges {
            assert_eq!(written(code, edge, unit, basis, step), Some(WITHIN_BAND), "{code} {edge}");
        }
        assert_eq!(written(code, edges[0] - step, unit, basis, step), Some(BELOW_BAND), "{code}");
        assert_eq!(written(code, edges[1] + step, unit, basis, step), Some(ABOVE_BAND), "{code}");
    }
}

#[test]
fn on_a_ladder_a_value_on_a_cut_belongs_above() {
    let ladder = Scale::Ladder(vec![1.0, 5.0, 15.0]);
    let at = |value| ladder.level(&test(Meaning::Exact(value)));
    assert_eq!([0.5, 1.0, 4.9, 14.999_999, 15.0, 90.0].map(at), [0, 1, 1, 2, 3, 3].map(Some));
}

#[test]
fn what_is_not_exact_has_a_level_only_if_all_of_it_lies_there() {
    let ladder = Scale::Ladder(vec![0.05, 0.1, 0.2]);
    let of = |scale: &Scale, meaning| scale.level(&test(meaning));
    assert_eq!(of(&ladder, Meaning::Under(0.05)), Some(0));
    assert_eq!(of(&ladder, Meaning::Under(0.06)), None);
    assert_eq!(of(&ladder, Meaning::Over(0.2)), Some(3));
    assert_eq!(of(&ladder, Meaning::Over(0.19)), None);
    assert_eq!(of(&ladder, Meaning::Between(0.1, 0.19)), Some(2));
    assert_eq!(of(&ladder, Meaning::Between(0.1, 0.2)), None);
    assert_eq!(of(&ladder, Meaning::Nothing), None);
    let band = taught("nitrate");
    assert_eq!(of(&band, Meaning::Under(5.0)), Some(BELOW_BAND));
    assert_eq!(of(&band, Meaning::Under(6.0)), None);
    assert_eq!(of(&band, Meaning::Over(15.0)), Some(ABOVE_BAND));
    assert_eq!(of(&band, Meaning::Over(14.0)), None);
    assert_eq!(of(&band, Meaning::Between(5.0, 15.0)), Some(WITHIN_BAND));
    assert_eq!(of(&band, Meaning::Between(5.0, 16.0)), None);
}

fn series(tests: &[(f64, f64, u32)]) -> Series {
    Series::new(tests.iter().map(|&(day, value, log)| Test { day, log, ..test(Meaning::Exact(value)) }).collect())
}

#[test]
fn several_tests_of_one_day() {
    let ladder = Scale::Ladder(vec![10.0, 20.0]);
    let carry = Carry { lag: 0.0, days: 35.0 };
    let level = |tests: &[(f64, f64, u32)]| levels(&series(tests), &ladder, &carry).after(5.0);
    assert_eq!(level(&[(5.0, 12.0, 0), (5.0, 14.0, 1)]), Some(1), "both in one step, whatever the log");
    assert_eq!(level(&[(5.0, 8.0, 0), (5.0, 16.0, 0)]), Some(1), "one log: the mean, 12");
    assert_eq!(level(&[(5.0, 8.0, 0), (5.0, 16.0, 1)]), None, "two logs disagree");
}

#[test]
fn a_probe_falls_silent_after_three_days_a_kit_after_its_carry() {
    let ladder = Scale::Ladder(vec![10.0]);
    let carry = Carry { lag: 0.0, days: 21.0 };
    let daily: Vec<(f64, f64, u32)> = (0..10).map(|day| (f64::from(day), 5.0, 0)).collect();
    let probe = levels(&series(&daily), &ladder, &carry);
    assert_eq!((probe.after(11.0), probe.after(12.0)), (Some(0), None));
    let weekly: Vec<(f64, f64, u32)> = (0..10).map(|week| (f64::from(7 * week), 5.0, 0)).collect();
    let kit = levels(&series(&weekly), &ladder, &carry);
    assert_eq!((kit.after(63.0 + 20.0), kit.after(63.0 + 21.0)), (Some(0), None));
}

#[test]
fn a_gap_longer_than_the_carry_is_unknown_for_the_published_share_of_days() {
    // A test every 30.4 days leaves 31 % of the days unknown at a carry of 21, none at 35; every 42 days 50 and 17 %.
    let share = |gap: f64, carry: f64| {
        let tests: Vec<(f64, f64, u32)> = (0..40).map(|k| (gap * f64::from(k), 5.0, 0)).collect();
        let steps = levels(&series(&tests), &Scale::Ladder(vec![10.0]), &Carry { lag: 14.0, days: carry });
        let all = gap * 39.0;
        let unknown: f64 = steps
            .between(14.0, 14.0 + all)
            .iter()
            .filter(|segment| segment.level.is_none())
            .map(|segment| segment.stop - segment.start)
            .sum();
        (100.0 * unknown / all).round()
    };
    assert_eq!([share(30.4, 21.0), share(30.4, 35.0), share(42.0, 21.0), share(42.0, 35.0)], [31.0, 0.0, 50.0, 17.0]);
}

#[test]
fn a_parameter_written_in_its_own_unit_stays_as_it_is() {
    for parameter in crate::vocabulary::catalogue().parameters() {
        if let Ok(value) = parameter.express(1.25, parameter.unit.as_str(), None) {
            assert_eq!(value, 1.25, "{}", parameter.code.as_str());
        }
    }
}
