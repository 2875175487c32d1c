//! F distribution of a ratio of two mean squares.

use super::{beta, chi_squared};

/// Beyond this many degrees of freedom the denominator is a constant.
const ENDLESS_DOF: f64 = 1e8;

/// P(F > f) with `numerator` and `denominator` degrees of freedom > 0; an
/// infinite denominator gives chi-squared over its degrees of freedom.
pub fn upper(f: f64, numerator: f64, denominator: f64) -> f64 {
    if denominator > ENDLESS_DOF {
        return chi_squared::upper(f * numerator, numerator);
    }
    let odds = (numerator * f / denominator).max(0.0);
    beta::lower(denominator / 2.0, numerator / 2.0, 1.0 / (1.0 + odds))
}

/// The value with upper tail `p`, 0 < p < 1.
pub fn upper_quantile(p: f64, numerator: f64, denominator: f64) -> f64 {
    1.0 / quantile(p, denominator, numerator)
}

/// The value with lower tail `p`, 0 < p < 1.
pub fn quantile(p: f64, numerator: f64, denominator: f64) -> f64 {
    if denominator > ENDLESS_DOF {
        return chi_squared::quantile(p, numerator) / numerator;
    }
    if numerator > ENDLESS_DOF {
        return denominator / chi_squared::upper_quantile(p, denominator);
    }
    denominator / numerator * beta::odds(numerator / 2.0, denominator / 2.0, p)
}
