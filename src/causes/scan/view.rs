//! What is scanned: a stream's panels and marks, all in one frame.

use super::LineAxis;
use crate::records::{Point, Rect};

/// Slack of "the place lies on the panel", mm: turning a panel costs a few
/// bits, and marks clipped onto the edge must stay on it.
const EDGE_SLACK_MM: f64 = 1e-6;

/// A stream in one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct View {
    /// In the order of [`StreamData::panels`].
    pub panels: Vec<ViewPanel>,
    /// By panel; marks of panels without a place in the frame are left out.
    pub marks: Vec<ViewMark>,
}

/// A panel in the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ViewPanel {
    /// Its rectangle, mm; holds no point where the panel has no place in the frame.
    pub rect: Rect,
    /// Whether the panel's length lies along the frame's y axis.
    pub swapped: bool,
}

/// A mark in the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ViewMark {
    /// Position in [`View::panels`].
    pub panel: usize,
    /// Where in the frame, mm.
    pub at: Point,
    /// Step of the round numbers it was written in, mm; 0 if not round.
    pub grain_mm: f64,
    /// Index into `Records::defects`.
    pub defect: usize,
}

impl View {
    /// Whether `place` lay on panel `panel` (a position in [`View::panels`]).
    #[must_use]
    pub fn exposed(&self, panel: usize, place: Point) -> bool {
        self.panels[panel].covers(place)
    }
}

impl ViewPanel {
    /// Whether the panel has a place in the frame at all.
    #[must_use]
    pub fn has_place(&self) -> bool {
        self.rect.x1 >= self.rect.x0 && self.rect.y1 >= self.rect.y0
    }

    /// Whether a line along `along` at `at_mm` on the other axis crosses it.
    #[must_use]
    pub fn covers_across(&self, along: LineAxis, at_mm: f64) -> bool {
        let middle = Point::new(
            0.5 * (self.rect.x0 + self.rect.x1),
            0.5 * (self.rect.y0 + self.rect.y1),
        );
        self.covers(match along {
            LineAxis::Y => Point { x: at_mm, ..middle },
            LineAxis::X => Point { y: at_mm, ..middle },
        })
    }

    /// Whether the place lies on it, its edges included.
    #[must_use]
    pub fn covers(&self, place: Point) -> bool {
        let inside =
            |v: f64, low: f64, high: f64| (low - EDGE_SLACK_MM..=high + EDGE_SLACK_MM).contains(&v);
        self.has_place()
            && inside(place.x, self.rect.x0, self.rect.x1)
            && inside(place.y, self.rect.y0, self.rect.y1)
    }
}
