//! Promises over the whole path, tested by seeded simulation with exact
//! binomial bounds.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    unreachable_pub,
    reason = "test code may stop at the first surprise"
)]

#[path = "../shops/mod.rs"]
mod shops;

mod advice;
mod attribution;
mod calibration;
mod change;
mod confounded;
mod control_chart;
mod demo_seeds;
mod expected;
mod lot_rates;
mod oracle;
mod plan;
mod rate_duels;
mod recipe;
mod scan;
mod simulator;
mod stations;
mod surface;
mod thin_film;
mod tilts;
mod turns;
mod window;
