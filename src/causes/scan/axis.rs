//! Axes and sides: across a line and along it.

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

/// A side of the panel along one axis of a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// Low x.
    LowX,
    /// High x.
    HighX,
    /// Low y.
    LowY,
    /// High y.
    HighY,
}

impl Side {
    /// The side across the panel.
    #[must_use]
    pub fn opposite(self) -> Self {
        match self {
            Side::LowX => Side::HighX,
            Side::HighX => Side::LowX,
            Side::LowY => Side::HighY,
            Side::HighY => Side::LowY,
        }
    }

    /// The axis across which it lies.
    pub(crate) fn axis(self) -> LineAxis {
        match self {
            Side::LowX | Side::HighX => LineAxis::X,
            Side::LowY | Side::HighY => LineAxis::Y,
        }
    }

    /// Low and high side of an axis.
    pub(crate) fn of(axis: LineAxis) -> (Self, Self) {
        match axis {
            LineAxis::X => (Side::LowX, Side::HighX),
            LineAxis::Y => (Side::LowY, Side::HighY),
        }
    }
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
pub(crate) fn lengthwise(along: LineAxis, at: Point) -> f64 {
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
