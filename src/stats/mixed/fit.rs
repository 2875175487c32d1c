//! Fitting a linear mixed model.

use super::{
    blocks::{Blocks, Factored, Factors},
    minimise::minimise,
    satterthwaite::satterthwaite,
    term::RandomTerm,
};
use crate::stats::{
    StatsError,
    coefficient::Coefficient,
    convergence::Convergence,
    error::{open_share, positive},
    linear::{Alias, Design, Orthogonal, check_response},
};

/// Which likelihood is maximised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Estimation {
    /// Restricted maximum likelihood: variances without the bias that fitted
    /// fixed effects bring. The default choice.
    Restricted,
    /// Maximum likelihood: for comparing models with different fixed effects.
    Full,
}

/// A fitted linear mixed model.
#[derive(Debug, Clone)]
pub struct Mixed {
    /// Fixed effects with Satterthwaite degrees of freedom. With a variance
    /// estimated at zero (`convergence.at_boundary`) they count rows instead of
    /// groups, as other programs' do, and the intervals are too sure.
    pub fixed: Vec<Coefficient>,
    /// Columns that are combinations of earlier ones and got no coefficient.
    pub aliased: Vec<Alias>,
    /// Covariance of `fixed`.
    pub covariance: Vec<Vec<f64>>,
    /// One entry per random term, in the order given.
    pub random: Vec<RandomEstimate>,
    /// Residual standard deviation (of a row of weight 1).
    pub residual_sd: f64,
    /// −2·log-likelihood, restricted or full.
    pub criterion: f64,
    /// Which likelihood.
    pub estimation: Estimation,
    /// Fixed part plus random effects, per row.
    pub fitted: Vec<f64>,
    /// Observed minus fitted.
    pub residuals: Vec<f64>,
    /// How the search ended; `at_boundary` if a variance is zero.
    pub convergence: Convergence,
}

/// What varies between the groups of one term.
#[derive(Debug, Clone, PartialEq)]
pub struct RandomEstimate {
    /// Name of the grouping factor.
    pub name: String,
    /// Names of the columns.
    pub columns: Vec<String>,
    /// Covariance of the columns' coefficients between groups; its diagonal
    /// holds the variance components.
    pub covariance: Vec<Vec<f64>>,
    /// Predicted effects (shrunken towards zero): `effects[group][column]`.
    pub effects: Vec<Vec<f64>>,
}

impl RandomEstimate {
    /// Standard deviation of a column's coefficient between groups.
    pub fn std_dev(&self, column: usize) -> f64 {
        self.covariance[column][column].sqrt()
    }

    /// Correlation of two columns' coefficients; `None` if one does not vary.
    pub fn correlation(&self, one: usize, other: usize) -> Option<f64> {
        let product = self.std_dev(one) * self.std_dev(other);
        (product > 0.0).then(|| self.covariance[one][other] / product)
    }
}

/// Relative standard deviations below this are tried at zero.
const NEARLY_ZERO: f64 = 1e-3;
/// Criterion lost by setting a variance to zero that counts as nothing.
const NO_LOSS: f64 = 1e-7;

