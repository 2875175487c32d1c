//! Control charts: the spread of counts, a chart for small shifts, and how long
//! they run before a false alarm.

mod count_law;
mod neighbours;
#[cfg(test)]
mod published;
mod run_length;
mod weighted_mean;

pub(crate) use count_law::CountLaw;
pub(crate) use neighbours::variance_factor;
pub(crate) use run_length::{average_run_length, ewma_run_length};
pub(crate) use weighted_mean::weighted_mean;
