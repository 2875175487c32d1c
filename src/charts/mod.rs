//! Charts: finished results in, SVG text out.
//!
//! A chart opens no file and computes no statistic. All charts share one
//! [`Theme`]: one typeface, one set of colours, marks and hatches, drawn in
//! tenths of a point.

pub mod age;
mod axes;
pub mod bars;
pub mod before_after;
mod cause_style;
mod contours;
pub mod control_chart;
mod dashes;
pub mod effect;
pub mod frames_side_by_side;
pub mod kinds;
mod numbers;
pub mod places;
pub mod ratios;
pub mod rings;
mod setting;
mod sheet;
pub mod strips;
pub mod surface;
mod svg;
mod theme;
mod typeface;
pub mod window;

pub use cause_style::{CAUSES, cause_colour, cause_mark};
pub use numbers::NumberStyle;
pub(crate) use svg::escape;
pub use theme::{
    ACCENT, Anchor, ChartError, Colour, Description, FAINT, GRID, INK, MUTED, PAPER, Theme, Weight,
};
pub use typeface::{FACES, FAMILY, printable};
