//! One proportion: exact and score intervals, exact test.

use super::{
    Interval, StatsError, TailRule,
    distributions::{beta, binomial, normal},
    error::open_share,
    tail_rule::UnimodalCounts,
};

/// How an interval for a proportion was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProportionMethod {
    /// Clopper & Pearson (1934), Biometrika 26, 404–413: never covers less
    /// than its level.
    ClopperPearson,
    /// Wilson (1927), JASA 22, 209–212: the score interval; covers its level on
    /// average.
    Wilson,
    /// Wilson's with continuity correction, as Newcombe (1998), Statistics in
    /// Medicine 17, 857–872, method 4.
    WilsonCorrected,
}

/// A proportion with its confidence interval.
#[derive(Debug, Clone, PartialEq)]
pub struct Proportion {
    /// hits / trials, 0..1.
    pub estimate: f64,
    /// Confidence interval.
    pub ci: Interval,
    /// How the interval was made.
    pub method: ProportionMethod,
}

/// Share of `hits` among `trials` with its two-sided interval.
///
/// # Errors
///
/// [`StatsError::Empty`] without trials, [`StatsError::Range`] for more hits
/// than trials, [`StatsError::Share`] for a level outside 0..1.
pub fn proportion(
    hits: u64,
    trials: u64,
    level: f64,
    method: ProportionMethod,
) -> Result<Proportion, StatsError> {
    checked(hits, trials)?;
    open_share("level", level)?;
    let (low, high) = match method {
        ProportionMethod::ClopperPearson => clopper_pearson_limits(hits, trials, level),
        ProportionMethod::Wilson => wilson_limits(hits, trials, level),
        ProportionMethod::WilsonCorrected => wilson_corrected_limits(hits, trials, level),
    };
    Ok(Proportion {
        estimate: hits as f64 / trials as f64,
        ci: Interval { low, high, level },
        method,
    })
}

/// The exact interval: [`proportion`] with [`ProportionMethod::ClopperPearson`].
///
/// # Errors
///
/// As [`proportion`].
pub fn clopper_pearson(hits: u64, trials: u64, level: f64) -> Result<Interval, StatsError> {
    proportion(hits, trials, level, ProportionMethod::ClopperPearson).map(|result| result.ci)
}

/// The score interval: [`proportion`] with [`ProportionMethod::Wilson`].
///
/// # Errors
///
/// As [`proportion`].
pub fn wilson(hits: u64, trials: u64, level: f64) -> Result<Interval, StatsError> {
    proportion(hits, trials, level, ProportionMethod::Wilson).map(|result| result.ci)
}

/// Exact test of one proportion against a given one.
#[derive(Debug, Clone, PartialEq)]
pub struct ProportionTest {
    /// hits / trials.
    pub estimate: f64,
    /// P(X ≥ hits) under the null proportion.
    pub p_greater: f64,
    /// P(X ≤ hits) under the null proportion.
    pub p_less: f64,
    /// Two-sided p-value by `rule`.
    pub p_value: f64,
    /// How the two sides were added.
    pub rule: TailRule,
}

/// Exact binomial test of `hits` among `trials` against the chance `null`.
///
/// # Errors
///
/// As [`proportion`]; [`StatsError::Range`] for a `null` outside 0..=1.
pub fn proportion_test(
    hits: u64,
    trials: u64,
    null: f64,
    rule: TailRule,
) -> Result<ProportionTest, StatsError> {
    checked(hits, trials)?;
    if !(0.0..=1.0).contains(&null) {
        return Err(StatsError::Range {
            name: "null",
            value: null,
            must: "must lie in 0..=1",
        });
    }
    let counts = Trials {
        trials,
        chance: null,
        complement: 1.0 - null,
    };
    Ok(ProportionTest {
        estimate: hits as f64 / trials as f64,
        p_greater: counts.p_greater(hits),
        p_less: counts.p_less(hits),
        p_value: counts.p_two_sided(hits, rule),
        rule,
    })
}

/// Binomial counts for the exact tests.
pub(crate) struct Trials {
    pub(crate) trials: u64,
    pub(crate) chance: f64,
    /// 1 − chance, apart, so that it keeps its digits near zero.
    pub(crate) complement: f64,
}

impl UnimodalCounts for Trials {
    fn least(&self) -> u64 {
        0
    }
    fn most(&self) -> Option<u64> {
        Some(self.trials)
    }
    fn ln_probability(&self, k: u64) -> f64 {
        binomial::ln_probability_with_complement(k, self.trials, self.chance, self.complement)
    }
    fn ln_at_least(&self, k: u64) -> f64 {
        binomial::ln_at_least_with_complement(k, self.trials, self.chance, self.complement)
    }
    fn ln_at_most(&self, k: u64) -> f64 {
        binomial::ln_at_most_with_complement(k, self.trials, self.chance, self.complement)
    }
}

