//! A place as every panel of a machine saw it, and the marks found there.
//!
//! Whatever the frame, places are carried into the machine frame of each panel:
//! there all frames can be compared panel by panel.

use crate::causes::scan::{across, stretch};
use crate::causes::{Anchor, Drift, LineAxis, Pace};
use crate::records::{Lay, Panel, Point, Records, Rect};

/// Slack of "on the panel", mm.
const EDGE_SLACK_MM: f64 = 1e-6;

/// A point or a stripe, in the frame the context names.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Place {
    /// A point.
    Spot(Point),
    /// A stripe along an axis; `Y` is a stripe at fixed x.
    Stripe(LineAxis, f64),
}

impl Place {
    /// Distance of a point from the place, mm.
    pub(crate) fn distance(&self, p: Point) -> f64 {
        match *self {
            Place::Spot(c) => (p.x - c.x).hypot(p.y - c.y),
            Place::Stripe(along, at) => (across(along, p) - at).abs(),
        }
    }

    /// Distance between two places, mm; infinite where the axes differ.
    pub(crate) fn apart(&self, other: &Place) -> f64 {
        match (*self, *other) {
            (Place::Spot(a), Place::Spot(b)) => (a.x - b.x).hypot(a.y - b.y),
            (Place::Stripe(a, x), Place::Stripe(b, y)) if a == b => (x - y).abs(),
            _ => f64::INFINITY,
        }
    }

    /// Whether the panel's area covers the place (machine frame).
    pub(crate) fn on(&self, panel: &Panel) -> bool {
        let r = panel.machine_rect();
        let inside = |axis, v: f64| {
            let (low, high) = stretch(axis, r);
            (low - EDGE_SLACK_MM..=high + EDGE_SLACK_MM).contains(&v)
        };
        match *self {
            Place::Spot(p) => inside(LineAxis::Y, p.x) && inside(LineAxis::X, p.y),
            Place::Stripe(along, at) => inside(along, at),
        }
    }

    /// Carries the place through a map of points that turns and shifts.
    fn through(&self, map: impl Fn(Point) -> Point) -> Place {
        match *self {
            Place::Spot(p) => Place::Spot(map(p)),
            Place::Stripe(along, at) => {
                let on_line = |v| match along {
                    LineAxis::Y => Point::new(at, v),
                    LineAxis::X => Point::new(v, at),
                };
                let (a, b) = (on_line(0.0), on_line(1.0));
                let (a, b) = (map(a), map(b));
                if (a.x - b.x).abs() < 0.5 {
                    Place::Stripe(LineAxis::Y, a.x)
                } else {
                    Place::Stripe(LineAxis::X, a.y)
                }
            }
        }
    }
}

/// A frame that gives a fixed place its position on every panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(crate) enum Holder {
    /// Fixed in the machine.
    Machine,
    /// Fixed on the panel, from its datum corner.
    Panel,
    /// Fixed on the inspection table.
    Inspection,
    /// Fixed distance from edges as the panel lay in the machine.
    Path(Anchor),
    /// Fixed distance from edges of the panel itself, other than at its datum.
    PanelEdge(Anchor),
}

impl Holder {
    /// Where the panel lies in the frame, and whether its length lies along y; none
    /// where that was not recorded.
    pub(crate) fn lies(self, panel: &Panel) -> Option<(Rect, bool)> {
        let swapped = panel.lay.swaps_axes();
        let from = |corner: Point, rect: Rect| Rect {
            x0: rect.x0 - corner.x,
            y0: rect.y0 - corner.y,
            x1: rect.x1 - corner.x,
            y1: rect.y1 - corner.y,
        };
        let (laid, own) = (panel.machine_rect(), panel.rect());
        Some(match self {
            Holder::Machine => (laid, swapped),
            Holder::Panel => (own, false),
            Holder::Inspection => {
                let swapped = panel.inspect_lay?.swaps_axes();
                let (length, width) = (panel.length_mm, panel.width_mm);
                let (x, y) = if swapped {
                    (width, length)
                } else {
                    (length, width)
                };
                (Rect::at_origin(x, y), swapped)
            }
            Holder::Path(anchor) => (from(anchor.corner(laid), laid), swapped),
            Holder::PanelEdge(anchor) => (from(anchor.corner(own), own), false),
        })
    }

