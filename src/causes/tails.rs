//! Exact upper tails of counts. All are sums of positive terms, without any
//! subtraction, so that small probabilities keep their digits.

use statrs::function::factorial::ln_binomial;

/// P(X ≥ k) for X binomial with `n` trials of chance `p`.
pub(super) fn binomial_at_least(k: usize, n: usize, p: f64) -> f64 {
    if k == 0 {
        return 1.0;
    }
    if k > n || p <= 0.0 {
        return 0.0;
    }
    if p >= 1.0 {
        return 1.0;
    }
    let term = |j: usize| {
        (ln_binomial(n as u64, j as u64) + j as f64 * p.ln() + (n - j) as f64 * (-p).ln_1p()).exp()
    };
    let mut sum = 0.0;
    for j in k..=n {
        let t = term(j);
        sum += t;
        if t < sum * 1e-17 && j as f64 > n as f64 * p {
            break;
        }
    }
    sum.min(1.0)
}

/// P(X ≤ k) for X binomial with `n` trials of chance `p`.
pub(super) fn binomial_at_most(k: usize, n: usize, p: f64) -> f64 {
    if k >= n {
        1.0
    } else {
        binomial_at_least(n - k, n, 1.0 - p)
    }
}

/// P(X ≥ k) when `drawn` of `total` items are drawn without replacement and
/// `marked` of the items carry a mark; X counts marks drawn.
pub(super) fn hypergeometric_at_least(k: usize, total: usize, marked: usize, drawn: usize) -> f64 {
    let low = (marked + drawn).saturating_sub(total);
    let high = marked.min(drawn);
    if k <= low {
        return 1.0;
    }
    (k..=high)
        .map(|j| hypergeometric_ln(j, total, marked, drawn).exp())
        .sum::<f64>()
        .min(1.0)
}

/// ln P(X = j) of the hypergeometric distribution, for a `j` in its range.
pub(super) fn hypergeometric_ln(j: usize, total: usize, marked: usize, drawn: usize) -> f64 {
    ln_binomial(marked as u64, j as u64) + ln_binomial((total - marked) as u64, (drawn - j) as u64)
        - ln_binomial(total as u64, drawn as u64)
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

    #[test]
    fn both_binomial_tails_add_up_with_the_middle() {
        let (k, n, p) = (7, 31, 0.23);
        assert_relative_eq!(
            binomial_at_most(k, n, p) + binomial_at_least(k + 1, n, p),
            1.0,
            max_relative = 1e-12
        );
        assert_relative_eq!(binomial_at_least(0, n, p), 1.0);
        assert_relative_eq!(binomial_at_least(n + 1, n, p), 0.0);
    }
}
