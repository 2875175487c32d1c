//! Logistic regression within strata, each stratum's level conditioned away.

use crate::stats::{
    StatsError,
    coefficient::Coefficient,
    convergence::Convergence,
    error::open_share,
    linear::{Alias, Design, Orthogonal, check_response},
};
use faer::{Mat, linalg::solvers::Solve};

/// A conditional logistic fit.
///
/// Given the number of hits of each stratum (lot), which of its rows were hit
/// depends on the within-stratum differences alone: no stratum effect is
/// estimated, so many small strata do no harm.
/// Source: Breslow & Day (1980), Statistical Methods in Cancer Research I,
/// chapter 7; recursion of Gail, Lubin & Rubinstein (1981), Biometrika 68, 703–707.
#[derive(Debug, Clone)]
pub struct ConditionalLogistic {
    /// Coefficients that differ within strata: log odds ratios, Wald inference.
    pub coefficients: Vec<Coefficient>,
    /// Columns without within-stratum contrast of their own.
    pub aliased: Vec<Alias>,
    /// Their covariance.
    pub covariance: Vec<Vec<f64>>,
    /// Conditional log-likelihood.
    pub log_likelihood: f64,
    /// The same with all coefficients zero.
    pub log_likelihood_null: f64,
    /// Strata with both hits and misses; the others say nothing.
    pub informative_strata: usize,
    /// How the iteration ended.
    pub convergence: Convergence,
}

const TOLERANCE: f64 = 1e-12;
const MAX_ITERATIONS: usize = 60;
/// A log odds ratio beyond this has run away: the strata are separated.
const RUNAWAY: f64 = 30.0;

/// Fits hits (`true`) against the design's columns within `stratum_of_row`.
///
/// Costs rows × hits of the stratum × columns². An intercept is dropped.
///
/// # Errors
///
/// [`StatsError::Length`], [`StatsError::Empty`] if no stratum has both hits
/// and misses or no column varies within strata, [`StatsError::LinearAlgebra`],
/// [`StatsError::Share`] for the level.
pub fn conditional_logistic(
    design: &Design,
    hit: &[bool],
    stratum_of_row: &[usize],
    level: f64,
) -> Result<ConditionalLogistic, StatsError> {
    open_share("level", level)?;
    let n = design.rows();
    let as_numbers: Vec<f64> = hit.iter().map(|&hit| if hit { 1.0 } else { 0.0 }).collect();
    check_response(design, &as_numbers)?;
    if stratum_of_row.len() != n {
        return Err(StatsError::Length {
            name: "stratum_of_row",
            got: stratum_of_row.len(),
            expected: n,
        });
    }
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by_key(|&row| stratum_of_row[row]);
    let strata: Vec<&[usize]> = order
        .chunk_by(|&a, &b| stratum_of_row[a] == stratum_of_row[b])
        .filter(|rows| rows.iter().any(|&row| hit[row]) && rows.iter().any(|&row| !hit[row]))
        .collect();
    if strata.is_empty() {
        return Err(StatsError::Empty {
            what: "strata with both hits and misses",
        });
    }
    // Centre every column within its stratum; what is left decides.
    let centred: Vec<Vec<f64>> = design
        .columns()
        .iter()
        .map(|column| {
            let mut values = vec![0.0; n];
            for rows in &strata {
                let mean =
                    rows.iter().map(|&row| column.values[row]).sum::<f64>() / rows.len() as f64;
                for &row in *rows {
                    values[row] = column.values[row] - mean;
                }
            }
            values
        })
        .collect();
    let basis = Orthogonal::new(centred.iter().map(Vec::as_slice));
    let p = basis.rank();
    if p == 0 {
        return Err(StatsError::Empty {
            what: "columns that vary within strata",
        });
    }
    let columns: Vec<&[f64]> = basis
        .kept
        .iter()
        .map(|&column| centred[column].as_slice())
        .collect();
    let mut beta = vec![0.0; p];
    let mut terms = Terms::at(&beta, &columns, hit, &strata);
    let log_likelihood_null = terms.log_likelihood;
    let mut convergence = Convergence {
        converged: false,
        iterations: 0,
        last_change: f64::INFINITY,
        at_boundary: false,
    };
    while convergence.iterations < MAX_ITERATIONS && !convergence.converged {
        let information = Mat::from_fn(p, p, |i, j| terms.information[i][j]);
        let score = Mat::from_fn(p, 1, |i, _| terms.score[i]);
        let step = information
            .llt(faer::Side::Lower)
            .map_err(|_| StatsError::LinearAlgebra {
                routine: "information of a conditional fit",
            })?
            .solve(&score);
        let mut share = 1.0;
        loop {
            let trial: Vec<f64> = (0..p).map(|i| beta[i] + share * step[(i, 0)]).collect();
            let next = Terms::at(&trial, &columns, hit, &strata);
            if next.log_likelihood >= terms.log_likelihood - 1e-12 * terms.log_likelihood.abs()
                || share < 1e-8
            {
                convergence.last_change = (next.log_likelihood - terms.log_likelihood).abs()
                    / (terms.log_likelihood.abs() + 0.1);
                (beta, terms) = (trial, next);
                break;
            }
            share *= 0.5;
        }
        convergence.iterations += 1;
        convergence.at_boundary = (0..p).any(|j| {
            let spread = columns[j].iter().fold(0.0_f64, |size, x| size.max(x.abs()));
            (beta[j] * spread).abs() > RUNAWAY
        });
        convergence.converged = convergence.last_change < TOLERANCE;
        if convergence.at_boundary {
            break;
        }
    }
    let information = Mat::from_fn(p, p, |i, j| terms.information[i][j]);
    let inverse = information
        .llt(faer::Side::Lower)
        .map_err(|_| StatsError::LinearAlgebra {
            routine: "information of a conditional fit",
        })?
        .solve(Mat::<f64>::identity(p, p));
    let covariance: Vec<Vec<f64>> = (0..p)
        .map(|i| (0..p).map(|j| inverse[(i, j)]).collect())
        .collect();
    let coefficients = basis
        .kept
        .iter()
        .enumerate()
        .map(|(i, &column)| {
            let name = &design.columns()[column].name;
            Coefficient::new(name, beta[i], covariance[i][i].sqrt(), f64::INFINITY, level)
        })
        .collect();
    Ok(ConditionalLogistic {
        coefficients,
        aliased: basis.aliased,
        covariance,
        log_likelihood: terms.log_likelihood,
        log_likelihood_null,
        informative_strata: strata.len(),
        convergence,
    })
}

