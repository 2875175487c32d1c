//! One rate ratio common to all strata.

use super::convolution::ExactSum;
use crate::stats::{
    Interval, StatsError, TailRule,
    distributions::{chi_squared, normal},
    error::{open_share, positive},
    rate_ratio::Count,
};

/// Events and exposure before and after, in one stratum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateStratum {
    /// Before (or in the reference group).
    pub before: Count,
    /// After (or in the group compared).
    pub after: Count,
}

impl RateStratum {
    fn total(self) -> f64 {
        (self.before.events + self.after.events) as f64
    }
    fn exposure(self) -> f64 {
        self.before.exposure + self.after.exposure
    }
}

/// Mantel–Haenszel rate ratio, after over before.
///
/// ρ̂ = Σ k₁a₀/a ÷ Σ k₀a₁/a over strata with a = a₀ + a₁.
/// Source: Rothman & Boice (1979); variance of ln ρ̂ by Greenland & Robins
/// (1985), Biometrics 41, 55–68.
#[derive(Debug, Clone, PartialEq)]
pub struct MantelHaenszelRateRatio {
    /// ρ̂.
    pub estimate: f64,
    /// Standard error of ln ρ̂.
    pub ln_std_error: f64,
    /// ρ̂·exp(±z·ln_std_error).
    pub ci: Interval,
    /// Chi-squared statistic of ρ = 1 with 1 degree of freedom, without
    /// continuity correction.
    pub statistic: f64,
    /// Its p-value; a score test, so close to the threshold it can disagree
    /// with `ci`.
    pub p_value: f64,
    /// The same with the continuity correction of ½.
    pub corrected_statistic: f64,
    /// Its p-value.
    pub corrected_p_value: f64,
    /// Do the strata's own ratios differ? `None` with fewer than two strata
    /// that have events on both sides.
    pub heterogeneity: Option<Heterogeneity>,
}

/// Cochran's Q: weighted scatter of the strata's ln ratios about the common one.
#[derive(Debug, Clone, PartialEq)]
pub struct Heterogeneity {
    /// Σ (ln ρᵢ − ln ρ̂)²/(1/k₀ᵢ + 1/k₁ᵢ).
    pub statistic: f64,
    /// Strata counted − 1.
    pub dof: f64,
    /// P(χ² ≥ statistic).
    pub p_value: f64,
}

/// Mantel–Haenszel rate ratio with a large-sample interval.
///
/// # Errors
///
/// [`StatsError::NotPositive`] for an exposure, [`StatsError::Share`] for the
/// level, [`StatsError::Empty`] if one side has no event in any stratum with
/// exposure on both sides (then [`exact_rate_ratio`] still gives a limit).
pub fn mantel_haenszel_rate_ratio(
    strata: &[RateStratum],
    level: f64,
) -> Result<MantelHaenszelRateRatio, StatsError> {
    open_share("level", level)?;
    check(strata)?;
    let sum = |term: &dyn Fn(&RateStratum) -> f64| strata.iter().map(term).sum::<f64>();
    let after = sum(&|s| s.after.events as f64 * s.before.exposure / s.exposure());
    let before = sum(&|s| s.before.events as f64 * s.after.exposure / s.exposure());
    if after <= 0.0 || before <= 0.0 {
        return Err(StatsError::Empty {
            what: "events on one of the sides",
        });
    }
    let spread = sum(&|s| s.total() * s.after.exposure * s.before.exposure / s.exposure().powi(2));
    let estimate = after / before;
    let ln_std_error = (spread / (after * before)).sqrt();
    let half = normal::two_sided_quantile(level) * ln_std_error;
    let excess =
        sum(&|s| s.after.events as f64 - s.total() * s.after.exposure / s.exposure()).abs();
    let statistic = excess * excess / spread;
    let corrected_statistic = (excess - excess.min(0.5)).powi(2) / spread;
    Ok(MantelHaenszelRateRatio {
        estimate,
        ln_std_error,
        ci: Interval {
            low: estimate * (-half).exp(),
            high: estimate * half.exp(),
            level,
        },
        statistic,
        p_value: chi_squared::tails(statistic, 1.0).upper(),
        corrected_statistic,
        corrected_p_value: chi_squared::tails(corrected_statistic, 1.0).upper(),
        heterogeneity: heterogeneity(strata, estimate.ln()),
    })
}

fn heterogeneity(strata: &[RateStratum], ln_common: f64) -> Option<Heterogeneity> {
    let mut counted = 0.0;
    let mut statistic = 0.0;
    for s in strata
        .iter()
        .filter(|s| s.before.events > 0 && s.after.events > 0)
    {
        let (k0, k1) = (s.before.events as f64, s.after.events as f64);
        let ln_ratio = (k1 / s.after.exposure).ln() - (k0 / s.before.exposure).ln();
        statistic += (ln_ratio - ln_common).powi(2) / (1.0 / k0 + 1.0 / k1);
        counted += 1.0;
    }
    (counted > 1.0).then(|| Heterogeneity {
        statistic,
        dof: counted - 1.0,
        p_value: chi_squared::tails(statistic, counted - 1.0).upper(),
    })
}

