//! Findings ringed on a map, each with a label beside it.

use super::axes::Axis;
use super::sheet::{At, Sheet};
use super::{Anchor, GRID, INK, PAPER, Theme, Weight, cause_colour};
use crate::causes::{Cause, LineAxis};
use crate::records::{Point, Rect};

/// A finding on the map.
#[derive(Debug, Clone, PartialEq)]
pub struct Ring {
    /// Its shape and place.
    pub shape: Shape,
    /// Who makes it.
    pub cause: Cause,
    /// Its label: F1.
    pub label: String,
}

/// Shape of a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// A circle.
    Spot {
        /// Centre, mm.
        centre: Point,
        /// Radius, mm.
        radius_mm: f64,
    },
    /// A band along an axis.
    Line {
        /// The axis along which it runs.
        along: LineAxis,
        /// Where it lies across, mm.
        at_mm: f64,
        /// Half its width, mm.
        half_width_mm: f64,
    },
}

/// Two corners of a rectangle on the sheet, the upper left one first.
pub(super) type Square = [At; 2];

/// Millimetres to tenths of a point.
pub(super) struct View {
    pub(super) x: Axis,
    pub(super) y: Axis,
    /// Tenths a millimetre.
    pub(super) scale: f64,
}

impl View {
    pub(super) fn point(&self, p: Point) -> At {
        (self.x.place(p.x), self.y.place(p.y))
    }

    pub(super) fn rect(&self, r: &Rect) -> Square {
        [(r.x0, r.y1), (r.x1, r.y0)].map(|(x, y)| self.point(Point { x, y }))
    }

    /// Radius of a spot's ring, so large that it is seen.
    fn radius(&self, radius_mm: f64) -> i32 {
        ((radius_mm * self.scale) as i32).max(90)
    }

    /// Half the width of a line's band, so wide that both sides are seen.
    fn half_width(&self, half_width_mm: f64) -> i32 {
        ((half_width_mm * self.scale) as i32).max(45)
    }

    /// The square around a spot's ring; none for a line.
    fn around(&self, ring: &Ring) -> Option<Square> {
        let Shape::Spot { centre, radius_mm } = ring.shape else {
            return None;
        };
        let (x, y) = self.point(centre);
        let radius = self.radius(radius_mm);
        Some([(x - radius, y - radius), (x + radius, y + radius)])
    }
}

/// Draws all rings, then their labels.
pub(super) fn draw(sheet: &Sheet<'_>, view: &View, rings: &[Ring]) {
    for ring in rings {
        draw_ring(sheet, view, ring);
    }
    let mut taken: Vec<Square> = rings.iter().filter_map(|r| view.around(r)).collect();
    for ring in rings {
        let ground = label_ground(sheet, view, ring, &taken);
        // A white ground keeps the label readable over marks.
        sheet.fill(ground, PAPER);
        sheet.outline(ground, 0.4, GRID);
        let (x, y) = (ground[0].0 + 55, ground[0].1 + 70);
        sheet.mark(ring.cause, (x, y), 75);
        let look = (Weight::Bold, INK, Anchor::Left);
        sheet.text(&ring.label, (x + 60, y), sheet.label_pt, look);
        taken.push(ground);
    }
}

fn draw_ring(sheet: &Sheet<'_>, view: &View, ring: &Ring) {
    let colour = cause_colour(ring.cause);
    match ring.shape {
        Shape::Spot { centre, radius_mm } => {
            sheet.circle(view.point(centre), view.radius(radius_mm), 16, colour);
        }
        Shape::Line {
            along,
            at_mm,
            half_width_mm,
        } => {
            let half = view.half_width(half_width_mm);
            for side in [-half, half] {
                let [from, to] = match along {
                    LineAxis::X => {
                        let y = view.y.place(at_mm) + side;
                        [(view.x.at.0, y), (view.x.at.1, y)]
                    }
                    LineAxis::Y => {
                        let x = view.x.place(at_mm) + side;
                        [(x, view.y.at.0), (x, view.y.at.1)]
                    }
                };
                sheet.dashed(from, to, 1.6, colour);
            }
        }
    }
}

/// The box of a ring's label: the first place beside the ring that is on the
/// panels and free, else the first on the panels.
fn label_ground(theme: &Theme, view: &View, ring: &Ring, taken: &[Square]) -> Square {
    let width = 135 + theme.text_width(&ring.label, theme.label_pt, Weight::Bold);
    let (left, right) = view.x.at;
    let (bottom, top) = view.y.at;
    let beside = |x: i32, y: i32| [(x, y - 70), (x + width, y + 70)];
    let places: Vec<Square> = match ring.shape {
        Shape::Spot { centre, radius_mm } => {
            let (x, y) = view.point(centre);
            let radius = view.radius(radius_mm);
            let (after, before) = (x + radius + 15, x - radius - 15 - width);
            let (above, below) = (y - radius - 85, y + radius + 85);
            vec![
                beside(after, y),
                beside(before, y),
                beside(x - width / 2, above),
                beside(x - width / 2, below),
                beside(after, above),
                beside(after, below),
                beside(before, above),
                beside(before, below),
            ]
        }
        Shape::Line {
            along,
            at_mm,
            half_width_mm,
        } => {
            let half = view.half_width(half_width_mm);
            match along {
                LineAxis::X => {
                    let y = view.y.place(at_mm);
                    let over = (1..6).map(|i| beside(left + 45 * i, y - half - 85));
                    over.chain([beside(left + 45, y + half + 85)]).collect()
                }
                LineAxis::Y => {
                    let x = view.x.place(at_mm);
                    let down = (0..6).map(|i| beside(x + half + 15, top + 90 + 150 * i));
                    down.chain([beside(x - half - 15 - width, top + 90)])
                        .collect()
                }
            }
        }
    };
    let on_panels = |[a, b]: &Square| {
        a.0 >= left - 15 && b.0 <= right + 30 && a.1 >= top - 15 && b.1 <= bottom + 15
    };
    let free = |ground: &Square| !taken.iter().any(|other| overlap(ground, other));
    let fitting = || places.iter().filter(|ground| on_panels(ground));
    *fitting()
        .find(|ground| free(ground))
        .or_else(|| fitting().next())
        .unwrap_or(&places[0])
}

fn overlap(a: &Square, b: &Square) -> bool {
    a[0].0 < b[1].0 && b[0].0 < a[1].0 && a[0].1 < b[1].1 && b[0].1 < a[1].1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_of_neighbouring_rings_lie_side_by_side() {
        let theme = Theme::default();
        let view = View {
            x: Axis::new(0.0, 600.0, (620, 4000)),
            y: Axis::new(0.0, 400.0, (2600, 330)),
            scale: 5.6,
        };
        let mut taken = Vec::new();
        for (x, y) in [(300.0, 200.0), (310.0, 205.0), (292.0, 208.0), (598.0, 2.0)] {
            let ring = Ring {
                shape: Shape::Spot {
                    centre: Point { x, y },
                    radius_mm: 8.0,
                },
                cause: Cause::Machine,
                label: "F1".into(),
            };
            let ground = label_ground(&theme, &view, &ring, &taken);
            assert!(
                !taken.iter().any(|t| overlap(t, &ground)),
                "{taken:?} {ground:?}"
            );
            assert!(
                ground[0].0 >= 605 && ground[1].0 <= 4030,
                "on the panels: {ground:?}"
            );
            taken.push(ground);
        }
    }
}
