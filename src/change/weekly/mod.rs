//! Week against week: the control charts of defects per area, and the week
//! against the weeks before it.

mod base;
mod chart;
mod groups;
mod usual;
mod week;

pub use base::{Bound, Stretch};
pub use chart::{
    ControlChart, ControlPoint, FALSE_ALARM, Known, Mark, Signal, SmallShift, control_charts,
    false_signals,
};
pub use week::{Week, Weekly, kept, until_week, week_of, weekly};
