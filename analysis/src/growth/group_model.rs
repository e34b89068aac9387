//! The slopes of groups from one mixed model of all their specimens.
//!
//! Each group has its own start and slope of ln size on months; specimens differ in start and slope, tanks in level. A group's
//! slope is its fixed effect, with limits by Student's t and Satterthwaite's degrees of freedom.

use super::mixed_model::{Dropped, MixedInput, MixedModel, Variances, enough_sizes, mixed_model};
use super::satterthwaite::{Contrast, contrast};
use crate::numeric::distinct;
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::Covariate;
use crate::survival::rates::DAYS_PER_MONTH;

/// The sizes of one specimen.
#[derive(Debug, Clone, Copy)]
pub struct Series<'a> {
    /// Its group, from 0.
    pub group: usize,
    /// Its tank, that of the first size where it moved.
    pub tank: u32,
    /// Days, ascending.
    pub days: &'a [f64],
    /// Sizes above 0, in one unit.
    pub sizes: &'a [f64],
}

/// The slopes of all groups.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupModel {
    /// Slope of ln size a month of 30.4375 days, by group; `None` for a group without specimens.
    pub slopes: Vec<Option<Contrast>>,
    /// `-2 ln` of the restricted likelihood.
    pub criterion: f64,
    /// Variances of the random terms, time in months.
    pub variances: Variances,
    /// Terms that could not be told from 0.
    pub dropped: Vec<Dropped>,
}

/// Fits one model to all specimens of `groups` groups.
///
/// # Errors
/// `TooFewSpecimens` and `TooFewTanks` as [`enough_sizes`]; `NotConverged` also if specimens cannot be told apart or lie on
/// their lines without error; what [`mixed_model`] refuses.
pub fn group_model(series: &[Series], groups: usize, level: f64) -> Result<GroupModel, Refusal> {
    let tanks = distinct(series.iter().map(|own| own.tank));
    enough_sizes(series.iter().map(|own| own.days), tanks.len())?;
    let used: Vec<usize> = (0..groups).filter(|group| series.iter().any(|own| own.group == *group)).collect();
    let (mut y, mut time, mut specimen, mut tank, mut group) = (vec![], vec![], vec![], vec![], vec![]);
    for (id, own) in (0u32..).zip(series) {
        for (day, size) in own.days.iter().zip(own.sizes) {
            y.push(size.ln());
            time.push((day - own.days[0]) / DAYS_PER_MONTH);
            specimen.push(id);
            tank.push(own.tank);
            group.push(own.group);
        }
    }
    let column = |name: String, of: &dyn Fn(usize) -> f64| Covariate { name, values: (0..y.len()).map(of).collect() };
    let mut fixed = Vec::with_capacity(2 * used.len());
    for own in &used {
        fixed.push(column(format!("start of group {}", own + 1), &|row| f64::from(u8::from(group[row] == *own))));
    }
    for own in &used {
        let months = |row: usize| if group[row] == *own { time[row] } else { 0.0 };
        fixed.push(column(format!("slope of group {}", own + 1), &months));
    }
    let input = MixedInput { y: &y, fixed: &fixed, time: &time, specimen: &specimen, tank: Some(&tank) };
    let model = mixed_model(&input)?;
    if model.dropped.contains(&Dropped::SpecimenIntercept) {
        return Err(Refusal::plain(RefusalCode::NotConverged, "a model of growth cannot tell these specimens apart"));
    }
    let slope_of = |model: &MixedModel, at: usize| {
        let weights: Vec<f64> = (0..fixed.len()).map(|j| f64::from(u8::from(j == used.len() + at))).collect();
        contrast(model, &weights, level)
    };
    let mut slopes = vec![None; groups];
    for (at, &own) in used.iter().enumerate() {
        slopes[own] = Some(slope_of(&model, at)?);
    }
    Ok(GroupModel { slopes, criterion: model.criterion, variances: model.variances, dropped: model.dropped })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two groups in eight tanks, 24 specimens with four sizes: growth of 5 and 2 % a month beside what each has of its own.
    fn made() -> Vec<(usize, u32, Vec<f64>, Vec<f64>)> {
        let pattern = |a: u32, b: u32| f64::from((a * 7 + b * 5) % 11) / 11.0 - 0.45;
        (0..24u32)
            .map(|own| {
                let group = (own % 8 / 4) as usize;
                let days: Vec<f64> = (0..4u32).map(|look| f64::from(100 + own + 35 * look)).collect();
                let slope = [0.05, 0.02][group] + 0.01 * pattern(own * own, 4);
                let sizes = (0..4u32).map(|look| {
                    let months = f64::from(35 * look) / DAYS_PER_MONTH;
                    let noise = 0.01 * pattern(own * 3 + look * look, look + 3);
                    (3.0 + 0.3 * pattern(own, 1) + 0.2 * pattern(own % 8, 2) + slope * months + noise).exp()
                });
                (group, own % 8, days, sizes.collect())
            })
            .collect()
    }

    fn series(made: &[(usize, u32, Vec<f64>, Vec<f64>)]) -> Vec<Series<'_>> {
        made.iter().map(|(group, tank, days, sizes)| Series { group: *group, tank: *tank, days, sizes }).collect()
    }

    #[test]
    fn groups_have_their_own_slopes_and_an_empty_one_none() -> Result<(), Refusal> {
        let made = made();
        let found = group_model(&series(&made), 3, 0.95)?;
        let slope = |group: usize| found.slopes[group].expect("a slope");
        for (group, want) in [(0, 0.05), (1, 0.02)] {
            assert!((slope(group).estimate - want).abs() < 0.006, "{:?}", slope(group));
            assert!(slope(group).lower < want && want < slope(group).upper);
        }
        assert_eq!(found.slopes[2], None);
        // Sizes in another unit grow alike, and later days are the same months.
        let other: Vec<_> = made
            .iter()
            .map(|(g, t, days, sizes)| {
                let later = days.iter().map(|day| day + 700_000.0).collect();
                (*g, *t, later, sizes.iter().map(|size| 10.0 * size).collect())
            })
            .collect();
        let same = group_model(&series(&other), 3, 0.95)?;
        assert!((same.slopes[0].expect("a slope").estimate - slope(0).estimate).abs() < 1e-8);
        assert!((same.criterion - found.criterion).abs() < 1e-6);
        Ok(())
    }

    #[test]
    fn too_few_and_too_alike_are_refused() {
        let code = |made: &[(usize, u32, Vec<f64>, Vec<f64>)]| {
            group_model(&series(made), 2, 0.95).map(|_| ()).map_err(|refused| refused.code)
        };
        let made = made();
        assert_eq!(code(&made[..11]), Err(RefusalCode::TooFewSpecimens));
        let three_tanks: Vec<_> = made.iter().map(|own| (own.0, own.1 % 3, own.2.clone(), own.3.clone())).collect();
        assert_eq!(code(&three_tanks), Err(RefusalCode::TooFewTanks));
        let alike: Vec<_> = made.iter().map(|own| (0, own.1, vec![0.0, 40.0, 80.0], vec![10.0, 12.0, 11.0])).collect();
        assert_eq!(code(&alike), Err(RefusalCode::NotConverged));
        let without_error: Vec<_> = (1..=20)
            .map(|i| (0, i % 5, vec![0.0, 40.0, 80.0], [0.0, 1.0, 2.0].map(|k| f64::from(i) * 1.1f64.powf(k)).to_vec()))
            .collect();
        assert_eq!(code(&without_error), Err(RefusalCode::NotConverged));
    }
}
