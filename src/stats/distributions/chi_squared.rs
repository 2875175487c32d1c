//! Chi-squared distribution.

use super::gamma;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// P(X > x) with `dof` > 0 degrees of freedom.
pub fn upper(x: f64, dof: f64) -> f64 {
    gamma::upper(dof / 2.0, x / 2.0)
}

/// The value with lower tail `p`, 0 < p < 1.
pub fn quantile(p: f64, dof: f64) -> f64 {
    ChiSquared::new(dof).map_or(f64::NAN, |law| law.inverse_cdf(p))
}

/// The value with upper tail `p`, 0 < p < 1.
pub fn upper_quantile(p: f64, dof: f64) -> f64 {
    quantile(1.0 - p, dof)
}
