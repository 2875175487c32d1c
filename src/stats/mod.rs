//! The numerics that no crate offers: exact tests, rates, multiplicity, least
//! squares, generalised linear and mixed models, Monte Carlo.
//!
//! Slices and numbers in, structs out; this room knows no file, clock or column.
#![warn(missing_docs)]

mod interval;
mod poisson_binomial;

pub use interval::Interval;
pub use poisson_binomial::{SMALLEST_TAIL, binomial_tail, poisson_binomial_tail};
