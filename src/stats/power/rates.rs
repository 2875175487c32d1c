//! Two Poisson rates.

use super::size_for;
use crate::stats::{
    StatsError,
    distributions::{binomial, normal, poisson},
    error::{open_share, positive},
};

/// Exposure on each side that shows `rate0` against `rate1` with `power` at
/// two-sided `alpha`: (z_{1−α/2}+z_{power})²(λ₀+λ₁)/(λ₀−λ₁)².
///
/// Normal approximation for events that come one at a time; multiply by the
/// index of dispersion where they clump. Source: the unclustered case of Hayes
/// & Bennett (1999), Int. J. Epidemiology 28, 319–326 (citation from memory).
///
/// # Errors
///
/// [`StatsError::NotPositive`] for a rate, [`StatsError::Share`] for `alpha`
/// and `power`, [`StatsError::Range`] for equal rates.
pub fn rates_exposure(rate0: f64, rate1: f64, alpha: f64, power: f64) -> Result<f64, StatsError> {
    positive("rate0", rate0)?;
    positive("rate1", rate1)?;
    open_share("alpha", alpha)?;
    open_share("power", power)?;
    if rate0 == rate1 {
        return Err(StatsError::Range {
            name: "rate1",
            value: rate1,
            must: "must differ from rate0",
        });
    }
    let z = normal::upper_quantile(alpha / 2.0) + normal::upper_quantile(1.0 - power);
    Ok(z * z * (rate0 + rate1) / (rate0 - rate1).powi(2))
}

/// Power of the exact conditional test (central rule, two-sided `alpha`) of two
/// Poisson counts with the given expected counts, by enumeration.
///
/// `exposure_share` is the after-side's share of the exposure under equal
/// rates (½ for equal exposures).
///
/// # Errors
///
/// [`StatsError::NotPositive`] for an expected count, [`StatsError::Share`] for
/// the share and `alpha`.
pub fn rates_power(
    expected_before: f64,
    expected_after: f64,
    exposure_share: f64,
    alpha: f64,
) -> Result<f64, StatsError> {
    positive("expected_before", expected_before)?;
    positive("expected_after", expected_after)?;
    open_share("exposure_share", exposure_share)?;
    open_share("alpha", alpha)?;
    let mean = expected_before + expected_after;
    let share = expected_after / mean;
    // Totals outside hold less than 1e-14 of the probability.
    let reach = 8.5 * mean.sqrt() + 40.0;
    let (least, most) = (
        (mean - reach).max(0.0).floor() as u64,
        (mean + reach).ceil() as u64,
    );
    let mut power = 0.0;
    for total in least..=most {
        let chance = poisson::ln_probability(total, mean).exp();
        if chance < 1e-17 {
            continue;
        }
        // Rejection regions k ≤ low − 1 and k ≥ high of the central test.
        let low = first(0, total + 1, |k| {
            2.0 * binomial::at_most(k, total, exposure_share) >= alpha
        });
        let high = first(0, total + 1, |k| {
            2.0 * binomial::at_least(k, total, exposure_share) < alpha
        });
        let below = if low == 0 {
            0.0
        } else {
            binomial::at_most(low - 1, total, share)
        };
        power += chance * (below + binomial::at_least(high, total, share));
    }
    Ok(power.min(1.0))
}

/// First k in `low..high` where a condition that turns true once holds, else `high`.
fn first(mut low: u64, mut high: u64, condition: impl Fn(u64) -> bool) -> u64 {
    while low < high {
        let middle = low + (high - low) / 2;
        if condition(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    low
}

/// Exposure on the after side (the before side being fixed) at which the exact
/// conditional test reaches `power` for rates `rate0`, `rate1`; `None` if no
/// exposure does, because the before side is too small.
///
/// # Errors
///
/// As [`rates_power`], [`StatsError::NotPositive`] also for `exposure_before`.
pub fn rates_size(
    rate0: f64,
    rate1: f64,
    exposure_before: f64,
    alpha: f64,
    power: f64,
) -> Result<Option<f64>, StatsError> {
    positive("rate0", rate0)?;
    positive("rate1", rate1)?;
    positive("exposure_before", exposure_before)?;
    open_share("power", power)?;
    let power_at = |exposure: f64| {
        rates_power(
            rate0 * exposure_before,
            rate1 * exposure,
            exposure / (exposure + exposure_before),
            alpha,
        )
    };
    power_at(exposure_before)?;
    // Beyond a thousandfold exposure the before side alone limits the power.
    if power_at(1000.0 * exposure_before)? < power {
        return Ok(None);
    }
    Ok(size_for(power, exposure_before / 1000.0, |exposure| {
        power_at(exposure).unwrap_or(0.0)
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_difference_the_power_is_at_most_alpha() {
        for mean in [2.0, 10.0, 80.0] {
            let power = rates_power(mean, mean, 0.5, 0.05).unwrap();
            assert!(power > 0.0 && power <= 0.05, "{power}");
        }
    }

    #[test]
    fn a_small_before_side_can_make_the_goal_unreachable() {
        assert_eq!(rates_size(1.0, 0.8, 5.0, 0.05, 0.8).unwrap(), None);
        let exposure = rates_size(1.0, 0.5, 100.0, 0.05, 0.8).unwrap().unwrap();
        let reached =
            rates_power(100.0, 0.5 * exposure, exposure / (exposure + 100.0), 0.05).unwrap();
        // The power of a discrete test is a saw; the root lies on one of its teeth.
        assert!((reached - 0.8).abs() < 0.02, "{reached}");
    }
}
