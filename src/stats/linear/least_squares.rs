//! Ordinary and weighted least squares.

use super::{
    design::Design,
    extended::compensated_sum,
    orthogonal::{Alias, Orthogonal, dot},
};
use crate::stats::{
    Interval, StatsError,
    coefficient::Coefficient,
    distributions::{f_ratio, student_t},
    error::open_share,
};

/// A least-squares fit.
#[derive(Debug, Clone)]
pub struct LeastSquares {
    /// Estimable coefficients, in column order.
    pub coefficients: Vec<Coefficient>,
    /// Columns that are combinations of earlier ones and got no coefficient.
    pub aliased: Vec<Alias>,
    /// Covariance of `coefficients`, σ̂²(XᵀWX)⁻¹.
    pub covariance: Vec<Vec<f64>>,
    /// One fitted value per observation.
    pub fitted: Vec<f64>,
    /// Observed minus fitted.
    pub residuals: Vec<f64>,
    /// Diagonal of the hat matrix, 0..1; their sum is the rank.
    pub leverage: Vec<f64>,
    /// Σ w·residual².
    pub residual_sum_of_squares: f64,
    /// Observations minus rank.
    pub residual_dof: f64,
    /// σ̂, the residual standard deviation (of an observation of weight 1).
    pub residual_sd: f64,
    /// Sum of squares of the model: about the (weighted) mean with an
    /// intercept, about zero without.
    pub model_sum_of_squares: f64,
    /// Its degrees of freedom.
    pub model_dof: f64,
    /// Share of the total sum of squares that the model takes; `None` if the
    /// response does not vary.
    pub r_squared: Option<f64>,
    /// F statistic of the model; `None` if the fit is exact.
    pub statistic: Option<f64>,
    /// p-value of `statistic`.
    pub p_value: Option<f64>,
    /// Level of all intervals.
    pub level: f64,
    pub(crate) basis: Orthogonal,
    pub(crate) root_weights: Option<Vec<f64>>,
}

/// What a fitted model says about a new observation.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// Expected response.
    pub estimate: f64,
    /// Standard error of `estimate`.
    pub std_error: f64,
    /// Interval for the expected response.
    pub ci: Interval,
    /// Interval for one new observation of weight 1.
    pub prediction_interval: Interval,
}

