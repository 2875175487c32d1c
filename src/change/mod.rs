//! Before against after: did the change help?
//!
//! The panel is the unit and the lot the larger unit. A change is judged inside
//! lots (and machines, parts and abrasive ages as far as the records carry it),
//! with an interval that is never narrower than the panels, the days and the
//! lots allow. Where old recipe and old lot are the same thing, the question is
//! refused instead of answered.

mod result;
mod settings;

pub use result::{
    Change, Changes, Comparison, Confounder, Counts, Dispersion, Estimate, LotCounts, Margin,
    Measure, Method, Note, Question, RemovalChange, Side, Spread, StratumUse, Unit, Verdict,
};
pub use settings::Settings;