/// Fits y = Xβ + Σ Zb + ε with b ~ N(0, σ²ΛΛᵀ) per group and Var ε = σ²/w.
///
/// The likelihood is profiled over β and σ and maximised over the relative
/// Cholesky factors Λ (Bates, Mächler, Bolker & Walker 2015, J. Stat. Software
/// 67(1), section 3). Terms may be nested or crossed; fast where all but the
/// largest have few groups.
///
/// # Errors
///
/// [`StatsError::Length`], [`StatsError::NotFinite`], [`StatsError::NotPositive`]
/// for a weight, [`StatsError::TooFew`] for a term with one group or as many
/// effects as rows, or without residual degrees of freedom,
/// [`StatsError::Empty`] without random terms or if the fixed part fits
/// exactly, [`StatsError::NoConvergence`], [`StatsError::Share`] for the level.
pub fn mixed(
    design: &Design,
    response: &[f64],
    terms: &[RandomTerm],
    weights: Option<&[f64]>,
    estimation: Estimation,
    level: f64,
) -> Result<Mixed, StatsError> {
    open_share("level", level)?;
    let problem = Problem::new(design, response, terms, weights, estimation)?;
    let minimum = minimise(|theta| problem.criterion(theta), &problem.start());
    let (theta, at_boundary) = problem.settle(&minimum.at, minimum.value);
    let factors = problem.factors(&theta);
    let factored = problem
        .blocks
        .factor(&factors)
        .ok_or(StatsError::NoConvergence {
            iterations: minimum.iterations,
        })?;
    let criterion = problem.profiled(&factored);
    let sigma = (factored.penalised / problem.denominator()).sqrt();
    let (gamma, effects) = problem.blocks.solve(&factored, &factors);
    let total: Vec<f64> = gamma
        .iter()
        .zip(&problem.projected)
        .map(|(g, p)| g + p)
        .collect();
    let beta = problem.basis.coefficients(&total);
    let covariance = problem.fixed_covariance(&factored, sigma);
    let dof = satterthwaite(&problem, &theta, sigma);
    let fixed = problem
        .basis
        .kept
        .iter()
        .enumerate()
        .map(|(i, &column)| {
            let name = &design.columns()[column].name;
            Coefficient::new(name, beta[i], covariance[i][i].sqrt(), dof[i], level)
        })
        .collect();
    let random = problem.random_estimates(terms, &factors, &effects, sigma);
    let fitted: Vec<f64> = (0..response.len())
        .map(|row| {
            let mean: f64 = problem
                .basis
                .kept
                .iter()
                .zip(&beta)
                .map(|(&c, b)| design.columns()[c].values[row] * b)
                .sum();
            let shifts: f64 = terms
                .iter()
                .zip(&random)
                .map(|(term, estimate)| {
                    let effects = &estimate.effects[term.group_of_row[row]];
                    term.columns
                        .iter()
                        .zip(effects)
                        .map(|(column, b)| column.values[row] * b)
                        .sum::<f64>()
                })
                .sum();
            mean + shifts
        })
        .collect();
    Ok(Mixed {
        fixed,
        aliased: problem.basis.aliased.clone(),
        covariance,
        random,
        residual_sd: sigma,
        criterion,
        estimation,
        residuals: response.iter().zip(&fitted).map(|(y, f)| y - f).collect(),
        fitted,
        convergence: Convergence {
            converged: minimum.converged,
            iterations: minimum.iterations,
            last_change: minimum.expected_decrease,
            at_boundary,
        },
    })
}

/// A model's cross products and what leads back from them to its own scale.
pub(super) struct Problem {
    pub(super) blocks: Blocks,
    pub(super) basis: Orthogonal,
    pub(super) estimation: Estimation,
    rows: usize,
    /// Terms in elimination order, as indices into the terms given.
    order: Vec<usize>,
    /// Free elements of Λ per term in elimination order.
    free: Vec<Vec<(usize, usize)>>,
    /// Columns per term in elimination order.
    columns: Vec<usize>,
    /// Root mean square of each random column: columns are scaled by it.
    scales: Vec<Vec<f64>>,
    projected: Vec<f64>,
    ln_weights: f64,
}

