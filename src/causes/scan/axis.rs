//! Across a line and along it.

use serde::Serialize;

use crate::records::{Point, Rect};

/// The machine axis along which a line runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum LineAxis {
    /// At fixed machine y.
    X,
    /// At fixed machine x.
    Y,
}

/// The coordinate across a line: x for a line along y.
pub(crate) fn across(along: LineAxis, at: Point) -> f64 {
    match along {
        LineAxis::Y => at.x,
        LineAxis::X => at.y,
    }
}

/// The point moved straight across a line to `u`.
pub(super) fn moved_across(along: LineAxis, at: Point, u: f64) -> Point {
    match along {
        LineAxis::Y => Point { x: u, ..at },
        LineAxis::X => Point { y: u, ..at },
    }
}

/// The coordinate along a line.
pub(super) fn lengthwise(along: LineAxis, at: Point) -> f64 {
    match along {
        LineAxis::Y => at.y,
        LineAxis::X => at.x,
    }
}

/// The stretch of a rectangle across a line.
pub(crate) fn stretch(along: LineAxis, rect: Rect) -> (f64, f64) {
    match along {
        LineAxis::Y => (rect.x0, rect.x1),
        LineAxis::X => (rect.y0, rect.y1),
    }
}
