//! One rate ratio common to all strata.

use super::convolution::ExactSum;
use crate::stats::{
    Interval, StatsError,
    error::{open_share, positive},
};

/// Events counted over an exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Count {
    /// Events.
    pub(crate) events: u64,
    /// Area, time or panels over which they were counted, > 0; the same unit
    /// on both sides of a comparison.
    pub(crate) exposure: f64,
}

/// Events and exposure before and after, in one stratum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RateStratum {
    /// Before (or in the reference group).
    pub(crate) before: Count,
    /// After (or in the group compared).
    pub(crate) after: Count,
}

/// Exact conditional rate ratio common to all strata, after over before.
///
/// Given each stratum's total, its after-count is binomial with share
/// ρa₁/(ρa₁ + a₀); the sum over strata is their convolution, nothing is
/// approximated. Assumes that events come one at a time and that ρ is the same
/// everywhere.
/// Source: Breslow & Day (1987), Statistical Methods in Cancer Research II,
/// section 3.6; Martin & Austin (1996), Epidemiology 7, 29–33. One stratum:
/// Przyborowski & Wilenski (1940), Biometrika 31, 313–323.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ExactRateRatio {
    /// Conditional maximum-likelihood ratio; 0 or ∞ if one side has no event.
    pub(crate) estimate: f64,
    /// Each limit from a tail of half of what the level leaves; leaves ρ = 1
    /// out just when `p_value` is below one minus the level.
    pub(crate) ci: Interval,
    /// P(as many after-events or more | ρ = 1).
    pub(crate) p_greater: f64,
    /// P(as few after-events or fewer | ρ = 1).
    pub(crate) p_less: f64,
    /// Twice the smaller of both, at most 1.
    pub(crate) p_value: f64,
}

/// Exact common rate ratio, testing ρ = 1. Costs of the order of (events)².
///
/// # Errors
///
/// [`StatsError::NotPositive`] for an exposure, [`StatsError::Share`] for the
/// level, [`StatsError::Empty`] without events.
pub(crate) fn exact_rate_ratio(
    strata: &[RateStratum],
    level: f64,
) -> Result<ExactRateRatio, StatsError> {
    open_share("level", level)?;
    for stratum in strata {
        positive("exposure before", stratum.before.exposure)?;
        positive("exposure after", stratum.after.exposure)?;
    }
    ExactSum {
        ln_weights: strata.iter().map(|s| ln_binomial_weights(*s)).collect(),
        observed: strata.iter().map(|s| s.after.events as usize).sum(),
    }
    .infer(level)
}

/// ln C(n,k) + k·ln(a₁/a₀) for k = 0…n, by ratios of neighbours.
fn ln_binomial_weights(stratum: RateStratum) -> Vec<f64> {
    let total = stratum.before.events + stratum.after.events;
    let ln_exposures = (stratum.after.exposure / stratum.before.exposure).ln();
    let mut sum = 0.0;
    let mut weights = vec![0.0];
    for k in 0..total {
        sum += ((total - k) as f64 / (k + 1) as f64).ln() + ln_exposures;
        weights.push(sum);
    }
    weights
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn stratum(k0: u64, a0: f64, k1: u64, a1: f64) -> RateStratum {
        RateStratum {
            before: Count {
                events: k0,
                exposure: a0,
            },
            after: Count {
                events: k1,
                exposure: a1,
            },
        }
    }

    proptest! {
        #[test]
        fn the_order_of_strata_and_their_unit_do_not_matter(
            counts in prop::collection::vec((0_u64..12, 0_u64..12), 3), factor in 0.1..10.0_f64,
        ) {
            prop_assume!(counts.iter().any(|pair| pair.0 > 0) && counts.iter().any(|pair| pair.1 > 0));
            let strata: Vec<RateStratum> = counts.iter().enumerate().map(|(i, &(k0, k1))| stratum(k0, 1.0 + i as f64, k1, 2.0)).collect();
            let other: Vec<RateStratum> = counts.iter().enumerate().rev().map(|(i, &(k0, k1))| stratum(k0, factor * (1.0 + i as f64), k1, 2.0 * factor)).collect();
            let (one, two) = (exact_rate_ratio(&strata, 0.9).unwrap(), exact_rate_ratio(&other, 0.9).unwrap());
            prop_assert!((one.p_value - two.p_value).abs() < 1e-11);
        }
    }

    #[test]
    fn a_shifted_mix_of_strata_does_not_pass_for_an_effect() {
        // Both strata: no effect; the bad lot moved to "after".
        let strata = [stratum(10, 100.0, 1, 10.0), stratum(20, 20.0, 200, 200.0)];
        let got = exact_rate_ratio(&strata, 0.95).unwrap();
        assert!((got.estimate - 1.0).abs() < 1e-8 && got.p_value > 0.9);
        let crude = exact_rate_ratio(&[stratum(30, 120.0, 201, 210.0)], 0.95).unwrap();
        assert!(crude.estimate > 3.0 && crude.p_value < 1e-6);
    }

    #[test]
    fn a_side_without_events_leaves_the_exact_limit() {
        let strata = [stratum(0, 5.0, 3, 5.0), stratum(0, 5.0, 4, 5.0)];
        let exact = exact_rate_ratio(&strata, 0.95).unwrap();
        assert_eq!(
            (exact.estimate, exact.ci.high),
            (f64::INFINITY, f64::INFINITY)
        );
        assert!(exact.ci.low > 1.0);
        assert!(exact_rate_ratio(&[stratum(0, 1.0, 0, 1.0)], 0.95).is_err());
    }
}