impl Problem {
    pub(super) fn new(
        design: &Design,
        response: &[f64],
        terms: &[RandomTerm],
        weights: Option<&[f64]>,
        estimation: Estimation,
    ) -> Result<Problem, StatsError> {
        let n = design.rows();
        check_response(design, response)?;
        if terms.is_empty() {
            return Err(StatsError::Empty {
                what: "random terms",
            });
        }
        for term in terms {
            term.check(n)?;
        }
        let weights = weights.map_or_else(|| vec![1.0; n], <[f64]>::to_vec);
        if weights.len() != n {
            return Err(StatsError::Length {
                name: "weights",
                got: weights.len(),
                expected: n,
            });
        }
        for &weight in &weights {
            positive("weight", weight)?;
        }
        let roots: Vec<f64> = weights.iter().map(|weight| weight.sqrt()).collect();
        let weighted = |values: &[f64]| -> Vec<f64> {
            values.iter().zip(&roots).map(|(x, r)| x * r).collect()
        };
        let fixed: Vec<Vec<f64>> = design
            .columns()
            .iter()
            .map(|column| weighted(&column.values))
            .collect();
        // Orthonormal fixed columns and the response's residual: well conditioned.
        let basis = Orthogonal::new(fixed.iter().map(Vec::as_slice));
        if n <= basis.rank() + 1 {
            return Err(StatsError::TooFew {
                got: n,
                needed: basis.rank() + 2,
            });
        }
        let mut rest = weighted(response);
        let size: f64 = rest.iter().map(|y| y * y).sum();
        let mut projected = vec![0.0; basis.rank()];
        for _ in 0..2 {
            for ((share, along), q) in projected.iter_mut().zip(basis.project(&rest)).zip(&basis.q)
            {
                *share += along;
                for (y, direction) in rest.iter_mut().zip(q) {
                    *y -= along * direction;
                }
            }
        }
        if rest.iter().map(|y| y * y).sum::<f64>() <= 1e-26 * size {
            return Err(StatsError::Empty {
                what: "scatter about the fixed part",
            });
        }
        let mut order: Vec<usize> = (0..terms.len()).collect();
        order.sort_by_key(|&t| std::cmp::Reverse(terms[t].groups() * terms[t].columns.len()));
        let ordered: Vec<&RandomTerm> = order.iter().map(|&t| &terms[t]).collect();
        let mut scales = Vec::with_capacity(terms.len());
        let mut columns = Vec::with_capacity(terms.len());
        for term in &ordered {
            let mut term_scales = Vec::new();
            let mut term_columns = Vec::new();
            for column in &term.columns {
                let mean_square = column.values.iter().map(|x| x * x).sum::<f64>() / n as f64;
                let scale = if mean_square > 0.0 {
                    mean_square.sqrt()
                } else {
                    1.0
                };
                let scaled: Vec<f64> = column.values.iter().map(|x| x / scale).collect();
                term_columns.push(weighted(&scaled));
                term_scales.push(scale);
            }
            columns.push(term_columns);
            scales.push(term_scales);
        }
        Ok(Problem {
            blocks: Blocks::new(&ordered, &columns, &basis.q, &rest),
            estimation,
            rows: n,
            free: ordered.iter().map(|term| term.free()).collect(),
            columns: ordered.iter().map(|term| term.columns.len()).collect(),
            order,
            scales,
            projected,
            ln_weights: weights.iter().map(|weight| weight.ln()).sum(),
            basis,
        })
    }

    /// Identity factors: random effects as large as the residual.
    pub(super) fn start(&self) -> Vec<f64> {
        self.free
            .iter()
            .flatten()
            .map(|(i, j)| if i == j { 1.0 } else { 0.0 })
            .collect()
    }

    pub(super) fn factors(&self, theta: &[f64]) -> Factors {
        let mut values = theta.iter();
        self.free
            .iter()
            .zip(&self.columns)
            .map(|(free, &q)| {
                let mut factor = vec![vec![0.0; q]; q];
                for (&(i, j), value) in free.iter().zip(values.by_ref()) {
                    factor[i][j] = *value;
                }
                factor
            })
            .collect()
    }

    /// n − p or n: what the penalised sum of squares is divided by.
    pub(super) fn denominator(&self) -> f64 {
        match self.estimation {
            Estimation::Restricted => (self.rows - self.blocks.fixed) as f64,
            Estimation::Full => self.rows as f64,
        }
    }

    /// −2 ln L at θ and σ.
    pub(super) fn deviance(&self, factored: &Factored, sigma: f64) -> f64 {
        let m = self.denominator();
        let variance = sigma * sigma;
        let fixed = match self.estimation {
            Estimation::Restricted => {
                factored.ln_fixed_determinant + 2.0 * self.basis.ln_determinant()
            }
            Estimation::Full => 0.0,
        };
        factored.ln_determinant + fixed - self.ln_weights
            + m * (2.0 * std::f64::consts::PI * variance).ln()
            + factored.penalised / variance
    }

