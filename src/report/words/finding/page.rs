//! Headings and tables of the pages of findings.

use crate::charts::NumberStyle;
use crate::report::words::counting::counted;

/// Above the reasons.
pub const WHY: &str = "What speaks for it and against it";
/// Above the advice.
pub const NEXT: &str = "What to check next";
/// Title of the page of the rest.
pub const REST_TITLE: &str = "Further findings";
/// Caption of its table.
pub const REST_CAPTION: &str = "Findings after the worst, in the same order.";

/// The sentence under that title.
pub fn rest_lead(n: usize, shown: usize, numbers: &NumberStyle) -> String {
    let all = counted(n, "finding", "findings", numbers);
    if n > shown {
        format!(
            "{all} beside those with a page of their own; the first {} are listed, findings.csv has all.",
            numbers.count(shown)
        )
    } else {
        format!("{all} beside those with a page of their own.")
    }
}

/// Columns of that table.
pub const REST_COLUMNS: &[(&str, bool)] = &[
    ("No.", false),
    ("Who makes it", false),
    ("What we found", false),
    ("How sure", false),
];

/// Caption of the table of lots.
pub fn lots_caption(all: usize, shown: usize, numbers: &NumberStyle) -> String {
    if all > shown {
        format!(
            "Panels hit by lot: the {} most hit of {} lots.",
            numbers.count(shown),
            numbers.count(all)
        )
    } else {
        "Panels hit by lot.".to_owned()
    }
}

/// Columns of that table.
pub const LOTS_COLUMNS: &[(&str, bool)] = &[
    ("Lot", false),
    ("Panels hit", true),
    ("Panels that could be hit", true),
    ("Share", true),
];
