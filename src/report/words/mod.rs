//! All words of the report, in English. Another language is another folder
//! with the same functions.
//!
//! Functions here turn results into sentences and are tested by what they
//! say: singular and plural, one lot, nothing found.

pub mod document;
mod next_checks;
mod reasons;

pub use next_checks::next_check;
pub use reasons::reason;

/// The language, as a tag of BCP 47.
pub const LANGUAGE: &str = "en";
