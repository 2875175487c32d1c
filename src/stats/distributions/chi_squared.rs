//! Chi-squared distribution.

use super::{Tails, gamma};

/// Tails at `x` with `dof` > 0 degrees of freedom.
pub fn tails(x: f64, dof: f64) -> Tails {
    gamma::tails(dof / 2.0, x / 2.0)
}

/// The value with lower tail `p`.
pub fn quantile(p: f64, dof: f64) -> f64 {
    2.0 * gamma::quantile(dof / 2.0, p)
}

/// The value with upper tail `p`.
pub fn upper_quantile(p: f64, dof: f64) -> f64 {
    2.0 * gamma::upper_quantile(dof / 2.0, p)
}
