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

impl Point {
    /// The point at x and y, mm.
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }
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
    /// With its low corner at the origin, so wide and so high, mm.
    #[must_use]
    pub const fn at_origin(width: f64, height: f64) -> Self {
        Self {
            x0: 0.0,
            y0: 0.0,
            x1: width,
            y1: height,
        }
    }

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

    /// The smallest rectangle that holds both.
    #[must_use]
    pub fn with(&self, other: &Self) -> Self {
        Self {
            x0: self.x0.min(other.x0),
            y0: self.y0.min(other.y0),
            x1: self.x1.max(other.x1),
            y1: self.y1.max(other.y1),
        }
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

#[cfg(test)]
mod tests {
    use super::super::Panel;
    use super::*;

    /// A panel of 600 × 400 mm, laid with its lower-left corner at (50, 20).
    fn panel(lay: Lay) -> Panel {
        Panel {
            length_mm: 600.0,
            width_mm: 400.0,
            lay,
            lay_x_mm: 50.0,
            lay_y_mm: 20.0,
            inspect_lay: Some(lay),
            ..Panel::default()
        }
    }

    /// By hand: the datum corner of a panel turned by 90° counter-clockwise
    /// lies at the lower right of its bounding box, by 180° at the upper
    /// right, by 270° at the upper left; x then runs up, to the left, down.
    #[test]
    fn a_point_lies_where_a_turned_sheet_of_paper_shows_it() {
        let p = Point { x: 100.0, y: 30.0 };
        for (lay, machine, table) in [
            (Lay::Deg0, (150.0, 50.0), (100.0, 30.0)),
            (Lay::Deg90, (420.0, 120.0), (370.0, 100.0)),
            (Lay::Deg180, (550.0, 390.0), (500.0, 370.0)),
            (Lay::Deg270, (80.0, 520.0), (30.0, 500.0)),
        ] {
            let panel = panel(lay);
            let got = panel.to_machine(p);
            assert_eq!((got.x, got.y), machine, "{lay:?}");
            let got = panel.to_inspection(p).unwrap();
            assert_eq!((got.x, got.y), table, "{lay:?}");
        }
    }

    #[test]
    fn the_rectangle_is_that_of_the_corners() {
        let corners = |panel: &Panel| {
            [(0.0, 0.0), (600.0, 0.0), (600.0, 400.0), (0.0, 400.0)]
                .map(|(x, y)| panel.to_machine(Point { x, y }))
        };
        for lay in [Lay::Deg0, Lay::Deg90, Lay::Deg180, Lay::Deg270] {
            let panel = panel(lay);
            let rect = panel.machine_rect();
            for corner in corners(&panel) {
                assert!(rect.contains(corner), "{lay:?}");
            }
            let (width, height) = if lay.swaps_axes() {
                (400.0, 600.0)
            } else {
                (600.0, 400.0)
            };
            assert_eq!((rect.width(), rect.height()), (width, height));
            assert_eq!((rect.x0, rect.y0), (50.0, 20.0));
        }
    }

    #[test]
    fn four_quarter_turns_bring_a_point_back() {
        let p = Point { x: 17.0, y: 251.0 };
        let once = Lay::Deg90.place(p, 600.0, 400.0);
        let twice = Lay::Deg90.place(once, 400.0, 600.0);
        assert_eq!(twice, Lay::Deg180.place(p, 600.0, 400.0));
        let thrice = Lay::Deg90.place(twice, 600.0, 400.0);
        assert_eq!(thrice, Lay::Deg270.place(p, 600.0, 400.0));
        assert_eq!(Lay::Deg90.place(thrice, 400.0, 600.0), p);
    }

    #[test]
    fn a_lay_that_is_not_recorded_gives_no_place_at_the_table() {
        let unknown = Panel {
            inspect_lay: None,
            ..panel(Lay::Deg0)
        };
        assert_eq!(unknown.to_inspection(Point { x: 1.0, y: 1.0 }), None);
    }
}
