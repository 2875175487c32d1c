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

#[allow(dead_code, reason = "tests beside the code read it too")]
mod published;
#[path = "../shops/mod.rs"]
mod shops;

mod control_charts;
mod end_to_end;
mod end_to_end_counts;
mod real_patterns;
mod steel_faults;
mod surface;
mod trade;
mod trial;
