//! A stream's panels and marks, laid out in each frame.

use super::responses::place::Holder;
use super::streams::StreamData;
use super::{View, ViewMark, ViewPanel};
use crate::records::{Point, Records, Rect};

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
        Point::new(
            if high_x { rect.x1 } else { rect.x0 },
            if high_y { rect.y1 } else { rect.y0 },
        )
    }
}

impl View {
    /// The stream in the frame of `holder`; panels whose lay in it was not recorded
    /// have no place in it.
    pub(crate) fn of(records: &Records, stream: &StreamData, holder: Holder) -> Self {
        let panel = |i: usize| &records.panels[stream.panels[i]];
        let panels: Vec<ViewPanel> = (0..stream.panels.len())
            .map(|i| {
                let (rect, swapped) = holder.lies(panel(i)).unwrap_or((NOWHERE, false));
                ViewPanel { rect, swapped }
            })
            .collect();
        let marks = (stream.marks.iter())
            .filter(|mark| panels[mark.panel].has_place())
            .map(|mark| ViewMark {
                panel: mark.panel,
                at: holder.point(panel(mark.panel), mark.place),
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
    use crate::causes::made;
    use crate::causes::streams::streams;
    use crate::records::{Lay, Panel};

    fn records() -> Records {
        let panel = |lay, inspect_lay| Panel {
            lay,
            lay_x_mm: 10.0,
            lay_y_mm: 20.0,
            inspect_lay,
            ..made::panel(0, 600.0, 400.0)
        };
        let defect = |panel| made::mark(panel, 0, Some(Point::new(100.0, 50.0)));
        Records {
            panels: vec![
                panel(Lay::Deg90, None),
                panel(Lay::Deg180, Some(Lay::Deg180)),
            ],
            defects: vec![defect(0), defect(1)],
            ..made::records(&[("nib", None)])
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
        let machine = View::of(&records, stream, Holder::Machine);
        assert_eq!(at(&machine), [(360.0, 120.0), (510.0, 370.0)]);
        assert_eq!(machine.panels[0].rect.x1, 410.0);
        assert!(machine.panels[0].swapped && !machine.panels[1].swapped);
        assert_eq!(
            at(&View::of(&records, stream, Holder::Panel)),
            [(100.0, 50.0); 2]
        );
        let high = View::of(&records, stream, Holder::Path(Anchor::HighHigh));
        assert_eq!(at(&high), [(-50.0, -500.0), (-100.0, -50.0)]);
        assert_eq!(high.panels[0].rect.y0, -600.0);
        let table = View::of(&records, stream, Holder::Inspection);
        assert_eq!(at(&table), [(500.0, 350.0)]);
        assert!(!table.exposed(0, Point::new(0.5, 0.5)));
        assert!(table.exposed(1, Point::new(0.5, 0.5)));
    }
}
