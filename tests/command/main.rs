//! The command line as a user meets it: exit codes, messages, the folder and
//! what is in it.

mod document;
mod folder;
mod injection;
mod killed;
mod run;
mod same_bytes;
mod shop;
