//! Words of the page on changes: title, captions, charts and heads of tables.

use crate::change::{Change, Changes, Comparison, Question};
use crate::charts::NumberStyle;
use crate::report::words::changes::{interval, ratio, sides, verdict_of};
use crate::report::words::counting::counted;

/// Title of the page.
pub const TITLE: &str = "Did the change help?";
/// Axis of the chart of ratios.
pub const RATIO_AXIS: &str = "defects per m², after over before";
/// Over the part of the chart below 1.
pub const FEWER: &str = "← fewer after";
/// Over the part of the chart above 1.
pub const MORE: &str = "more after →";
/// Over the column of ratios.
pub const RATIO_HEAD: &str = "ratio";
/// Before, after.
pub const SIDES: [&str; 2] = ["before", "after"];
/// Over the column of panels by lot.
pub const PANELS_HEAD: &str = "panels";
/// Caption of the removal table.
pub const REMOVAL_CAPTION: &str = "Removal before and after";

/// One sentence on the page.
pub fn lead(changes: &Changes, numbers: &NumberStyle) -> String {
    let n = changes.comparisons.len();
    if let [one] = changes.comparisons.as_slice()
        && !matches!(one.question, Question::Recipe { .. })
    {
        return crate::report::words::changes::summary(one);
    }
    format!(
        "{} of recipe in the order of the panels; the latest comes first.",
        crate::report::words::counting::capital(&counted(n, "change", "changes", numbers))
    )
}

/// Changes that are not shown.
pub fn further(n: usize, numbers: &NumberStyle) -> String {
    format!(
        "{} in findings.json.",
        crate::report::words::counting::capital(&counted(
            n,
            "earlier change is",
            "earlier changes are",
            numbers
        ))
    )
}

/// The chart of ratios for those who cannot see it.
pub fn ratios_alt(comparison: &Comparison, numbers: &NumberStyle) -> String {
    let rows: Vec<String> = comparison
        .changes
        .iter()
        .map(|c| {
            format!(
                "{}: ratio {} ({}), {}",
                c.defect,
                ratio(c.ratio, numbers),
                interval(c, numbers),
                verdict_of(c)
            )
        })
        .collect();
    format!(
        "Ratios of defects per area, after over before. {}.",
        rows.join("; ")
    )
}

/// Title of the chart by lot.
pub fn lots_title(defect: &str) -> String {
    format!("{defect} before and after, lot by lot")
}

/// What is seen in the chart by lot.
pub fn lots_caption(
    change: &Change,
    lots: usize,
    both: usize,
    shown: usize,
    numbers: &NumberStyle,
) -> String {
    let fewer = change
        .by_lot
        .iter()
        .filter(|l| l.lot.is_some() && l.before.panels > 0 && l.after.panels > 0)
        .filter(|l| {
            l.after.defects as f64 / l.after.area_m2 < l.before.defects as f64 / l.before.area_m2
        })
        .count();
    let mut text = if both == 0 {
        format!(
            "{}: none of the {} was sanded both ways, so the change can’t be told from the lots.",
            crate::report::words::counting::capital(&change.defect),
            counted(lots, "lot", "lots", numbers)
        )
    } else {
        format!(
            "{}: fewer after the change in {} of the {} sanded both ways.",
            crate::report::words::counting::capital(&change.defect),
            numbers.count(fewer),
            counted(both, "lot", "lots", numbers)
        )
    };
    if shown < lots {
        text += &format!(
            " {} of {} lots are drawn.",
            numbers.count(shown),
            numbers.count(lots)
        );
    }
    text
}

/// Axis of a rate.
pub fn rate_axis(defect: &str) -> String {
    format!("{defect}, per m²")
}

/// "143 on 60".
pub fn defects_on_panels(counts: &crate::change::Counts, numbers: &NumberStyle) -> String {
    format!(
        "{} on {}",
        numbers.count(counts.defects),
        numbers.count(counts.panels)
    )
}

/// Caption of the table of kinds.
pub fn kinds_caption(question: &Question, numbers: &NumberStyle) -> String {
    let (before, after) = sides(question, numbers);
    format!(
        "Defects on panels: {before} against {after}; ratio of defects per m² over all panels and \
         among like ones, with the interval of the latter"
    )
}

/// Heads of the table of kinds.
pub const KINDS_COLUMNS: &[(&str, bool)] = &[
    ("Kind", false),
    ("Before", true),
    ("After", true),
    ("After over before", true),
    ("p, adjusted", true),
    ("Verdict", false),
];

/// Heads of the removal table.
pub const REMOVAL_COLUMNS: &[(&str, bool)] = &[
    ("Measure", false),
    ("Before", true),
    ("After", true),
    ("After over before", true),
    ("p, adjusted", true),
    ("After the change", false),
];
