//! Numerical derivatives by central differences of fourth order.
//!
//! Steps are a two-hundredth of a variable (of 0.2, if it is smaller): errors of the formula and of rounding are then both
//! below a billionth for functions with full digits.

use super::matrix::Matrix;

/// Weights of `f` at 2, 1, -1, -2 steps.
const FIRST: [(f64, f64); 4] = [(2.0, -1.0 / 12.0), (1.0, 8.0 / 12.0), (-1.0, -8.0 / 12.0), (-2.0, 1.0 / 12.0)];

fn step(x: f64) -> f64 {
    5e-3 * x.abs().max(0.2)
}

/// The first derivatives of `f` at `x`.
pub fn gradient(f: impl Fn(&[f64]) -> f64, x: &[f64]) -> Vec<f64> {
    let mut moved = x.to_vec();
    (0..x.len())
        .map(|j| {
            let h = step(x[j]);
            let mut sum = 0.0;
            for (by, weight) in FIRST {
                moved[j] = x[j] + by * h;
                sum += weight * f(&moved);
            }
            moved[j] = x[j];
            sum / h
        })
        .collect()
}

/// The second derivatives of `f` at `x`.
pub fn hessian(f: impl Fn(&[f64]) -> f64, x: &[f64]) -> Matrix {
    let n = x.len();
    let here = f(x);
    let mut moved = x.to_vec();
    let mut second = vec![vec![0.0; n]; n];
    for j in 0..n {
        let h = step(x[j]);
        let mut sum = -30.0 / 12.0 * here;
        for (by, weight) in [(2.0, -1.0), (1.0, 16.0), (-1.0, 16.0), (-2.0, -1.0)] {
            moved[j] = x[j] + by * h;
            sum += weight / 12.0 * f(&moved);
        }
        moved[j] = x[j];
        second[j][j] = sum / (h * h);
        for k in 0..j {
            let g = step(x[k]);
            let mut sum = 0.0;
            for (by, weight) in FIRST {
                for (other, own) in FIRST {
                    moved[j] = x[j] + by * h;
                    moved[k] = x[k] + other * g;
                    sum += weight * own * f(&moved);
                }
            }
            (moved[j], moved[k]) = (x[j], x[k]);
            second[j][k] = sum / (h * g);
            second[k][j] = second[j][k];
        }
    }
    second
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn derivatives_of_a_function_that_has_them_in_closed_form() {
        let f = |x: &[f64]| x[0].exp() * x[1].sin() + x[0] * x[1] * x[1];
        let x = [0.7f64, -1.3];
        let (e, s, c) = (x[0].exp(), x[1].sin(), x[1].cos());
        let want = [e * s + x[1] * x[1], e * c + 2.0 * x[0] * x[1]];
        for (got, want) in gradient(f, &x).iter().zip(want) {
            assert!((got - want).abs() < 1e-9, "{got} is not {want}");
        }
        let want = [[e * s, e * c + 2.0 * x[1]], [e * c + 2.0 * x[1], -e * s + 2.0 * x[0]]];
        for (got, want) in hessian(f, &x).iter().flatten().zip(want.iter().flatten()) {
            assert!((got - want).abs() < 1e-7, "{got} is not {want}");
        }
    }
}
