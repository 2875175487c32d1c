//! An old place: where marks count as its own.

use super::past::Remembered;
use crate::causes::{Finding, Frame};
use crate::records::{Panel, Point};

/// A place counts as hit within this many times the finding's radius …
const REACH: f64 = 1.25;
/// … and at least within this distance, mm.
const LEAST_REACH_MM: f64 = 10.0;

/// Frame of an old place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum InFrame {
    Machine,
    Panel,
    Inspection,
    /// Distances from the panel's edges as it lay.
    Path,
}

/// An old place: a spot, or a line at one coordinate.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Place {
    frame: InFrame,
    x_mm: Option<f64>,
    y_mm: Option<f64>,
    reach_mm: f64,
}

impl Place {
    /// The place of a finding, `days` days later: one that moves may lie that
    /// much farther off. None where the finding has no place.
    pub(super) fn of(old: &Remembered, days: f64) -> Option<Self> {
        let frame = match old.frame.as_deref() {
            // no frame: the data could not tell, the place is given as it lay
            Some("machine") | None => InFrame::Machine,
            Some("panel") => InFrame::Panel,
            Some("inspection") => InFrame::Inspection,
            Some("path") => InFrame::Path,
            Some(_) => return None,
        };
        // a line along x lies at one y, and the other way round
        let (x_mm, y_mm) = match old.line_axis.as_deref() {
            Some("x") => (None, Some(old.y_mm?)),
            Some(_) => (Some(old.x_mm?), None),
            None if frame == InFrame::Path => (old.x_mm, old.y_mm),
            None => (Some(old.x_mm?), Some(old.y_mm?)),
        };
        if x_mm.is_none() && y_mm.is_none() {
            return None;
        }
        let moved = old.drift_mm_per_day.unwrap_or(0.0).abs() * days.max(0.0);
        Some(Self {
            frame,
            x_mm,
            y_mm,
            reach_mm: (REACH * old.radius_mm.unwrap_or(0.0)).max(LEAST_REACH_MM) + moved,
        })
    }

    /// The same place, `factor` times as far around.
    pub(super) fn wider(mut self, factor: f64) -> Self {
        self.reach_mm *= factor;
        self
    }

    /// Whether a place of this report, in the same frame, touches it.
    pub(super) fn touches(&self, new: &Finding) -> bool {
        let reach = self.reach_mm + new.radius_mm.unwrap_or(0.0);
        self.apart(new).is_some_and(|apart| apart <= reach)
    }

    /// How far off a place of this report is, mm; none in another frame.
    pub(super) fn apart(&self, new: &Finding) -> Option<f64> {
        let frame = match new.frame {
            Some(Frame::Machine) | None => InFrame::Machine,
            Some(Frame::Panel) => InFrame::Panel,
            Some(Frame::Inspection) => InFrame::Inspection,
            Some(Frame::Path) => InFrame::Path,
        };
        let apart = |a: Option<f64>, b: Option<f64>| match (a, b) {
            (Some(a), Some(b)) => Some(a - b),
            (None, None) => Some(0.0),
            _ => None,
        };
        let (dx, dy) = (apart(self.x_mm, new.x_mm)?, apart(self.y_mm, new.y_mm)?);
        (frame == self.frame).then(|| dx.hypot(dy))
    }

    fn to_frame(&self, panel: &Panel, p: Point) -> Option<Point> {
        match self.frame {
            InFrame::Machine => Some(panel.to_machine(p)),
            InFrame::Panel => Some(p),
            InFrame::Inspection => panel.to_inspection(p),
            InFrame::Path => {
                let (q, rect) = (panel.to_machine(p), panel.machine_rect());
                // a negative place counts from the high edge
                let from = |at: Option<f64>, q: f64, low: f64, high: f64| {
                    if at.is_some_and(|at| at < 0.0) {
                        q - high
                    } else {
                        q - low
                    }
                };
                Some(Point {
                    x: from(self.x_mm, q.x, rect.x0, rect.x1),
                    y: from(self.y_mm, q.y, rect.y0, rect.y1),
                })
            }
        }
    }

    /// Whether the panel covered the place.
    pub(super) fn on(&self, panel: &Panel) -> bool {
        let rect = panel.rect();
        let corners = [(rect.x0, rect.y0), (rect.x1, rect.y1)];
        let [Some(a), Some(b)] = corners.map(|(x, y)| self.to_frame(panel, Point { x, y })) else {
            return false;
        };
        let inside =
            |at: Option<f64>, u: f64, v: f64| at.is_none_or(|at| at >= u.min(v) && at <= u.max(v));
        inside(self.x_mm, a.x, b.x) && inside(self.y_mm, a.y, b.y)
    }

    /// Whether a mark on the panel lies at the place.
    pub(super) fn holds(&self, panel: &Panel, at: Point) -> bool {
        self.to_frame(panel, at).is_some_and(|p| {
            let dx = self.x_mm.map_or(0.0, |x| p.x - x);
            let dy = self.y_mm.map_or(0.0, |y| p.y - y);
            dx.hypot(dy) <= self.reach_mm
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::Lay;

    #[test]
    fn a_place_of_the_path_keeps_its_distance_from_the_edges() {
        let old = Remembered {
            frame: Some("path".into()),
            x_mm: Some(-30.0),
            y_mm: Some(20.0),
            ..Remembered::default()
        };
        let place = Place::of(&old, 0.0).unwrap();
        for (length_mm, lay) in [(600.0, Lay::Deg0), (800.0, Lay::Deg180)] {
            let panel = Panel {
                length_mm,
                width_mm: 400.0,
                lay,
                lay_x_mm: 50.0,
                ..Panel::default()
            };
            let as_it_lay = Point {
                x: length_mm - 30.0,
                y: 20.0,
            };
            let at = if lay == Lay::Deg0 {
                as_it_lay
            } else {
                Point {
                    x: length_mm - as_it_lay.x,
                    y: 400.0 - as_it_lay.y,
                }
            };
            assert!(place.on(&panel) && place.holds(&panel, at));
            assert!(!place.holds(&panel, Point { x: at.x, y: 200.0 }));
        }
    }

    /// A place 3 mm wide that moved by 2 mm a day may lie 14 mm beyond its reach of
    /// 10 mm after a week.
    #[test]
    fn a_place_that_moves_is_looked_for_as_far_as_it_may_have_come() {
        let old = Remembered {
            frame: Some("machine".into()),
            x_mm: Some(100.0),
            y_mm: Some(100.0),
            radius_mm: Some(3.0),
            drift_mm_per_day: Some(-2.0),
            ..Remembered::default()
        };
        let panel = Panel {
            length_mm: 600.0,
            width_mm: 400.0,
            ..Panel::default()
        };
        let holds = |days: f64, off: f64| {
            let place = Place::of(&old, days).unwrap();
            place.holds(
                &panel,
                Point {
                    x: 100.0 - off,
                    y: 100.0,
                },
            )
        };
        assert_eq!([holds(0.0, 9.9), holds(0.0, 10.1)], [true, false]);
        assert_eq!([holds(7.0, 23.9), holds(7.0, 24.1)], [true, false]);
    }
}
