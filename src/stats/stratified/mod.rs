//! Two groups compared within strata (lots, machines, parts), so that a
//! different mix of strata cannot pass for an effect.

mod convolution;
mod odds_ratio;
mod rate_ratio;

pub use odds_ratio::{
    ExactOddsRatio, MantelHaenszelOddsRatio, exact_odds_ratio, mantel_haenszel_odds_ratio,
};
pub use rate_ratio::{
    ExactRateRatio, Heterogeneity, MantelHaenszelRateRatio, RateStratum, exact_rate_ratio,
    exact_rate_ratio_against, mantel_haenszel_rate_ratio,
};
