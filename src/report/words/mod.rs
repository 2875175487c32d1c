//! All words of the report, in English. Another language is another folder
//! with the same functions.
//!
//! Functions here turn results into sentences and are tested by what they
//! say: singular and plural, one lot, nothing found.

pub mod document;
mod reasons;

pub use reasons::{next_check, reason};

/// The language, as a tag of BCP 47.
pub const LANGUAGE: &str = "en";
