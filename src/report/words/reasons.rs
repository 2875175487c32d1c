//! Reasons for and against a cause, and what to check next, as sentences.

use crate::causes::{NextCheck, Reason};
use crate::charts::NumberStyle;

/// The reason as a sentence with its numbers.
#[must_use]
pub fn reason(reason: &Reason, numbers: &NumberStyle) -> String {
    match reason {
        Reason::Repeats {
            hits,
            exposed,
            expected,
        } => format!(
            "It is at this place on {} of {} panels, where chance would put it on about {}.",
            numbers.count(*hits),
            numbers.count(*exposed),
            numbers.significant(*expected, 2)
        ),
        Reason::NeverTurned => {
            "No panel was turned or laid elsewhere, so machine and part look alike.".to_owned()
        }
    }
}

/// What to check next, as a sentence; none where there is nothing to check.
#[must_use]
pub fn next_check(check: &NextCheck, numbers: &NumberStyle) -> Option<String> {
    match check {
        NextCheck::None => None,
        NextCheck::TurnPanels { panels } => Some(format!(
            "Lay {} panels turned by half a turn and inspect them: what stays in the machine \
             is the machine's, what turns with the panels came with them.",
            numbers.count(*panels)
        )),
    }
}