/// Log-likelihood with its first two derivatives.
struct Terms {
    log_likelihood: f64,
    score: Vec<f64>,
    information: Vec<Vec<f64>>,
}

impl Terms {
    fn at(beta: &[f64], columns: &[&[f64]], hit: &[bool], strata: &[&[usize]]) -> Terms {
        let p = beta.len();
        let mut total = Terms {
            log_likelihood: 0.0,
            score: vec![0.0; p],
            information: vec![vec![0.0; p]; p],
        };
        for rows in strata {
            total.add_stratum(beta, columns, hit, rows);
        }
        total
    }

    /// B(m, r) = B(m, r−1) + e^ηᵣ·B(m−1, r−1): the sum over all ways to choose
    /// m of the first r rows, with its gradient and second derivatives.
    fn add_stratum(&mut self, beta: &[f64], columns: &[&[f64]], hit: &[bool], rows: &[usize]) {
        let p = beta.len();
        let hits = rows.iter().filter(|&&row| hit[row]).count();
        let eta = |row: usize| {
            columns
                .iter()
                .zip(beta)
                .map(|(x, b)| x[row] * b)
                .sum::<f64>()
        };
        // The largest predictor is taken out of every factor, so nothing overflows.
        let largest = rows
            .iter()
            .map(|&row| eta(row))
            .fold(f64::NEG_INFINITY, f64::max);
        let width = 1 + p + p * p;
        let mut sums = vec![vec![0.0; width]; hits + 1];
        sums[0][0] = 1.0;
        for &row in rows {
            let factor = (eta(row) - largest).exp();
            for m in (1..=hits).rev() {
                let (before, after) = sums.split_at_mut(m);
                let (lower, upper) = (&before[m - 1], &mut after[0]);
                for i in 0..p {
                    let x = columns[i][row];
                    for j in 0..p {
                        let z = columns[j][row];
                        upper[1 + p + i * p + j] += factor
                            * (lower[1 + p + i * p + j]
                                + x * lower[1 + j]
                                + z * lower[1 + i]
                                + x * z * lower[0]);
                    }
                    upper[1 + i] += factor * (lower[1 + i] + x * lower[0]);
                }
                upper[0] += factor * lower[0];
            }
        }
        let b = &sums[hits];
        let observed: f64 = rows
            .iter()
            .filter(|&&row| hit[row])
            .map(|&row| eta(row) - largest)
            .sum();
        self.log_likelihood += observed - b[0].ln();
        for i in 0..p {
            let seen: f64 = rows
                .iter()
                .filter(|&&row| hit[row])
                .map(|&row| columns[i][row])
                .sum();
            self.score[i] += seen - b[1 + i] / b[0];
            for j in 0..p {
                self.information[i][j] +=
                    b[1 + p + i * p + j] / b[0] - b[1 + i] * b[1 + j] / (b[0] * b[0]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::TailRule;
    use crate::stats::fisher_exact::{TwoByTwo, fisher_exact};

    /// One stratum and one binary column: the conditional estimate of the odds
    /// ratio in Fisher's test.
    #[test]
    fn one_stratum_with_one_binary_column_is_fishers_estimate() {
        let x = [1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0];
        let hit = [true, true, true, false, true, false, false, false, true];
        let design = Design::with_intercept(9).number("x", &x).unwrap();
        let got = conditional_logistic(&design, &hit, &[0; 9], 0.95).unwrap();
        let table = TwoByTwo {
            first_hits: 3,
            first_misses: 1,
            second_hits: 2,
            second_misses: 3,
        };
        let fisher = fisher_exact(table, 0.95, TailRule::Central).unwrap();
        assert!((got.coefficients[0].estimate - fisher.estimate.unwrap().ln()).abs() < 1e-8);
    }

    #[test]
    fn strata_without_contrast_are_refused() {
        let design = Design::with_intercept(2).number("x", &[0.0, 1.0]).unwrap();
        let error = conditional_logistic(&design, &[true, true], &[0, 0], 0.95).unwrap_err();
        assert_eq!(error.to_string(), "no strata with both hits and misses");
    }
}
