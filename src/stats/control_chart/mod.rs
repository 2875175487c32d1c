//! Control charts: limits of counts and proportions, charts for small shifts,
//! and how long they run before a false alarm.

mod count_law;
mod cumulative_sum;
mod limits;
mod neighbours;
#[cfg(test)]
mod published;
mod run_length;
mod weighted_mean;

pub use count_law::CountLaw;
pub use cumulative_sum::{CumulativeSum, cumulative_sum};
pub use limits::{ControlLimits, proportion_limits, rate_limits, rate_std_error};
pub use neighbours::variance_factor;
pub use run_length::{average_run_length, ewma_run_length};
pub use weighted_mean::{WeightedMean, weighted_mean};
