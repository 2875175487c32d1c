//! The two rooms that meet other people's bytes, by their source, without
//! what needs polars: its millions of counters would slow every run.
#![allow(dead_code, unused_imports, unreachable_pub, reason = "only parts of the rooms are driven here")]

#[path = "../../src/site/mod.rs"]
pub mod site;

pub mod records;