/// Fits y = Xβ + ε, Var ε = σ²/w, by orthogonalisation in column order with
/// residuals refined in twice the working precision.
///
/// `weights` (default 1) must be positive. Columns that depend on earlier ones
/// are listed in `aliased`. Accuracy: NIST's certified coefficients to 13
/// digits or more on well-conditioned data; see `tests/outside`.
///
/// # Errors
///
/// [`StatsError::Length`] if lengths differ, [`StatsError::NotFinite`],
/// [`StatsError::NotPositive`] for a weight, [`StatsError::TooFew`] without a
/// residual degree of freedom, [`StatsError::Share`] for the level.
pub fn least_squares(
    design: &Design,
    y: &[f64],
    weights: Option<&[f64]>,
    level: f64,
) -> Result<LeastSquares, StatsError> {
    open_share("level", level)?;
    let n = design.rows();
    check_response(design, y)?;
    let root_weights = checked_root_weights(n, weights)?;
    let scaled = |values: &[f64]| -> Vec<f64> {
        match &root_weights {
            Some(roots) => values
                .iter()
                .zip(roots)
                .map(|(value, root)| value * root)
                .collect(),
            None => values.to_vec(),
        }
    };
    let columns: Vec<Vec<f64>> = design
        .columns()
        .iter()
        .map(|column| scaled(&column.values))
        .collect();
    let slices: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    let response = scaled(y);
    let basis = Orthogonal::new(slices.iter().copied());
    let rank = basis.rank();
    if n <= rank || rank == 0 {
        return Err(StatsError::TooFew {
            got: n,
            needed: rank + 1,
        });
    }
    let (beta, weighted_residuals) = basis.solve_refined(&slices, &response);
    let residual_sum_of_squares = compensated_sum(weighted_residuals.iter().map(|r| r * r));
    let residual_dof = (n - rank) as f64;
    let residual_sd = (residual_sum_of_squares / residual_dof).sqrt();
    let residuals: Vec<f64> = match &root_weights {
        Some(roots) => weighted_residuals
            .iter()
            .zip(roots)
            .map(|(r, root)| r / root)
            .collect(),
        None => weighted_residuals,
    };
    let mut covariance = basis.unscaled_covariance();
    for value in covariance.iter_mut().flatten() {
        *value *= residual_sd * residual_sd;
    }
    let coefficients = basis
        .kept
        .iter()
        .zip(&beta)
        .enumerate()
        .map(|(i, (&column, &estimate))| {
            let name = &design.columns()[column].name;
            Coefficient::new(name, estimate, covariance[i][i].sqrt(), residual_dof, level)
        })
        .collect();
    let (total_sum_of_squares, model_dof) = if design.has_intercept() {
        (
            about_the_mean(y, root_weights.as_deref()),
            (rank - 1) as f64,
        )
    } else {
        (
            compensated_sum(response.iter().map(|value| value * value)),
            rank as f64,
        )
    };
    let model_sum_of_squares = (total_sum_of_squares - residual_sum_of_squares).max(0.0);
    let statistic = (residual_sum_of_squares > 0.0 && model_dof > 0.0)
        .then(|| model_sum_of_squares / model_dof / (residual_sum_of_squares / residual_dof));
    Ok(LeastSquares {
        coefficients,
        aliased: basis.aliased.clone(),
        covariance,
        fitted: y
            .iter()
            .zip(&residuals)
            .map(|(value, residual)| value - residual)
            .collect(),
        residuals,
        leverage: basis.leverage(),
        residual_sum_of_squares,
        residual_dof,
        residual_sd,
        model_sum_of_squares,
        model_dof,
        r_squared: (total_sum_of_squares > 0.0)
            .then(|| 1.0 - residual_sum_of_squares / total_sum_of_squares),
        statistic,
        p_value: statistic.map(|f| f_ratio::tails(f, model_dof, residual_dof).upper()),
        level,
        basis,
        root_weights,
    })
}

fn about_the_mean(y: &[f64], root_weights: Option<&[f64]>) -> f64 {
    let weight = |row: usize| root_weights.map_or(1.0, |roots| roots[row] * roots[row]);
    // Deviations from the first value: exact where values agree in their leading digits.
    let first = y.first().copied().unwrap_or(0.0);
    let total = compensated_sum((0..y.len()).map(weight));
    let mean = compensated_sum(
        y.iter()
            .enumerate()
            .map(|(row, value)| weight(row) * (value - first)),
    ) / total;
    compensated_sum(
        y.iter()
            .enumerate()
            .map(|(row, value)| weight(row) * (value - first - mean).powi(2)),
    )
}

pub(crate) fn check_response(design: &Design, y: &[f64]) -> Result<(), StatsError> {
    if y.len() != design.rows() {
        return Err(StatsError::Length {
            name: "response",
            got: y.len(),
            expected: design.rows(),
        });
    }
    if y.iter().any(|value| !value.is_finite()) {
        return Err(StatsError::NotFinite { name: "response" });
    }
    Ok(())
}

pub(crate) fn checked_root_weights(
    n: usize,
    weights: Option<&[f64]>,
) -> Result<Option<Vec<f64>>, StatsError> {
    let Some(weights) = weights else {
        return Ok(None);
    };
    if weights.len() != n {
        return Err(StatsError::Length {
            name: "weights",
            got: weights.len(),
            expected: n,
        });
    }
    for &weight in weights {
        crate::stats::error::positive("weight", weight)?;
    }
    Ok(Some(weights.iter().map(|weight| weight.sqrt()).collect()))
}

impl LeastSquares {
    /// The coefficient of a column, `None` if it got none.
    pub fn coefficient(&self, name: &str) -> Option<&Coefficient> {
        self.coefficients
            .iter()
            .find(|coefficient| coefficient.name == name)
    }

