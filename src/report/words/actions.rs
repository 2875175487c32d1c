//! What came of what was done, in words.

use super::changes::{of_before, ratio_interval};
use super::counting::of_panels;
use super::life::{confidence, without_it};
use crate::charts::NumberStyle;
use crate::life::{ActionAnswer, Done};

/// Heading over what was done.
pub const DONE: &str = "What was done, and whether it helped";
/// Caption of that table.
pub const DONE_CAPTION: &str = "Panels hit after each action against those before it. The day itself counts on neither side; \
    the answer is adjusted for all actions, the interval is not";

/// What came of an action, in a sentence.
pub fn answer(done: &Done, unit: &str, numbers: &NumberStyle) -> String {
    let counts = format!(
        "{} before, {} after",
        of_panels(done.before.hits, done.before.panels, numbers),
        of_panels(done.after.hits, done.after.panels, numbers)
    );
    let ratio = match (done.ratio, done.ratio_ci) {
        (Some(r), Some((low, high))) => format!(
            ", {} ({})",
            of_before(r, numbers),
            ratio_interval(low, high, numbers)
        ),
        _ => String::new(),
    };
    let saved = (done.saved).map_or(String::new(), |saved| {
        format!(
            "; about {}\u{a0}{unit} saved so far",
            numbers.significant(saved, 2)
        )
    });
    match done.answer {
        ActionAnswer::Gone => format!(
            "gone since: {counts}{}{saved}",
            done.confidence.map_or(String::new(), |c| format!(
                " (confidence {})",
                confidence(c, numbers)
            ))
        ),
        ActionAnswer::Fewer => format!("fewer since: {counts}{ratio}{saved}"),
        ActionAnswer::More => format!("more since: {counts}{ratio}"),
        ActionAnswer::NoDifference => format!("it did not help: {counts}{ratio}"),
        ActionAnswer::TooFewPanels => format!(
            "can’t be told yet: {counts}{}",
            without_it(done.panels_missing, numbers)
        ),
        ActionAnswer::NotIdentifiable => {
            format!("can’t be told: something else changed too; {counts}")
        }
        ActionAnswer::Unknown => {
            "about nothing that these records or the last report hold".to_owned()
        }
    }
}

/// Heads of the table of actions.
pub const DONE_COLUMNS: &[(&str, bool)] = &[
    ("Day", false),
    ("About", false),
    ("What was done", false),
    ("What came of it", false),
];

/// What an action is about.
pub fn about(done: &Done) -> String {
    let action = &done.action;
    match (&action.finding, &action.defect) {
        (Some(id), Some(defect)) => format!("{id}, {defect}"),
        (Some(id), None) => id.clone(),
        (None, defect) => {
            let defect = defect.as_deref().unwrap_or("–");
            action
                .machine
                .as_deref()
                .map_or(defect.to_owned(), |m| format!("{defect} on {m}"))
        }
    }
}

/// An action on the finding's page.
pub fn on_page(done: &Done, unit: &str, numbers: &NumberStyle) -> String {
    format!(
        "{}: {}; {}.",
        numbers.date(done.action.date),
        done.action.done,
        answer(done, unit, numbers)
    )
}
