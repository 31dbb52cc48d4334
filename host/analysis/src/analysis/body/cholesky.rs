//! Symmetric positive definite systems by Cholesky's factor (Golub, Van Loan, Matrix Computations, 4th ed., 4.2). Nothing else.

/// Lower factor L of A = L·Lᵀ, rows packed: row i holds i + 1 numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Cholesky {
    rows: Vec<Vec<f64>>,
}

impl Cholesky {
    /// Of a matrix given by `a(i, j)` for i ≥ j; none when it is not positive definite.
    pub fn of(n: usize, a: impl Fn(usize, usize) -> f64) -> Option<Self> {
        let mut rows: Vec<Vec<f64>> = Vec::with_capacity(n);
        for i in 0..n {
            let mut row = Vec::with_capacity(i + 1);
            for j in 0..=i {
                let other: &[f64] = if j == i { &row } else { &rows[j] };
                let sum: f64 = row.iter().zip(other).take(j).map(|(x, y)| x * y).sum();
                let left = a(i, j) - sum;
                if i == j {
                    if !(left > 0.0 && left.is_finite()) {
                        return None;
                    }
                    row.push(left.sqrt());
                } else {
                    row.push(left / rows[j][j]);
                }
            }
            rows.push(row);
        }
        Some(Self { rows })
    }

    /// L⁻¹·y: a vector with covariance A becomes white.
    pub fn whiten(&self, y: &[f64]) -> Vec<f64> {
        let mut out: Vec<f64> = Vec::with_capacity(y.len());
        for (row, y) in self.rows.iter().zip(y) {
            let sum: f64 = row.iter().zip(&out).map(|(a, b)| a * b).sum();
            let diagonal = row[out.len()];
            out.push((y - sum) / diagonal);
        }
        out
    }

    /// L·y: a white vector gets covariance A.
    #[cfg(test)]
    pub fn coloured(&self, y: &[f64]) -> Vec<f64> {
        self.rows.iter().map(|row| row.iter().zip(y).map(|(a, b)| a * b).sum()).collect()
    }

    /// Natural logarithm of the determinant of A.
    pub fn log_determinant(&self) -> f64 {
        2.0 * self.rows.iter().filter_map(|row| row.last()).map(|v| v.ln()).sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_factor_of_a_small_matrix_is_the_one_computed_by_hand() {
        // [[4, 2], [2, 5]] = [[2, 0], [1, 2]]·[[2, 1], [0, 2]].
        let a = [[4.0, 2.0], [2.0, 5.0]];
        let factor = Cholesky::of(2, |i, j| a[i][j]).expect("positive definite");
        assert_eq!(factor.rows, [vec![2.0], vec![1.0, 2.0]]);
        assert_eq!(factor.whiten(&[2.0, 5.0]), [1.0, 2.0]);
        assert!((factor.log_determinant() - 16.0f64.ln()).abs() < 1e-12);
    }

    #[test]
    fn a_matrix_that_is_not_positive_definite_has_none() {
        assert_eq!(Cholesky::of(2, |i, j| if i == j { 1.0 } else { 2.0 }), None);
        assert_eq!(Cholesky::of(1, |_, _| f64::NAN), None);
    }
}
