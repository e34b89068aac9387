//! The restricted likelihood of a mixed model from sums by specimen and tank.
//!
//! With relative factors `Lambda` the variance of `y` is `s² (I + Z Lambda Lambda' Z')`. In the equations of the random
//! effects every specimen has a block of two by two, joined to its tank's single column: an arrow. Eliminating blocks, then
//! the tank, leaves the fixed effects; one evaluation is O(specimens q²) for q columns, whatever the number of sizes, and
//! no matrix grows with them.

use std::collections::BTreeMap;
use std::ops::Range;

use super::{MixedInput, Theta};
use crate::numeric::{Cholesky, neumaier};
use crate::refusal::{Refusal, RefusalCode};

/// Sums that the likelihood is made of. Columns and time are scaled to about 1, and `y` is what a plain regression leaves:
/// the search loses fewer digits.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::growth) struct Sums {
    pub(in crate::growth) rows: usize,
    /// Columns of the fixed effects.
    pub(in crate::growth) p: usize,
    /// Time in units of this.
    pub(in crate::growth) time_scale: f64,
    column_scale: Vec<f64>,
    /// Coefficients of the plain regression on the scaled columns.
    plain: Vec<f64>,
    specimens: Vec<SpecimenSums>,
    /// Specimens of each tank.
    tanks: Vec<Range<usize>>,
    /// Products of the columns and the rest: `p + 1` by `p + 1`, row by row.
    products: Vec<f64>,
}

/// Sums over the sizes of one specimen.
#[derive(Debug, Clone, PartialEq)]
struct SpecimenSums {
    n: f64,
    time: f64,
    time_squared: f64,
    /// Of each column, and of the rest.
    columns: Vec<f64>,
    /// Of each column times time.
    timed: Vec<f64>,
    /// Columns with a value other than 0: of many groups a specimen is in one.
    used: Vec<usize>,
}

/// The likelihood at relative factors.
pub(in crate::growth) struct Evaluated {
    /// Log determinant of the relative variance of `y`.
    pub(in crate::growth) ln_variance: f64,
    /// Log determinant of `X' V^-1 X`, in the columns' own units.
    pub(in crate::growth) ln_fixed: f64,
    /// Penalised residual sum of squares.
    pub(in crate::growth) squares: f64,
    /// Fixed effects in the columns' own units.
    pub(in crate::growth) coefficients: Vec<f64>,
    factor: Cholesky,
}

impl Sums {
    pub(in crate::growth) fn new(input: &MixedInput) -> Result<Sums, Refusal> {
        let (rows, p) = (input.y.len(), input.fixed.len());
        let root_mean_square = |values: &[f64]| (values.iter().map(|x| x * x).sum::<f64>() / rows as f64).sqrt();
        let sound = |scale: f64| if scale > 0.0 { scale } else { 1.0 };
        let column_scale: Vec<f64> = input.fixed.iter().map(|c| sound(root_mean_square(&c.values))).collect();
        let time_scale = sound(root_mean_square(input.time));
        let x = |row: usize, j: usize| input.fixed[j].values[row] / column_scale[j];
        let plain = regression(input, &column_scale)?;
        let rest: Vec<f64> =
            (0..rows).map(|row| input.y[row] - (0..p).map(|j| x(row, j) * plain[j]).sum::<f64>()).collect();
        let value = |row: usize, j: usize| if j < p { x(row, j) } else { rest[row] };
        let mut by_specimen: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
        for (row, id) in input.specimen.iter().enumerate() {
            by_specimen.entry(*id).or_default().push(row);
        }
        // A specimen that moved counts in the tank of its first size.
        let mut ordered: Vec<(u32, Vec<usize>)> = by_specimen
            .into_values()
            .map(|rows| {
                let first = rows.iter().copied().min_by(|&a, &b| input.time[a].total_cmp(&input.time[b]));
                let tank = input.tank.zip(first).map_or(0, |(tank, first)| tank[first]);
                (tank, rows)
            })
            .collect();
        ordered.sort_by_key(|(tank, _)| *tank);
        let mut tanks = Vec::new();
        let mut first = 0;
        for of_tank in ordered.chunk_by(|a, b| a.0 == b.0) {
            tanks.push(first..first + of_tank.len());
            first += of_tank.len();
        }
        let specimens = ordered
            .iter()
            .map(|(_, rows)| {
                let time = |row: &usize| input.time[*row] / time_scale;
                SpecimenSums {
                    n: rows.len() as f64,
                    time: rows.iter().map(time).sum(),
                    time_squared: rows.iter().map(|row| time(row).powi(2)).sum(),
                    columns: (0..=p).map(|j| rows.iter().map(|&row| value(row, j)).sum()).collect(),
                    timed: (0..=p).map(|j| rows.iter().map(|row| time(row) * value(*row, j)).sum()).collect(),
                    used: (0..=p).filter(|&j| rows.iter().any(|&row| value(row, j) != 0.0)).collect(),
                }
            })
            .collect();
        let mut products = vec![0.0; (p + 1) * (p + 1)];
        for j in 0..=p {
            for k in 0..=j {
                let sum = neumaier((0..rows).map(|row| value(row, j) * value(row, k)));
                products[j * (p + 1) + k] = sum;
            }
        }
        Ok(Sums { rows, p, time_scale, column_scale, plain, specimens, tanks, products })
    }

