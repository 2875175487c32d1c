//! Profile-likelihood intervals for standard deviations.

use super::{
    fit::{Estimation, Mixed, Problem},
    minimise::minimise,
    term::RandomTerm,
};
use crate::stats::{
    Interval, StatsError, distributions::chi_squared, error::open_share, linear::Design, root,
};

/// Which standard deviation is profiled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum StandardDeviation {
    /// The residual one.
    Residual,
    /// That of a random column: index of the term, index of the column. In a
    /// correlated term only the first column has a profile here.
    Random {
        /// Index of the term.
        term: usize,
        /// Index of its column.
        column: usize,
    },
}

/// Interval for a standard deviation: the values whose −2 ln L, minimised over
/// all else, exceeds the least by no more than the χ² quantile. The lower limit
/// is 0 where even zero is not excluded (the test is then conservative:
/// Self & Liang 1987, JASA 82, 605–610).
///
/// Uses the likelihood of `fit` (restricted or full), with the data it was
/// fitted to.
///
/// # Errors
///
/// As [`super::mixed`]; [`StatsError::Empty`] for a column that has no profile.
pub fn profile_std_dev(
    design: &Design,
    response: &[f64],
    terms: &[RandomTerm],
    weights: Option<&[f64]>,
    fit: &Mixed,
    which: StandardDeviation,
    level: f64,
) -> Result<Interval, StatsError> {
    open_share("level", level)?;
    let estimation: Estimation = fit.estimation;
    let problem = Problem::new(design, response, terms, weights, estimation)?;
    let (place, scale, estimate) = match which {
        StandardDeviation::Residual => (None, 1.0, fit.residual_sd),
        StandardDeviation::Random { term, column } => {
            let (place, scale) = problem.place_of(term, column).ok_or(StatsError::Empty {
                what: "profile of that column",
            })?;
            (Some(place), scale, fit.random[term].std_dev(column))
        }
    };
    let best = minimise(|theta| problem.criterion(theta), &problem.start());
    let bound = best.value + chi_squared::quantile(level, 1.0);
    let residual = fit.residual_sd;
    // Least deviance with the standard deviation held at `value`, over the
    // other elements of θ and, for a random column, ln σ.
    let excess = |value: f64| -> f64 {
        let least = match place {
            None => {
                let at = |theta: &[f64]| {
                    problem
                        .blocks
                        .factor(&problem.factors(theta))
                        .map_or(f64::INFINITY, |factored| problem.deviance(&factored, value))
                };
                minimise(
                    at,
                    &best
                        .at
                        .iter()
                        .map(|t| t * residual / value)
                        .collect::<Vec<f64>>(),
                )
                .value
            }
            Some(place) => {
                let at = |parameters: &[f64]| {
                    let sigma = parameters[place].exp();
                    let mut theta = parameters.to_vec();
                    theta[place] = value * scale / sigma;
                    problem
                        .blocks
                        .factor(&problem.factors(&theta))
                        .map_or(f64::INFINITY, |factored| problem.deviance(&factored, sigma))
                };
                let mut start = best.at.clone();
                start[place] = residual.ln();
                minimise(at, &start).value
            }
        };
        (least - bound).min(1e300)
    };
    let top = residual.max(estimate);
    let high = {
        let mut reach = if estimate > 0.0 {
            estimate * 1.3
        } else {
            0.3 * residual
        };
        let mut found = f64::INFINITY;
        while reach < 1e4 * top {
            let at = excess(reach);
            if at > 0.0 {
                found = root::between(excess, (estimate, best.value - bound), (reach, at));
                break;
            }
            reach *= 1.6;
        }
        found
    };
    let low = if place.is_some() {
        let at_zero = excess(0.0);
        if at_zero <= 0.0 {
            0.0
        } else {
            root::between(excess, (0.0, at_zero), (estimate, best.value - bound))
        }
    } else {
        let mut reach = estimate / 1.3;
        let mut found = 0.0;
        while reach > 1e-6 * estimate {
            let at = excess(reach);
            if at > 0.0 {
                found = root::between(excess, (reach, at), (estimate, best.value - bound));
                break;
            }
            reach /= 1.6;
        }
        found
    };
    Ok(Interval { low, high, level })
}