    /// −2 ln L with σ at its best for θ.
    pub(super) fn profiled(&self, factored: &Factored) -> f64 {
        self.deviance(factored, (factored.penalised / self.denominator()).sqrt())
    }

    pub(super) fn criterion(&self, theta: &[f64]) -> f64 {
        self.blocks
            .factor(&self.factors(theta))
            .map_or(f64::INFINITY, |factored| self.profiled(&factored))
    }

    /// Positions in θ of the diagonal element and of the whole column of Λ that
    /// it heads, per random column.
    pub(super) fn columns_of_theta(&self) -> Vec<(usize, Vec<usize>)> {
        let mut result = Vec::new();
        let mut offset = 0;
        for free in &self.free {
            for (place, &(i, j)) in free.iter().enumerate() {
                if i == j {
                    let column = free
                        .iter()
                        .enumerate()
                        .filter(|(_, position)| position.1 == j)
                        .map(|(other, _)| offset + other)
                        .collect();
                    result.push((offset + place, column));
                }
            }
            offset += free.len();
        }
        result
    }

    /// Turns columns of Λ so that their diagonals are positive (the likelihood
    /// does not see the sign) and sets vanishing ones to zero.
    fn settle(&self, theta: &[f64], value: f64) -> (Vec<f64>, bool) {
        let mut theta = theta.to_vec();
        let mut at_boundary = false;
        for (diagonal, column) in self.columns_of_theta() {
            if theta[diagonal] < 0.0 {
                for &place in &column {
                    theta[place] = -theta[place];
                }
            }
            if theta[diagonal] < NEARLY_ZERO {
                let mut without = theta.clone();
                without[diagonal] = 0.0;
                if self.criterion(&without) <= value + NO_LOSS {
                    theta = without;
                }
                at_boundary |= theta[diagonal] == 0.0;
            }
        }
        (theta, at_boundary)
    }

    /// Covariance of the fixed effects at a factorisation and σ.
    pub(super) fn fixed_covariance(&self, factored: &Factored, sigma: f64) -> Vec<Vec<f64>> {
        let rank = self.basis.rank();
        let rows: Vec<Vec<f64>> = (0..rank)
            .map(|i| {
                let mut unit = vec![0.0; rank];
                unit[i] = 1.0;
                self.blocks
                    .fixed_forward(factored, &self.basis.in_orthonormal_basis(&unit))
            })
            .collect();
        rows.iter()
            .map(|a| {
                rows.iter()
                    .map(|b| sigma * sigma * a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>())
                    .collect()
            })
            .collect()
    }

    fn random_estimates(
        &self,
        terms: &[RandomTerm],
        factors: &Factors,
        effects: &[Vec<Vec<f64>>],
        sigma: f64,
    ) -> Vec<RandomEstimate> {
        let mut estimates: Vec<(usize, RandomEstimate)> = self
            .order
            .iter()
            .enumerate()
            .map(|(place, &given)| {
                let (factor, scales) = (&factors[place], &self.scales[place]);
                let q = factor.len();
                let covariance = (0..q)
                    .map(|i| {
                        (0..q)
                            .map(|j| {
                                let product: f64 =
                                    (0..q).map(|k| factor[i][k] * factor[j][k]).sum();
                                sigma * sigma * product / (scales[i] * scales[j])
                            })
                            .collect()
                    })
                    .collect();
                let effects = effects[place]
                    .iter()
                    .map(|b| b.iter().zip(scales).map(|(b, scale)| b / scale).collect())
                    .collect();
                let term = &terms[given];
                let columns = term
                    .columns
                    .iter()
                    .map(|column| column.name.clone())
                    .collect();
                (
                    given,
                    RandomEstimate {
                        name: term.name.clone(),
                        columns,
                        covariance,
                        effects,
                    },
                )
            })
            .collect();
        estimates.sort_by_key(|(given, _)| *given);
        estimates
            .into_iter()
            .map(|(_, estimate)| estimate)
            .collect()
    }

