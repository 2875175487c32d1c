//! What could have been missed.

use super::counting::{capital, counted};
use super::finding::cell_name;
use crate::causes::Stream;
use crate::charts::NumberStyle;

/// Title of the page.
pub const TITLE: &str = "What could have been missed";
/// Heading above the reasons of streams.
pub const WHY: &str = "Why it is put down to this";
/// What the table means.
pub const EXPLAINED: &str = "A fixed place that marks at least the share of panels given here would have been \
    found (detected) with 90 % probability, anywhere on nine tenths of the area that panels covered. A rarer repeat can hide \
    among marks that wander. Panels needed: how many it takes to see a repeat on one panel in five.";

/// The sentence under the title.
pub fn lead(streams: &[Stream], numbers: &NumberStyle) -> String {
    let blind = streams
        .iter()
        .filter(|s| s.smallest_repeat_seen.is_none_or(|limit| limit > 0.2))
        .count();
    match (blind, streams.len()) {
        (0, 1) => "A repeat on one panel in five would have been seen.".to_owned(),
        (0, _) => "For every kind of defect a repeat on one panel in five would have been seen."
            .to_owned(),
        (b, n) if b == n => {
            "There are too few panels to rule out a repeat on one panel in five.".to_owned()
        }
        (b, n) => format!(
            "For {} of {} kinds and cells there are too few panels to rule out a repeat on one panel in five.",
            numbers.count(b),
            numbers.count(n)
        ),
    }
}

/// The limit as a cell of the table.
pub fn smallest(limit: Option<f64>, panels: usize, numbers: &NumberStyle) -> String {
    limit.map_or("none".to_owned(), |limit| numbers.percent(limit, panels))
}

/// Caption of the table.
pub fn caption(all: usize, shown: usize, numbers: &NumberStyle) -> String {
    if all > shown {
        format!(
            "Smallest repeat that would have been seen: the {} largest of {}; findings.json has all.",
            numbers.count(shown),
            counted(all, "kind and cell", "kinds and cells", numbers)
        )
    } else {
        "Smallest repeat that would have been seen, by cell and kind of defect.".to_owned()
    }
}

/// Columns of the table.
pub const COLUMNS: &[(&str, bool)] = &[
    ("Cell", false),
    ("Defect", false),
    ("Panels", true),
    ("Hit", true),
    ("Smallest repeat seen", true),
    ("Panels needed", true),
    ("Who makes it", false),
];

/// Why a stream's rest has its cause.
pub fn why(defect: &str, machine: Option<&str>, head: Option<&str>, reasons: &[String]) -> String {
    format!(
        "{}, {}: {}",
        capital(defect),
        cell_name(machine, head),
        reasons.join(" ")
    )
}
