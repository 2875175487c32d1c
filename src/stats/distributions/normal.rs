//! Standard normal distribution.

use statrs::function::erf::{erfc, erfc_inv};
use std::f64::consts::SQRT_2;

/// P(Z > z).
pub fn upper(z: f64) -> f64 {
    0.5 * erfc(z / SQRT_2)
}

/// P(Z ≤ z).
pub fn lower(z: f64) -> f64 {
    upper(-z)
}

/// P(|Z| ≥ |z|).
pub fn two_sided_p(z: f64) -> f64 {
    erfc(z.abs() / SQRT_2)
}

/// The z with upper tail `p`, 0 < p < 1.
pub fn upper_quantile(p: f64) -> f64 {
    SQRT_2 * erfc_inv(2.0 * p)
}

/// The z with lower tail `p`, 0 < p < 1.
pub fn quantile(p: f64) -> f64 {
    -upper_quantile(p)
}