/// Exact conditional rate ratio common to all strata, after over before.
///
/// Given each stratum's total, its after-count is binomial with share
/// ρa₁/(ρa₁ + a₀); the sum over strata is their convolution, nothing is
/// approximated. Assumes that events come one at a time and that ρ is the same
/// everywhere. With one stratum it is [`crate::stats::rate_ratio`].
/// Source: Breslow & Day (1987), Statistical Methods in Cancer Research II,
/// section 3.6; Martin & Austin (1996), Epidemiology 7, 29–33.
#[derive(Debug, Clone, PartialEq)]
pub struct ExactRateRatio {
    /// Conditional maximum-likelihood ratio; 0 or ∞ if one side has no event.
    pub estimate: f64,
    /// Interval that follows `rule`, see [`TailRule`].
    pub ci: Interval,
    /// P(as many after-events or more | ρ = `null`).
    pub p_greater: f64,
    /// P(as few after-events or fewer | ρ = `null`).
    pub p_less: f64,
    /// Two-sided p-value of ρ = `null` by `rule`.
    pub p_value: f64,
    /// The ratio tested.
    pub null: f64,
    /// How the two sides were added.
    pub rule: TailRule,
}

/// Exact common rate ratio, testing ρ = 1. Costs of the order of (events)².
///
/// # Errors
///
/// [`StatsError::NotPositive`] for an exposure, [`StatsError::Share`] for the
/// level, [`StatsError::Empty`] without events.
pub fn exact_rate_ratio(
    strata: &[RateStratum],
    level: f64,
    rule: TailRule,
) -> Result<ExactRateRatio, StatsError> {
    exact_rate_ratio_against(strata, 1.0, level, rule)
}

/// As [`exact_rate_ratio`], testing ρ = `null`.
///
/// # Errors
///
/// As [`exact_rate_ratio`]; [`StatsError::NotPositive`] also for `null`.
pub fn exact_rate_ratio_against(
    strata: &[RateStratum],
    null: f64,
    level: f64,
    rule: TailRule,
) -> Result<ExactRateRatio, StatsError> {
    open_share("level", level)?;
    positive("null ratio", null)?;
    check(strata)?;
    let exact = ExactSum {
        ln_weights: strata.iter().map(|s| ln_binomial_weights(*s)).collect(),
        observed: strata.iter().map(|s| s.after.events as usize).sum(),
    };
    let result = exact.infer(null.ln(), level, rule)?;
    Ok(ExactRateRatio {
        estimate: result.estimate,
        ci: result.ci,
        p_greater: result.p_greater,
        p_less: result.p_less,
        p_value: result.p_value,
        null,
        rule,
    })
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

fn check(strata: &[RateStratum]) -> Result<(), StatsError> {
    for stratum in strata {
        positive("exposure before", stratum.before.exposure)?;
        positive("exposure after", stratum.after.exposure)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::rate_ratio::rate_ratio;
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
        fn one_stratum_is_the_plain_exact_test(k0 in 1_u64..30, k1 in 1_u64..30, a0 in 0.5..9.0_f64, a1 in 0.5..9.0_f64) {
            let s = stratum(k0, a0, k1, a1);
            for rule in [TailRule::Central, TailRule::MidP, TailRule::MinimumLikelihood] {
                let plain = rate_ratio(s.before, s.after, 0.95, rule).unwrap();
                let got = exact_rate_ratio(&[s], 0.95, rule).unwrap();
                prop_assert!((got.estimate / plain.estimate - 1.0).abs() < 1e-9);
                prop_assert!((got.p_value - plain.p_value).abs() < 1e-10);
                prop_assert!((got.ci.low / plain.ci.low - 1.0).abs() < 1e-7);
                prop_assert!((got.ci.high / plain.ci.high - 1.0).abs() < 1e-7);
            }
        }

        #[test]
        fn the_order_of_strata_and_their_unit_do_not_matter(
            counts in prop::collection::vec((0_u64..12, 0_u64..12), 3), factor in 0.1..10.0_f64,
        ) {
            prop_assume!(counts.iter().any(|pair| pair.0 > 0) && counts.iter().any(|pair| pair.1 > 0));
            let strata: Vec<RateStratum> = counts.iter().enumerate().map(|(i, &(k0, k1))| stratum(k0, 1.0 + i as f64, k1, 2.0)).collect();
            let other: Vec<RateStratum> = counts.iter().enumerate().rev().map(|(i, &(k0, k1))| stratum(k0, factor * (1.0 + i as f64), k1, 2.0 * factor)).collect();
            let (one, two) = (exact_rate_ratio(&strata, 0.9, TailRule::Central).unwrap(), exact_rate_ratio(&other, 0.9, TailRule::Central).unwrap());
            prop_assert!((one.p_value - two.p_value).abs() < 1e-11);
            let (one, two) = (mantel_haenszel_rate_ratio(&strata, 0.9).unwrap(), mantel_haenszel_rate_ratio(&other, 0.9).unwrap());
            prop_assert!((one.estimate / two.estimate - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_shifted_mix_of_strata_does_not_pass_for_an_effect() {
        // Both strata: no effect; the bad lot moved to "after".
        let strata = [stratum(10, 100.0, 1, 10.0), stratum(20, 20.0, 200, 200.0)];
        let got = mantel_haenszel_rate_ratio(&strata, 0.95).unwrap();
        assert!((got.estimate - 1.0).abs() < 1e-12);
        let crude = (201.0 / 210.0) / (30.0 / 120.0);
        assert!(crude > 3.0);
    }

    #[test]
    fn a_side_without_events_leaves_the_exact_limit() {
        let strata = [stratum(0, 5.0, 3, 5.0), stratum(0, 5.0, 4, 5.0)];
        assert!(mantel_haenszel_rate_ratio(&strata, 0.95).is_err());
        let exact = exact_rate_ratio(&strata, 0.95, TailRule::Central).unwrap();
        assert_eq!(
            (exact.estimate, exact.ci.high),
            (f64::INFINITY, f64::INFINITY)
        );
        assert!(exact.ci.low > 1.0);
        assert!(exact_rate_ratio(&[stratum(0, 1.0, 0, 1.0)], 0.95, TailRule::Central).is_err());
    }
}
