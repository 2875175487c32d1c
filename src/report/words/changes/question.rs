//! What is compared, and what else changed, in words.

use super::page::SIDES;
use super::ratio::of;
use crate::change::{Confounder, FROM, IN_TURNS, Question, UNTIL};
use crate::charts::NumberStyle;
use crate::report::words::counting::{capital, list};
use crate::report::words::trial::factor;

/// Before and after, in words.
pub fn sides(question: &Question, numbers: &NumberStyle) -> (String, String) {
    let date = |day: &str| (day.parse()).map_or_else(|_| day.to_owned(), |day| numbers.date(day));
    let pairs = |pairs: &[(String, String)]| {
        let told = |(column, value): &(String, String)| match column.as_str() {
            FROM | UNTIL => format!("{column} {}", date(value)),
            _ => format!("{column}={value}"),
        };
        pairs.iter().map(told).collect::<Vec<_>>().join(", ")
    };
    let with = |text: String, only: &[(String, String)]| {
        if only.is_empty() {
            text
        } else {
            format!("{text}, {}", pairs(only))
        }
    };
    match question {
        Question::Values { before, after } => (pairs(before), pairs(after)),
        Question::Since { day, only } => (
            with(format!("before {}", date(day)), only),
            with(format!("since {}", date(day)), only),
        ),
        Question::Abrasive { id, only } => (
            with(format!("before abrasive {id}"), only),
            with(format!("since abrasive {id}"), only),
        ),
        Question::Recipe { from, to, .. } => (format!("recipe {from}"), format!("recipe {to}")),
        Question::Plan {
            column, old, new, ..
        } => {
            let name = factor(column);
            (format!("{name} {old}"), format!("{name} {new}"))
        }
        Question::Week { week } => (format!("weeks before {week}"), week.clone()),
    }
}

/// The sides as heads of two columns: by their names where there is no before and after.
pub fn side_heads(question: &Question, numbers: &NumberStyle) -> [String; 2] {
    if by_name(question) {
        let (one, other) = sides(question, numbers);
        return [one, other];
    }
    SIDES.map(str::to_owned)
}

/// A rate beside that of the first side: "0.25 of before", "2.2 times recipe A".
pub(super) fn of_first(question: &Question, ratio: f64, numbers: &NumberStyle) -> String {
    of(ratio, &first(question, numbers), numbers)
}

/// What the first side is called beside the other one.
fn first(question: &Question, numbers: &NumberStyle) -> String {
    if by_name(question) {
        sides(question, numbers).0
    } else {
        SIDES[0].to_owned()
    }
}

/// Whether the sides go by their names: panels of a trial lie before or after nothing.
fn by_name(question: &Question) -> bool {
    matches!(question, Question::Plan { .. }) || !question.has_old()
}

/// When or with what the second side came: "after the change", "with recipe B than with
/// recipe A".
pub(super) fn when(question: &Question, numbers: &NumberStyle) -> String {
    let (one, other) = sides(question, numbers);
    match question {
        Question::Week { week } => format!("in {week}"),
        _ if by_name(question) => format!("with {other} than with {one}"),
        _ => "after the change".to_owned(),
    }
}

/// The change as a heading.
pub fn heading(question: &Question, numbers: &NumberStyle) -> String {
    let (before, after) = sides(question, numbers);
    match question {
        Question::Recipe {
            machine,
            first_panel,
            turns,
            ..
        } => {
            let at = machine
                .as_ref()
                .map_or(String::new(), |m| format!(" on {m}"));
            // of those neither of which is old the first named comes first
            if !question.has_old() {
                return format!("{} and {after}, in turns{at}", capital(&before));
            }
            if *turns >= IN_TURNS {
                return format!("{} beside {before}, in turns{at}", capital(&after));
            }
            format!("From {before} to {after}{at}, first on panel {first_panel}")
        }
        Question::Plan { plan, .. } => {
            format!("Plan {plan}: {after} beside {before}, in turns")
        }
        Question::Week { week } => format!("{week} against the weeks before"),
        Question::Since { .. } => {
            let both = after.strip_prefix("since ").unwrap_or(&after);
            format!("Before and since {both}")
        }
        Question::Abrasive { id, .. } => format!("Before and since abrasive {id}"),
        _ => format!("From {before} to {after}"),
    }
}

/// What else changed, as a list.
pub fn confounders(all: &[Confounder]) -> String {
    list(all.iter().map(|c| confounder(*c).to_owned()))
}

fn confounder(what: Confounder) -> &'static str {
    match what {
        Confounder::Lot => "the lots",
        Confounder::Supplier => "the supplier",
        Confounder::Part => "the part or its size",
        Confounder::Machine => "the machine",
        Confounder::Inspector => "the inspection",
        Confounder::AbrasiveId => "the abrasive",
        Confounder::Fixture => "the nest or stop",
        Confounder::Lay => "how the panels lay",
        Confounder::TimeOfDay => "the hours of the day",
        Confounder::Weekday => "the days of the week",
        Confounder::Settings => "another setting of the recipe",
        Confounder::CleanPanels => "whether clean panels are exported",
        Confounder::Trend => "a trend already under way",
        Confounder::Step => "a step on another day",
    }
}
