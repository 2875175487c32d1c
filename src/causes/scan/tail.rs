//! The chance of so many panels: exact, or a bound where exact costs too much.

use crate::stats::{SMALLEST_TAIL, binomial_tail, poisson_binomial_tail};

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

/// A tail probability, exact or nearly so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Tail {
    /// As [`chance_of_hits`] gives it.
    Exact(f64),
    /// By the saddlepoint, within a few per cent: used for centres so far beyond
    /// any level that only their order matters.
    Near(f64),
    /// Below the smallest tail; its logarithm, or a bound on that.
    Beyond(f64),
}

impl Tail {
    pub(super) fn value(self) -> f64 {
        match self {
            Self::Exact(p) | Self::Near(p) => p,
            Self::Beyond(_) => SMALLEST_TAIL,
        }
    }

    /// Its natural logarithm, which still has an order where the tail has none.
    pub(super) fn ln(self) -> f64 {
        match self {
            Self::Exact(p) | Self::Near(p) => p.ln(),
            Self::Beyond(ln) => ln,
        }
    }
}

/// Panels × hits above which far tails are first taken nearly.
const NEAR_LIMIT: f64 = 1e5;

/// How far beyond `level` a tail must be for its nearly value to do.
const FAR: f64 = 1e-3;

/// [`chance_of_hits`], but nearly where that is far below `level` and costly.
pub(super) fn tail_of_hits(chances: &[f64], hits: usize, level: f64) -> Tail {
    if let Some(beyond) = beyond_all(chances.iter().sum(), hits) {
        return beyond;
    }
    if chances.len() as f64 * hits as f64 > NEAR_LIMIT
        && let Some(near) = saddlepoint_tail(chances, hits).filter(|p| *p < FAR * level)
    {
        return Tail::Near(near.max(SMALLEST_TAIL));
    }
    Tail::Exact(chance_of_hits(chances, hits))
}

/// P(at least `hits`) where it is below the smallest tail for certain when `expected`
/// are expected at most: it is at most e^(hits − expected)·(expected/hits)^hits.
///
/// Source: Hoeffding (1963), Journal of the American Statistical Association 58,
/// 13–30, theorem 1, as trials become many.
pub(super) fn beyond_all(expected: f64, hits: usize) -> Option<Tail> {
    let k = hits as f64;
    let most = k - expected + k * (expected / k).ln();
    (expected < k && most < SMALLEST_TAIL.ln()).then_some(Tail::Beyond(most))
}

/// P(at least `hits`) by the saddlepoint approximation for lattice counts:
/// e^(K(θ) − θ·hits) / ((1 − e^−θ)·√(2π·K″(θ))) with K′(θ) = hits, where K is
/// the cumulant function Σ ln(1 − p + p·e^θ). None where there is no saddlepoint.
///
/// Source: Daniels (1987), International Statistical Review 55, 37–48.
fn saddlepoint_tail(chances: &[f64], hits: usize) -> Option<f64> {
    let expected: f64 = chances.iter().sum();
    let k = hits as f64;
    if k <= expected || hits >= chances.len() {
        return None;
    }
    let moments = |theta: f64| {
        let z = theta.exp();
        chances.iter().fold((0.0, 0.0), |(mean, variance), p| {
            let share = p * z / (1.0 - p + p * z);
            (mean + share, variance + share * (1.0 - share))
        })
    };
    // K′ grows with θ: halve the stretch unless Newton's step stays inside it
    let (mut low, mut high) = (0.0_f64, 60.0_f64);
    let mut theta = (k / expected).ln().clamp(1e-6, 30.0);
    for _ in 0..60 {
        let (mean, variance) = moments(theta);
        if mean < k {
            low = theta
        } else {
            high = theta
        }
        let step = theta + (k - mean) / variance.max(1e-300);
        theta = if step > low && step < high {
            step
        } else {
            0.5 * (low + high)
        };
        if (mean - k).abs() < 1e-9 * k {
            break;
        }
    }
    let z_less_one = theta.exp_m1();
    let cumulant: f64 = chances.iter().map(|p| (p * z_less_one).ln_1p()).sum();
    let (mean, variance) = moments(theta);
    ((mean - k).abs() < 1e-6 * k && variance > 1.0).then(|| {
        let scale = -(-theta).exp_m1() * (2.0 * std::f64::consts::PI * variance).sqrt();
        (cumulant - theta * k).exp() / scale
    })
}

