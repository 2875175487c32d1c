//! One Poisson count: exact limits, exact test, index of dispersion.

use super::{
    Interval, StatsError, TailRule,
    distributions::{Tails, chi_squared, gamma, poisson},
    error::{open_share, positive},
    tail_rule::UnimodalCounts,
};

/// A rate from a count over an exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct PoissonRate {
    /// Count per unit of exposure.
    pub estimate: f64,
    /// Exact interval, in the same unit.
    pub ci: Interval,
}

/// Exact (central) limits for the mean of a Poisson `count`.
///
/// low: P(X ≥ count) = (1 − level)/2; high: P(X ≤ count) = (1 − level)/2.
/// Source: Garwood (1936), Biometrika 28, 437–442.
///
/// # Errors
///
/// [`StatsError::Share`] for a level outside 0..1.
pub fn garwood(count: u64, level: f64) -> Result<Interval, StatsError> {
    open_share("level", level)?;
    let tail = (1.0 - level) / 2.0;
    let low = if count == 0 {
        0.0
    } else {
        gamma::quantile(count as f64, tail)
    };
    let high = gamma::upper_quantile(count as f64 + 1.0, tail);
    Ok(Interval { low, high, level })
}

/// Rate of `count` events over an `exposure` > 0 with its exact interval.
///
/// # Errors
///
/// [`StatsError::NotPositive`] for the exposure, [`StatsError::Share`] for the level.
pub fn poisson_rate(count: u64, exposure: f64, level: f64) -> Result<PoissonRate, StatsError> {
    positive("exposure", exposure)?;
    let ci = garwood(count, level)?;
    Ok(PoissonRate {
        estimate: count as f64 / exposure,
        ci: Interval {
            low: ci.low / exposure,
            high: ci.high / exposure,
            level,
        },
    })
}

/// Exact test of one Poisson count against a known mean.
#[derive(Debug, Clone, PartialEq)]
pub struct PoissonTest {
    /// P(X ≥ count).
    pub p_greater: f64,
    /// P(X ≤ count).
    pub p_less: f64,
    /// Two-sided p-value by `rule`.
    pub p_value: f64,
    /// How the two sides were added.
    pub rule: TailRule,
}

/// Exact test of `count` against the expected count `mean` > 0.
///
/// # Errors
///
/// [`StatsError::NotPositive`] for the mean.
pub fn poisson_test(count: u64, mean: f64, rule: TailRule) -> Result<PoissonTest, StatsError> {
    positive("mean", mean)?;
    let counts = PoissonCounts { mean };
    Ok(PoissonTest {
        p_greater: counts.p_greater(count),
        p_less: counts.p_less(count),
        p_value: counts.p_two_sided(count, rule),
        rule,
    })
}

struct PoissonCounts {
    mean: f64,
}

impl UnimodalCounts for PoissonCounts {
    fn least(&self) -> u64 {
        0
    }
    fn most(&self) -> Option<u64> {
        None
    }
    fn ln_probability(&self, k: u64) -> f64 {
        poisson::ln_probability(k, self.mean)
    }
    fn ln_at_least(&self, k: u64) -> f64 {
        poisson::ln_at_least(k, self.mean)
    }
    fn ln_at_most(&self, k: u64) -> f64 {
        poisson::ln_at_most(k, self.mean)
    }
}

/// Are counts more scattered than one Poisson mean allows?
#[derive(Debug, Clone, PartialEq)]
pub struct Dispersion {
    /// Counts.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Their variance (n − 1).
    pub variance: f64,
    /// variance / mean: 1 expected of Poisson counts.
    pub estimate: f64,
    /// (n − 1)·index, chi-squared with `dof` if Poisson.
    pub statistic: f64,
    /// n − 1.
    pub dof: f64,
    /// P(as scattered or more).
    pub p_greater: f64,
    /// P(as even or more so).
    pub p_less: f64,
}

/// Index of dispersion of counts with equal exposure.
///
/// Source: Fisher, Thornton & Mackenzie (1922), Annals of Applied Biology 9,
/// 325–359. Unreliable where the mean is below about 1 and n is small.
///
/// # Errors
///
/// [`StatsError::TooFew`] below two counts, [`StatsError::Empty`] if all are zero.
pub fn index_of_dispersion(counts: &[u64]) -> Result<Dispersion, StatsError> {
    let n = counts.len();
    if n < 2 {
        return Err(StatsError::TooFew { got: n, needed: 2 });
    }
    let total: u64 = counts.iter().sum();
    if total == 0 {
        return Err(StatsError::Empty {
            what: "events in any count",
        });
    }
    let mean = total as f64 / n as f64;
    let squares: f64 = counts
        .iter()
        .map(|&count| (count as f64 - mean).powi(2))
        .sum();
    let dof = (n - 1) as f64;
    let statistic = squares / mean;
    let Tails { ln_lower, ln_upper } = chi_squared::tails(statistic, dof);
    Ok(Dispersion {
        n,
        mean,
        variance: squares / dof,
        estimate: squares / dof / mean,
        statistic,
        dof,
        p_greater: ln_upper.exp(),
        p_less: ln_lower.exp(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn no_event_leaves_only_an_upper_limit() {
        let ci = garwood(0, 0.95).unwrap();
        assert_eq!(ci.low, 0.0);
        assert_relative_eq!(ci.high, -(0.025_f64.ln()), max_relative = 1e-13);
    }

    proptest! {
        #[test]
        fn the_central_p_value_at_a_limit_is_one_minus_the_level(count in 1_u64..500) {
            let ci = garwood(count, 0.9).unwrap();
            for limit in [ci.low, ci.high] {
                let p = poisson_test(count, limit, TailRule::Central).unwrap().p_value;
                prop_assert!((p - 0.1).abs() < 1e-9);
            }
        }

        #[test]
        fn minimum_likelihood_is_the_plain_sum(count in 0_u64..40, mean in 0.05..30.0_f64) {
            let bound = poisson::ln_probability(count, mean) + 1e-7;
            let sum: f64 = (0..300).map(|k| poisson::ln_probability(k, mean)).filter(|&term| term <= bound).map(f64::exp).sum();
            let p = poisson_test(count, mean, TailRule::MinimumLikelihood).unwrap().p_value;
            prop_assert!((p - sum.min(1.0)).abs() < 1e-11, "{p} {sum}");
        }
    }

    #[test]
    fn equal_counts_are_not_scattered() {
        let result = index_of_dispersion(&[4, 4, 4, 4]).unwrap();
        assert_eq!((result.estimate, result.p_greater), (0.0, 1.0));
        assert_eq!(
            index_of_dispersion(&[0, 0]),
            Err(StatsError::Empty {
                what: "events in any count"
            })
        );
    }
}
