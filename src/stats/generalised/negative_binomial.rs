//! Counts that clump, with the clumping estimated.

use super::{
    family::Family,
    fit::{Generalised, Model, generalised},
};
use crate::stats::{
    StatsError,
    convergence::Convergence,
    distributions::{digamma, trigamma},
    linear::Design,
    root,
};

/// A negative binomial fit: variance μ + μ²/θ.
#[derive(Debug, Clone)]
pub struct NegativeBinomial {
    /// The mean model at the estimated θ; its standard errors hold θ fixed, and
    /// its `aic` counts θ as a parameter.
    pub fit: Generalised,
    /// θ̂, > 0; `None` if the counts scatter no more than Poisson counts (θ = ∞)
    /// and `fit` is the Poisson fit.
    pub theta: Option<f64>,
    /// Standard error of θ̂ from the observed information.
    pub theta_std_error: Option<f64>,
    /// How the alternation between mean and θ ended.
    pub convergence: Convergence,
}

const TOLERANCE: f64 = 1e-11;
const MAX_ALTERNATIONS: usize = 200;
/// ln θ beyond which the distribution is Poisson to rounding.
const POISSON_FROM: f64 = 23.0;

/// Fits counts by maximum likelihood in the mean and in θ, in turn (the two are
/// orthogonal, so this converges fast). Source: Lawless (1987), Canadian
/// Journal of Statistics 15, 209–225.
///
/// `model.family` is ignored; link, offset, weights and level are used.
///
/// # Errors
///
/// As [`generalised`].
pub fn negative_binomial(
    design: &Design,
    response: &[f64],
    model: &Model<'_>,
) -> Result<NegativeBinomial, StatsError> {
    let poisson = generalised(
        design,
        response,
        &Model {
            family: Family::Poisson,
            ..*model
        },
    )?;
    let weight = |i: usize| model.weights.map_or(1.0, |weights| weights[i]);
    // Score and observed information of θ at given means.
    let score = |theta: f64, mean: &[f64]| -> f64 {
        response
            .iter()
            .zip(mean)
            .enumerate()
            .map(|(i, (y, m))| {
                weight(i)
                    * (digamma(theta + y) - digamma(theta) + theta.ln() + 1.0
                        - (theta + m).ln()
                        - (y + theta) / (m + theta))
            })
            .sum()
    };
    let information = |theta: f64, mean: &[f64]| -> f64 {
        response
            .iter()
            .zip(mean)
            .enumerate()
            .map(|(i, (y, m))| {
                weight(i)
                    * (trigamma(theta) - trigamma(theta + y) - 1.0 / theta + 2.0 / (m + theta)
                        - (y + theta) / (m + theta).powi(2))
            })
            .sum()
    };
    // The sign of the score at θ → ∞ is that of Σ (y − μ)² − y.
    let excess: f64 = response
        .iter()
        .zip(&poisson.fitted)
        .enumerate()
        .map(|(i, (y, m))| weight(i) * ((y - m).powi(2) - y))
        .sum();
    let mut record = poisson.convergence.clone();
    if excess <= 0.0 {
        return Ok(NegativeBinomial {
            fit: poisson,
            theta: None,
            theta_std_error: None,
            convergence: record,
        });
    }
    let mut fit = poisson;
    let mut theta: Option<f64> = None;
    record.converged = false;
    record.iterations = 0;
    while record.iterations < MAX_ALTERNATIONS && !record.converged {
        let start = theta.map_or(0.0, f64::ln);
        let ln_score = |ln_theta: f64| score(ln_theta.exp(), &fit.fitted);
        // In ln θ the score falls through its root; far out it fades to zero.
        let found = root::of_monotone(ln_score, start, 0.25, POISSON_FROM);
        let Some(ln_theta) = found.filter(|ln_theta| ln_theta.abs() < POISSON_FROM) else {
            let fit = generalised(
                design,
                response,
                &Model {
                    family: Family::Poisson,
                    ..*model
                },
            )?;
            return Ok(NegativeBinomial {
                convergence: fit.convergence.clone(),
                fit,
                theta: None,
                theta_std_error: None,
            });
        };
        let next = ln_theta.exp();
        record.last_change = theta.map_or(f64::INFINITY, |last| ((next - last) / next).abs());
        record.converged = record.last_change < TOLERANCE;
        record.iterations += 1;
        theta = Some(next);
        fit = generalised(
            design,
            response,
            &Model {
                family: Family::NegativeBinomial { theta: next },
                ..*model
            },
        )?;
    }
    record.at_boundary = fit.convergence.at_boundary;
    fit.aic = fit.aic.map(|aic| aic + 2.0);
    let theta_std_error = theta
        .map(|theta| information(theta, &fit.fitted))
        .filter(|&information| information > 0.0)
        .map(|information| 1.0 / information.sqrt());
    Ok(NegativeBinomial {
        fit,
        theta,
        theta_std_error,
        convergence: record,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_that_do_not_clump_give_the_poisson_fit() {
        let got = negative_binomial(
            &Design::with_intercept(5),
            &[3.0, 3.0, 4.0, 3.0, 4.0],
            &Model::new(Family::Poisson, 0.95),
        )
        .unwrap();
        assert_eq!((got.theta, got.theta_std_error), (None, None));
        assert!((got.fit.fitted[0] - 3.4).abs() < 1e-9);
    }

    #[test]
    fn clumped_counts_widen_the_interval() {
        let y = [0.0, 0.0, 9.0, 1.0, 0.0, 14.0, 2.0, 0.0];
        let design = Design::with_intercept(8);
        let model = Model::new(Family::Poisson, 0.95);
        let plain = generalised(&design, &y, &model).unwrap();
        let got = negative_binomial(&design, &y, &model).unwrap();
        assert!(got.theta.unwrap() < 1.0 && got.convergence.converged);
        assert!(got.fit.coefficients[0].std_error > 2.0 * plain.coefficients[0].std_error);
    }
}