    /// Where a point of the panel lies in the frame; as on the panel where that was
    /// not recorded.
    pub(crate) fn point(self, panel: &Panel, p: Point) -> Point {
        let from = |corner: Point, p: Point| Point::new(p.x - corner.x, p.y - corner.y);
        match self {
            Holder::Machine => panel.to_machine(p),
            Holder::Panel => p,
            Holder::Inspection => panel.to_inspection(p).unwrap_or(p),
            Holder::Path(anchor) => from(anchor.corner(panel.machine_rect()), panel.to_machine(p)),
            Holder::PanelEdge(anchor) => from(anchor.corner(panel.rect()), p),
        }
    }

    /// Where the holder's place lies on the panel, in the machine frame; none
    /// where it can't be known (lay at the table not recorded).
    pub(crate) fn to_machine(self, panel: &Panel, place: &Place) -> Option<Place> {
        let shifted = |by: Point, p: Point| Point::new(p.x + by.x, p.y + by.y);
        Some(match self {
            Holder::Machine => *place,
            Holder::Panel => place.through(|p| panel.to_machine(p)),
            Holder::Inspection => {
                let lay = panel.inspect_lay?;
                place.through(|p| panel.to_machine(unplace(lay, p, panel)))
            }
            Holder::Path(anchor) => {
                let corner = anchor.corner(panel.machine_rect());
                place.through(|p| shifted(corner, p))
            }
            Holder::PanelEdge(anchor) => {
                let corner = anchor.corner(panel.rect());
                place.through(|p| panel.to_machine(shifted(corner, p)))
            }
        })
    }

    /// The inverse of [`Holder::to_machine`].
    pub(crate) fn place_of(self, panel: &Panel, place: &Place) -> Option<Place> {
        let minus = |p: Point, by: Point| Point::new(p.x - by.x, p.y - by.y);
        Some(match self {
            Holder::Machine => *place,
            Holder::Panel => place.through(|p| machine_to_panel(panel, p)),
            Holder::Inspection => {
                let lay = panel.inspect_lay?;
                place.through(|p| {
                    lay.place(machine_to_panel(panel, p), panel.length_mm, panel.width_mm)
                })
            }
            Holder::Path(anchor) => {
                let corner = anchor.corner(panel.machine_rect());
                place.through(|p| minus(p, corner))
            }
            Holder::PanelEdge(anchor) => {
                let corner = anchor.corner(panel.rect());
                place.through(|p| minus(machine_to_panel(panel, p), corner))
            }
        })
    }
}

/// When a panel was sanded, in days since 1970; none if not recorded.
pub(crate) fn day_of(panel: &Panel) -> Option<f64> {
    const SECONDS_A_DAY: f64 = 86_400.0;
    let moment = panel.sanded_at?;
    Some(moment.instant.as_second() as f64 / SECONDS_A_DAY)
}

/// Where a point of the machine frame lies on the panel.
pub(crate) fn machine_to_panel(panel: &Panel, p: Point) -> Point {
    let laid = Point::new(p.x - panel.lay_x_mm, p.y - panel.lay_y_mm);
    unplace(panel.lay, laid, panel)
}

/// The inverse of [`Lay::place`].
fn unplace(lay: Lay, p: Point, panel: &Panel) -> Point {
    let (l, w) = (panel.length_mm, panel.width_mm);
    match lay {
        Lay::Deg0 => p,
        Lay::Deg90 => Point::new(p.y, w - p.x),
        Lay::Deg180 => Point::new(l - p.x, w - p.y),
        Lay::Deg270 => Point::new(l - p.y, p.x),
    }
}

/// The marks of one kind of defect on every panel of the records, in the
/// machine frame.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Marks {
    /// First mark of each panel, one more at the end.
    start: Vec<usize>,
    /// By panel.
    marks: Vec<LaidMark>,
    /// Marks recorded on each panel, with or without a place.
    recorded: Vec<usize>,
    /// Marks of all other kinds on each panel.
    other_kinds: Vec<usize>,
}

/// A mark where it lay in the machine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LaidMark {
    /// Index into `Records::defects`.
    pub defect: usize,
    /// Machine frame, mm.
    pub at: Point,
}

