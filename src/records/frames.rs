//! Frames: where a point of the panel lies in the machine and at the
//! inspection table.

use serde::Serialize;

/// A point, mm, in whichever frame the context names.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Point {
    /// Along the frame's x axis, mm.
    pub x: f64,
    /// Along the frame's y axis, mm.
    pub y: f64,
}

/// An axis-parallel rectangle, mm; edges belong to it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rect {
    /// Low edge along x, mm.
    pub x0: f64,
    /// Low edge along y, mm.
    pub y0: f64,
    /// High edge along x, mm.
    pub x1: f64,
    /// High edge along y, mm.
    pub y1: f64,
}

impl Rect {
    /// Extent along x, mm.
    #[must_use]
    pub fn width(&self) -> f64 {
        self.x1 - self.x0
    }

    /// Extent along y, mm.
    #[must_use]
    pub fn height(&self) -> f64 {
        self.y1 - self.y0
    }

    /// Whether the point lies in the rectangle, its edges included.
    #[must_use]
    pub fn contains(&self, p: Point) -> bool {
        (self.x0..=self.x1).contains(&p.x) && (self.y0..=self.y1).contains(&p.y)
    }
}

/// How a panel lay, turned counter-clockwise against the frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize)]
pub enum Lay {
    /// Not turned.
    #[default]
    Deg0,
    /// A quarter turn.
    Deg90,
    /// A half turn.
    Deg180,
    /// Three quarter turns.
    Deg270,
}

impl Lay {
    /// The angle in degrees: 0, 90, 180 or 270.
    #[must_use]
    pub fn degrees(self) -> u16 {
        match self {
            Lay::Deg0 => 0,
            Lay::Deg90 => 90,
            Lay::Deg180 => 180,
            Lay::Deg270 => 270,
        }
    }

    /// Whether the panel's length lies along the frame's y axis.
    #[must_use]
    pub fn swaps_axes(self) -> bool {
        matches!(self, Lay::Deg90 | Lay::Deg270)
    }

    /// Where the panel point `p` lies in the frame, for a panel of
    /// `length` × `width` mm whose bounding box has its lower-left corner at
    /// the origin.
    #[must_use]
    pub fn place(self, p: Point, length: f64, width: f64) -> Point {
        match self {
            Lay::Deg0 => p,
            Lay::Deg90 => Point {
                x: width - p.y,
                y: p.x,
            },
            Lay::Deg180 => Point {
                x: length - p.x,
                y: width - p.y,
            },
            Lay::Deg270 => Point {
                x: p.y,
                y: length - p.x,
            },
        }
    }
}
