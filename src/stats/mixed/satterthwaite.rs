//! Degrees of freedom of fixed effects in a mixed model.

use super::{fit::Problem, minimise::hessian};
use faer::{Mat, Side, linalg::solvers::Solve};

/// Satterthwaite degrees of freedom of every fixed effect: 2f²/(gᵀAg), with f
/// its variance as a function of the variance parameters, g its gradient and A
/// their asymptotic covariance. Variances at zero are held there.
///
/// Source: Giesbrecht & Burns (1985), Biometrics 41, 477–486; Kuznetsova,
/// Brockhoff & Christensen (2017), J. Stat. Software 82(13). Where the
/// information is not positive definite: rows − rank.
pub(super) fn satterthwaite(problem: &Problem, theta: &[f64], sigma: f64) -> Vec<f64> {
    let rank = problem.basis.rank();
    let fallback = vec![problem.denominator().max(1.0); rank];
    let zero: Vec<usize> = problem
        .columns_of_theta()
        .into_iter()
        .filter(|(diagonal, _)| theta[*diagonal] == 0.0)
        .flat_map(|(_, column)| column)
        .collect();
    let free: Vec<usize> = (0..theta.len())
        .filter(|place| !zero.contains(place))
        .collect();
    let mut at: Vec<f64> = free.iter().map(|&place| theta[place]).collect();
    at.push(sigma.ln());
    let expand = |parameters: &[f64]| -> (Vec<f64>, f64) {
        let mut full = theta.to_vec();
        for (&place, value) in free.iter().zip(parameters) {
            full[place] = *value;
        }
        (full, parameters[parameters.len() - 1].exp())
    };
    let deviance = |parameters: &[f64]| -> f64 {
        let (theta, sigma) = expand(parameters);
        problem
            .blocks
            .factor(&problem.factors(&theta))
            .map_or(f64::INFINITY, |factored| problem.deviance(&factored, sigma))
    };
    let variances = |parameters: &[f64]| -> Option<Vec<f64>> {
        let (theta, sigma) = expand(parameters);
        let factored = problem.blocks.factor(&problem.factors(&theta))?;
        let covariance = problem.fixed_covariance(&factored, sigma);
        Some((0..rank).map(|i| covariance[i][i]).collect())
    };
    let k = at.len();
    let curvature = hessian(&deviance, &at);
    let matrix = Mat::from_fn(k, k, |i, j| curvature[i][j]);
    let Ok(factor) = matrix.llt(Side::Lower) else {
        return fallback;
    };
    let Some(variance) = variances(&at) else {
        return fallback;
    };
    let mut gradients = vec![vec![0.0; k]; rank];
    for j in 0..k {
        let h = 1e-4 * (0.1 + at[j].abs());
        let shifted = |size: f64| {
            let mut x = at.clone();
            x[j] += size;
            variances(&x)
        };
        let (Some(above), Some(below)) = (shifted(h), shifted(-h)) else {
            return fallback;
        };
        for i in 0..rank {
            gradients[i][j] = (above[i] - below[i]) / (2.0 * h);
        }
    }
    (0..rank)
        .map(|i| {
            let gradient = Mat::from_fn(k, 1, |j, _| gradients[i][j]);
            let solved = factor.solve(&gradient);
            // A = 2H⁻¹ for a deviance (−2 ln L).
            let spread: f64 = 2.0
                * (0..k)
                    .map(|j| gradients[i][j] * solved[(j, 0)])
                    .sum::<f64>();
            if spread > 0.0 {
                2.0 * variance[i] * variance[i] / spread
            } else {
                problem.denominator()
            }
        })
        .collect()
}
