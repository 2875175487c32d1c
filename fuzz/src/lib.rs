//! The two rooms that meet other people's bytes, by their source, without the
//! rest of the house: its millions of counters would slow every run.
#![allow(dead_code, unused_imports, unreachable_pub, reason = "only parts of the rooms are driven here")]

#[path = "../../src/columns/mod.rs"]
pub mod columns;
#[path = "../../src/records/mod.rs"]
pub mod records;
#[path = "../../src/site/mod.rs"]
pub mod site;
