//! The numerics that no crate offers: exact tests, rates, multiplicity, least
//! squares, generalised linear and mixed models, Monte Carlo.
//!
//! Slices and numbers in, structs out; this room knows no file, clock or column.
#![warn(missing_docs)]

mod interval;

pub use interval::Interval;
