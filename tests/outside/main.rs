//! Checks against values that did not come from this project.
//!
//! Every module names its sources; README.md beside this file lists all checks
//! with tolerance and result. Values are in `fixtures/published/`.

#![allow(
    clippy::panic,
    clippy::unwrap_used,
    reason = "a check that cannot read its values must fail"
)]

mod published;
mod run_rules;

mod clusters;
mod comparisons;
mod distributions;
mod exact_tests;
mod generalised;
mod linear;
mod mixed;
mod model_reference;
mod power;
mod surface;
