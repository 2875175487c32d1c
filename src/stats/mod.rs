//! The numerics that no crate offers: exact tests, rates, multiplicity, mixed
//! models, cluster-robust errors, control charts.
//!
//! Slices and numbers in, structs out; this room knows no file, clock or column.
#![warn(missing_docs)]

pub(crate) mod cluster_robust;
pub(crate) mod control_chart;
pub mod distributions;
pub(crate) mod mixed;
pub(crate) mod modified_large_sample;
pub(crate) mod multiplicity;
pub(crate) mod proportion;
pub(crate) mod small_symmetric;
pub(crate) mod stratified;

pub(crate) mod contrast;
mod error;
#[cfg(test)]
mod exact_checks;
mod interval;
pub(crate) mod matrix;
pub(crate) mod minimise;
mod poisson_binomial;
#[cfg(test)]
#[path = "../../tests/outside/published.rs"]
pub(crate) mod published;
pub(crate) mod root;

pub use error::StatsError;
pub use interval::Interval;
pub use poisson_binomial::{
    SMALLEST_TAIL, binomial_tail, poisson_binomial_tail, poisson_binomial_tails,
};
