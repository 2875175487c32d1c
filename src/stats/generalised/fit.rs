//! Fitting by iteratively reweighted least squares.

use super::family::{EDGE, Family, Link};
use crate::stats::{
    Interval, StatsError,
    coefficient::Coefficient,
    convergence::Convergence,
    distributions::student_t,
    error::{open_share, positive},
    linear::{
        Alias, ClusterCorrection, ClusterRobust, Design, Orthogonal, check_response,
        cluster_robust_from_basis, estimable,
    },
};

/// Step, in standard errors, at which the iteration stops. (A criterion on the
/// deviance stops too early where the link is not the canonical one.)
const TOLERANCE: f64 = 1e-9;
const MAX_ITERATIONS: usize = 100;
const MAX_HALVINGS: usize = 40;

/// Where the scale of the variance comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dispersion {
    /// One, as Poisson and binomial responses have it; normal quantiles.
    One,
    /// Estimated as Pearson's chi-squared over its degrees of freedom (quasi-
    /// likelihood, gamma, Gaussian); t quantiles.
    Pearson,
}

/// What is fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Model<'a> {
    /// Distribution of the response.
    pub family: Family,
    /// Link from the predictor to the mean.
    pub link: Link,
    /// Scale of the variance.
    pub dispersion: Dispersion,
    /// Known part of the linear predictor (ln exposure, say), per observation.
    pub offset: Option<&'a [f64]>,
    /// Prior weights > 0; the number of trials for binomial shares.
    pub weights: Option<&'a [f64]>,
    /// Level of all intervals.
    pub level: f64,
}

impl<'a> Model<'a> {
    /// The usual model of a family: log link for counts and gamma, logit for
    /// shares, identity for Gaussian; dispersion one where it is known.
    pub fn new(family: Family, level: f64) -> Model<'a> {
        let link = match family {
            Family::Gaussian => Link::Identity,
            Family::Gamma | Family::Poisson | Family::NegativeBinomial { .. } => Link::Log,
            Family::Binomial => Link::Logit,
        };
        let dispersion = if family.has_unit_dispersion() {
            Dispersion::One
        } else {
            Dispersion::Pearson
        };
        Model {
            family,
            link,
            dispersion,
            offset: None,
            weights: None,
            level,
        }
    }
}

/// A fitted generalised linear model.
#[derive(Debug, Clone)]
pub struct Generalised {
    /// Estimable coefficients on the scale of the linear predictor.
    pub coefficients: Vec<Coefficient>,
    /// Columns that are combinations of earlier ones and got no coefficient.
    pub aliased: Vec<Alias>,
    /// Covariance of `coefficients`, dispersion included.
    pub covariance: Vec<Vec<f64>>,
    /// Fitted means.
    pub fitted: Vec<f64>,
    /// Linear predictors, offset included.
    pub linear_predictor: Vec<f64>,
    /// Signed square roots of the deviance contributions.
    pub deviance_residuals: Vec<f64>,
    /// (y − μ)√(w/V(μ)).
    pub pearson_residuals: Vec<f64>,
    /// Leverages of the last weighted fit.
    pub leverage: Vec<f64>,
    /// Twice the log-likelihood short of a perfect fit (unit dispersion).
    pub deviance: f64,
    /// Σ pearson_residuals².
    pub pearson_chi_squared: f64,
    /// Observations minus rank.
    pub residual_dof: f64,
    /// Scale of the variance used: 1 or Pearson's estimate.
    pub dispersion: f64,
    /// Log-likelihood; `None` where it depends on an estimated dispersion.
    pub log_likelihood: Option<f64>,
    /// −2·log-likelihood + 2·rank.
    pub aic: Option<f64>,
    /// How the iteration ended; `at_boundary` where fitted means ran to the
    /// edge of their range, as with separated groups: then use
    /// [`super::firth_logistic`] or an exact test.
    pub convergence: Convergence,
    /// Level of all intervals.
    pub level: f64,
    pub(super) basis: Orthogonal,
    link: Link,
    working_residuals: Vec<f64>,
}

/// A fitted mean with its interval.
#[derive(Debug, Clone, PartialEq)]
pub struct MeanPrediction {
    /// Expected response at the row, offset included.
    pub estimate: f64,
    /// Linear predictor.
    pub linear_predictor: f64,
    /// Standard error of the linear predictor.
    pub std_error: f64,
    /// Interval for the mean: Wald on the predictor, carried through the link.
    pub ci: Interval,
}

