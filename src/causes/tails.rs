//! Exact tails of counts, in the room's words.

use crate::stats::distributions::{binomial, hypergeometric::Draw};

/// P(X ≥ k) for X binomial with `n` trials of chance `p`.
pub(super) fn binomial_at_least(k: usize, n: usize, p: f64) -> f64 {
    binomial::at_least(k as u64, n as u64, p).min(1.0)
}

/// P(X ≥ k) when `drawn` of `total` items are drawn without replacement and
/// `marked` of the items carry a mark; X counts marks drawn.
pub(super) fn hypergeometric_at_least(k: usize, total: usize, marked: usize, drawn: usize) -> f64 {
    draw(total, marked, drawn).at_least(k as u64).min(1.0)
}

/// P(X = j) of the same; 0 outside its range.
pub(super) fn hypergeometric(j: usize, total: usize, marked: usize, drawn: usize) -> f64 {
    draw(total, marked, drawn).ln_probability(j as u64).exp()
}

fn draw(total: usize, marked: usize, drawn: usize) -> Draw {
    Draw {
        size: total as u64,
        marked: marked as u64,
        drawn: drawn as u64,
    }
}

/// Two-sided exact sign test: the chance that `a` against `b` votes, or a more
/// lopsided count, comes from fair votes. 1 where nobody votes.
pub(super) fn sign_test(a: usize, b: usize) -> f64 {
    (2.0 * binomial_at_least(a.max(b), a + b, 0.5)).min(1.0)
}

/// Bernoulli log-likelihood k ln p + (n − k) ln(1 − p), with 0 ln 0 = 0.
pub(super) fn bernoulli(k: f64, n: f64, p: f64) -> f64 {
    let part = |count: f64, chance: f64| {
        if count <= 0.0 {
            0.0
        } else {
            count * chance.max(f64::MIN_POSITIVE).ln()
        }
    };
    part(k, p) + part(n - k, 1.0 - p)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn tails_agree_with_an_independent_slow_reference_implementation() {
        assert_relative_eq!(
            binomial_at_least(3, 20, 0.015),
            0.003178083,
            max_relative = 1e-6
        );
        // Exact integers: C(54,14)/C(60,20) = 7.742111774841173e-4.
        assert_relative_eq!(
            hypergeometric_at_least(6, 60, 6, 20),
            7.742111774841173e-4,
            max_relative = 1e-12
        );
        assert_relative_eq!(sign_test(14, 3), 0.0127258301, max_relative = 1e-8);
        assert_relative_eq!(
            binomial_at_least(12, 15, 0.5),
            0.0175781250,
            max_relative = 1e-12
        );
    }
}
