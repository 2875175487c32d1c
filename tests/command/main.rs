//! The command line as a user meets it: exit codes, messages, the folder and
//! what is in it.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    unreachable_pub,
    reason = "a test that cannot go on says where"
)]

mod chains;
mod check;
mod compare;
mod demo;
mod document;
mod folder;
mod injection;
mod killed;
mod plan;
mod recipe;
mod removal;
mod run;
mod said;
mod same_bytes;
mod sample;
mod shop;
#[path = "../shops/mod.rs"]
mod shops;
mod story;
mod traps;
mod weeks;