/// Fits a generalised linear model by maximum (quasi-)likelihood.
///
/// Iteratively reweighted least squares with step halving (McCullagh & Nelder
/// 1989, Generalized Linear Models, section 2.5).
///
/// # Errors
///
/// [`StatsError::Length`], [`StatsError::NotFinite`], [`StatsError::NotPositive`]
/// for a weight, [`StatsError::Range`] for a response that the family cannot
/// produce, [`StatsError::TooFew`] with fewer rows than columns (or no residual
/// degree of freedom for an estimated dispersion), [`StatsError::NoConvergence`]
/// if no valid step is found. A fit that merely did not settle is returned with
/// its `convergence` saying so.
pub fn generalised(
    design: &Design,
    response: &[f64],
    model: &Model<'_>,
) -> Result<Generalised, StatsError> {
    let n = design.rows();
    open_share("level", model.level)?;
    check_response(design, response)?;
    let weights = filled(n, "weights", model.weights, 1.0)?;
    let offset = filled(n, "offset", model.offset, 0.0)?;
    for &weight in &weights {
        positive("weight", weight)?;
    }
    if let Some(&value) = response.iter().find(|&&y| !model.family.allows(y)) {
        return Err(StatsError::Range {
            name: "response",
            value,
            must: "must be possible for the family",
        });
    }
    let raw = Orthogonal::new(
        design
            .columns()
            .iter()
            .map(|column| column.values.as_slice()),
    );
    let rank = raw.rank();
    let needed = if model.dispersion == Dispersion::Pearson {
        rank + 1
    } else {
        rank.max(1)
    };
    if n < needed {
        return Err(StatsError::TooFew { got: n, needed });
    }
    let columns: Vec<&[f64]> = raw
        .kept
        .iter()
        .map(|&column| design.columns()[column].values.as_slice())
        .collect();
    let state = iterate(&columns, response, &weights, &offset, model)?;
    let residual_dof = (n - rank) as f64;
    let dispersion = match model.dispersion {
        Dispersion::One => 1.0,
        Dispersion::Pearson => state.pearson(response, &weights, model.family) / residual_dof,
    };
    let dof = match model.dispersion {
        Dispersion::One => f64::INFINITY,
        Dispersion::Pearson => residual_dof,
    };
    let mut covariance = state.basis.unscaled_covariance();
    for value in covariance.iter_mut().flatten() {
        *value *= dispersion;
    }
    let coefficients = raw
        .kept
        .iter()
        .zip(&state.beta)
        .enumerate()
        .map(|(i, (&column, &estimate))| {
            let name = &design.columns()[column].name;
            Coefficient::new(name, estimate, covariance[i][i].sqrt(), dof, model.level)
        })
        .collect();
    let log_likelihood = response
        .iter()
        .zip(&state.mean)
        .zip(&weights)
        .map(|((&y, &mean), &weight)| model.family.log_likelihood(y, mean, weight))
        .sum::<Option<f64>>()
        .filter(|_| model.dispersion == Dispersion::One);
    let signed = |y: f64, mean: f64, size: f64| if y < mean { -size } else { size };
    let family = model.family;
    let deviance_residuals = (0..n)
        .map(|i| {
            let part = weights[i] * family.deviance(response[i], state.mean[i]);
            signed(response[i], state.mean[i], part.max(0.0).sqrt())
        })
        .collect();
    let pearson_residuals: Vec<f64> = (0..n)
        .map(|i| {
            (response[i] - state.mean[i]) * (weights[i] / family.variance(state.mean[i])).sqrt()
        })
        .collect();
    let mut basis = state.basis;
    // The basis was made from the kept columns; give it the design's numbering.
    basis.kept.clone_from(&raw.kept);
    basis.aliased.clone_from(&raw.aliased);
    Ok(Generalised {
        coefficients,
        aliased: raw.aliased,
        covariance,
        leverage: basis.leverage(),
        deviance: state.deviance,
        pearson_chi_squared: pearson_residuals.iter().map(|r| r * r).sum(),
        fitted: state.mean,
        linear_predictor: state.eta,
        deviance_residuals,
        pearson_residuals,
        residual_dof,
        dispersion,
        log_likelihood,
        aic: log_likelihood.map(|value| -2.0 * value + 2.0 * rank as f64),
        convergence: state.convergence,
        level: model.level,
        basis,
        link: model.link,
        working_residuals: state.working_residuals,
    })
}

fn filled(
    n: usize,
    name: &'static str,
    given: Option<&[f64]>,
    default: f64,
) -> Result<Vec<f64>, StatsError> {
    let values = given.map_or_else(|| vec![default; n], <[f64]>::to_vec);
    if values.len() != n {
        return Err(StatsError::Length {
            name,
            got: values.len(),
            expected: n,
        });
    }
    if values.iter().any(|value| !value.is_finite()) {
        return Err(StatsError::NotFinite { name });
    }
    Ok(values)
}

struct State {
    beta: Vec<f64>,
    eta: Vec<f64>,
    mean: Vec<f64>,
    deviance: f64,
    basis: Orthogonal,
    /// √W·(working response − predictor) at the end.
    working_residuals: Vec<f64>,
    convergence: Convergence,
}

impl State {
    fn pearson(&self, y: &[f64], weights: &[f64], family: Family) -> f64 {
        (0..y.len())
            .map(|i| weights[i] * (y[i] - self.mean[i]).powi(2) / family.variance(self.mean[i]))
            .sum()
    }
}

