//! What is compared, and what else changed, in words.

use crate::change::{Confounder, FROM, Question, UNTIL};
use crate::charts::NumberStyle;
use crate::report::words::counting::{capital, list};

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
        Question::Week { week } => (format!("weeks before {week}"), week.clone()),
    }
}

/// Recipes that followed each other so often took turns.
const IN_TURNS: usize = 3;

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
            if *turns >= IN_TURNS {
                return format!("{} beside {before}, in turns{at}", capital(&after));
            }
            format!("From {before} to {after}{at}, first on panel {first_panel}")
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
