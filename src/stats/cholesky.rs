//! Cholesky's factor of a positive definite matrix that is solved again and again:
//! lower triangles by rows, without a copy.

/// Turns the lower triangle of an n × n matrix into its factor L; ln determinant of
/// the matrix, none where it is not positive definite.
pub(crate) fn factor(matrix: &mut [f64], n: usize) -> Option<f64> {
    let mut ln_determinant = 0.0;
    for i in 0..n {
        for j in 0..=i {
            let (ri, rj) = (i * n, j * n);
            let dot: f64 = matrix[ri..ri + j]
                .iter()
                .zip(&matrix[rj..rj + j])
                .map(|(x, y)| x * y)
                .sum();
            let left = matrix[ri + j] - dot;
            if i == j {
                if left <= 0.0 || !left.is_finite() {
                    return None;
                }
                matrix[ri + i] = left.sqrt();
                ln_determinant += left.ln();
            } else {
                matrix[ri + j] = left / matrix[rj + j];
            }
        }
    }
    Some(ln_determinant)
}

/// L⁻ᵀL⁻¹v for the factor L.
pub(crate) fn solve(factor: &[f64], mut v: Vec<f64>) -> Vec<f64> {
    let n = v.len();
    for i in 0..n {
        let row = &factor[i * n..i * n + i];
        let dot: f64 = row.iter().zip(&v).map(|(x, y)| x * y).sum();
        v[i] = (v[i] - dot) / factor[i * n + i];
    }
    for i in (0..n).rev() {
        v[i] /= factor[i * n + i];
        let here = v[i];
        for (x, m) in v[..i].iter_mut().zip(&factor[i * n..i * n + i]) {
            *x -= m * here;
        }
    }
    v
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// LLᵀ of L = (2; 6 1; −8 5 3), worked by hand; ln determinant 2·ln 6.
    #[test]
    fn a_factor_worked_by_hand_comes_back_and_solves() {
        let mut matrix = vec![4.0, 0.0, 0.0, 12.0, 37.0, 0.0, -16.0, -43.0, 98.0];
        let ln_determinant = factor(&mut matrix, 3).unwrap();
        let lower = [
            matrix[0], matrix[3], matrix[4], matrix[6], matrix[7], matrix[8],
        ];
        assert_eq!(lower, [2.0, 6.0, 1.0, -8.0, 5.0, 3.0]);
        assert_relative_eq!(ln_determinant, 2.0 * 6.0_f64.ln(), max_relative = 1e-14);
        // the matrix times (1, 1, 1)
        for x in solve(&matrix, vec![0.0, 6.0, 39.0]) {
            assert_relative_eq!(x, 1.0, max_relative = 1e-12);
        }
        assert!(factor(&mut [1.0, 0.0, 2.0, 1.0], 2).is_none());
    }
}
