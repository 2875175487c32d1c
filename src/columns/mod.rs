//! What can be recorded: the columns with their meanings, units, ranges and
//! spellings, the scales of grits, time zones. The one place that knows them;
//! the site file and the reading build on it.

mod column;
mod grit;
mod units;
mod zone;

pub use column::{About, Column, Quantity};
pub use grit::{Grit, GritScale};
pub use units::{Conversion, Unit};
pub use zone::time_zone;
