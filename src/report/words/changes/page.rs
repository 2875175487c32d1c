//! Words of the page on changes: title, captions, charts and heads of tables.

use crate::change::{Change, Changes, Comparison, Question};
use crate::charts::NumberStyle;
use crate::report::words::changes::{interval, ratio, side_heads, sides, verdict_of, when};
use crate::report::words::counting::{capital, counted};

/// Title of the page.
pub const TITLE: &str = "Did the change help?";
/// Axis of the chart of ratios.
pub fn ratio_axis(question: &Question, numbers: &NumberStyle) -> String {
    format!("defects per m², {}", over(question, numbers))
}

/// The second side over the first: "after over before".
fn over(question: &Question, numbers: &NumberStyle) -> String {
    let [first, second] = side_heads(question, numbers);
    format!("{second} over {first}")
}

/// Over the parts of the chart below and above 1.
pub fn halves(question: &Question, numbers: &NumberStyle) -> [String; 2] {
    let [_, second] = side_heads(question, numbers);
    [format!("← fewer {second}"), format!("more {second} →")]
}
/// Over the column of ratios.
pub const RATIO_HEAD: &str = "ratio";
/// Before, after.
pub(super) const SIDES: [&str; 2] = ["before", "after"];
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
        return crate::report::words::changes::summary(one, numbers);
    }
    let of_recipe = |c: &Comparison| matches!(c.question, Question::Recipe { .. });
    if changes.comparisons.iter().all(of_recipe) {
        let all = capital(&counted(n, "change", "changes", numbers));
        return format!("{all} of recipe in the order of the panels; the latest comes first.");
    }
    let all = capital(&counted(n, "comparison", "comparisons", numbers));
    format!("{all} of recipes and plans; the latest comes first.")
}

/// Changes that are not shown.
pub fn further(n: usize, numbers: &NumberStyle) -> String {
    format!(
        "{} in findings.json.",
        capital(&counted(
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
        "Ratios of defects per area, {}. {}.",
        over(&comparison.question, numbers),
        rows.join("; ")
    )
}

/// Title of the chart by lot.
pub fn lots_title(change: &Change, numbers: &NumberStyle) -> String {
    let [first, second] = side_heads(&change.question, numbers);
    format!("{} {first} and {second}, lot by lot", change.defect)
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
            capital(&change.defect),
            counted(lots, "lot", "lots", numbers)
        )
    } else {
        format!(
            "{}: fewer {} in {} of the {} sanded both ways.",
            capital(&change.defect),
            when(&change.question, numbers),
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
pub fn kinds_columns(question: &Question, numbers: &NumberStyle) -> Vec<(String, bool)> {
    columns("Kind", "Verdict", question, numbers)
}

/// Heads of the removal table.
pub fn removal_columns(question: &Question, numbers: &NumberStyle) -> Vec<(String, bool)> {
    let last = when(question, numbers);
    columns("Measure", &capital(&last), question, numbers)
}

fn columns(
    first: &str,
    last: &str,
    question: &Question,
    numbers: &NumberStyle,
) -> Vec<(String, bool)> {
    let sides = side_heads(question, numbers).map(|side| capital(&side));
    let over = capital(&over(question, numbers));
    let figures = (sides.into_iter()).chain([over, "p, adjusted".to_owned()]);
    (std::iter::once((first.to_owned(), false)))
        .chain(figures.map(|head| (head, true)))
        .chain([(last.to_owned(), false)])
        .collect()
}