fn iterate(
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

impl Generalised {
    /// The coefficient of a column, `None` if it got none.
    pub fn coefficient(&self, name: &str) -> Option<&Coefficient> {
        self.coefficients
            .iter()
            .find(|coefficient| coefficient.name == name)
    }

    /// Expected response at a full design `row` and `offset`; `None` if the row
    /// breaks an alias, so that the data say nothing about it.
    pub fn predict(&self, row: &[f64], offset: f64) -> Option<MeanPrediction> {
        let combination = estimable(&self.basis, row)?;
        let eta: f64 = offset
            + combination
                .iter()
                .zip(&self.coefficients)
                .map(|(x, c)| x * c.estimate)
                .sum::<f64>();
        let u = self.basis.in_orthonormal_basis(&combination);
        let std_error = (self.dispersion * u.iter().map(|x| x * x).sum::<f64>()).sqrt();
        let dof = self.coefficients.first().map_or(f64::INFINITY, |c| c.dof);
        let half = student_t::two_sided_quantile(self.level, dof) * std_error;
        Some(MeanPrediction {
            estimate: self.link.mean(eta),
            linear_predictor: eta,
            std_error,
            ci: Interval {
                low: self.link.mean(eta - half),
                high: self.link.mean(eta + half),
                level: self.level,
            },
        })
    }
}

/// Cluster-robust standard errors of a generalised linear model, from its last
/// weighted least-squares fit; observation i lies in cluster `cluster_of_row[i]`.
///
/// # Errors
///
/// As [`crate::stats::linear::cluster_robust`].
pub fn cluster_robust_generalised(
    fit: &Generalised,
    cluster_of_row: &[usize],
    correction: ClusterCorrection,
) -> Result<ClusterRobust, StatsError> {
    let estimates: Vec<(String, f64)> = fit
        .coefficients
        .iter()
        .map(|c| (c.name.clone(), c.estimate))
        .collect();
    cluster_robust_from_basis(
        &fit.basis,
        &fit.working_residuals,
        &estimates,
        cluster_of_row,
        correction,
        fit.level,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::linear::least_squares;
    use approx::assert_relative_eq;

    #[test]
    fn gaussian_with_identity_link_is_least_squares() {
        let (x, y) = ([0.0, 1.0, 2.0, 4.0, 7.0], [1.0, 3.0, 2.0, 6.0, 8.0]);
        let design = Design::with_intercept(5).number("x", &x).unwrap();
        let plain = least_squares(&design, &y, None, 0.95).unwrap();
        let got = generalised(&design, &y, &Model::new(Family::Gaussian, 0.95)).unwrap();
        for (a, b) in plain.coefficients.iter().zip(&got.coefficients) {
            assert_relative_eq!(a.estimate, b.estimate, max_relative = 1e-12);
            assert_relative_eq!(a.std_error, b.std_error, max_relative = 1e-12);
        }
        assert!(got.convergence.converged);
    }

    #[test]
    fn one_rate_is_the_count_over_its_exposure() {
        let exposure: [f64; 3] = [2.0, 5.0, 3.0];
        let offset = exposure.map(f64::ln);
        let model = Model {
            offset: Some(&offset),
            ..Model::new(Family::Poisson, 0.95)
        };
        let got = generalised(&Design::with_intercept(3), &[4.0, 9.0, 7.0], &model).unwrap();
        assert_relative_eq!(
            got.coefficients[0].estimate,
            2.0_f64.ln(),
            max_relative = 1e-12
        );
        assert_relative_eq!(
            got.coefficients[0].std_error,
            1.0 / 20.0_f64.sqrt(),
            max_relative = 1e-10
        );
    }

    #[test]
    fn readings_at_and_below_zero_are_fitted_on_the_natural_scale() {
        let x = [0.0, 0.0, 1.0, 1.0, 2.0, 2.0];
        let y = [-0.1, 0.3, 0.2, 0.25, 0.4, 0.43];
        let design = Design::with_intercept(6).number("x", &x).unwrap();
        let model = Model {
            link: Link::Log,
            ..Model::new(Family::Gaussian, 0.95)
        };
        let got = generalised(&design, &y, &model).unwrap();
        assert!(got.convergence.converged);
        // Score equations of the fit: Σ μ(y − μ)x = 0.
        for column in design.columns() {
            let score: f64 = (0..6)
                .map(|i| got.fitted[i] * (y[i] - got.fitted[i]) * column.values[i])
                .sum();
            assert!(score.abs() < 1e-7, "{score}");
        }
    }

    #[test]
    fn separated_groups_are_reported_as_a_boundary() {
        let x = [0.0, 0.0, 0.0, 1.0, 1.0, 1.0];
        let design = Design::with_intercept(6).number("x", &x).unwrap();
        let model = Model::new(Family::Binomial, 0.95);
        let got = generalised(&design, &[0.0, 1.0, 0.0, 1.0, 1.0, 1.0], &model).unwrap();
        assert!(got.convergence.at_boundary);
    }

    #[test]
    fn a_response_that_the_family_cannot_produce_is_refused() {
        let error = generalised(
            &Design::with_intercept(2),
            &[1.0, -1.0],
            &Model::new(Family::Poisson, 0.95),
        );
        assert_eq!(
            error.unwrap_err().to_string(),
            "response is -1: must be possible for the family"
        );
    }
}
