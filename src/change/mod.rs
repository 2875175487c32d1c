//! Before against after: did the change help?
//!
//! The panel is the unit, lots and days the larger ones. One model of the counts
//! allows for lots, days and whatever else varies (machine, part, inspector,
//! abrasive age), with an interval as wide as few lots and days leave it. Where
//! old recipe and old lot are the same thing, the question is refused instead of
//! answered.

mod assess;
mod compare;
mod confounders;
mod design;
mod doubts;
mod error;
mod exact;
mod history;
mod items;
mod judge;
mod matched;
mod model;
mod needed;
mod picks;
mod planned;
mod ratio;
mod recipe_changes;
mod removal;
mod result;
mod rivals;
mod settings;
mod sides;
mod weekly;

pub use compare::compare;
pub use doubts::{Confounder, Note};
pub use error::ChangeError;
pub(crate) use needed::by_turns;
pub use picks::Pick;
pub(crate) use picks::Source;
pub(crate) use recipe_changes::IN_TURNS;
pub use recipe_changes::recipe_changes;
pub use result::{
    Alternating, Change, Changes, Comparison, Counts, Estimate, LotCounts, Margin, Measure, Method,
    Needed, Old, Question, RemovalChange, Scatter, Side, Spread, StratumUse, Unit, Verdict,
};
pub use settings::Settings;
pub use sides::{FROM, Selection, Sides, UNTIL, Window};
pub use weekly::{
    Bound, ControlChart, ControlPoint, FALSE_ALARM, Known, Mark, Signal, SmallShift, Stretch, Week,
    Weekly, control_charts, false_signals, kept, until_week, week_of, weekly,
};
