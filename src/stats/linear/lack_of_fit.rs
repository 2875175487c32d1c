//! Is a linear model missing something that replicates can show?

use super::{design::Design, least_squares::LeastSquares};
use crate::stats::distributions::f_ratio;
use std::collections::BTreeMap;

/// Residual scatter split into scatter between replicates (pure error) and the
/// rest (lack of fit).
#[derive(Debug, Clone, PartialEq)]
pub struct LackOfFit {
    /// Σ w·(deviation from the replicates' mean)².
    pub pure_error_sum_of_squares: f64,
    /// Its degrees of freedom.
    pub pure_error_dof: f64,
    /// Residual minus pure error.
    pub lack_of_fit_sum_of_squares: f64,
    /// Its degrees of freedom.
    pub lack_of_fit_dof: f64,
    /// F = ratio of the two mean squares; `None` if replicates agree exactly.
    pub statistic: Option<f64>,
    /// P(F ≥ statistic).
    pub p_value: Option<f64>,
}

/// F test of lack of fit; replicates are observations with equal design rows.
///
/// `None` if there are no replicates, or no degrees of freedom left for a lack
/// of fit. Source: Draper & Smith (1998), Applied Regression Analysis, 3rd ed.,
/// section 2.1.
pub fn lack_of_fit(design: &Design, fit: &LeastSquares) -> Option<LackOfFit> {
    let mut replicates: BTreeMap<Vec<u64>, Vec<usize>> = BTreeMap::new();
    for row in 0..design.rows() {
        // + 0.0 makes −0 and 0 the same setting.
        let key = design
            .row(row)
            .iter()
            .map(|value| (value + 0.0).to_bits())
            .collect();
        replicates.entry(key).or_default().push(row);
    }
    let weight = |row: usize| {
        fit.root_weights
            .as_ref()
            .map_or(1.0, |roots| roots[row] * roots[row])
    };
    let mut pure_error_sum_of_squares = 0.0;
    for rows in replicates.values() {
        // Replicates share their fitted value, so residuals scatter as the responses do.
        let total: f64 = rows.iter().map(|&row| weight(row)).sum();
        let mean = rows
            .iter()
            .map(|&row| weight(row) * fit.residuals[row])
            .sum::<f64>()
            / total;
        pure_error_sum_of_squares += rows
            .iter()
            .map(|&row| weight(row) * (fit.residuals[row] - mean).powi(2))
            .sum::<f64>();
    }
    let settings = replicates.len();
    let pure_error_dof = (design.rows() - settings) as f64;
    let lack_of_fit_dof = fit.residual_dof - pure_error_dof;
    if pure_error_dof < 1.0 || lack_of_fit_dof < 1.0 {
        return None;
    }
    let lack_of_fit_sum_of_squares =
        (fit.residual_sum_of_squares - pure_error_sum_of_squares).max(0.0);
    let statistic = (pure_error_sum_of_squares > 0.0).then(|| {
        lack_of_fit_sum_of_squares / lack_of_fit_dof / (pure_error_sum_of_squares / pure_error_dof)
    });
    Some(LackOfFit {
        pure_error_sum_of_squares,
        pure_error_dof,
        lack_of_fit_sum_of_squares,
        lack_of_fit_dof,
        statistic,
        p_value: statistic.map(|f| f_ratio::tails(f, lack_of_fit_dof, pure_error_dof).upper()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::linear::least_squares;

    #[test]
    fn a_curve_fitted_by_a_line_shows_a_lack_of_fit() {
        let x = [0.0, 0.0, 1.0, 1.0, 2.0, 2.0, 3.0, 3.0];
        let y: Vec<f64> = x
            .iter()
            .enumerate()
            .map(|(i, x)| x * x + 0.1 * (i % 2) as f64)
            .collect();
        let line = Design::with_intercept(8).number("x", &x).unwrap();
        let fit = least_squares(&line, &y, None, 0.95).unwrap();
        let got = lack_of_fit(&line, &fit).unwrap();
        assert_eq!((got.pure_error_dof, got.lack_of_fit_dof), (4.0, 2.0));
        assert!(got.p_value.unwrap() < 1e-4);
        let squares: Vec<f64> = x.iter().map(|x| x * x).collect();
        let curve = line.number("x squared", &squares).unwrap();
        let fit = least_squares(&curve, &y, None, 0.95).unwrap();
        assert!(lack_of_fit(&curve, &fit).unwrap().p_value.unwrap() > 0.5);
    }

    #[test]
    fn without_replicates_there_is_nothing_to_compare_with() {
        let design = Design::with_intercept(4)
            .number("x", &[0.0, 1.0, 2.0, 3.0])
            .unwrap();
        let fit = least_squares(&design, &[0.0, 1.0, 3.0, 2.0], None, 0.95).unwrap();
        assert_eq!(lack_of_fit(&design, &fit), None);
    }
}
