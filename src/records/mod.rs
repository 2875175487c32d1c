//! Reading inspection files into typed tables.
//!
//! Every row says something about one panel; what the rows say about a panel
//! must agree. This room ends at [`Records`]: units converted, places in mm in
//! the panel frame, grits on their scale, every loss written down.

mod column;
mod frames;
mod grit;
mod losses;
mod moment;
mod table;
mod units;

pub use column::{About, Column, Quantity};
pub use frames::{Lay, Point, Rect};
pub use grit::{Grit, GritScale};
pub use losses::{InputCounts, Lost, Reject, Warning, WarningCode};
pub use moment::{Moment, time_zone};
pub use table::{Defect, DefectName, FactorValue, Panel, Reading, Records};
pub use units::{Conversion, Unit};
