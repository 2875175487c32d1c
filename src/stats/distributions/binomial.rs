//! Binomial distribution.

use super::beta;

/// P(X ≥ k) of `n` trials with chance `p` each; 1 for k = 0, 0 for k > n.
pub fn at_least(k: u64, n: u64, p: f64) -> f64 {
    if k == 0 {
        1.0
    } else if k > n {
        0.0
    } else {
        beta::lower(k as f64, (n - k) as f64 + 1.0, p.clamp(0.0, 1.0))
    }
}

/// P(X ≤ k) of the same.
pub fn at_most(k: u64, n: u64, p: f64) -> f64 {
    if k >= n {
        1.0
    } else {
        at_least(n - k, n, 1.0 - p)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;
    use statrs::distribution::{Binomial, Discrete};

    #[test]
    fn counts_two_coins() {
        assert_relative_eq!(at_least(1, 2, 0.5), 0.75, max_relative = 1e-14);
        assert_relative_eq!(at_most(0, 2, 0.5), 0.25, max_relative = 1e-14);
        assert_eq!(at_least(0, 2, 0.5), 1.0);
        assert_eq!(at_least(3, 2, 0.5), 0.0);
        assert_eq!(at_least(1, 2, 0.0), 0.0);
        assert_eq!(at_least(2, 2, 1.0), 1.0);
        assert_eq!(at_most(1, 2, 1.0), 0.0);
    }

    proptest! {
        #[test]
        fn tails_are_the_sums_of_their_terms(n in 1_u64..60, k in 0_u64..60, p in 0.0..1.0_f64) {
            let law = Binomial::new(p, n).unwrap();
            let sum: f64 = (k..=n).map(|i| law.pmf(i)).sum();
            prop_assert!((at_least(k, n, p) - sum).abs() < 1e-12);
            prop_assert!((at_most(k, n, p) + at_least(k + 1, n, p) - 1.0).abs() < 1e-12);
        }
    }
}
