//! Beta distribution.

use crate::stats::root;
use statrs::function::beta::checked_beta_reg;

/// P(X ≤ x) with shapes `a`, `b` > 0 at `x` in 0..1; no number elsewhere.
///
/// The upper tail is `lower(b, a, 1 − x)`, which keeps its digits.
pub fn lower(a: f64, b: f64, x: f64) -> f64 {
    checked_beta_reg(a, b, x).unwrap_or(f64::NAN)
}

/// The x with lower tail `p`, 0 < p < 1.
pub fn quantile(a: f64, b: f64, p: f64) -> f64 {
    1.0 / (1.0 + 1.0 / odds(a, b, p))
}

/// The x with upper tail `p`, 0 < p < 1.
pub fn upper_quantile(a: f64, b: f64, p: f64) -> f64 {
    1.0 / (1.0 + odds(b, a, p))
}

/// The odds x/(1 − x) of the x with lower tail `p`, by root search on their
/// logarithm: exact for tiny `p` and for an x that is nearly one.
pub(super) fn odds(a: f64, b: f64, p: f64) -> f64 {
    let excess = |ln_odds: f64| {
        let x = 1.0 / (1.0 + (-ln_odds).exp());
        let excess = if p <= 0.5 {
            p.ln() - lower(a, b, x).ln()
        } else {
            lower(b, a, 1.0 / (1.0 + ln_odds.exp())).ln() - (-p).ln_1p()
        };
        // −∞ on both sides of a difference would be no number.
        excess.clamp(-1e300, 1e300)
    };
    let start = (a / b).ln().clamp(-600.0, 600.0);
    match root::of_monotone(excess, start, 1.0, 1400.0) {
        Some(ln_odds) => ln_odds.exp(),
        None if excess(start) > 0.0 => f64::INFINITY,
        None => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_quantile_inverts_the_tail(a in 0.1..400.0_f64, b in 0.1..400.0_f64, p in 1e-6..0.999_f64) {
            let x = quantile(a, b, p);
            prop_assume!(x > 1e-300 && x < 1.0 - 1e-9);
            prop_assert!((lower(a, b, x) / p - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn with_one_shape_at_one_it_is_a_power() {
        assert_relative_eq!(lower(3.0, 1.0, 0.2), 0.008, max_relative = 1e-13);
        assert_relative_eq!(
            upper_quantile(1.0, 20.0, 1e-30),
            1.0 - 1e-30_f64.powf(0.05),
            max_relative = 1e-13
        );
    }
}
