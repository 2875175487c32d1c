//! Small symmetric matrices of any size.

use faer::linalg::solvers::DenseSolveCore;
use faer::{Mat, Side};

/// c'Mc.
pub(crate) fn quadratic(m: &Mat<f64>, c: &[f64]) -> f64 {
    let mut sum = 0.0;
    for (a, &left) in c.iter().enumerate() {
        if left != 0.0 {
            for (b, &right) in c.iter().enumerate() {
                sum += left * m[(a, b)] * right;
            }
        }
    }
    sum
}

/// Inverse of a symmetric positive definite matrix.
pub(crate) fn invert(m: &Mat<f64>) -> Option<Mat<f64>> {
    m.llt(Side::Lower).ok().map(|l| l.inverse())
}

/// Eigenvalues below this share of the largest count as zero.
const RANK_TOLERANCE: f64 = 1e-9;

/// M·v.
pub(crate) fn apply(m: &Mat<f64>, v: &[f64]) -> Vec<f64> {
    (0..m.nrows())
        .map(|a| (0..m.ncols()).map(|b| m[(a, b)] * v[b]).sum())
        .collect()
}

/// vᵀw.
pub(crate) fn dot(v: &[f64], w: &[f64]) -> f64 {
    v.iter().zip(w).map(|(a, b)| a * b).sum()
}

/// Adds `factor`·vvᵀ.
pub(crate) fn add_outer(m: &mut Mat<f64>, v: &[f64], factor: f64) {
    for (a, left) in v.iter().enumerate() {
        for (b, right) in v.iter().enumerate() {
            m[(a, b)] += factor * left * right;
        }
    }
}

/// tr(ab).
pub(crate) fn trace(a: &Mat<f64>, b: &Mat<f64>) -> f64 {
    let n = a.nrows();
    (0..n)
        .map(|i| (0..n).map(|j| a[(i, j)] * b[(j, i)]).sum::<f64>())
        .sum()
}

/// Eigenvalues of a symmetric matrix with their vectors; none where the routine
/// fails, which takes values that are not finite.
pub(crate) fn eigen(m: &Mat<f64>) -> Option<Vec<(f64, Vec<f64>)>> {
    let n = m.nrows();
    if n == 0 {
        return Some(Vec::new());
    }
    let found = m.self_adjoint_eigen(Side::Lower).ok()?;
    let (vectors, values) = (found.U(), found.S());
    Some(
        (0..n)
            .map(|k| (values[k], (0..n).map(|a| vectors[(a, k)]).collect()))
            .collect(),
    )
}

/// A root B of a symmetric, positive semidefinite matrix, M = BBᵀ.
pub(crate) fn root(m: &Mat<f64>) -> Option<Mat<f64>> {
    let found = eigen(m)?;
    let largest = found.iter().fold(0.0, |l: f64, e| l.max(e.0));
    Some(Mat::from_fn(m.nrows(), m.nrows(), |a, k| {
        let (value, vector) = &found[k];
        if *value > RANK_TOLERANCE * largest {
            vector[a] * value.sqrt()
        } else {
            0.0
        }
    }))
}

/// Pseudo-inverse of a symmetric, positive semidefinite matrix; columns of very
/// different size are brought to one before their rank is judged.
pub(crate) fn pseudo_inverse(m: &Mat<f64>) -> Option<Mat<f64>> {
    let n = m.nrows();
    let size: Vec<f64> = (0..n)
        .map(|a| {
            if m[(a, a)] > 0.0 {
                m[(a, a)].sqrt()
            } else {
                1.0
            }
        })
        .collect();
    let found = eigen(&Mat::from_fn(n, n, |a, b| m[(a, b)] / (size[a] * size[b])))?;
    let largest = found.iter().fold(0.0, |l: f64, e| l.max(e.0));
    let mut out = Mat::zeros(n, n);
    for (value, vector) in found {
        if value > RANK_TOLERANCE * largest {
            let scaled: Vec<f64> = vector.iter().zip(&size).map(|(v, s)| v / s).collect();
            add_outer(&mut out, &scaled, 1.0 / value);
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of nothing there is nothing, not a failure.
    #[test]
    fn a_matrix_without_rows_has_an_inverse_without_rows() {
        let none = Mat::zeros(0, 0);
        assert_eq!(eigen(&none), Some(Vec::new()));
        assert_eq!(pseudo_inverse(&none).map(|m| m.nrows()), Some(0));
    }
}
