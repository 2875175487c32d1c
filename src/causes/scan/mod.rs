//! Places in a stream of marks: spots, lines and bars at which more panels
//! are hit than their other marks explain. Knows panels, rectangles and
//! marks; knows nothing of lots, recipes or who could have made them.

mod attained;
mod axis;
mod background;
mod bars;
mod chances;
mod discs;
mod drift;
mod field;
mod found;
mod grouping;
mod limit;
mod lines;
mod nodes;
mod outlook;
mod places;
mod rounds;
mod screen;
mod sharpness;
mod spots;
mod tail;
mod view;
#[cfg(test)]
mod worked_cases;

pub use axis::LineAxis;
pub(super) use axis::{across, stretch};
pub(super) use background::{RESERVE, WINDOW_MM};
pub(super) use bars::search::relative_feeds;
pub use bars::search::{Bars, BarsBy, find_bars};
pub use drift::{Clock, follow_drift};
pub(super) use field::marks::unit;
pub(super) use field::weights::written_grain_mm;
pub use found::{Drift, Found, Pace, ScanSettings, Shape};
pub use limit::{Limit, smallest_repeat};
pub use places::find as find_places;
pub use rounds::Tests;
pub use sharpness::Sharpness;
pub use view::{View, ViewMark, ViewPanel};
