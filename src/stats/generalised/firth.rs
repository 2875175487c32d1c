//! Logistic regression that stays finite when groups are separated.

use crate::stats::{
    Interval, StatsError,
    convergence::Convergence,
    distributions::chi_squared,
    error::open_share,
    linear::{Alias, Design, Orthogonal, check_response},
    root,
};

/// A penalised-likelihood logistic fit.
///
/// Maximises ln L + ½ ln|XᵀWX| (Jeffreys' prior), which takes off the
/// first-order bias and is finite whatever the data.
/// Source: Firth (1993), Biometrika 80, 27–38; Heinze & Schemper (2002),
/// Statistics in Medicine 21, 2409–2419.
#[derive(Debug, Clone)]
pub struct FirthLogistic {
    /// Estimable coefficients, in column order.
    pub coefficients: Vec<FirthCoefficient>,
    /// Columns that are combinations of earlier ones and got no coefficient.
    pub aliased: Vec<Alias>,
    /// (XᵀWX)⁻¹ at the estimate.
    pub covariance: Vec<Vec<f64>>,
    /// Fitted chances of a hit.
    pub fitted: Vec<f64>,
    /// ln L at the estimate, without binomial coefficients.
    pub log_likelihood: f64,
    /// ln L + ½ ln|XᵀWX|.
    pub penalised_log_likelihood: f64,
    /// How the iteration ended.
    pub convergence: Convergence,
}

/// A log odds ratio with its penalised-likelihood inference.
#[derive(Debug, Clone, PartialEq)]
pub struct FirthCoefficient {
    /// Name of the design column.
    pub name: String,
    /// Change of the log-odds per unit of the column.
    pub estimate: f64,
    /// Wald standard error; the interval and test below don't use it.
    pub std_error: f64,
    /// Profile penalised-likelihood interval; a limit is infinite where the
    /// profile never falls far enough.
    pub ci: Interval,
    /// Penalised likelihood-ratio statistic of zero, one degree of freedom.
    pub statistic: f64,
    /// Its p-value; agrees with `ci`.
    pub p_value: f64,
}

const TOLERANCE: f64 = 1e-10;
const MAX_ITERATIONS: usize = 500;

/// Fits the log-odds of a hit; row i has `hits[i]` of `trials[i]` (1 if `None`).
///
/// # Errors
///
/// [`StatsError::Length`], [`StatsError::NotFinite`], [`StatsError::Range`] for
/// hits outside 0..=trials, [`StatsError::TooFew`] with fewer rows than columns,
/// [`StatsError::NoConvergence`], [`StatsError::Share`] for the level.
pub fn firth_logistic(
    design: &Design,
    hits: &[f64],
    trials: Option<&[f64]>,
    level: f64,
) -> Result<FirthLogistic, StatsError> {
    open_share("level", level)?;
    check_response(design, hits)?;
    let n = design.rows();
    let trials = trials.map_or_else(|| vec![1.0; n], <[f64]>::to_vec);
    if trials.len() != n {
        return Err(StatsError::Length {
            name: "trials",
            got: trials.len(),
            expected: n,
        });
    }
    for (&hit, &total) in hits.iter().zip(&trials) {
        if !(0.0..=total).contains(&hit) {
            return Err(StatsError::Range {
                name: "hits",
                value: hit,
                must: "must lie in 0..=trials",
            });
        }
    }
    let raw = Orthogonal::new(
        design
            .columns()
            .iter()
            .map(|column| column.values.as_slice()),
    );
    let rank = raw.rank();
    if n < rank || rank == 0 {
        return Err(StatsError::TooFew {
            got: n,
            needed: rank.max(1),
        });
    }
    let columns: Vec<&[f64]> = raw
        .kept
        .iter()
        .map(|&column| design.columns()[column].values.as_slice())
        .collect();
    let data = Data {
        columns,
        hits,
        trials,
    };
    let full = data.maximise(None, &vec![0.0; rank])?;
    let covariance = full.basis.unscaled_covariance();
    let quantile = chi_squared::quantile(level, 1.0);
    let mut coefficients = Vec::with_capacity(rank);
    for (index, &column) in raw.kept.iter().enumerate() {
        let (estimate, std_error) = (full.beta[index], covariance[index][index].sqrt());
        let drop_at = |value: f64| -> Result<f64, StatsError> {
            let mut start = full.beta.clone();
            start[index] = value;
            Ok(2.0 * (full.penalised - data.maximise(Some(index), &start)?.penalised))
        };
        let limit = |direction: f64| -> Result<f64, StatsError> {
            let mut reach = std_error.max(1e-8);
            while reach < 300.0 * std_error.max(1e-8) {
                let at = estimate + direction * reach;
                let excess = drop_at(at)? - quantile;
                if excess > 0.0 {
                    // Failures inside the bracket read as "beyond the limit".
                    let inside = |value: f64| drop_at(value).map_or(1.0, |drop| drop - quantile);
                    return Ok(root::between(inside, (estimate, -quantile), (at, excess)));
                }
                reach *= 1.5;
            }
            Ok(direction * f64::INFINITY)
        };
        let statistic = drop_at(0.0)?.max(0.0);
        coefficients.push(FirthCoefficient {
            name: design.columns()[column].name.clone(),
            estimate,
            std_error,
            ci: Interval {
                low: limit(-1.0)?,
                high: limit(1.0)?,
                level,
            },
            statistic,
            p_value: chi_squared::tails(statistic, 1.0).upper(),
        });
    }
    Ok(FirthLogistic {
        coefficients,
        aliased: raw.aliased,
        covariance,
        fitted: full.mean,
        log_likelihood: full.log_likelihood,
        penalised_log_likelihood: full.penalised,
        convergence: full.convergence,
    })
}

