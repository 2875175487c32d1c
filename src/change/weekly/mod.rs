//! Week against week: the control charts of defects per area, and the week
//! against the weeks before it.

mod chart;
mod groups;
mod usual;
mod week;

pub use chart::{
    ControlChart, ControlPoint, FALSE_ALARM, Mark, Signal, SmallShift, control_charts,
};
pub use week::{Week, Weekly, kept, until_week, week_of, weekly};
