//! The data page.

use super::counting::{counted, of_panels};
use crate::charts::NumberStyle;
use crate::records::{InputCounts, Lost, Reject};
use crate::site::DefectClass;

/// Title of the page.
pub const TITLE: &str = "The data";
/// Caption of the counts.
pub const COUNTS_CAPTION: &str = "What was read.";
/// Heading above the rejects.
pub const SET_ASIDE: &str = "What was set aside";
/// Heading above the doubts.
pub const DOUBTS: &str = "What to keep in mind";

/// The sentence under the title.
pub fn lead(input: &InputCounts, numbers: &NumberStyle) -> String {
    let files = counted(input.files, "file", "files", numbers);
    let clean = of_panels(input.clean_panels, input.inspected_panels, numbers);
    let defects = counted(input.defects, "defect", "defects", numbers);
    match input.inspected_panels {
        0 => format!("{files} read; no inspected panel in them."),
        _ => format!("{files} read; {clean} without a defect, {defects} on the others."),
    }
}

/// The counts in words.
pub fn counts(input: &InputCounts) -> Vec<(&'static str, usize)> {
    vec![
        ("Files read", input.files),
        ("Files that could not be read", input.skipped_files),
        ("Panels analysed", input.panels),
        ("of these inspected for defects", input.inspected_panels),
        ("of the inspected without a defect", input.clean_panels),
        (
            "Defects (nonconformities) at first inspections",
            input.defects,
        ),
        ("Readings of removal or film", input.readings),
        (
            "Rows of later inspections, kept out of rates",
            input.reinspections,
        ),
        ("Rows set aside one by one", input.rejected_rows),
        (
            "Rows that went with their panel",
            input.rows_lost_with_panels,
        ),
        ("Panels set aside whole", input.rejected_panels),
    ]
}

/// Columns of the counts, two of them side by side.
pub const COUNTS_COLUMNS: &[(&str, bool)] = &[
    ("What", false),
    ("Number", true),
    ("What", false),
    ("Number", true),
];

/// Caption of the kinds.
pub fn kinds_caption(all: usize, shown: usize, numbers: &NumberStyle) -> String {
    if all > shown {
        format!(
            "Kinds of defect: the {} heaviest of {}.",
            numbers.count(shown),
            numbers.count(all)
        )
    } else {
        "Kinds of defect, the heaviest first. A panel counts once for each kind it shows."
            .to_owned()
    }
}

/// Columns of the kinds, with their cost where there are costs.
pub fn kinds_columns(cost_unit: Option<&str>) -> Vec<(String, bool)> {
    let words = ["Defect", "Class"].map(|head| (head.to_owned(), false));
    let figures = ["Panels", "Defects"].map(|head| (head.to_owned(), true));
    let cost = cost_unit.map(|unit| (format!("Cost, {unit}"), true));
    words.into_iter().chain(figures).chain(cost).collect()
}

/// A class of defect in words.
pub fn class(class: Option<DefectClass>) -> &'static str {
    match class {
        Some(DefectClass::Over) => "too much removed",
        Some(DefectClass::Under) => "too little removed",
        Some(DefectClass::Surface) => "mark of the abrasive",
        Some(DefectClass::Incoming) => "came with the part",
        None => "not known",
    }
}

/// What was lost.
pub fn lost(lost: Lost) -> &'static str {
    match lost {
        Lost::Value => "value",
        Lost::Row => "row",
        Lost::Panel => "panel",
        Lost::File => "file",
    }
}

/// Caption of the rejects.
pub fn rejects_caption(n: usize, numbers: &NumberStyle) -> String {
    format!(
        "{} in rejects.csv, by what was lost and the column to blame.",
        counted(n, "line", "lines", numbers)
    )
}

/// Columns of the rejects.
pub const REJECTS_COLUMNS: &[(&str, bool)] = &[
    ("Lost", false),
    ("Column", false),
    ("Times", true),
    ("First one", false),
];

/// A reject as an example: where, what, why.
pub fn example(reject: &Reject) -> String {
    let file = reject.file.file_name().unwrap_or(reject.file.as_os_str());
    let file = file.to_string_lossy();
    let line = reject
        .line
        .map_or(String::new(), |line| format!(", line {line}"));
    let value: String = reject.value.as_deref().map_or(String::new(), |value| {
        let short: String = value.chars().take(40).collect();
        let more = if value.chars().count() > 40 {
            "…"
        } else {
            ""
        };
        format!(" “{short}{more}”")
    });
    format!("{file}{line}{value}: {}", reject.why)
}

/// Doubts beyond those listed.
pub fn more_doubts(n: usize, numbers: &NumberStyle) -> String {
    format!("{} in findings.json.", counted(n, "more", "more", numbers))
}
