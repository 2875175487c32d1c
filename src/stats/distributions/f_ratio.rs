//! F distribution of a ratio of two mean squares.

use super::{Tails, beta, chi_squared};

/// Beyond this many degrees of freedom the denominator is a constant.
const ENDLESS_DOF: f64 = 1e12;

/// Tails at `f` with `numerator` and `denominator` degrees of freedom > 0; an
/// infinite denominator gives chi-squared over its degrees of freedom.
pub fn tails(f: f64, numerator: f64, denominator: f64) -> Tails {
    if f <= 0.0 {
        return Tails::NONE_BELOW;
    }
    if f == f64::INFINITY {
        return Tails::ALL_BELOW;
    }
    if denominator > ENDLESS_DOF {
        return chi_squared::tails(f * numerator, numerator);
    }
    let weighted = numerator * f;
    let total = weighted + denominator;
    beta::tails_with_complement(
        numerator / 2.0,
        denominator / 2.0,
        weighted / total,
        denominator / total,
    )
}

/// The value with upper tail `p`, 0 < p < 1.
pub fn upper_quantile(p: f64, numerator: f64, denominator: f64) -> f64 {
    if denominator > ENDLESS_DOF {
        return chi_squared::upper_quantile(p, numerator) / numerator;
    }
    // x/(1−x) of the beta quantile; through the mirrored beta when x is near 1.
    let x = beta::upper_quantile(numerator / 2.0, denominator / 2.0, p);
    let odds = if x < 0.5 {
        x / (1.0 - x)
    } else {
        let complement = beta::quantile(denominator / 2.0, numerator / 2.0, p);
        (1.0 - complement) / complement
    };
    odds * denominator / numerator
}

/// The value with lower tail `p`, 0 < p < 1.
pub fn quantile(p: f64, numerator: f64, denominator: f64) -> f64 {
    if denominator > ENDLESS_DOF {
        return chi_squared::quantile(p, numerator) / numerator;
    }
    1.0 / upper_quantile(p, denominator, numerator)
}
