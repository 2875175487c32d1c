//! How well a design separates its columns.

use super::{design::Design, least_squares::LeastSquares};
use crate::stats::StatsError;
use faer::Mat;

/// What a design can tell apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Diagnostics {
    /// Ratio of the largest to the smallest singular value of the design with
    /// columns scaled to length one (not centred). Above about 30 the weakest
    /// combination is hardly determined (Belsley, Kuh & Welsch 1980).
    pub condition_number: f64,
    /// Per coefficient of the fit: how many times its variance is larger than
    /// if its column were unrelated to the others. `None` for the intercept,
    /// for constant columns and for models without an intercept.
    pub variance_inflation: Vec<Option<f64>>,
}

/// Condition number and variance inflation of a fitted design.
///
/// # Errors
///
/// [`StatsError::LinearAlgebra`] if the singular values do not converge.
pub fn diagnostics(design: &Design, fit: &LeastSquares) -> Result<Diagnostics, StatsError> {
    let triangle = fit.basis.scaled_triangle();
    let rank = triangle.len();
    let matrix = Mat::from_fn(rank, rank, |i, j| triangle[i][j]);
    let values = matrix
        .singular_values()
        .map_err(|_| StatsError::LinearAlgebra {
            routine: "singular values",
        })?;
    let largest = values.iter().copied().fold(0.0, f64::max);
    let smallest = values.iter().copied().fold(f64::INFINITY, f64::min);
    let unscaled = fit.basis.unscaled_covariance();
    let weight = |row: usize| {
        fit.root_weights
            .as_ref()
            .map_or(1.0, |roots| roots[row] * roots[row])
    };
    let variance_inflation = fit
        .basis
        .kept
        .iter()
        .enumerate()
        .map(|(i, &column)| {
            let values = &design.columns()[column].values;
            let total: f64 = (0..values.len()).map(weight).sum();
            let mean = values
                .iter()
                .enumerate()
                .map(|(row, x)| weight(row) * x)
                .sum::<f64>()
                / total;
            let spread: f64 = values
                .iter()
                .enumerate()
                .map(|(row, x)| weight(row) * (x - mean).powi(2))
                .sum();
            let size: f64 = values
                .iter()
                .enumerate()
                .map(|(row, x)| weight(row) * x * x)
                .sum();
            let varies = spread > 1e-20 * size;
            (design.has_intercept() && varies).then(|| unscaled[i][i] * spread)
        })
        .collect();
    Ok(Diagnostics {
        condition_number: largest / smallest,
        variance_inflation,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::linear::least_squares;
    use approx::assert_relative_eq;

    #[test]
    fn a_balanced_design_inflates_nothing() {
        let (a, b) = ([-1.0, -1.0, 1.0, 1.0, 0.0], [-1.0, 1.0, -1.0, 1.0, 0.0]);
        let design = Design::with_intercept(5)
            .number("a", &a)
            .and_then(|d| d.number("b", &b))
            .unwrap();
        let fit = least_squares(&design, &[1.0, 2.0, 4.0, 3.0, 2.0], None, 0.95).unwrap();
        let got = diagnostics(&design, &fit).unwrap();
        assert_relative_eq!(got.condition_number, 1.0, max_relative = 1e-12);
        assert_eq!(got.variance_inflation[0], None);
        assert_relative_eq!(
            got.variance_inflation[1].unwrap(),
            1.0,
            max_relative = 1e-12
        );
    }

    #[test]
    fn inflation_is_one_over_one_minus_the_squared_correlation() {
        let (a, b) = (
            [1.0, 2.0, 3.0, 4.0, 5.0, 6.0],
            [1.1, 1.9, 3.2, 3.9, 5.3, 5.8],
        );
        let mean = |x: &[f64]| x.iter().sum::<f64>() / x.len() as f64;
        let (mean_a, mean_b) = (mean(&a), mean(&b));
        let product = |x: &[f64], mx: f64, y: &[f64], my: f64| -> f64 {
            x.iter().zip(y).map(|(x, y)| (x - mx) * (y - my)).sum()
        };
        let r_squared = product(&a, mean_a, &b, mean_b).powi(2)
            / (product(&a, mean_a, &a, mean_a) * product(&b, mean_b, &b, mean_b));
        let design = Design::with_intercept(6)
            .number("a", &a)
            .and_then(|d| d.number("b", &b))
            .unwrap();
        let fit = least_squares(&design, &[1.0, 3.0, 2.0, 5.0, 4.0, 6.0], None, 0.95).unwrap();
        let got = diagnostics(&design, &fit).unwrap().variance_inflation[2].unwrap();
        assert_relative_eq!(got, 1.0 / (1.0 - r_squared), max_relative = 1e-10);
    }
}
