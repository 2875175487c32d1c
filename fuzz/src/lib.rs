//! The two rooms that meet other people's bytes, by their source.
#![allow(dead_code, unreachable_pub, reason = "only parts of the rooms are driven here")]

#[path = "../../src/records/mod.rs"]
pub mod records;
#[path = "../../src/site/mod.rs"]
pub mod site;