/// What is known of a disc or band without a look at every panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Least {
    /// Panels hit by chance, at least.
    pub(super) expected: f64,
    /// No panel's chance is larger, once all are made smaller in proportion so that
    /// they sum up to `expected`.
    pub(super) largest: f64,
}

/// A tail above this, even at the least that can be expected, is no find.
const UNREMARKABLE: f64 = 0.01;

impl Least {
    /// Whether so many hits cannot be significant at the level.
    pub(super) fn rules_out(&self, hits: usize, level: f64) -> bool {
        poisson_tail(self.expected, hits) > UNREMARKABLE.max(level) || self.tail(hits) > level
    }

    /// Whether [`stands_out`] would not let so many hits pass: a count varies by at
    /// least its expectation times what the likeliest panel misses.
    pub(super) fn never_stands_out(&self, hits: usize) -> bool {
        let excess = hits as f64 - self.expected;
        let variance = self.expected * (1.0 - self.largest).max(0.0);
        excess <= 0.0 || excess * excess <= 4.0 * variance
    }

    /// P(at least `hits`) is at least this; 0 where that tells nothing.
    ///
    /// Of all chances with one sum the tail, from three panels above the
    /// expectation on, is smallest where they are most unequal: as many panels
    /// as the sum allows have the largest one, the rest none.
    ///
    /// Source: Gleser (1975), Annals of Probability 3, 182–188.
    pub(super) fn tail(&self, hits: usize) -> f64 {
        if self.largest <= 0.0 || self.largest >= 1.0 {
            return 0.0;
        }
        let panels = (self.expected / self.largest).floor() as usize;
        let hits = hits.max(self.expected.floor() as usize + 3);
        if hits > panels {
            return 0.0;
        }
        binomial_tail(panels, self.largest, hits)
    }
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
    fn the_saddlepoint_is_near_the_exact_tail() {
        let chances: Vec<f64> = (0..600)
            .map(|i| 0.002 + 0.0003 * f64::from(i % 37))
            .collect();
        for hits in [20, 40, 90, 160] {
            let near = saddlepoint_tail(&chances, hits).unwrap();
            let exact = poisson_binomial_tail(&chances, hits);
            assert!((near / exact).ln().abs() < 0.05, "{near} {exact}");
        }
        assert_eq!(saddlepoint_tail(&chances, 2), None);
        assert_eq!(saddlepoint_tail(&[0.5; 4], 4), None);
    }

    #[test]
    fn a_tail_is_never_below_its_least() {
        for (n, every) in [(40, 1), (600, 7), (600, 37)] {
            let chances: Vec<f64> = (0..n).map(|i| 0.001 * f64::from(1 + i % every)).collect();
            let expected: f64 = chances.iter().sum();
            let largest = chances.iter().copied().fold(0.0, f64::max);
            for hits in [1, 2, 4, 9, 25] {
                let exact = poisson_binomial_tail(&chances, hits);
                let least = |share: f64| Least {
                    expected: share * expected,
                    largest,
                };
                let smaller = least(0.9).tail(hits);
                assert!(smaller <= exact, "{n} {every} {hits}: {smaller} {exact}");
                assert!(!least(1.0).never_stands_out(hits) || !stands_out(&chances, hits));
                let of_all = least(1.0).tail(hits);
                assert!(of_all <= exact, "{n} {every} {hits}: {of_all} {exact}");
                // near enough to be worth having where many panels share it out
                assert!(n < 600 || (hits as f64) < expected + 3.0 || of_all > 0.2 * exact);
            }
        }
        let sure = Least {
            expected: 3.0,
            largest: 1.0,
        };
        assert_eq!(sure.tail(3), 0.0);
    }

    #[test]
    fn what_is_beyond_all_has_the_smallest_tail() {
        let chances = vec![0.01; 2_000];
        let expected: f64 = chances.iter().sum();
        for hits in (100..500).step_by(20) {
            let exact = poisson_binomial_tail(&chances, hits);
            assert!(beyond_all(expected, hits).is_none() || exact <= SMALLEST_TAIL);
        }
        assert!(beyond_all(expected, 400).is_some() && beyond_all(expected, 100).is_none());
        assert_eq!(beyond_all(30.0, 20), None);
    }

    #[test]
    fn poisson_tail_is_one_minus_the_first_terms() {
        let mean: f64 = 1.3;
        let below = (-mean).exp() * (1.0 + mean + mean * mean / 2.0);
        assert_relative_eq!(poisson_tail(mean, 3), 1.0 - below, max_relative = 1e-10);
    }
}
