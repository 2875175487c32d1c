//! Places in a stream of marks: spots, lines and bars at which more panels
//! are hit than their other marks explain. Knows panels, rectangles and
//! marks; knows nothing of lots, recipes or who could have made them.

mod attained;
mod axis;
mod bars;
mod candidate;
mod chances;
mod drift;
mod families;
mod field;
mod found;
mod grouping;
mod limit;
mod line_fit;
mod lines;
mod places;
mod rounds;
mod sharpness;
mod spots;
mod tail;
mod view;
#[cfg(test)]
mod worked_cases;

pub use axis::{LineAxis, Side};
pub(super) use axis::{across, lengthwise, stretch};
pub(super) use bars::search::relative_feeds;
pub use bars::search::{Bars, BarsBy, find_bars};
pub use drift::{Clock, follow_drift};
pub use families::Tests;
pub(super) use field::marks::unit;
pub(super) use field::weights::written_grain_mm;
pub use found::{Drift, Found, Pace, ScanSettings, Shape};
pub use limit::{Limit, smallest_repeat};
pub use places::find as find_places;
pub(crate) use sharpness::RING_MM;
pub use sharpness::Sharpness;
pub(super) use spots::background::{RESERVE, WINDOW_MM};
pub use view::{View, ViewMark, ViewPanel};