    /// Residuals divided by their standard deviation, σ̂√((1 − leverage)/w);
    /// `None` where the leverage is one or the fit exact.
    pub fn standardised_residuals(&self) -> Vec<Option<f64>> {
        self.residuals
            .iter()
            .zip(&self.leverage)
            .enumerate()
            .map(|(row, (residual, leverage))| {
                let root = self.root_weights.as_ref().map_or(1.0, |roots| roots[row]);
                let sd = self.residual_sd * (1.0 - leverage).max(0.0).sqrt();
                (sd > 1e-10 * self.residual_sd && sd > 0.0).then(|| residual * root / sd)
            })
            .collect()
    }

    /// Expected response at `row`, one value per design column (aliased ones
    /// too). `None` if the row breaks an alias, so that the data say nothing
    /// about it, or has the wrong length.
    pub fn predict(&self, row: &[f64]) -> Option<Prediction> {
        let combination = estimable(&self.basis, row)?;
        let estimate: f64 = combination
            .iter()
            .zip(&self.coefficients)
            .map(|(x, coefficient)| x * coefficient.estimate)
            .sum();
        let u = self.basis.in_orthonormal_basis(&combination);
        let unscaled = dot(&u, &u);
        let std_error = self.residual_sd * unscaled.sqrt();
        let t = student_t::two_sided_quantile(self.level, self.residual_dof);
        let around = |half: f64| Interval {
            low: estimate - half,
            high: estimate + half,
            level: self.level,
        };
        Some(Prediction {
            estimate,
            std_error,
            ci: around(t * std_error),
            prediction_interval: around(t * self.residual_sd * (1.0 + unscaled).sqrt()),
        })
    }
}

/// The kept part of a full design row, if the row obeys every alias.
pub(crate) fn estimable(basis: &Orthogonal, row: &[f64]) -> Option<Vec<f64>> {
    const BREAKS: f64 = 1e-6;
    if row.len() != basis.kept.len() + basis.aliased.len() {
        return None;
    }
    for alias in &basis.aliased {
        let implied: f64 = alias
            .equals
            .iter()
            .map(|(column, share)| share * row[*column])
            .sum();
        let size = row
            .iter()
            .fold(1.0_f64, |size, value| size.max(value.abs()));
        if (row[alias.column] - implied).abs() > BREAKS * size {
            return None;
        }
    }
    Some(basis.kept.iter().map(|&column| row[column]).collect())
}

/// A joint test that several coefficients are zero.
#[derive(Debug, Clone, PartialEq)]
pub struct WaldTest {
    /// F = bᵀV⁻¹b / q.
    pub statistic: f64,
    /// q, the number of coefficients tested.
    pub dof: f64,
    /// Denominator degrees of freedom (∞: chi-squared/q).
    pub denominator_dof: f64,
    /// P(F ≥ statistic).
    pub p_value: f64,
}

