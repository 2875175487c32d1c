//! What makes a comparison impossible, and what to do about it.

use super::Side;

/// A comparison that can't be made as asked.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ChangeError {
    /// Not `column=value`.
    #[error("{text:?} is not of the form column=value, such as recipe=B2")]
    NotAPair {
        /// What was given.
        text: String,
    },
    /// No such column.
    #[error("no column or factor {name:?}")]
    UnknownColumn {
        /// What was given.
        name: String,
        /// The nearest known one.
        nearest: Option<String>,
    },
    /// The column exists but says nothing about how a panel was made.
    #[error("panels can't be picked by {name:?}")]
    NotAboutPanels {
        /// What was given.
        name: String,
    },
    /// A side without conditions.
    #[error("nothing says which panels are {}", side_name(*side))]
    NoCondition {
        /// The side.
        side: Side,
    },
    /// No inspected panel matches.
    #[error("no inspected panel is {} ({what})", side_name(*side))]
    NoPanel {
        /// The side.
        side: Side,
        /// What was asked of it.
        what: String,
        /// Values that do occur, most frequent first.
        found: Vec<String>,
        /// A value that differs only a little.
        nearest: Option<String>,
    },
    /// No inspected panel meets what holds for both sides.
    #[error("no inspected panel is {what}")]
    Nothing {
        /// What was asked of it.
        what: String,
        /// Values that do occur, most frequent first.
        found: Vec<String>,
        /// A value that differs only a little.
        nearest: Option<String>,
    },
    /// No such kind of defect.
    #[error("no defect is called {name:?}")]
    UnknownDefect {
        /// What was given.
        name: String,
        /// Those that are in the records.
        found: Vec<String>,
    },
    /// Panels match both sides.
    #[error("{panels} panels are both before and after, such as {example:?}")]
    Overlap {
        /// How many.
        panels: usize,
        /// One of them.
        example: String,
    },
    /// No panel says when it was sanded.
    #[error("no panel has a sanded_at that would place it before or after")]
    NoTimes,
    /// Not a day.
    #[error("{text:?} is not a day such as 2026-11-16")]
    NotADay {
        /// What was given.
        text: String,
    },
    /// Not an ISO week.
    #[error("{text:?} is not an ISO week such as 2026-W47")]
    NotAWeek {
        /// What was given.
        text: String,
    },
}

fn side_name(side: Side) -> &'static str {
    match side {
        Side::Before => "before",
        Side::After => "after",
    }
}

impl ChangeError {
    /// What to do next.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        match self {
            Self::NotAPair { .. } => Some("write for example recipe=B2".into()),
            Self::UnknownColumn { nearest, .. } => match nearest {
                Some(name) => Some(format!("did you mean {name}?")),
                None => Some("`onus columns` lists the columns; further factors are named in onus.toml".into()),
            },
            Self::NotAboutPanels { name } if name == "sanded_at" || name == "inspected_at" => {
                Some("use --since YYYY-MM-DD for a change at a date".into())
            }
            Self::NotAboutPanels { .. } => Some(
                "pick panels by recipe, machine, lot, supplier, a recipe factor or another column that holds for a whole panel".into(),
            ),
            Self::NoCondition { side } => Some(format!(
                "add --{} column=value, or use --since YYYY-MM-DD",
                side_name(*side)
            )),
            Self::NoPanel { nearest: Some(near), .. } | Self::Nothing { nearest: Some(near), .. } => {
                Some(format!("did you mean {near}?"))
            }
            Self::NoPanel { found, .. } | Self::Nothing { found, .. } => {
                (!found.is_empty()).then(|| format!("the records hold {}", found.join(", ")))
            }
            Self::UnknownDefect { found, .. } => {
                (!found.is_empty()).then(|| format!("the records hold {}", found.join(", ")))
            }
            Self::Overlap { .. } => {
                Some("give both sides the same column with different values".into())
            }
            Self::NoTimes => Some("pick the sides by --before column=value and --after column=value".into()),
            Self::NotADay { .. } => Some("write YYYY-MM-DD".into()),
            Self::NotAWeek { .. } => Some("write for example 2026-W47".into()),
        }
    }
}
