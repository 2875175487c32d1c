//! The numerics that no crate offers: exact tests, rates, multiplicity, least
//! squares, generalised linear and mixed models, Monte Carlo.
//!
//! Slices and numbers in, structs out; this room knows no file, clock or column.
#![warn(missing_docs)]

pub mod analysis_of_variance;
pub mod cluster_robust;
pub mod coefficient;
pub mod control_chart;
pub mod convergence;
pub mod distributions;
pub mod fisher_exact;
pub mod generalised;
pub mod linear;
pub mod mixed;
pub mod modified_large_sample;
pub mod multiplicity;
pub mod poisson_rate;
pub mod power;
pub mod proportion;
pub mod rate_ratio;
pub mod sign_test;
pub mod small_symmetric;
pub mod stratified;
pub mod summary;
pub mod t_test;
pub mod two_proportions;

mod error;
mod interval;
mod poisson_binomial;
pub(crate) mod root;
mod tail_rule;

pub use error::StatsError;
pub use interval::Interval;
pub use poisson_binomial::{
    SMALLEST_TAIL, binomial_tail, poisson_binomial_tail, poisson_binomial_tails,
};
pub use tail_rule::TailRule;
