//! What the scan returns.

use super::LineAxis;
use super::sharpness::Sharpness;
use crate::records::Point;

/// Settings of the scan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScanSettings {
    /// The level of the whole report, 0..1.
    pub alpha: f64,
    /// Streams in the report, each tested at its share of `alpha`.
    pub streams: usize,
}

impl ScanSettings {
    /// The level of one view.
    pub(super) fn of_view(&self) -> f64 {
        self.alpha / self.streams.max(1) as f64
    }
}

/// What repeats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// A place.
    Spot {
        /// Its refined centre, mm.
        centre: Point,
    },
    /// A stripe.
    Line {
        /// The axis along which it runs: `Y` is a line at fixed x.
        along: LineAxis,
        /// Its refined place on the other axis, mm.
        at_mm: f64,
    },
}

/// A repeat found by the scan.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// What and where, in the view's frame.
    pub shape: Shape,
    /// Panels hit and the mark nearest the place, by panel: position in
    /// `View::panels`, index into `View::marks`.
    pub hits: Vec<(usize, usize)>,
    /// All marks that belong to it, indices into `View::marks`.
    pub members: Vec<usize>,
    /// Marks taken out with it before the next round, indices into `View::marks`.
    pub zone: Vec<usize>,
    /// Radius or half width of that disc or band, mm.
    pub scan_radius_mm: f64,
    /// Chance of so many panels at that centre without a repeat.
    pub p_value: f64,
    /// Centres and sizes tried in the frame.
    pub tests: usize,
    /// `p_value` adjusted for all tests of all streams: the sum of what each
    /// takes from the level at this p-value; at most 1.
    pub p_adjusted: f64,
    /// Panels that chance alone would have put at the refined place.
    pub expected: f64,
    /// Radius (half width) that holds 90 % of the hits, mm.
    pub radius_mm: f64,
    /// Excess just around the place over the excess at the place; none where
    /// there is no excess to compare.
    pub ring_ratio: Option<f64>,
    /// Whether it is a place or a broad concentration.
    pub sharpness: Sharpness,
    /// Speed of the place where it drifts.
    pub drift: Option<Drift>,
}

/// What a speed counts in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// Days.
    Days,
    /// Panels of the stream, where no times are recorded.
    Panels,
}

/// How a place moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    /// What it is counted in.
    pub pace: Pace,
    /// Along x, mm per day or panel.
    pub x_mm: f64,
    /// Along y, mm per day or panel.
    pub y_mm: f64,
    /// The day or panel on which the place lay where `Found::shape` says, on the clock
    /// that was given: the middle of its hits.
    pub at: f64,
}