fn checked(hits: u64, trials: u64) -> Result<(), StatsError> {
    if trials == 0 {
        return Err(StatsError::Empty { what: "trials" });
    }
    if hits > trials {
        return Err(StatsError::Range {
            name: "hits",
            value: hits as f64,
            must: "must not exceed the trials",
        });
    }
    Ok(())
}

pub(crate) fn clopper_pearson_limits(hits: u64, trials: u64, level: f64) -> (f64, f64) {
    let tail = (1.0 - level) / 2.0;
    let (k, rest) = (hits as f64, (trials - hits) as f64);
    let low = if hits == 0 {
        0.0
    } else {
        beta::quantile(k, rest + 1.0, tail)
    };
    let high = if hits == trials {
        1.0
    } else {
        beta::upper_quantile(k + 1.0, rest, tail)
    };
    (low, high)
}

pub(crate) fn wilson_limits(hits: u64, trials: u64, level: f64) -> (f64, f64) {
    let z = normal::two_sided_quantile(level);
    let (n, k) = (trials as f64, hits as f64);
    let share = k / n;
    let centre = k + z * z / 2.0;
    let half = z * (n * share * (1.0 - share) + z * z / 4.0).sqrt();
    let low = if hits == 0 {
        0.0
    } else {
        (centre - half) / (n + z * z)
    };
    let high = if hits == trials {
        1.0
    } else {
        (centre + half) / (n + z * z)
    };
    (low, high)
}

fn wilson_corrected_limits(hits: u64, trials: u64, level: f64) -> (f64, f64) {
    let z = normal::two_sided_quantile(level);
    let (n, k) = (trials as f64, hits as f64);
    let share = k / n;
    let rest = 1.0 - share;
    let denominator = 2.0 * (n + z * z);
    let centre = 2.0 * n * share + z * z;
    let root_low = (z * z - 2.0 - 1.0 / n + 4.0 * share * (n * rest + 1.0))
        .max(0.0)
        .sqrt();
    let root_high = (z * z + 2.0 - 1.0 / n + 4.0 * share * (n * rest - 1.0))
        .max(0.0)
        .sqrt();
    let low = if hits == 0 {
        0.0
    } else {
        (centre - 1.0 - z * root_low) / denominator
    };
    let high = if hits == trials {
        1.0
    } else {
        (centre + 1.0 + z * root_high) / denominator
    };
    (low.clamp(0.0, 1.0), high.clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn intervals_mirror_when_hits_and_misses_swap(n in 1_u64..200, k in 0_u64..200) {
            let k = k.min(n);
            for method in [ProportionMethod::ClopperPearson, ProportionMethod::Wilson, ProportionMethod::WilsonCorrected] {
                let one = proportion(k, n, 0.9, method).unwrap();
                let other = proportion(n - k, n, 0.9, method).unwrap();
                prop_assert!((one.ci.low + other.ci.high - 1.0).abs() < 1e-10);
                prop_assert!(one.ci.low <= one.estimate && one.estimate <= one.ci.high);
            }
        }

        #[test]
        fn the_central_p_value_at_a_limit_is_one_minus_the_level(n in 1_u64..100, k in 1_u64..100) {
            prop_assume!(k < n);
            let ci = clopper_pearson(k, n, 0.95).unwrap();
            for limit in [ci.low, ci.high] {
                let p = proportion_test(k, n, limit, TailRule::Central).unwrap().p_value;
                prop_assert!((p - 0.05).abs() < 1e-9, "{p}");
            }
        }

        #[test]
        fn minimum_likelihood_is_the_plain_sum(n in 1_u64..40, k in 0_u64..40, null in 0.01..0.99_f64) {
            let k = k.min(n);
            let bound = binomial::ln_probability(k, n, null) + 1e-7;
            let sum: f64 = (0..=n).map(|i| binomial::ln_probability(i, n, null)).filter(|&term| term <= bound).map(f64::exp).sum();
            let p = proportion_test(k, n, null, TailRule::MinimumLikelihood).unwrap().p_value;
            prop_assert!((p - sum.min(1.0)).abs() < 1e-11, "{p} {sum}");
        }
    }

    #[test]
    fn refuses_what_cannot_be_a_proportion() {
        assert_eq!(
            clopper_pearson(1, 0, 0.95),
            Err(StatsError::Empty { what: "trials" })
        );
        assert_eq!(
            clopper_pearson(3, 2, 0.95).unwrap_err().to_string(),
            "hits is 3: must not exceed the trials"
        );
        assert_eq!(
            wilson(1, 2, 1.0).unwrap_err().to_string(),
            "level is 1, and must lie between 0 and 1"
        );
    }
}
