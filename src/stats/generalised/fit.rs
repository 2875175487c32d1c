//! A generalised linear model: what is fitted and what comes of it.

use super::family::{Family, Link};
use super::iterate::iterate;
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
