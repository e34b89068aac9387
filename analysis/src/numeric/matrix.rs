//! Cholesky factors of small symmetric matrices: information matrices of a few coefficients.

/// A matrix as a list of its rows.
pub type Matrix = Vec<Vec<f64>>;

/// A pivot below this share of its diagonal element counts as zero.
pub const PIVOT_SHARE: f64 = 1e-10;

/// The lower factor `L` of a symmetric positive definite matrix `A = L L'`.
#[derive(Debug, Clone, PartialEq)]
pub struct Cholesky {
    size: usize,
    lower: Vec<f64>,
}

/// The first row whose pivot vanished: it is a combination of the rows before it, or zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NotPositiveDefinite(
    /// Position of the row, from 0.
    pub usize,
);

impl Cholesky {
    /// Factors the symmetric matrix whose lower triangle stands row by row in `a` (`size * size` values, the
    /// upper triangle is not read).
    ///
    /// # Errors
    /// The first row whose pivot is below [`PIVOT_SHARE`] of its diagonal, or is not a number.
    pub fn new(a: &[f64], size: usize) -> Result<Cholesky, NotPositiveDefinite> {
        let mut lower = vec![0.0; size * size];
        for i in 0..size {
            for j in 0..=i {
                let mut rest = a[i * size + j];
                for k in 0..j {
                    rest -= lower[i * size + k] * lower[j * size + k];
                }
                if i == j {
                    let diagonal = a[i * size + i];
                    let sound = rest.is_finite() && diagonal > 0.0 && rest > PIVOT_SHARE * diagonal;
                    if !sound {
                        return Err(NotPositiveDefinite(i));
                    }
                    lower[i * size + i] = rest.sqrt();
                } else {
                    lower[i * size + j] = rest / lower[j * size + j];
                }
            }
        }
        Ok(Cholesky { size, lower })
    }

    /// The factor of a matrix given as rows.
    ///
    /// # Errors
    /// As [`Cholesky::new`].
    pub fn of_rows(a: &[Vec<f64>]) -> Result<Cholesky, NotPositiveDefinite> {
        let flat: Vec<f64> = a.iter().flatten().copied().collect();
        Cholesky::new(&flat, a.len())
    }

    /// `x` with `A x = b`.
    pub fn solve(&self, b: &[f64]) -> Vec<f64> {
        let n = self.size;
        let mut x = b.to_vec();
        for i in 0..n {
            for k in 0..i {
                x[i] -= self.lower[i * n + k] * x[k];
            }
            x[i] /= self.lower[i * n + i];
        }
        for i in (0..n).rev() {
            for k in i + 1..n {
                x[i] -= self.lower[k * n + i] * x[k];
            }
            x[i] /= self.lower[i * n + i];
        }
        x
    }

    /// `b' A^-1 b`, which is never negative.
    pub fn quadratic(&self, b: &[f64]) -> f64 {
        let n = self.size;
        let mut x = b.to_vec();
        let mut total = 0.0;
        for i in 0..n {
            for k in 0..i {
                x[i] -= self.lower[i * n + k] * x[k];
            }
            x[i] /= self.lower[i * n + i];
            total += x[i] * x[i];
        }
        total
    }

    /// The inverse of `A`, exactly symmetric.
    pub fn inverse(&self) -> Matrix {
        let n = self.size;
        let mut inverse = vec![vec![0.0; n]; n];
        let mut unit = vec![0.0; n];
        for j in 0..n {
            unit[j] = 1.0;
            let column = self.solve(&unit);
            unit[j] = 0.0;
            for i in j..n {
                inverse[i][j] = column[i];
                inverse[j][i] = column[i];
            }
        }
        inverse
    }

    /// Natural logarithm of the determinant of `A`.
    pub fn ln_determinant(&self) -> f64 {
        (0..self.size).map(|i| 2.0 * self.lower[i * self.size + i].ln()).sum()
    }
}

/// `A B A` for symmetric `A` and `B` of the same size: the form of every sandwich variance.
pub fn sandwich(bread: &[Vec<f64>], filling: &[Vec<f64>]) -> Matrix {
    let n = bread.len();
    let mut half = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..n {
            half[i][j] = (0..n).map(|k| bread[i][k] * filling[k][j]).sum();
        }
    }
    let mut whole = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let value = (0..n).map(|k| half[i][k] * bread[k][j]).sum();
            whole[i][j] = value;
            whole[j][i] = value;
        }
    }
    whole
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solves_and_inverts_a_matrix_done_by_hand() -> Result<(), NotPositiveDefinite> {
        // [[4, 2], [2, 3]]: determinant 8, inverse [[3, -2], [-2, 4]] / 8.
        let factor = Cholesky::of_rows(&[vec![4.0, 2.0], vec![2.0, 3.0]])?;
        for (row, want) in factor.inverse().iter().zip([[0.375, -0.25], [-0.25, 0.5]]) {
            assert!(row.iter().zip(want).all(|(got, want)| (got - want).abs() < 1e-15));
        }
        assert!((factor.ln_determinant() - 8f64.ln()).abs() < 1e-15);
        assert!((factor.quadratic(&[1.0, 1.0]) - 0.375).abs() < 1e-15);
        Ok(())
    }

    #[test]
    fn names_the_row_that_is_a_combination_of_the_others() {
        assert_eq!(Cholesky::of_rows(&[vec![1.0, 2.0], vec![2.0, 4.0]]), Err(NotPositiveDefinite(1)));
        assert_eq!(Cholesky::of_rows(&[vec![0.0]]), Err(NotPositiveDefinite(0)));
        assert_eq!(Cholesky::of_rows(&[vec![f64::NAN]]), Err(NotPositiveDefinite(0)));
    }
}
