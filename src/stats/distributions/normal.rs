//! Standard normal distribution.

use super::{Tails, gamma};
use statrs::function::erf::erfc_inv;
use std::f64::consts::{LN_2, SQRT_2};

/// Density at `z`.
pub fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// Tails at `z`, from the incomplete gamma function with shape ½ (a rational
/// approximation of erfc has 11 digits only in the far tail).
pub fn tails(z: f64) -> Tails {
    if z == 0.0 {
        return Tails {
            ln_lower: -LN_2,
            ln_upper: -LN_2,
        };
    }
    let positive = Tails::from_upper(gamma::tails(0.5, z * z / 2.0).ln_upper - LN_2);
    if z > 0.0 {
        positive
    } else {
        positive.swapped()
    }
}

/// P(|Z| ≥ |z|).
pub fn two_sided_p(z: f64) -> f64 {
    (2.0 * tails(z.abs()).upper()).min(1.0)
}

/// The z with upper tail `p`, 0 < p < 1: a rational approximation and one
/// Newton step on the logarithm of the tail.
pub fn upper_quantile(p: f64) -> f64 {
    if p > 0.5 {
        return -upper_quantile(1.0 - p);
    }
    let z = SQRT_2 * erfc_inv(2.0 * p);
    let ln_upper = tails(z).ln_upper;
    z + (ln_upper - p.ln()) * (ln_upper.exp() / density(z))
}

/// The z with lower tail `p`, 0 < p < 1.
pub fn quantile(p: f64) -> f64 {
    -upper_quantile(p)
}

/// Half width of a two-sided interval in standard errors.
pub fn two_sided_quantile(level: f64) -> f64 {
    upper_quantile((1.0 - level) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn quantile_and_tail_are_inverse() {
        for p in [1e-290, 1e-30, 1e-5, 0.025, 0.3, 0.5, 0.9, 0.999_999] {
            assert_relative_eq!(tails(upper_quantile(p)).upper(), p, max_relative = 1e-11);
        }
        assert_eq!(upper_quantile(0.5), 0.0);
    }
}
