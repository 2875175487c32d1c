//! Binomial distribution.

use super::{beta, kernels::ln_binomial_term};

/// ln P(X = k) of `n` trials with chance `p` each; −∞ for k > n.
pub fn ln_probability(k: u64, n: u64, p: f64) -> f64 {
    ln_probability_with_complement(k, n, p, 1.0 - p)
}

/// As [`ln_probability`], with 1 − p given apart.
pub(crate) fn ln_probability_with_complement(k: u64, n: u64, p: f64, q: f64) -> f64 {
    if k > n || (p <= 0.0 && k > 0) || (q <= 0.0 && k < n) {
        return f64::NEG_INFINITY;
    }
    if p <= 0.0 || q <= 0.0 {
        return 0.0;
    }
    ln_binomial_term(k as f64, n as f64, p, q)
}

/// ln P(X ≥ k); 0 for k = 0, −∞ for k > n.
pub fn ln_at_least(k: u64, n: u64, p: f64) -> f64 {
    ln_at_least_with_complement(k, n, p, 1.0 - p)
}

/// As [`ln_at_least`], with 1 − p given apart.
pub(crate) fn ln_at_least_with_complement(k: u64, n: u64, p: f64, q: f64) -> f64 {
    if k == 0 {
        return 0.0;
    }
    if k > n {
        return f64::NEG_INFINITY;
    }
    beta::tails_with_complement(k as f64, (n - k) as f64 + 1.0, p, q).ln_lower
}

/// P(X ≥ k), from `p` in 0..1.
pub fn at_least(k: u64, n: u64, p: f64) -> f64 {
    ln_at_least(k, n, p).exp()
}

/// ln P(X ≤ k).
pub fn ln_at_most(k: u64, n: u64, p: f64) -> f64 {
    ln_at_most_with_complement(k, n, p, 1.0 - p)
}

/// As [`ln_at_most`], with 1 − p given apart.
pub(crate) fn ln_at_most_with_complement(k: u64, n: u64, p: f64, q: f64) -> f64 {
    if k >= n {
        0.0
    } else {
        ln_at_least_with_complement(n - k, n, q, p)
    }
}

/// P(X ≤ k), from `p` in 0..1.
pub fn at_most(k: u64, n: u64, p: f64) -> f64 {
    ln_at_most(k, n, p).exp()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn counts_two_coins() {
        assert_relative_eq!(at_least(1, 2, 0.5), 0.75, max_relative = 1e-15);
        assert_relative_eq!(at_most(0, 2, 0.5), 0.25, max_relative = 1e-15);
        assert_eq!(at_least(0, 2, 0.5), 1.0);
        assert_eq!(at_least(3, 2, 0.5), 0.0);
        assert_eq!(at_least(1, 2, 0.0), 0.0);
        assert_eq!(at_least(2, 2, 1.0), 1.0);
        assert_eq!(at_most(1, 2, 1.0), 0.0);
    }

    #[test]
    fn stays_a_number_where_the_probability_underflows() {
        assert_relative_eq!(
            ln_at_least(1000, 1000, 1e-3),
            1000.0 * 1e-3_f64.ln(),
            max_relative = 1e-12
        );
    }

    proptest! {
        #[test]
        fn tails_are_the_sums_of_their_terms(n in 1_u64..60, k in 0_u64..60, p in 0.0..1.0_f64) {
            let sum: f64 = (k..=n).map(|i| ln_probability(i, n, p).exp()).sum();
            prop_assert!((at_least(k, n, p) - sum).abs() < 1e-12);
            prop_assert!((at_most(k, n, p) - at_least(n.saturating_sub(k), n, 1.0 - p)).abs() < 1e-12 || k > n);
        }
    }
}
