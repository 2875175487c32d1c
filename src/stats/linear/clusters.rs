//! Standard errors for observations that come in clusters (panels, lots).

use super::{
    least_squares::LeastSquares,
    orthogonal::{Orthogonal, dot},
};
use crate::stats::{StatsError, coefficient::Coefficient};
use faer::{Mat, Side};

/// Small-sample correction of the cluster-robust covariance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ClusterCorrection {
    /// Sum of squared cluster scores times m/(m − 1); t with m − 1 degrees of
    /// freedom, m clusters. Simple, and too sure with fewer than about 20
    /// clusters or very unequal ones (Cameron & Miller 2015).
    Factor,
    /// Bias-reduced linearisation: residuals of a cluster are multiplied by
    /// (I − H_cc)^−½, and each coefficient gets its own Satterthwaite degrees
    /// of freedom under independent errors. Bell & McCaffrey (2002), Survey
    /// Methodology 28, 169–181.
    BiasReduced,
}

/// Cluster-robust covariance of a fit.
#[derive(Debug, Clone, PartialEq)]
pub struct ClusterRobust {
    /// Coefficients with robust standard errors, tests and intervals.
    pub coefficients: Vec<Coefficient>,
    /// Their covariance.
    pub covariance: Vec<Vec<f64>>,
    /// Number of clusters.
    pub clusters: usize,
    /// Correction used.
    pub correction: ClusterCorrection,
}

/// A share of (I − H_cc) below this has no residual left: the cluster alone
/// determines that direction.
const DETERMINED: f64 = 1e-10;

/// Cluster-robust standard errors of a least-squares fit; observation i lies in
/// cluster `cluster_of_row[i]` (any labels).
///
/// # Errors
///
/// [`StatsError::Length`], [`StatsError::TooFew`] with fewer than two clusters,
/// [`StatsError::LinearAlgebra`] if an eigenvalue routine fails.
pub fn cluster_robust(
    fit: &LeastSquares,
    cluster_of_row: &[usize],
    correction: ClusterCorrection,
) -> Result<ClusterRobust, StatsError> {
    let estimates: Vec<(String, f64)> = fit
        .coefficients
        .iter()
        .map(|coefficient| (coefficient.name.clone(), coefficient.estimate))
        .collect();
    let residuals: Vec<f64> = match &fit.root_weights {
        Some(roots) => fit
            .residuals
            .iter()
            .zip(roots)
            .map(|(r, root)| r * root)
            .collect(),
        None => fit.residuals.clone(),
    };
    from_basis(
        &fit.basis,
        &residuals,
        &estimates,
        cluster_of_row,
        correction,
        fit.level,
    )
}

/// As [`cluster_robust`], from the orthonormal basis of the (weighted) design
/// and the (weighted) residuals; serves weighted and generalised models.
pub(crate) fn from_basis(
    basis: &Orthogonal,
    residuals: &[f64],
    estimates: &[(String, f64)],
    cluster_of_row: &[usize],
    correction: ClusterCorrection,
    level: f64,
) -> Result<ClusterRobust, StatsError> {
    let n = residuals.len();
    if cluster_of_row.len() != n {
        return Err(StatsError::Length {
            name: "cluster_of_row",
            got: cluster_of_row.len(),
            expected: n,
        });
    }
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by_key(|&row| cluster_of_row[row]);
    let members: Vec<&[usize]> = order
        .chunk_by(|&a, &b| cluster_of_row[a] == cluster_of_row[b])
        .collect();
    let m = members.len();
    if m < 2 {
        return Err(StatsError::TooFew { got: m, needed: 2 });
    }
    let rank = basis.rank();
    let mut clusters = Vec::with_capacity(m);
    for rows in &members {
        clusters.push(Cluster::new(basis, residuals, rows, correction)?);
    }
    let factor = match correction {
        ClusterCorrection::Factor => m as f64 / (m as f64 - 1.0),
        ClusterCorrection::BiasReduced => 1.0,
    };
    // Meat in the orthonormal basis, then carried to the coefficients.
    let score_rows: Vec<Vec<f64>> = clusters
        .iter()
        .map(|cluster| basis.coefficients(&cluster.score))
        .collect();
    let mut covariance = vec![vec![0.0; rank]; rank];
    for score in &score_rows {
        for (i, row) in covariance.iter_mut().enumerate() {
            for (j, value) in row.iter_mut().enumerate() {
                *value += factor * score[i] * score[j];
            }
        }
    }
    let coefficients = estimates
        .iter()
        .enumerate()
        .map(|(i, (name, estimate))| {
            let dof = match correction {
                ClusterCorrection::Factor => m as f64 - 1.0,
                ClusterCorrection::BiasReduced => {
                    let mut unit = vec![0.0; rank];
                    unit[i] = 1.0;
                    satterthwaite(&clusters, &basis.in_orthonormal_basis(&unit))
                }
            };
            Coefficient::new(name, *estimate, covariance[i][i].sqrt(), dof, level)
        })
        .collect();
    Ok(ClusterRobust {
        coefficients,
        covariance,
        clusters: m,
        correction,
    })
}

