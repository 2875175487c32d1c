//! The difference of two proportions.

use super::{
    Interval, StatsError, distributions::normal, error::open_share, proportion::wilson_limits,
};

/// Difference of two independent proportions, first − second.
#[derive(Debug, Clone, PartialEq)]
pub struct ProportionDifference {
    /// k₁/n₁ − k₂/n₂, −1..1.
    pub estimate: f64,
    /// Hybrid score interval: Newcombe (1998), Statistics in Medicine 17,
    /// 873–890, method 10. Good from small samples on.
    pub ci: Interval,
    /// z of the pooled test; `None` if both samples are all hits or all misses.
    pub statistic: Option<f64>,
    /// Two-sided normal p-value of `statistic`; another rule than the one of
    /// `ci`, and rough below about five hits and misses a side (use
    /// [`super::fisher_exact`] there).
    pub p_value: Option<f64>,
}

/// Compares `hits.0` of `trials.0` with `hits.1` of `trials.1`.
///
/// # Errors
///
/// [`StatsError::Empty`] without trials, [`StatsError::Range`] for more hits
/// than trials, [`StatsError::Share`] for the level.
pub fn proportion_difference(
    hits: (u64, u64),
    trials: (u64, u64),
    level: f64,
) -> Result<ProportionDifference, StatsError> {
    open_share("level", level)?;
    for (k, n) in [(hits.0, trials.0), (hits.1, trials.1)] {
        if n == 0 {
            return Err(StatsError::Empty {
                what: "trials in one of the samples",
            });
        }
        if k > n {
            return Err(StatsError::Range {
                name: "hits",
                value: k as f64,
                must: "must not exceed the trials",
            });
        }
    }
    let (n1, n2) = (trials.0 as f64, trials.1 as f64);
    let (p1, p2) = (hits.0 as f64 / n1, hits.1 as f64 / n2);
    let estimate = p1 - p2;
    let (low1, high1) = wilson_limits(hits.0, trials.0, level);
    let (low2, high2) = wilson_limits(hits.1, trials.1, level);
    let down = ((p1 - low1).powi(2) + (high2 - p2).powi(2)).sqrt();
    let up = ((high1 - p1).powi(2) + (p2 - low2).powi(2)).sqrt();
    let pooled = (hits.0 + hits.1) as f64 / (n1 + n2);
    let sd = (pooled * (1.0 - pooled) * (1.0 / n1 + 1.0 / n2)).sqrt();
    let statistic = (sd > 0.0).then(|| estimate / sd);
    Ok(ProportionDifference {
        estimate,
        ci: Interval {
            low: estimate - down,
            high: estimate + up,
            level,
        },
        statistic,
        p_value: statistic.map(normal::two_sided_p),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn swapping_the_samples_changes_the_sign(k1 in 0_u64..30, k2 in 0_u64..30, n1 in 30_u64..60, n2 in 30_u64..60) {
            let one = proportion_difference((k1, k2), (n1, n2), 0.95).unwrap();
            let other = proportion_difference((k2, k1), (n2, n1), 0.95).unwrap();
            prop_assert!((one.estimate + other.estimate).abs() < 1e-14);
            prop_assert!((one.ci.low + other.ci.high).abs() < 1e-13);
            prop_assert!(one.ci.low >= -1.0 - 1e-12 && one.ci.high <= 1.0 + 1e-12);
        }
    }
}
