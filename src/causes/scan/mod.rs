//! Places in a stream of marks: spots, lines and bars at which more panels
//! are hit than their other marks explain. Knows panels, rectangles and
//! marks; knows nothing of lots, recipes or who could have made them.

mod attained;
mod axis;
mod background;
mod band_background;
mod band_beside;
mod bar_pairs;
mod bars;
mod chances;
mod discs;
mod drift;
mod edge_profile;
mod field;
mod found;
mod grouping;
mod limit;
mod line_width;
mod lines;
mod nodes;
mod places;
mod point_index;
mod pooled;
mod rounds;
mod screen;
mod sharpness;
mod spots;
mod tail;
mod view;
mod weights;
#[cfg(test)]
mod worked_cases;
mod written_steps;

pub use axis::LineAxis;
pub(super) use axis::{across, stretch};
pub(super) use background::{RESERVE, WINDOW_MM};
pub(super) use bars::relative_feeds;
pub use bars::{Bars, BarsBy, find_bars};
pub use drift::{Clock, follow_drift};
pub(super) use field::unit;
pub use found::{Drift, Found, Pace, ScanSettings, Shape};
pub use limit::{Limit, smallest_repeat};
pub use places::find as find_places;
pub use sharpness::Sharpness;
pub use view::{View, ViewMark, ViewPanel};
pub(super) use weights::written_grain_mm;
