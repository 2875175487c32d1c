//! Two Poisson rates: their ratio with its exact conditional test.

use super::{
    Interval, StatsError, TailRule,
    error::{open_share, positive},
    proportion::{Trials, clopper_pearson_limits},
    root,
    tail_rule::UnimodalCounts,
};

/// Events counted over an exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Count {
    /// Events.
    pub events: u64,
    /// Area, time or panels over which they were counted, > 0; the same unit
    /// on both sides of a comparison.
    pub exposure: f64,
}

/// Ratio of two rates, after over before, with its exact test.
///
/// Given the total n = k₀ + k₁, the after-count k₁ is binomial with share
/// π = ρ·a₁/(ρ·a₁ + a₀), where ρ is the ratio; nothing is approximated.
/// Assumes that events come one at a time: clustered events make it too sure.
///
/// Source: Przyborowski & Wilenski (1940), Biometrika 31, 313–323; interval
/// by Clopper & Pearson (1934), Biometrika 26, 404–413, carried from π to ρ.
#[derive(Debug, Clone, PartialEq)]
pub struct RateRatio {
    /// ρ̂ = (k₁/a₁)/(k₀/a₀). 0 if k₁ = 0, ∞ if k₀ = 0.
    pub estimate: f64,
    /// Interval for ρ that follows `rule` (see [`TailRule`]); the upper limit
    /// is ∞ if k₀ = 0.
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

/// Compares the rate `after` a change with the rate `before` it; tests ρ = 1.
///
/// # Errors
///
/// [`StatsError::Empty`] if both counts are zero, [`StatsError::NotPositive`]
/// for an exposure, [`StatsError::Share`] for the level.
pub fn rate_ratio(
    before: Count,
    after: Count,
    level: f64,
    rule: TailRule,
) -> Result<RateRatio, StatsError> {
    rate_ratio_against(before, after, 1.0, level, rule)
}

/// As [`rate_ratio`], testing ρ = `null` (a non-inferiority margin, say).
///
/// # Errors
///
/// As [`rate_ratio`]; [`StatsError::NotPositive`] also for `null`.
pub fn rate_ratio_against(
    before: Count,
    after: Count,
    null: f64,
    level: f64,
    rule: TailRule,
) -> Result<RateRatio, StatsError> {
    positive("exposure before", before.exposure)?;
    positive("exposure after", after.exposure)?;
    positive("null ratio", null)?;
    open_share("level", level)?;
    let total = before.events + after.events;
    if total == 0 {
        return Err(StatsError::Empty {
            what: "events on either side",
        });
    }
    let exposure_ratio = before.exposure / after.exposure;
    let counts = given_total(total, null, exposure_ratio);
    let limits = match rule {
        TailRule::Central | TailRule::MinimumLikelihood => {
            // Each limit from the side on which the share keeps its digits.
            let (low, _) = clopper_pearson_limits(after.events, total, level);
            let (complement, _) = clopper_pearson_limits(before.events, total, level);
            (low / (1.0 - low), (1.0 - complement) / complement)
        }
        TailRule::MidP => mid_p_odds(after.events, total, level),
    };
    Ok(RateRatio {
        estimate: if before.events == 0 {
            f64::INFINITY
        } else {
            (after.events as f64 / after.exposure) / (before.events as f64 / before.exposure)
        },
        ci: Interval {
            low: limits.0 * exposure_ratio,
            high: limits.1 * exposure_ratio,
            level,
        },
        p_greater: counts.p_greater(after.events),
        p_less: counts.p_less(after.events),
        p_value: counts.p_two_sided(after.events, rule),
        null,
        rule,
    })
}

fn given_total(total: u64, ratio: f64, exposure_ratio: f64) -> Trials {
    let odds = ratio / exposure_ratio;
    Trials {
        trials: total,
        chance: odds / (1.0 + odds),
        complement: 1.0 / (1.0 + odds),
    }
}

/// Limits of the odds π/(1−π) at which a mid-p tail is (1 − level)/2.
fn mid_p_odds(hits: u64, trials: u64, level: f64) -> (f64, f64) {
    let ln_tail = ((1.0 - level) / 2.0).ln();
    let counts = |ln_odds: f64| given_total(trials, ln_odds.exp(), 1.0);
    let start = ((hits as f64 + 0.5) / ((trials - hits) as f64 + 0.5)).ln();
    let mid = |tail: f64, counts: &Trials| {
        (tail - 0.5 * counts.ln_probability(hits).exp())
            .max(1e-300)
            .ln()
    };
    let low = if hits == 0 {
        0.0
    } else {
        let excess = |x: f64| {
            let counts = counts(x);
            mid(counts.p_greater(hits), &counts) - ln_tail
        };
        root::of_monotone(excess, start, 0.5, 700.0).map_or(0.0, f64::exp)
    };
    let high = if hits == trials {
        f64::INFINITY
    } else {
        let excess = |x: f64| {
            let counts = counts(x);
            mid(counts.p_less(hits), &counts) - ln_tail
        };
        root::of_monotone(excess, start, 0.5, 700.0).map_or(f64::INFINITY, f64::exp)
    };
    (low, high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn count(events: u64, exposure: f64) -> Count {
        Count { events, exposure }
    }

    proptest! {
        #[test]
        fn swapping_before_and_after_inverts_the_ratio(k0 in 1_u64..60, k1 in 1_u64..60, a0 in 0.1..50.0_f64, a1 in 0.1..50.0_f64) {
            for rule in [TailRule::Central, TailRule::MidP, TailRule::MinimumLikelihood] {
                let one = rate_ratio(count(k0, a0), count(k1, a1), 0.95, rule).unwrap();
                let other = rate_ratio(count(k1, a1), count(k0, a0), 0.95, rule).unwrap();
                prop_assert!((one.estimate * other.estimate - 1.0).abs() < 1e-12);
                prop_assert!((one.ci.low * other.ci.high - 1.0).abs() < 1e-8);
                prop_assert!((one.p_value - other.p_value).abs() < 1e-10);
            }
        }

        #[test]
        fn the_p_value_at_a_limit_is_one_minus_the_level(k0 in 1_u64..60, k1 in 1_u64..60, a0 in 0.1..50.0_f64, a1 in 0.1..50.0_f64) {
            for rule in [TailRule::Central, TailRule::MidP] {
                let ci = rate_ratio(count(k0, a0), count(k1, a1), 0.9, rule).unwrap().ci;
                for limit in [ci.low, ci.high] {
                    let at = rate_ratio_against(count(k0, a0), count(k1, a1), limit, 0.9, rule).unwrap();
                    prop_assert!((at.p_value - 0.1).abs() < 1e-8, "{}", at.p_value);
                }
            }
        }
    }

    #[test]
    fn one_empty_side_still_has_a_limit() {
        let none_after =
            rate_ratio(count(5, 100.0), count(0, 100.0), 0.95, TailRule::Central).unwrap();
        assert_eq!((none_after.estimate, none_after.ci.low), (0.0, 0.0));
        assert!(none_after.ci.high.is_finite());
        let none_before =
            rate_ratio(count(0, 100.0), count(5, 100.0), 0.95, TailRule::Central).unwrap();
        assert_eq!(
            (none_before.estimate, none_before.ci.high),
            (f64::INFINITY, f64::INFINITY)
        );
        assert!(none_before.ci.low > 0.0);
        let neither = rate_ratio(count(0, 1.0), count(0, 1.0), 0.95, TailRule::Central);
        assert_eq!(neither.unwrap_err().to_string(), "no events on either side");
    }
}
