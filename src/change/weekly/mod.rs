//! Week against week: the control charts of defects per area, the week against
//! the weeks before it, and what became of the last report's findings.

mod chart;
mod groups;
mod previous;
mod usual;
mod week;

pub use chart::{
    ControlChart, ControlPoint, FALSE_ALARM, Mark, Signal, SmallShift, control_charts,
};
pub use previous::{Fate, OldFinding, PreviousError, Untestable, previous_findings};
pub use week::{Week, Weekly, until_week, weekly};
