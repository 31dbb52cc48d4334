//! Small dense systems of linear equations, by Gauss–Jordan elimination with the largest pivot (Golub, Van Loan, Matrix Computations,
//! 4th ed., 3.4). For symmetric positive definite ones of many unknowns there is [`super::body::cholesky`]. Why by hand:
//! `docs/decisions/0007-mathematics.md`.

/// A pivot below this is none: the equations, of order one, do not determine their unknowns.
const LEAST_PIVOT: f64 = 1e-12;

/// Solves the equations whose coefficients begin each row; what stands right of them, one column a right-hand side, becomes the solutions.
/// None, with the rows in disorder, where they do not determine every unknown.
pub fn solve<R: AsMut<[f64]> + AsRef<[f64]> + Clone>(rows: &mut [R]) -> Option<()> {
    for c in 0..rows.len() {
        let size = |r: &R| r.as_ref()[c].abs();
        let pivot = (c..rows.len()).max_by(|a, b| size(&rows[*a]).total_cmp(&size(&rows[*b])))?;
        // NaN compares as the largest.
        if size(&rows[pivot]).is_nan() || size(&rows[pivot]) < LEAST_PIVOT {
            return None;
        }
        rows.swap(c, pivot);
        let scale = rows[c].as_ref()[c];
        rows[c].as_mut().iter_mut().for_each(|v| *v /= scale);
        let row = rows[c].clone();
        for r in (0..rows.len()).filter(|r| *r != c) {
            let factor = rows[r].as_ref()[c];
            rows[r].as_mut()[c..].iter_mut().zip(&row.as_ref()[c..]).for_each(|(v, p)| *v -= factor * p);
        }
    }
    Some(())
}

/// The inverse of a matrix; none where it has none.
pub fn inverse<const N: usize>(a: [[f64; N]; N]) -> Option<[[f64; N]; N]> {
    let unit = |k: usize| (0..N).map(move |j| f64::from(u8::from(j == k)));
    let mut rows: Vec<Vec<f64>> =
        a.iter().enumerate().map(|(k, row)| row.iter().copied().chain(unit(k)).collect()).collect();
    solve(&mut rows)?;
    Some(std::array::from_fn(|i| std::array::from_fn(|j| rows[i][N + j])))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Worked by hand: 2x + y = 5 and x + 3y = 10 have x = 1, y = 3.
    #[test]
    fn a_system_solved_by_hand_comes_back_though_its_first_pivot_is_zero() {
        let mut rows = [[2.0, 1.0, 5.0], [1.0, 3.0, 10.0]];
        solve(&mut rows).unwrap();
        assert!((rows[0][2] - 1.0).abs() < 1e-15 && (rows[1][2] - 3.0).abs() < 1e-15, "{rows:?}");
        let mut rows = [[0.0, 2.0, 6.0], [1.0, 1.0, 4.0]];
        solve(&mut rows).unwrap();
        assert_eq!((rows[0][2], rows[1][2]), (1.0, 3.0));
    }

    #[test]
    fn what_does_not_determine_its_unknowns_has_no_solution() {
        assert_eq!(solve(&mut [[1.0, 2.0, 1.0], [2.0, 4.0, 2.0]]), None);
        assert_eq!(solve(&mut [[f64::NAN, 1.0]]), None);
        assert!(inverse([[1.0, 2.0], [2.0, 4.0]]).is_none());
        assert_eq!(solve::<[f64; 1]>(&mut []), Some(()));
    }

    #[test]
    fn an_inverse_times_its_matrix_is_one() {
        let a = [[4.0, 1.0, 0.5], [1.0, 3.0, -0.2], [0.5, -0.2, 2.0]];
        let b = inverse(a).unwrap();
        for i in 0..3 {
            for j in 0..3 {
                let v: f64 = (0..3).map(|k| a[i][k] * b[k][j]).sum();
                assert!((v - f64::from(u8::from(i == j))).abs() < 1e-12);
            }
        }
    }

    // D. Hilbert, Acta Math. 18 (1894) 155: the inverse of the matrix 1/(i + j − 1) is whole; of order 4 its corners are 16 and 2800.
    #[test]
    fn hilberts_matrix_has_its_published_inverse() {
        let b =
            inverse::<4>(std::array::from_fn(|i| std::array::from_fn(|j| 1.0 / (i + j + 1) as f64))).unwrap();
        for (got, want) in [(b[0][0], 16.0), (b[0][1], -120.0), (b[1][1], 1200.0), (b[3][3], 2800.0)] {
            assert!((got / want - 1.0).abs() < 1e-9, "{got} is not {want}");
        }
    }
}