    pub(in crate::growth) fn specimens(&self) -> usize {
        self.specimens.len()
    }

    pub(in crate::growth) fn tanks(&self) -> usize {
        self.tanks.len()
    }

    /// Sum of squares that a plain regression leaves.
    pub(in crate::growth) fn plain_squares(&self) -> f64 {
        self.products[self.p * (self.p + 1) + self.p]
    }

    /// The likelihood at these factors, time in the sums' own unit; `None` where it cannot be evaluated.
    pub(in crate::growth) fn at(&self, theta: &Theta) -> Option<Evaluated> {
        let q = self.p + 1;
        let Theta { intercept, joint, slope, tank } = *theta;
        let mut left = self.products.clone();
        let mut ln_variance = 0.0;
        let (mut one, mut two) = (vec![0.0; q], vec![0.0; q]);
        let mut of_tank = vec![0.0; q];
        for members in &self.tanks {
            of_tank.iter_mut().for_each(|value| *value = 0.0);
            let mut pivot = 1.0;
            for own in &self.specimens[members.clone()] {
                let first = 1.0
                    + intercept * intercept * own.n
                    + 2.0 * intercept * joint * own.time
                    + joint * joint * own.time_squared;
                let a = first.sqrt();
                let b = slope * (intercept * own.time + joint * own.time_squared) / a;
                let second = 1.0 + slope * slope * own.time_squared - b * b;
                if second.is_nan() || second <= 0.0 {
                    return None;
                }
                let c = second.sqrt();
                ln_variance += first.ln() + second.ln();
                let reduced = |sum: f64, timed: f64| {
                    let one = (intercept * sum + joint * timed) / a;
                    (one, (slope * timed - b * one) / c)
                };
                let (tank_one, tank_two) = reduced(tank * own.n, tank * own.time);
                pivot += tank * tank * own.n - tank_one * tank_one - tank_two * tank_two;
                for &j in &own.used {
                    (one[j], two[j]) = reduced(own.columns[j], own.timed[j]);
                    of_tank[j] += tank * own.columns[j] - tank_one * one[j] - tank_two * two[j];
                }
                for (at, &j) in own.used.iter().enumerate() {
                    for &k in &own.used[..=at] {
                        left[j * q + k] -= one[j] * one[k] + two[j] * two[k];
                    }
                }
            }
            if pivot.is_nan() || pivot <= 0.0 {
                return None;
            }
            ln_variance += pivot.ln();
            for j in 0..q {
                for k in 0..=j {
                    left[j * q + k] -= of_tank[j] * of_tank[k] / pivot;
                }
            }
        }
        let p = self.p;
        let mut fixed = vec![0.0; p * p];
        for j in 0..p {
            fixed[j * p..j * p + j + 1].copy_from_slice(&left[j * q..j * q + j + 1]);
        }
        let factor = Cholesky::new(&fixed, p).ok()?;
        let right = &left[p * q..p * q + p];
        let squares = left[p * q + p] - factor.quadratic(right);
        let scales = self.column_scale.iter().map(|scale| 2.0 * scale.ln()).sum::<f64>();
        let moved = factor.solve(right);
        Some(Evaluated {
            ln_variance,
            ln_fixed: factor.ln_determinant() + scales,
            squares,
            coefficients: (0..p).map(|j| (self.plain[j] + moved[j]) / self.column_scale[j]).collect(),
            factor,
        })
    }

    /// `l' (X' V^-1 X)^-1 l` for relative `V` and a contrast in the columns' own units.
    pub(in crate::growth) fn spread(&self, at: &Evaluated, contrast: &[f64]) -> f64 {
        let scaled: Vec<f64> = contrast.iter().zip(&self.column_scale).map(|(l, scale)| l / scale).collect();
        at.factor.quadratic(&scaled)
    }
}

/// Coefficients of a plain regression on the scaled columns.
///
/// # Errors
/// `Singular`, with the column that follows from those before it.
fn regression(input: &MixedInput, scale: &[f64]) -> Result<Vec<f64>, Refusal> {
    let p = scale.len();
    let column = |j: usize| input.fixed[j].values.iter().map(move |x| x / scale[j]);
    let mut normal = vec![0.0; p * p];
    for j in 0..p {
        for k in 0..=j {
            normal[j * p + k] = neumaier(column(j).zip(column(k)).map(|(a, b)| a * b));
        }
    }
    let right: Vec<f64> = (0..p).map(|j| neumaier(column(j).zip(input.y).map(|(x, y)| x * y))).collect();
    let factor = Cholesky::new(&normal, p).map_err(|at| {
        let name = input.fixed.get(at.0).map_or("a column", |c| c.name.as_str());
        Refusal::plain(RefusalCode::Singular, format!("{name} follows from the other columns"))
    })?;
    Ok(factor.solve(&right))
}