/// Joint Wald test of the coefficients at `indices` with their `covariance`.
///
/// # Errors
///
/// [`StatsError::Empty`] without an index, [`StatsError::Singular`] if the
/// covariance of the chosen coefficients is not positive definite.
pub fn wald_test(
    coefficients: &[Coefficient],
    covariance: &[Vec<f64>],
    indices: &[usize],
    denominator_dof: f64,
) -> Result<WaldTest, StatsError> {
    if indices.is_empty() {
        return Err(StatsError::Empty {
            what: "coefficients to test",
        });
    }
    // Cholesky of the chosen block; forward substitution gives the quadratic form.
    let q = indices.len();
    let mut lower: Vec<Vec<f64>> = Vec::with_capacity(q);
    let mut solved: Vec<f64> = Vec::with_capacity(q);
    for (i, &index) in indices.iter().enumerate() {
        let mut row = Vec::with_capacity(i + 1);
        for (j, &other) in indices.iter().enumerate().take(i) {
            let earlier: &Vec<f64> = &lower[j];
            row.push((covariance[index][other] - dot(&row, &earlier[..j])) / earlier[j]);
        }
        let pivot = covariance[index][index] - dot(&row, &row);
        if pivot <= 1e-13 * covariance[index][index] || !pivot.is_finite() {
            return Err(StatsError::Singular {
                rank: i,
                columns: q,
            });
        }
        solved.push((coefficients[index].estimate - dot(&row, &solved)) / pivot.sqrt());
        row.push(pivot.sqrt());
        lower.push(row);
    }
    let statistic = dot(&solved, &solved) / q as f64;
    Ok(WaldTest {
        statistic,
        dof: q as f64,
        denominator_dof,
        p_value: f_ratio::tails(statistic, q as f64, denominator_dof).upper(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn line(x: &[f64]) -> Design {
        Design::with_intercept(x.len()).number("x", x).unwrap()
    }

    proptest! {
        #[test]
        fn scaling_the_response_scales_the_fit(y in prop::collection::vec(-5.0..5.0_f64, 8), factor in 0.1..20.0_f64) {
            let x = [0.0, 1.0, 2.0, 3.0, 5.0, 8.0, 13.0, 21.0];
            let scaled: Vec<f64> = y.iter().map(|value| value * factor).collect();
            let one = least_squares(&line(&x), &y, None, 0.95).unwrap();
            let other = least_squares(&line(&x), &scaled, None, 0.95).unwrap();
            for (a, b) in one.coefficients.iter().zip(&other.coefficients) {
                prop_assert!((a.estimate * factor - b.estimate).abs() < 1e-11 * factor);
                prop_assert!((a.std_error * factor - b.std_error).abs() < 1e-11 * factor);
            }
            prop_assert!((one.leverage.iter().sum::<f64>() - 2.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_weight_of_two_is_two_observations_for_the_coefficients() {
        let doubled = least_squares(
            &line(&[0.0, 1.0, 1.0, 3.0]),
            &[1.0, 2.0, 2.0, 7.0],
            None,
            0.95,
        )
        .unwrap();
        let weights = [1.0, 2.0, 1.0];
        let weighted = least_squares(
            &line(&[0.0, 1.0, 3.0]),
            &[1.0, 2.0, 7.0],
            Some(&weights),
            0.95,
        )
        .unwrap();
        for (a, b) in doubled.coefficients.iter().zip(&weighted.coefficients) {
            assert_relative_eq!(a.estimate, b.estimate, max_relative = 1e-13);
        }
    }

    #[test]
    fn a_column_tied_to_others_is_named_and_gets_no_coefficient() {
        let (a, b) = (
            [1.0, 2.0, 3.0, 4.0, 5.0, 7.0],
            [1.0, 0.0, 1.0, 0.0, 0.0, 1.0],
        );
        let tied: Vec<f64> = a.iter().zip(&b).map(|(a, b)| 3.0 + 2.0 * a - b).collect();
        let design = Design::with_intercept(6)
            .number("a", &a)
            .and_then(|design| design.number("b", &b))
            .and_then(|design| design.number("tied", &tied))
            .unwrap();
        let fit = least_squares(&design, &[1.0, 3.0, 2.0, 5.0, 4.0, 6.0], None, 0.95).unwrap();
        assert_eq!(fit.aliased.len(), 1);
        assert_eq!(fit.aliased[0].column, 3);
        for ((column, share), (wanted_column, wanted)) in
            fit.aliased[0]
                .equals
                .iter()
                .zip([(0, 3.0), (1, 2.0), (2, -1.0)])
        {
            assert_eq!(*column, wanted_column);
            assert_relative_eq!(*share, wanted, max_relative = 1e-10);
        }
        assert!(fit.coefficient("tied").is_none());
        assert!(fit.predict(&[1.0, 2.0, 1.0, 6.0]).is_some());
        assert!(fit.predict(&[1.0, 2.0, 1.0, 0.0]).is_none());
    }

    #[test]
    fn refuses_too_few_observations() {
        let error = least_squares(&line(&[0.0, 1.0]), &[1.0, 2.0], None, 0.95).unwrap_err();
        assert_eq!(
            error.to_string(),
            "2 observations, and at least 3 are needed"
        );
    }
}
