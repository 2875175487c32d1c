//! One estimated coefficient of any fitted model.

use super::{Interval, distributions::student_t};

/// A coefficient with its test of zero and its interval.
#[derive(Debug, Clone, PartialEq)]
pub struct Coefficient {
    /// Name of the design column.
    pub name: String,
    /// Estimate, in units of the response (or linear predictor) per unit of the column.
    pub estimate: f64,
    /// Standard error.
    pub std_error: f64,
    /// estimate / std_error; `None` if the standard error is zero (exact fit).
    pub statistic: Option<f64>,
    /// Degrees of freedom of the t distribution; ∞ for a normal one.
    pub dof: f64,
    /// Two-sided p-value of a true value of zero; `None` as `statistic`.
    pub p_value: Option<f64>,
    /// estimate ± quantile · std_error (Wald).
    pub ci: Interval,
}

impl Coefficient {
    /// From an estimate, its standard error, its degrees of freedom and the
    /// level of the interval.
    pub fn new(name: &str, estimate: f64, std_error: f64, dof: f64, level: f64) -> Coefficient {
        let half = student_t::two_sided_quantile(level, dof) * std_error;
        let statistic = (std_error > 0.0).then(|| estimate / std_error);
        Coefficient {
            name: name.to_owned(),
            estimate,
            std_error,
            statistic,
            dof,
            p_value: statistic.map(|t| student_t::two_sided_p(t, dof)),
            ci: Interval {
                low: estimate - half,
                high: estimate + half,
                level,
            },
        }
    }
}
