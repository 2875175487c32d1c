//! The steps in which places are written along an axis: clicks on a grid and
//! parts of the inch look like bars.

use crate::causes::scan::LineAxis;
use crate::causes::scan::axis::{across, stretch};
use crate::causes::scan::field::weights::divides;
use crate::causes::scan::view::View;

/// Steps, mm, longest first: round ones and parts of the inch.
const STEPS_MM: [f64; 13] = [
    100.0, 50.0, 25.4, 25.0, 20.0, 12.7, 10.0, 6.35, 5.0, 2.0, 1.0, 0.5, 0.1,
];

/// Shorter steps never look like bars, mm.
const SHORT_MM: f64 = 3.0;

/// The common step fits this share of the marks.
const COMMON: f64 = 0.8;

/// A longer step is in use beside it if it fits this many times as many marks as
/// by chance, and this share of the marks.
const EXCESS: f64 = 2.0;
const SHARE: f64 = 0.03;

/// A pitch must be this many common steps.
const STEPS_A_PITCH: f64 = 2.5;

/// The steps of a stream's written places along one axis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct WrittenSteps {
    /// The step in which nearly all are written, mm; 0 if none.
    common_mm: f64,
    /// Steps in which some are written besides, mm, longest first.
    besides_mm: Vec<f64>,
}

impl WrittenSteps {
    /// From the marks' distances to both edges of their panels: one of them is
    /// the written place, however the panel lay.
    pub(crate) fn of(view: &View, along: LineAxis) -> Self {
        let marks = view.marks.len() as f64;
        let seen = STEPS_MM.map(|step| {
            let fit = view.marks.iter().filter(|m| {
                let edges = stretch(along, view.panels[m.panel].rect);
                fits(step, across(along, m.at), edges)
            });
            fit.count() as f64
        });
        let common_mm = (0..STEPS_MM.len())
            .find(|&k| seen[k] >= COMMON * marks)
            .map_or(0.0, |k| STEPS_MM[k]);
        let besides = (0..STEPS_MM.len()).filter(|&k| {
            let chance = (2.0 * common_mm.max(0.01) / STEPS_MM[k]).min(1.0) * marks;
            STEPS_MM[k] > common_mm.max(SHORT_MM)
                && seen[k] > EXCESS * chance
                && seen[k] > SHARE * marks
        });
        Self {
            common_mm,
            besides_mm: besides.map(|k| STEPS_MM[k]).collect(),
        }
    }

    /// Whether the place between the panel's edges was written in a longer step
    /// than most.
    pub(crate) fn fits(&self, u: f64, edges: (f64, f64)) -> bool {
        self.besides_mm.iter().any(|&step| fits(step, u, edges))
    }

    /// The shortest pitch that the common step leaves, mm.
    pub(crate) fn shortest_pitch_mm(&self) -> f64 {
        STEPS_A_PITCH * self.common_mm
    }

    /// Whether bars of this frequency, per mm, seen over `length` mm could be the
    /// steps.
    pub(crate) fn confuse(&self, frequency: f64, length: f64) -> bool {
        let mut steps = self.besides_mm.iter().copied().chain([self.common_mm]);
        steps.any(|step| {
            let turns = frequency * step;
            turns > 0.5 && (turns - turns.round()).abs() < 2.0 * step / length
        })
    }
}

fn fits(step: f64, u: f64, (low, high): (f64, f64)) -> bool {
    divides(step, u - low) || divides(step, high - u)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::scan::view::ViewPanel;
    use crate::causes::scan::worked_cases::view;
    use crate::records::Rect;

    const PANEL: ViewPanel = ViewPanel {
        rect: Rect {
            x0: 30.0,
            y0: 0.0,
            x1: 643.7,
            y1: 400.0,
        },
        swapped: false,
    };

    fn steps(at: impl Fn(u32) -> f64) -> WrittenSteps {
        let marks: Vec<_> = (0..200).map(|k| (0, 30.0 + at(k), 7.0)).collect();
        WrittenSteps::of(&view(&[PANEL], &marks, 0.0), LineAxis::Y)
    }

    #[test]
    fn a_click_grid_leaves_longer_pitches_only() {
        let steps = steps(|k| f64::from(k * 37 % 61) * 10.0);
        assert_eq!(steps.shortest_pitch_mm(), 25.0);
        assert!(steps.confuse(0.1, 600.0) && !steps.confuse(0.025, 600.0));
    }

    #[test]
    fn places_on_half_inches_from_the_far_edge_are_not_used() {
        let far = |k: u32| 613.7 - 12.7 * f64::from(k % 48);
        let fine = |k: u32| 0.1 * f64::from(k * 1301 % 6137);
        let steps = steps(|k| if k % 4 == 0 { far(k) } else { fine(k) });
        assert!(steps.fits(643.7 - 12.7 * 5.0, (30.0, 643.7)));
        assert!(!steps.fits(333.3, (30.0, 643.7)));
        assert!(steps.confuse(1.0 / 12.7, 613.7));
    }

    #[test]
    fn whole_millimetres_are_no_grid() {
        let steps = steps(|k| f64::from(k * 389 % 613));
        assert!(!steps.confuse(0.02, 613.7) && !steps.confuse(0.04, 613.7));
        assert!(!steps.fits(130.0, (30.0, 643.7)));
    }
}
