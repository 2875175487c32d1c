//! Symmetric matrices of a few rows, by value and without allocation: thousands
//! of panels each bring one.

/// A square matrix of `D` rows.
pub(crate) type Square<const D: usize> = [[f64; D]; D];

/// Eigenvalues below this share of the largest count as zero.
pub(crate) const RANK_TOLERANCE: f64 = 1e-9;

/// Eigenvalues (in no order) and eigenvectors (in columns) of a symmetric
/// matrix, by cyclic Jacobi rotations.
///
/// Source: Golub & Van Loan (2013), Matrix Computations, 4th ed., §8.5.
#[must_use]
pub(crate) fn eigen<const D: usize>(matrix: &Square<D>) -> ([f64; D], Square<D>) {
    const SWEEPS: usize = 60;
    let mut a = *matrix;
    let mut vectors = identity();
    for _ in 0..SWEEPS {
        let mut off = 0.0;
        let mut on = 0.0;
        for (i, row) in a.iter().enumerate() {
            on += row[i] * row[i];
            off += row[..i].iter().map(|x| x * x).sum::<f64>();
        }
        if off <= 1e-32 * on || off == 0.0 {
            break;
        }
        for p in 0..D {
            for q in p + 1..D {
                rotate(&mut a, &mut vectors, p, q);
            }
        }
    }
    let mut values = [0.0; D];
    for (i, value) in values.iter_mut().enumerate() {
        *value = a[i][i];
    }
    (values, vectors)
}

fn rotate<const D: usize>(a: &mut Square<D>, vectors: &mut Square<D>, p: usize, q: usize) {
    if a[p][q] == 0.0 {
        return;
    }
    let tau = (a[q][q] - a[p][p]) / (2.0 * a[p][q]);
    let tangent = if tau >= 0.0 {
        1.0 / (tau + tau.hypot(1.0))
    } else {
        1.0 / (tau - tau.hypot(1.0))
    };
    let cosine = 1.0 / tangent.hypot(1.0);
    let sine = tangent * cosine;
    for row in a.iter_mut().chain(vectors.iter_mut()) {
        let (x, y) = (row[p], row[q]);
        row[p] = cosine * x - sine * y;
        row[q] = sine * x + cosine * y;
    }
    let (x, y) = (a[p], a[q]);
    for k in 0..D {
        a[p][k] = cosine * x[k] - sine * y[k];
        a[q][k] = sine * x[k] + cosine * y[k];
    }
}

/// The identity.
#[must_use]
pub(crate) fn identity<const D: usize>() -> Square<D> {
    let mut out = [[0.0; D]; D];
    for (i, row) in out.iter_mut().enumerate() {
        row[i] = 1.0;
    }
    out
}

/// Pseudo-inverse of a symmetric, positive semidefinite matrix and its rank.
#[must_use]
pub(crate) fn pseudo_inverse<const D: usize>(matrix: &Square<D>) -> (Square<D>, usize) {
    let (values, vectors) = eigen(matrix);
    let largest = values.iter().copied().fold(0.0, f64::max);
    let mut out = [[0.0; D]; D];
    let mut rank = 0;
    for k in 0..D {
        if values[k] > RANK_TOLERANCE * largest {
            rank += 1;
            for i in 0..D {
                for j in 0..D {
                    out[i][j] += vectors[i][k] * vectors[j][k] / values[k];
                }
            }
        }
    }
    (out, rank)
}

/// A·x.
#[must_use]
pub(crate) fn apply<const D: usize>(a: &Square<D>, x: &[f64; D]) -> [f64; D] {
    let mut out = [0.0; D];
    for (value, row) in out.iter_mut().zip(a) {
        *value = dot(row, x);
    }
    out
}

/// xᵀy.
#[must_use]
pub(crate) fn dot<const D: usize>(x: &[f64; D], y: &[f64; D]) -> f64 {
    x.iter().zip(y).map(|(a, b)| a * b).sum()
}

/// Adds `factor`·xxᵀ.
pub(crate) fn add_outer<const D: usize>(sum: &mut Square<D>, x: &[f64; D], factor: f64) {
    for i in 0..D {
        for j in 0..D {
            sum[i][j] += factor * x[i] * x[j];
        }
    }
}

/// Adds B to A.
pub(crate) fn add<const D: usize>(a: &mut Square<D>, b: &Square<D>) {
    for (x, y) in a.iter_mut().flatten().zip(b.iter().flatten()) {
        *x += y;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_rotation_of_known_eigenvalues_gives_them_back() {
        // [[2,1],[1,2]] has 1 and 3; a third axis stands alone.
        let (mut values, vectors) = eigen(&[[2.0, 1.0, 0.0], [1.0, 2.0, 0.0], [0.0, 0.0, 7.0]]);
        let back = |i: usize, j: usize| -> f64 {
            (0..3)
                .map(|k| vectors[i][k] * values[k] * vectors[j][k])
                .sum()
        };
        assert_relative_eq!(back(0, 1), 1.0, max_relative = 1e-14);
        values.sort_by(f64::total_cmp);
        assert_relative_eq!(values[0], 1.0, max_relative = 1e-14);
        assert_relative_eq!(values[2], 7.0, max_relative = 1e-14);
    }

    #[test]
    fn a_pseudo_inverse_leaves_empty_directions_empty() {
        let (inverse, rank) = pseudo_inverse(&[[4.0, 0.0], [0.0, 0.0]]);
        assert_eq!(rank, 1);
        assert_eq!(inverse, [[0.25, 0.0], [0.0, 0.0]]);
    }
}
