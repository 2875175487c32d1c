//! Words of the document's frame.

use jiff::civil::Date;

use crate::change::Week;
use crate::charts::NumberStyle;

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
pub const STATEMENT_HEADS: [&str; 2] = ["Who makes it, how sure", "What, where, since when"];

/// What the report is.
pub fn title(week: Option<Week>) -> String {
    let what = "Surface defects of sanded panels";
    week.map_or(what.to_owned(), |week| format!("{what}, {week}"))
}

/// The days the records cover, or those of the week.
pub fn period(week: Option<Week>, days: Option<(Date, Date)>, numbers: &NumberStyle) -> String {
    let days = days_of(days, numbers);
    week.map_or(days.clone(), |week| format!("{week} ({days})"))
}

fn days_of(days: Option<(Date, Date)>, numbers: &NumberStyle) -> String {
    match days {
        None => "no dates recorded".to_owned(),
        Some((first, last)) if first == last => numbers.date(first),
        Some((first, last)) => format!("{} to {}", numbers.date(first), numbers.date(last)),
    }
}

/// The foot of every page.
pub fn footer() -> String {
    format!("onus {}", env!("CARGO_PKG_VERSION"))
}
