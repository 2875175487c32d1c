//! Poisson distribution.

use super::{gamma, kernels::ln_poisson_term};

/// ln P(X = k) with `mean` ≥ 0.
pub fn ln_probability(k: u64, mean: f64) -> f64 {
    if mean > 0.0 {
        ln_poisson_term(k as f64, mean)
    } else if k == 0 {
        0.0
    } else {
        f64::NEG_INFINITY
    }
}

/// ln P(X ≥ k).
pub fn ln_at_least(k: u64, mean: f64) -> f64 {
    if k == 0 {
        0.0
    } else {
        gamma::tails(k as f64, mean).ln_lower
    }
}

/// P(X ≥ k).
pub fn at_least(k: u64, mean: f64) -> f64 {
    ln_at_least(k, mean).exp()
}

/// ln P(X ≤ k).
pub fn ln_at_most(k: u64, mean: f64) -> f64 {
    gamma::tails(k as f64 + 1.0, mean).ln_upper
}

/// P(X ≤ k).
pub fn at_most(k: u64, mean: f64) -> f64 {
    ln_at_most(k, mean).exp()
}
