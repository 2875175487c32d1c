//! Two groups compared within strata (lots, machines, parts), so that a
//! different mix of strata cannot pass for an effect.

mod convolution;
mod rate_ratio;

pub(crate) use rate_ratio::{Count, ExactRateRatio, RateStratum, exact_rate_ratio};