    /// Place in θ and the scale of the first column of a term given, for
    /// profiling its standard deviation σ·θ/scale.
    pub(super) fn place_of(&self, term: usize, column: usize) -> Option<(usize, f64)> {
        let place = self.order.iter().position(|&given| given == term)?;
        let offset: usize = self.free[..place].iter().map(Vec::len).sum();
        let index = self.free[place]
            .iter()
            .position(|&(i, j)| i == column && j == column)?;
        // The element is the whole standard deviation only if its row of Λ is
        // otherwise empty.
        let alone = self.free[place]
            .iter()
            .all(|&(i, j)| i != column || j == column);
        alone.then(|| (offset + index, self.scales[place][column]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Balanced one-way data: the restricted estimates are those of the
    /// analysis of variance (Searle, Casella & McCulloch 1992, section 3.8).
    #[test]
    fn balanced_groups_give_the_moment_estimates() {
        let y = [1.0, 2.0, 1.5, 4.0, 5.5, 5.0, 2.0, 3.5, 2.5, 7.0, 6.0, 8.5];
        let groups: Vec<usize> = (0..12).map(|row| row / 3).collect();
        let fit = mixed(
            &Design::with_intercept(12),
            &y,
            &[RandomTerm::level("lot", &groups)],
            None,
            Estimation::Restricted,
            0.95,
        )
        .unwrap();
        let table = crate::stats::analysis_of_variance::one_way(&y, &groups).unwrap();
        let moments = table.random_groups(0.95).unwrap();
        assert!((fit.random[0].covariance[0][0] / moments.between_variance - 1.0).abs() < 1e-6);
        assert!((fit.residual_sd.powi(2) / moments.within_variance - 1.0).abs() < 1e-6);
        assert!(
            (fit.fixed[0].dof - 3.0).abs() < 1e-3,
            "{}",
            fit.fixed[0].dof
        );
        assert!(fit.convergence.converged && !fit.convergence.at_boundary);
    }

    #[test]
    fn the_order_of_terms_and_the_unit_of_a_slope_do_not_matter() {
        let lots: Vec<usize> = (0..24).map(|row| row / 6).collect();
        let heads: Vec<usize> = (0..24).map(|row| row % 3).collect();
        let x: Vec<f64> = (0..24).map(|row| ((row * 7) % 5) as f64).collect();
        let y: Vec<f64> = (0..24)
            .map(|row| {
                let (lot, head) = (lots[row] as f64, heads[row] as f64);
                3.0 * (lot * 1.7).sin()
                    + head * head
                    + 0.4 * x[row] * (1.0 + 0.5 * lot)
                    + ((row * 13) % 7) as f64 * 0.2
            })
            .collect();
        let design = Design::with_intercept(24).number("x", &x).unwrap();
        let thousand: Vec<f64> = x.iter().map(|x| x * 1000.0).collect();
        let lot = |x: &[f64]| RandomTerm::level("lot", &lots).slope("x", x);
        let head = RandomTerm::level("head", &heads);
        let fit = |terms: &[RandomTerm]| {
            mixed(&design, &y, terms, None, Estimation::Restricted, 0.95).unwrap()
        };
        let (one, other) = (fit(&[lot(&x), head.clone()]), fit(&[head, lot(&thousand)]));
        assert!((one.criterion - other.criterion).abs() < 1e-6);
        assert!(
            (one.random[0].std_dev(1) / other.random[1].std_dev(1) / 1000.0 - 1.0).abs() < 1e-3
        );
    }

    #[test]
    fn refuses_effects_that_are_the_residuals() {
        let each: Vec<usize> = (0..5).collect();
        let error = mixed(
            &Design::with_intercept(5),
            &[1.0, 2.0, 3.0, 2.0, 1.0],
            &[RandomTerm::level("row", &each)],
            None,
            Estimation::Restricted,
            0.95,
        );
        assert_eq!(error.unwrap_err(), StatsError::TooFew { got: 5, needed: 6 });
    }
}
