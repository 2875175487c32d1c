//! Charts: finished results in, SVG text out.
//!
//! A chart opens no file and computes no statistic. All charts share one
//! [`Theme`]: one typeface, one set of colours, marks and hatches, drawn in
//! tenths of a point.

pub mod age;
mod axes;
pub mod before_after;
mod cause_style;
pub mod contours;
pub mod control_chart;
pub mod effect;
pub mod exposure_bars;
pub mod folded_distances;
pub mod frames_side_by_side;
pub mod kinds;
mod log_axis;
mod marks;
mod numbers;
pub mod places;
pub mod ratios;
mod setting;
pub mod strips;
pub mod surface;
mod svg;
mod theme;
mod typeface;
pub mod window;

pub use axes::{Axis, Ticks};
pub use cause_style::{CAUSES, Hatch, cause_colour, cause_hatch, cause_mark, draw_mark, hatch};
pub use log_axis::LogAxis;
pub use numbers::NumberStyle;
pub(crate) use svg::escape;
pub use theme::{
    ACCENT, Anchor, Area, ChartError, Colour, Description, FAINT, GRID, INK, MUTED, PAPER, Theme,
    Weight, tenths,
};
pub use typeface::{FACES, FAMILY, printable};
