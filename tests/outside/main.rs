//! Checks against values that did not come from this project.
//!
//! Every module names its sources; README.md beside this file lists all checks
//! with tolerance and result. Values are in `fixtures/published/`.

#![allow(
    clippy::panic,
    clippy::unwrap_used,
    clippy::expect_used,
    unreachable_pub,
    reason = "a check that cannot read its values must fail"
)]

mod published;
mod run_rules;
#[path = "../shops/mod.rs"]
mod shops;

mod clusters;
mod comparisons;
mod control_charts;
mod distributions;
mod exact_tests;
mod generalised;
mod linear;
mod mixed;
mod model_reference;
mod power;
mod real_patterns;
mod steel_faults;
mod surface;
mod trade;