struct Data<'a> {
    columns: Vec<&'a [f64]>,
    hits: &'a [f64],
    trials: Vec<f64>,
}

struct Maximum {
    beta: Vec<f64>,
    mean: Vec<f64>,
    basis: Orthogonal,
    log_likelihood: f64,
    penalised: f64,
    convergence: Convergence,
}

impl Data<'_> {
    /// Likelihood and penalty at `beta`.
    fn at(&self, beta: Vec<f64>) -> Maximum {
        let n = self.hits.len();
        let eta: Vec<f64> = (0..n)
            .map(|i| {
                self.columns
                    .iter()
                    .zip(&beta)
                    .map(|(x, b)| x[i] * b)
                    .sum::<f64>()
            })
            .collect();
        let mean: Vec<f64> = eta.iter().map(|eta| 1.0 / (1.0 + (-eta).exp())).collect();
        // ln(1 + e^η) without overflow.
        let softplus = |eta: f64| eta.max(0.0) + (-eta.abs()).exp().ln_1p();
        let log_likelihood: f64 = (0..n)
            .map(|i| self.hits[i] * eta[i] - self.trials[i] * softplus(eta[i]))
            .sum();
        let roots: Vec<f64> = (0..n)
            .map(|i| {
                (self.trials[i] * mean[i] / (1.0 + eta[i].exp()))
                    .sqrt()
                    .max(1e-150)
            })
            .collect();
        let scaled: Vec<Vec<f64>> = self
            .columns
            .iter()
            .map(|column| {
                column
                    .iter()
                    .zip(&roots)
                    .map(|(x, root)| x * root)
                    .collect()
            })
            .collect();
        let basis = Orthogonal::new(scaled.iter().map(Vec::as_slice));
        // A design that the weights make singular has no penalised likelihood.
        let half_ln_determinant = if basis.rank() == self.columns.len() {
            basis.ln_determinant()
        } else {
            f64::NEG_INFINITY
        };
        Maximum {
            beta,
            mean,
            basis,
            log_likelihood,
            penalised: log_likelihood + half_ln_determinant,
            convergence: Convergence {
                converged: false,
                iterations: 0,
                last_change: f64::INFINITY,
                at_boundary: false,
            },
        }
    }

    /// Maximises the penalised likelihood from `start`, with one coefficient
    /// held if `held` says which. The penalty is always that of all columns.
    fn maximise(&self, held: Option<usize>, start: &[f64]) -> Result<Maximum, StatsError> {
        let n = self.hits.len();
        let mut current = self.at(start.to_vec());
        if current.penalised == f64::NEG_INFINITY {
            return Err(StatsError::NoConvergence { iterations: 0 });
        }
        let free: Vec<usize> = (0..self.columns.len())
            .filter(|&j| Some(j) != held)
            .collect();
        let mut iterations = 0;
        loop {
            let leverage = current.basis.leverage();
            let residual: Vec<f64> = (0..n)
                .map(|i| {
                    let m = current.mean[i];
                    self.hits[i] - self.trials[i] * m + leverage[i] * (0.5 - m)
                })
                .collect();
            // Step of the free coefficients: weighted least squares of the
            // modified residual on them.
            let roots: Vec<f64> = (0..n)
                .map(|i| {
                    (self.trials[i] * current.mean[i] * (1.0 - current.mean[i]))
                        .sqrt()
                        .max(1e-150)
                })
                .collect();
            let scaled: Vec<Vec<f64>> = free
                .iter()
                .map(|&j| {
                    self.columns[j]
                        .iter()
                        .zip(&roots)
                        .map(|(x, root)| x * root)
                        .collect()
                })
                .collect();
            let basis = Orthogonal::new(scaled.iter().map(Vec::as_slice));
            if basis.rank() < free.len() {
                return Err(StatsError::NoConvergence { iterations });
            }
            let target: Vec<f64> = residual
                .iter()
                .zip(&roots)
                .map(|(r, root)| r / root)
                .collect();
            let step = basis.coefficients(&basis.project(&target));
            let largest = step.iter().fold(0.0_f64, |size, s| size.max(s.abs()));
            current.convergence.iterations = iterations;
            current.convergence.last_change = largest;
            if largest < TOLERANCE {
                current.convergence.converged = true;
                return Ok(current);
            }
            if iterations >= MAX_ITERATIONS {
                return Err(StatsError::NoConvergence { iterations });
            }
            iterations += 1;
            let mut share = if largest > 5.0 { 5.0 / largest } else { 1.0 };
            loop {
                let mut beta = current.beta.clone();
                for (&j, s) in free.iter().zip(&step) {
                    beta[j] += share * s;
                }
                let next = self.at(beta);
                if next.penalised >= current.penalised - 1e-12 * current.penalised.abs() {
                    current = next;
                    break;
                }
                share *= 0.5;
                if share < 1e-10 {
                    // No step improves: the optimum to rounding.
                    current.convergence.converged = largest < 1e-6;
                    return Ok(current);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// With one binary factor the penalised fit adds ½ to every cell of the
    /// two-by-two table (Firth 1993, section 3.3).
    #[test]
    fn one_binary_factor_adds_a_half_to_every_cell() {
        let design = Design::with_intercept(2).number("x", &[0.0, 1.0]).unwrap();
        let got = firth_logistic(&design, &[0.0, 6.0], Some(&[10.0, 6.0]), 0.95).unwrap();
        let expected = (6.5_f64 / 0.5).ln() - (0.5_f64 / 10.5).ln();
        assert_relative_eq!(got.coefficients[1].estimate, expected, max_relative = 1e-8);
        assert!(got.coefficients[1].ci.low > 0.0 && got.coefficients[1].p_value < 0.001);
    }

    #[test]
    fn trials_are_the_same_as_single_rows() {
        let rows = Design::with_intercept(5)
            .number("x", &[0.0, 0.0, 0.0, 1.0, 1.0])
            .unwrap();
        let grouped = Design::with_intercept(2).number("x", &[0.0, 1.0]).unwrap();
        let one = firth_logistic(&rows, &[0.0, 1.0, 0.0, 1.0, 1.0], None, 0.95).unwrap();
        let other = firth_logistic(&grouped, &[1.0, 2.0], Some(&[3.0, 2.0]), 0.95).unwrap();
        for (a, b) in one.coefficients.iter().zip(&other.coefficients) {
            assert_relative_eq!(a.estimate, b.estimate, max_relative = 1e-8);
            assert_relative_eq!(a.ci.low, b.ci.low, max_relative = 1e-6);
        }
    }
}
