//! The chance of so many panels: exact, or a bound where exact costs too much.

use crate::stats::{binomial_tail, poisson_binomial_tail};

/// Panels × hits above which the bound takes over.
const EXACT_LIMIT: f64 = 1e7;

/// P(at least `hits` of the panels) when each has its own chance.
///
/// Exact Poisson-binomial tail; where panels × hits > 10⁷ and hits ≥ expected
/// + 1, the binomial upper bound of Hoeffding (1956).
pub(super) fn chance_of_hits(chances: &[f64], hits: usize) -> f64 {
    let expected: f64 = chances.iter().sum();
    if chances.len() as f64 * hits as f64 > EXACT_LIMIT && hits as f64 >= expected + 1.0 {
        return binomial_tail(chances.len(), expected / chances.len() as f64, hits);
    }
    poisson_binomial_tail(chances, hits)
}

/// Whether so many hits could be significant at all: more than two standard
/// deviations above what is expected. Saves the tail for the many centres
/// where nothing happens.
pub(super) fn stands_out(chances: &[f64], hits: usize) -> bool {
    let expected: f64 = chances.iter().sum();
    let variance: f64 = chances.iter().map(|p| p * (1.0 - p)).sum();
    let excess = hits as f64 - expected;
    excess > 0.0 && excess * excess > 4.0 * variance
}

/// P(at least `hits`) of a Poisson count, by its first terms: the sum over
/// k ≥ hits of e^−m·m^k/k!.
pub(super) fn poisson_tail(mean: f64, hits: usize) -> f64 {
    if hits == 0 {
        return 1.0;
    }
    if mean >= hits as f64 {
        return 1.0; // more than a third in truth; nothing to screen out
    }
    let mut term = (-mean).exp();
    for k in 1..=hits {
        term *= mean / k as f64;
    }
    let mut sum = 0.0;
    let mut k = hits as f64;
    while term > sum * 1e-12 {
        sum += term;
        k += 1.0;
        term *= mean / k;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn poisson_tail_is_one_minus_the_first_terms() {
        let mean: f64 = 1.3;
        let below = (-mean).exp() * (1.0 + mean + mean * mean / 2.0);
        assert_relative_eq!(poisson_tail(mean, 3), 1.0 - below, max_relative = 1e-10);
    }
}
