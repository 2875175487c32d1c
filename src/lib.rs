//! `onus` tells a process or quality engineer which surface defects of sanded
//! flat panels the machine makes and which came with the part, which recipe
//! factor to move, and whether the last change helped. The burden of proof
//! lies on whoever blames the machine.
//!
//! Data flows one way: [`records`] reads inspection files by the rules of the
//! [`site`] file; [`causes`], [`removal`] and [`change`] each turn records into
//! a plain result; [`life`] follows findings from
//! report to report; [`charts`] draw results; [`report`] puts them into words and
//! into one folder. [`stats`] holds the numerics and knows none of them.

pub mod causes;
pub mod change;
pub mod charts;
pub mod cli;
pub mod columns;
pub mod demo;
mod duel;
pub mod life;
pub mod records;
pub mod removal;
pub mod report;
pub mod site;
pub mod stats;
pub mod trial;