impl Marks {
    /// The marks of the kind `name` (index into `Records::defect_names`).
    pub(crate) fn of(records: &Records, name: usize) -> Self {
        let mut order: Vec<(usize, LaidMark)> = records
            .defects
            .iter()
            .enumerate()
            .filter(|(_, d)| d.name == name)
            .filter_map(|(defect, d)| {
                let at = records.panels[d.panel].to_machine(d.place?);
                Some((d.panel, LaidMark { defect, at }))
            })
            .collect();
        order.sort_by_key(|(panel, mark)| (*panel, mark.defect));
        let mut recorded = vec![0; records.panels.len()];
        let mut other_kinds = vec![0; records.panels.len()];
        for defect in &records.defects {
            if defect.name == name {
                recorded[defect.panel] += 1;
            } else {
                other_kinds[defect.panel] += 1;
            }
        }
        let mut start = vec![0; records.panels.len() + 1];
        for (panel, _) in &order {
            start[panel + 1] += 1;
        }
        for i in 1..start.len() {
            start[i] += start[i - 1];
        }
        Self {
            start,
            marks: order.into_iter().map(|(_, m)| m).collect(),
            recorded,
            other_kinds,
        }
    }

    /// The marks as they would lie had a place in `holder`'s frame that drifts
    /// stood still; panels without a time, or where the clock counts the `stream`'s
    /// panels those of others, stay as they are.
    pub(crate) fn stilled(
        &self,
        records: &Records,
        stream: &[usize],
        holder: Holder,
        drift: &Drift,
    ) -> Self {
        let mut still = self.clone();
        for (i, panel) in records.panels.iter().enumerate() {
            let time = match drift.pace {
                Pace::Days => day_of(panel),
                Pace::Panels => stream.binary_search(&i).ok().map(|at| at as f64),
            };
            let Some(time) = time else {
                continue;
            };
            let away = time - drift.at;
            for mark in &mut still.marks[self.start[i]..self.start[i + 1]] {
                let Some(Place::Spot(p)) = holder.place_of(panel, &Place::Spot(mark.at)) else {
                    continue;
                };
                let fixed =
                    Place::Spot(Point::new(p.x - drift.x_mm * away, p.y - drift.y_mm * away));
                if let Some(Place::Spot(at)) = holder.to_machine(panel, &fixed) {
                    mark.at = at;
                }
            }
        }
        still
    }

    /// The marks of a panel (index into `Records::panels`).
    pub(crate) fn on(&self, panel: usize) -> &[LaidMark] {
        &self.marks[self.start[panel]..self.start[panel + 1]]
    }

    /// How many marks the panel has, also those without a place.
    pub(crate) fn recorded(&self, panel: usize) -> usize {
        self.recorded[panel]
    }

    /// How many marks of all other kinds the panel has.
    pub(crate) fn other_kinds(&self, panel: usize) -> usize {
        self.other_kinds[panel]
    }

    /// The mark of the panel nearest to the place, if within `reach_mm`.
    pub(crate) fn nearest(&self, panel: usize, place: &Place, reach_mm: f64) -> Option<LaidMark> {
        self.on(panel)
            .iter()
            .map(|m| (place.distance(m.at), *m))
            .filter(|(d, _)| *d <= reach_mm)
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, m)| m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn panel(lay: Lay) -> Panel {
        Panel {
            length_mm: 600.0,
            width_mm: 400.0,
            lay,
            lay_x_mm: 10.0,
            lay_y_mm: 20.0,
            inspect_lay: Some(Lay::Deg270),
            ..Panel::default()
        }
    }

    const HOLDERS: [Holder; 5] = [
        Holder::Machine,
        Holder::Panel,
        Holder::Inspection,
        Holder::Path(Anchor::HighLow),
        Holder::PanelEdge(Anchor::LowHigh),
    ];

    #[test]
    fn every_frame_there_and_back() {
        for lay in [Lay::Deg0, Lay::Deg90, Lay::Deg180, Lay::Deg270] {
            let panel = panel(lay);
            let point = Point::new(123.0, 45.0);
            for holder in HOLDERS {
                let place = Place::Spot(point);
                let there = holder.place_of(&panel, &place).unwrap();
                let back = holder.to_machine(&panel, &there).unwrap();
                assert_relative_eq!(back.apart(&place), 0.0, epsilon = 1e-9);
                let stripe = Place::Stripe(LineAxis::Y, 77.0);
                let there = holder.place_of(&panel, &stripe).unwrap();
                let back = holder.to_machine(&panel, &there).unwrap();
                assert_relative_eq!(back.apart(&stripe), 0.0, epsilon = 1e-9);
            }
        }
    }

    #[test]
    fn a_stripe_of_a_panel_laid_across_runs_the_other_way() {
        // Panel x = 100 on a panel laid at 90°: machine y = 20 + 100.
        let stripe = Place::Stripe(LineAxis::Y, 100.0);
        let laid = Holder::Panel.to_machine(&panel(Lay::Deg90), &stripe);
        assert_eq!(laid, Some(Place::Stripe(LineAxis::X, 120.0)));
    }
}
