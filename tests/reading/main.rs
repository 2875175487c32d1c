//! Reading: the corpus of messy files, properties that hold for any files, and
//! checks against published examples.

#![allow(
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that cannot write or read its files must fail"
)]

mod axes;
mod corpus;
mod extremes;
mod faults;
mod map;
mod parquet;
mod properties;
mod published;
