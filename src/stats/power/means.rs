//! Means, by the t test.

use super::{Sides, size_for};
use crate::stats::{
    StatsError,
    distributions::{noncentral_t, student_t},
    error::{open_share, positive},
};

/// What the t test compares.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TDesign {
    /// Two groups of the same size.
    TwoSamples,
    /// One sample, or the differences of pairs.
    OneSample,
}

/// Power of a t test with `n` values a group (pairs for one sample), a true
/// difference `delta` and standard deviation `sd` (of one value; of the
/// differences for pairs).
///
/// P(T > t_crit) for the noncentral t distribution: exact for normal values.
///
/// # Errors
///
/// [`StatsError::NotPositive`] for `sd` and for n below 2, [`StatsError::Share`]
/// for `alpha`.
pub fn t_test_power(
    n: f64,
    delta: f64,
    sd: f64,
    alpha: f64,
    sides: Sides,
    design: TDesign,
) -> Result<f64, StatsError> {
    positive("sd", sd)?;
    positive("n − 1", n - 1.0)?;
    open_share("alpha", alpha)?;
    let (groups, dof) = match design {
        TDesign::TwoSamples => (2.0, 2.0 * (n - 1.0)),
        TDesign::OneSample => (1.0, n - 1.0),
    };
    let shift = (n / groups).sqrt() * delta.abs() / sd;
    let critical = student_t::upper_quantile(sides.tail(alpha), dof);
    let wrong_way = match sides {
        Sides::TwoStrict => noncentral_t::upper_tail(critical, dof, -shift),
        Sides::One | Sides::Two => 0.0,
    };
    Ok(noncentral_t::upper_tail(critical, dof, shift) + wrong_way)
}

/// Values a group (real number; round up) for `power`.
///
/// # Errors
///
/// As [`t_test_power`], [`StatsError::NotPositive`] also for |delta|,
/// [`StatsError::Share`] for `power`.
pub fn t_test_size(
    delta: f64,
    sd: f64,
    alpha: f64,
    power: f64,
    sides: Sides,
    design: TDesign,
) -> Result<f64, StatsError> {
    positive("delta", delta.abs())?;
    open_share("power", power)?;
    t_test_power(2.0, delta, sd, alpha, sides, design)?;
    size_for(power, 2.0, |n| {
        t_test_power(n, delta, sd, alpha, sides, design).unwrap_or(0.0)
    })
    .ok_or(StatsError::Range {
        name: "delta",
        value: delta,
        must: "must be larger against sd",
    })
}
