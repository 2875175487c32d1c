//! Two proportions.

use super::{Sides, size_for};
use crate::stats::{StatsError, distributions::normal, error::open_share};

/// Power of the pooled z test of `p1` against `p2` with `n` trials a group.
///
/// Φ((√n·|p₁−p₂| − z·√(2p̄q̄))/√(p₁q₁+p₂q₂)). Normal approximation: rough
/// below about five expected hits. Source: Fleiss, Levin & Paik (2003),
/// Statistical Methods for Rates and Proportions, section 4.2.
///
/// # Errors
///
/// [`StatsError::Share`] for a proportion or `alpha` outside 0..1.
pub fn proportions_power(
    n: f64,
    p1: f64,
    p2: f64,
    alpha: f64,
    sides: Sides,
) -> Result<f64, StatsError> {
    for (name, value) in [("p1", p1), ("p2", p2), ("alpha", alpha)] {
        open_share(name, value)?;
    }
    let z = normal::upper_quantile(sides.tail(alpha));
    let mean = (p1 + p2) / 2.0;
    let under_null = z * (2.0 * mean * (1.0 - mean)).sqrt();
    let spread = (p1 * (1.0 - p1) + p2 * (1.0 - p2)).sqrt();
    let shift = n.sqrt() * (p1 - p2).abs();
    let wrong_way = match sides {
        Sides::TwoStrict => normal::tails((shift + under_null) / spread).upper(),
        Sides::One | Sides::Two => 0.0,
    };
    Ok(normal::tails((shift - under_null) / spread).lower() + wrong_way)
}

/// Trials a group (real number; round up) for `power`.
///
/// # Errors
///
/// As [`proportions_power`], also for `power`; [`StatsError::Range`] for equal
/// proportions.
pub fn proportions_size(
    p1: f64,
    p2: f64,
    alpha: f64,
    power: f64,
    sides: Sides,
) -> Result<f64, StatsError> {
    proportions_power(1.0, p1, p2, alpha, sides)?;
    open_share("power", power)?;
    let unreachable = StatsError::Range {
        name: "p2",
        value: p2,
        must: "must differ from p1",
    };
    if p1 == p2 {
        return Err(unreachable);
    }
    size_for(power, 1.0, |n| {
        proportions_power(n, p1, p2, alpha, sides).unwrap_or(0.0)
    })
    .ok_or(unreachable)
}