/// One cluster in the orthonormal basis: S = Q_cᵀQ_c and B = (I − S)^−½ (or I).
struct Cluster {
    /// B Q_cᵀ r_c.
    score: Vec<f64>,
    cross: Vec<Vec<f64>>,
    adjust: Option<Vec<Vec<f64>>>,
}

impl Cluster {
    fn new(
        basis: &Orthogonal,
        residuals: &[f64],
        rows: &[usize],
        correction: ClusterCorrection,
    ) -> Result<Cluster, StatsError> {
        let plain: Vec<f64> = basis
            .q
            .iter()
            .map(|q| rows.iter().map(|&row| q[row] * residuals[row]).sum())
            .collect();
        if correction == ClusterCorrection::Factor {
            return Ok(Cluster {
                score: plain,
                cross: Vec::new(),
                adjust: None,
            });
        }
        let cross: Vec<Vec<f64>> = basis
            .q
            .iter()
            .map(|a| {
                basis
                    .q
                    .iter()
                    .map(|b| rows.iter().map(|&row| a[row] * b[row]).sum())
                    .collect()
            })
            .collect();
        let rank = cross.len();
        let matrix = Mat::from_fn(rank, rank, |i, j| cross[i][j]);
        let eigen =
            matrix
                .self_adjoint_eigen(Side::Lower)
                .map_err(|_| StatsError::LinearAlgebra {
                    routine: "eigenvalues of a cluster",
                })?;
        let vectors = eigen.U();
        let shares: Vec<f64> = eigen.S().column_vector().iter().copied().collect();
        // (I − S)^−½, with the directions that the cluster alone determines left out.
        let roots: Vec<f64> = shares
            .iter()
            .map(|share| {
                if 1.0 - share > DETERMINED {
                    1.0 / (1.0 - share).sqrt()
                } else {
                    0.0
                }
            })
            .collect();
        let adjust: Vec<Vec<f64>> = (0..rank)
            .map(|i| {
                (0..rank)
                    .map(|j| {
                        (0..rank)
                            .map(|k| vectors[(i, k)] * roots[k] * vectors[(j, k)])
                            .sum()
                    })
                    .collect()
            })
            .collect();
        Ok(Cluster {
            score: multiply(&adjust, &plain),
            cross,
            adjust: Some(adjust),
        })
    }
}

fn multiply(matrix: &[Vec<f64>], v: &[f64]) -> Vec<f64> {
    matrix.iter().map(|row| dot(row, v)).collect()
}

/// (tr G)²/tr G² for the quadratic form that estimates the variance of the
/// combination with orthonormal coordinates `v`, under independent errors.
fn satterthwaite(clusters: &[Cluster], v: &[f64]) -> f64 {
    let rank = v.len();
    let mut trace = 0.0;
    let mut trace_of_square = 0.0;
    let mut outer = vec![vec![0.0; rank]; rank];
    for cluster in clusters {
        let adjusted = cluster
            .adjust
            .as_ref()
            .map_or_else(|| v.to_vec(), |adjust| multiply(adjust, v));
        let along = multiply(&cluster.cross, &adjusted);
        let own = dot(&adjusted, &along);
        let shared = dot(&along, &along);
        trace += own - shared;
        trace_of_square += own * own - 2.0 * own * shared;
        for (i, row) in outer.iter_mut().enumerate() {
            for (j, value) in row.iter_mut().enumerate() {
                *value += along[i] * along[j];
            }
        }
    }
    trace_of_square += outer
        .iter()
        .flatten()
        .map(|value| value * value)
        .sum::<f64>();
    if trace > 0.0 && trace_of_square > 0.0 {
        trace * trace / trace_of_square
    } else {
        1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::linear::{Design, least_squares};
    use approx::assert_relative_eq;

    /// With equal clusters and only a mean, both corrections are the standard
    /// error of the mean of cluster means, with m − 1 degrees of freedom.
    #[test]
    fn a_mean_over_equal_clusters_is_the_mean_of_their_means() {
        let y = [1.0, 2.0, 4.0, 3.0, 7.0, 8.0, 2.0, 5.0];
        let clusters = [0, 0, 1, 1, 2, 2, 3, 3];
        let fit = least_squares(&Design::with_intercept(8), &y, None, 0.95).unwrap();
        let means: [f64; 4] = [1.5, 3.5, 7.5, 3.5];
        let variance = means.iter().map(|mean| (mean - 4.0).powi(2)).sum::<f64>() / 3.0;
        for correction in [ClusterCorrection::Factor, ClusterCorrection::BiasReduced] {
            let got = cluster_robust(&fit, &clusters, correction).unwrap();
            assert_relative_eq!(
                got.coefficients[0].std_error,
                (variance / 4.0).sqrt(),
                max_relative = 1e-12
            );
            assert_relative_eq!(got.coefficients[0].dof, 3.0, max_relative = 1e-12);
        }
    }

    #[test]
    fn refuses_a_single_cluster() {
        let fit = least_squares(&Design::with_intercept(3), &[1.0, 2.0, 4.0], None, 0.95).unwrap();
        let error = cluster_robust(&fit, &[7, 7, 7], ClusterCorrection::Factor).unwrap_err();
        assert_eq!(error, StatsError::TooFew { got: 1, needed: 2 });
    }
}
