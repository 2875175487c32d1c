//! Words of the document's frame.

/// Before the page number.
pub const PAGE: &str = "Page";
/// Between page number and number of pages.
pub const OF: &str = "of";
/// Before a figure's number.
pub const FIGURE: &str = "Figure";
/// Before a table's number.
pub const TABLE: &str = "Table";
/// Opens a caution.
pub const CAUTION: &str = "Caution";
/// Marks an action to which the page's caution applies.
pub const CAUTION_TAG: &str = "CAUTION";
/// Heads of the list of statements.
pub const STATEMENT_HEADS: [&str; 3] = ["Who makes it", "What we found", "How sure"];

/// The foot of every page.
#[must_use]
pub fn footer() -> String {
    format!("onus {}", env!("CARGO_PKG_VERSION"))
}
