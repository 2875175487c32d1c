//! Before against after: did the change help?
//!
//! The panel is the unit and the lot the larger unit. A change is judged inside
//! lots (and machines, parts and abrasive ages as far as the records carry it),
//! with an interval that is never narrower than the panels, the days and the
//! lots allow. Where old recipe and old lot are the same thing, the question is
//! refused instead of answered.

mod assess;
mod compare;
mod days;
mod design;
mod error;
mod exact;
mod items;
mod judge;
mod law;
mod needed;
mod ratio;
mod recipe_changes;
mod removal;
mod result;
mod scatter;
mod settings;
mod sides;
#[cfg(test)]
mod simulated;
mod spell;
mod strata;
mod trend;
mod weekly;

pub use compare::compare;
pub use error::ChangeError;
pub use recipe_changes::recipe_changes;
pub use result::{
    Change, Changes, Comparison, Confounder, Counts, Dispersion, Estimate, LotCounts, Margin,
    Measure, Method, Needed, Note, Question, RemovalChange, Side, Spread, StratumUse, Unit,
    Verdict,
};
pub use settings::Settings;
pub use sides::{Pick, Selection, Sides};
pub use weekly::{
    ControlChart, ControlPoint, FALSE_ALARM, Mark, Signal, SmallShift, Week, Weekly,
    control_charts, kept, until_week, week_of, weekly,
};
