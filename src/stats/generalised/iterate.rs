//! The iteration: reweighted least squares with step halving (McCullagh &
//! Nelder 1989, Generalized Linear Models, section 2.5).

use super::family::{EDGE, Family, Link};
use super::fit::Model;
use crate::stats::{StatsError, convergence::Convergence, linear::Orthogonal};

/// Step, in standard errors, at which the iteration stops. (A criterion on the
/// deviance stops too early where the link is not the canonical one.)
const TOLERANCE: f64 = 1e-9;
const MAX_ITERATIONS: usize = 100;
const MAX_HALVINGS: usize = 40;

/// Where the iteration ended.
pub(super) struct State {
    pub(super) beta: Vec<f64>,
    pub(super) eta: Vec<f64>,
    pub(super) mean: Vec<f64>,
    pub(super) deviance: f64,
    pub(super) basis: Orthogonal,
    /// √W·(working response − predictor) at the end.
    pub(super) working_residuals: Vec<f64>,
    pub(super) convergence: Convergence,
}

impl State {
    /// Σ w·(y − μ)²/V(μ).
    pub(super) fn pearson(&self, y: &[f64], weights: &[f64], family: Family) -> f64 {
        (0..y.len())
            .map(|i| weights[i] * (y[i] - self.mean[i]).powi(2) / family.variance(self.mean[i]))
            .sum()
    }
}

/// Newton steps on the kept columns, halved where they leave the possible or
/// raise the deviance.
pub(super) fn iterate(
    columns: &[&[f64]],
    y: &[f64],
    weights: &[f64],
    offset: &[f64],
    model: &Model<'_>,
) -> Result<State, StatsError> {
    let (n, family, link) = (y.len(), model.family, model.link);
    let deviance_of = |mean: &[f64]| -> f64 {
        (0..n)
            .map(|i| weights[i] * family.deviance(y[i], mean[i]))
            .sum()
    };
    let total: f64 = weights.iter().sum();
    let overall: f64 = y.iter().zip(weights).map(|(y, w)| y * w).sum::<f64>() / total;
    // An unknown dispersion is of the size of the deviance per observation; an
    // exact fit has none, and the response's own size stands in.
    let response_scale = y.iter().zip(weights).map(|(y, w)| w * y * y).sum::<f64>() / n as f64;
    let scale_of = |deviance: f64| match family {
        Family::Gaussian => (deviance / n as f64)
            .max(1e-24 * response_scale)
            .max(1e-300),
        Family::Gamma => (deviance / n as f64).max(1e-24),
        Family::Poisson | Family::Binomial | Family::NegativeBinomial { .. } => 1.0,
    };
    let mut mean: Vec<f64> = (0..n)
        .map(|i| family.start(y[i], weights[i], overall))
        .collect();
    if link == Link::Log && family == Family::Gaussian {
        // Zeros and negative readings have no logarithm to start from.
        let floor = if overall > 0.0 { 0.1 * overall } else { 0.1 };
        for value in &mut mean {
            *value = value.max(floor);
        }
    }
    let mut eta: Vec<f64> = mean.iter().map(|&m| link.predictor(m)).collect();
    let mut deviance = f64::INFINITY;
    let mut beta: Option<Vec<f64>> = None;
    let mut convergence = Convergence {
        converged: false,
        iterations: 0,
        last_change: f64::INFINITY,
        at_boundary: false,
    };
    let mut basis;
    let mut roots;
    loop {
        let slope: Vec<f64> = (0..n).map(|i| link.slope(mean[i], eta[i])).collect();
        roots = (0..n)
            .map(|i| slope[i].abs() * (weights[i] / family.variance(mean[i])).sqrt())
            .collect::<Vec<f64>>();
        let scaled: Vec<Vec<f64>> = columns
            .iter()
            .map(|column| {
                column
                    .iter()
                    .zip(&roots)
                    .map(|(x, root)| x * root)
                    .collect()
            })
            .collect();
        basis = Orthogonal::new(scaled.iter().map(Vec::as_slice));
        if basis.rank() < columns.len() {
            return Err(StatsError::NoConvergence {
                iterations: convergence.iterations,
            });
        }
        if convergence.converged || convergence.iterations >= MAX_ITERATIONS {
            break;
        }
        let target: Vec<f64> = (0..n)
            .map(|i| roots[i] * (eta[i] - offset[i] + (y[i] - mean[i]) / slope[i]))
            .collect();
        let goal = basis.coefficients(&basis.project(&target));
        let start = beta.clone();
        let mut step = 1.0;
        let mut accepted = false;
        for _ in 0..MAX_HALVINGS {
            let trial: Vec<f64> = match &start {
                Some(from) => from
                    .iter()
                    .zip(&goal)
                    .map(|(a, b)| a + step * (b - a))
                    .collect(),
                None => goal.clone(),
            };
            let trial_eta: Vec<f64> = (0..n)
                .map(|i| {
                    offset[i]
                        + columns
                            .iter()
                            .zip(&trial)
                            .map(|(x, b)| x[i] * b)
                            .sum::<f64>()
                })
                .collect();
            let trial_mean: Vec<f64> = trial_eta.iter().map(|&eta| link.mean(eta)).collect();
            let possible = trial_mean.iter().all(|&m| family.allows_mean(m));
            let trial_deviance = if possible {
                deviance_of(&trial_mean)
            } else {
                f64::INFINITY
            };
            let fine = trial_deviance <= deviance + 1e-10 * (deviance.abs() + 0.1);
            if trial_deviance.is_finite() && (fine || start.is_none()) {
                convergence.last_change =
                    step_size(&roots, &eta, &trial_eta, scale_of(trial_deviance));
                (beta, eta, mean, deviance) = (Some(trial), trial_eta, trial_mean, trial_deviance);
                accepted = true;
                break;
            }
            if start.is_none() {
                break;
            }
            step *= 0.5;
        }
        convergence.iterations += 1;
        if !accepted {
            if start.is_none() {
                return Err(StatsError::NoConvergence {
                    iterations: convergence.iterations,
                });
            }
            // No step improves: the optimum to rounding.
            convergence.converged = convergence.last_change < 1e-5;
            if !convergence.converged {
                break;
            }
        }
        if convergence.last_change < TOLERANCE {
            convergence.converged = true;
        }
    }
    convergence.at_boundary = match family {
        Family::Binomial => mean.iter().any(|&m| !(EDGE..=1.0 - EDGE).contains(&m)),
        Family::Poisson | Family::NegativeBinomial { .. } => mean
            .iter()
            .zip(offset)
            .any(|(&m, o)| m < EDGE * o.exp().min(1.0)),
        Family::Gaussian | Family::Gamma => false,
    };
    let working_residuals = (0..n)
        .map(|i| roots[i] * (y[i] - mean[i]) / link.slope(mean[i], eta[i]))
        .collect();
    Ok(State {
        beta: beta.unwrap_or_default(),
        eta,
        mean,
        deviance,
        basis,
        working_residuals,
        convergence,
    })
}

/// Length of a step of the predictor in standard errors.
fn step_size(roots: &[f64], from: &[f64], to: &[f64], scale: f64) -> f64 {
    let squares: f64 = (0..roots.len())
        .map(|i| (roots[i] * (to[i] - from[i])).powi(2))
        .sum();
    (squares / scale).sqrt()
}
