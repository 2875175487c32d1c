//! A stream's panels and marks, laid out in each frame.

use super::streams::StreamData;
use super::{View, ViewMark, ViewPanel};
use crate::records::{Panel, Point, Records, Rect};

/// The rectangle of a panel that has no place in the frame: contains nothing.
const NOWHERE: Rect = Rect {
    x0: 1.0,
    y0: 1.0,
    x1: 0.0,
    y1: 0.0,
};

/// The corner of the laid panel from which an edge-anchored frame counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Anchor {
    /// Low machine x, low machine y.
    LowLow,
    /// High machine x, low machine y.
    HighLow,
    /// Low machine x, high machine y.
    LowHigh,
    /// High machine x, high machine y.
    HighHigh,
}

impl Anchor {
    /// All four.
    pub const ALL: [Self; 4] = [Self::LowLow, Self::HighLow, Self::LowHigh, Self::HighHigh];

    /// The corner of `rect`.
    #[must_use]
    pub fn corner(self, rect: Rect) -> Point {
        let high_x = matches!(self, Self::HighLow | Self::HighHigh);
        let high_y = matches!(self, Self::LowHigh | Self::HighHigh);
        Point {
            x: if high_x { rect.x1 } else { rect.x0 },
            y: if high_y { rect.y1 } else { rect.y0 },
        }
    }
}

impl View {
    /// The machine frame.
    #[must_use]
    pub fn machine(records: &Records, stream: &StreamData) -> Self {
        let rect = |panel: &Panel| Some((panel.machine_rect(), panel.lay.swaps_axes()));
        Self::new(records, stream, rect, |panel, p| panel.to_machine(p))
    }

    /// The panel frame: every panel's rectangle starts at the origin.
    #[must_use]
    pub fn panel(records: &Records, stream: &StreamData) -> Self {
        let rect = |panel: &Panel| Some((panel.rect(), false));
        Self::new(records, stream, rect, |_, p| p)
    }

    /// The inspection frame; panels whose lay at the table was not recorded
    /// have no place in it. `None` if it was recorded for no panel.
    #[must_use]
    pub fn inspection(records: &Records, stream: &StreamData) -> Option<Self> {
        let recorded = |&i: &usize| records.panels[i].inspect_lay.is_some();
        if !stream.panels.iter().any(recorded) {
            return None;
        }
        let rect = |panel: &Panel| {
            let lay = panel.inspect_lay?;
            let (x1, y1) = if lay.swaps_axes() {
                (panel.width_mm, panel.length_mm)
            } else {
                (panel.length_mm, panel.width_mm)
            };
            let rect = Rect {
                x0: 0.0,
                y0: 0.0,
                x1,
                y1,
            };
            Some((rect, lay.swaps_axes()))
        };
        let place = |panel: &Panel, p| panel.to_inspection(p).unwrap_or(p);
        Some(Self::new(records, stream, rect, place))
    }

    /// An edge-anchored frame: machine axes, distances from one corner of the
    /// panel as it lay, negative from the high edges.
    #[must_use]
    pub fn path(records: &Records, stream: &StreamData, anchor: Anchor) -> Self {
        let rect = |panel: &Panel| {
            let laid = panel.machine_rect();
            let corner = anchor.corner(laid);
            let rect = Rect {
                x0: laid.x0 - corner.x,
                y0: laid.y0 - corner.y,
                x1: laid.x1 - corner.x,
                y1: laid.y1 - corner.y,
            };
            Some((rect, panel.lay.swaps_axes()))
        };
        Self::new(records, stream, rect, |panel, p| {
            let corner = anchor.corner(panel.machine_rect());
            let at = panel.to_machine(p);
            Point {
                x: at.x - corner.x,
                y: at.y - corner.y,
            }
        })
    }

    fn new(
        records: &Records,
        stream: &StreamData,
        rect: impl Fn(&Panel) -> Option<(Rect, bool)>,
        place: impl Fn(&Panel, Point) -> Point,
    ) -> Self {
        let panels: Vec<ViewPanel> = stream
            .panels
            .iter()
            .map(|&i| {
                let (rect, swapped) = rect(&records.panels[i]).unwrap_or((NOWHERE, false));
                ViewPanel { rect, swapped }
            })
            .collect();
        let marks = stream
            .marks
            .iter()
            .filter(|mark| panels[mark.panel].has_place())
            .map(|mark| ViewMark {
                panel: mark.panel,
                at: place(&records.panels[stream.panels[mark.panel]], mark.place),
                grain_mm: mark.grain_mm,
                defect: mark.defect,
            })
            .collect();
        Self { panels, marks }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::streams::streams;
    use crate::records::{Defect, DefectName, Lay};

    fn records() -> Records {
        let panel = |lay, inspect_lay| Panel {
            length_mm: 600.0,
            width_mm: 400.0,
            lay,
            lay_x_mm: 10.0,
            lay_y_mm: 20.0,
            inspect_lay,
            inspected: true,
            ..Panel::default()
        };
        let defect = |panel| Defect {
            panel,
            name: 0,
            place: Some(Point { x: 100.0, y: 50.0 }),
            written: None,
            area_mm2: None,
            severity: None,
        };
        Records {
            panels: vec![
                panel(Lay::Deg90, None),
                panel(Lay::Deg180, Some(Lay::Deg180)),
            ],
            defects: vec![defect(0), defect(1)],
            defect_names: vec![DefectName {
                name: "nib".into(),
                class: None,
            }],
            ..Records::default()
        }
    }

    /// Hand-computed from the definition of the frames.
    #[test]
    fn the_same_mark_in_each_frame() {
        let records = records();
        let stream = &streams(&records)[0];
        let at = |view: &View| {
            view.marks
                .iter()
                .map(|m| (m.at.x, m.at.y))
                .collect::<Vec<_>>()
        };
        let machine = View::machine(&records, stream);
        assert_eq!(at(&machine), [(360.0, 120.0), (510.0, 370.0)]);
        assert_eq!(machine.panels[0].rect.x1, 410.0);
        assert!(machine.panels[0].swapped && !machine.panels[1].swapped);
        assert_eq!(at(&View::panel(&records, stream)), [(100.0, 50.0); 2]);
        let high = View::path(&records, stream, Anchor::HighHigh);
        assert_eq!(at(&high), [(-50.0, -500.0), (-100.0, -50.0)]);
        assert_eq!(high.panels[0].rect.y0, -600.0);
        let table = View::inspection(&records, stream).unwrap();
        assert_eq!(at(&table), [(500.0, 350.0)]);
        assert!(!table.exposed(0, Point { x: 0.5, y: 0.5 }));
        assert!(table.exposed(1, Point { x: 0.5, y: 0.5 }));
    }
}
