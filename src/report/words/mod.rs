//! All words of the report, in English. Another language is another folder
//! with the same functions.
//!
//! Functions here turn results into sentences and are tested by what they
//! say: singular and plural, one lot, nothing found.

pub mod actions;
pub mod advice;
pub mod bars;
pub mod causes;
pub mod caution;
pub mod changes;
pub mod counting;
pub mod data;
pub mod document;
pub mod evidence;
pub mod film;
pub mod finding;
pub mod front;
pub mod kinds;
pub mod life;
pub mod method;
pub mod missed;
mod next_checks;
pub mod places;
mod reasons;
pub mod recipe;
pub mod strips;
pub mod surface;
pub mod trend;
pub mod trial;

pub use next_checks::next_check;
pub use reasons::{reason, reasons};

/// The language, as a tag of BCP 47.
pub const LANGUAGE: &str = "en";
