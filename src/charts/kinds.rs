//! Which kinds: a Pareto chart, each bar split by cause.

use super::axes::Axis;
use super::{Anchor, ChartError, Description, FAINT, GRID, INK, MUTED, Theme, Weight};
use crate::causes::Cause;

/// One bar: a kind of defect with its weight by cause.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    /// The kind of defect.
    pub label: String,
    /// Weight by cause (cost, or panels), in the order drawn from the axis out;
    /// zero parts are left out.
    pub parts: Vec<(Cause, f64)>,
    /// The total as it is written at the end of the bar.
    pub written: String,
}

impl Bar {
    /// The bar's whole weight.
    pub(crate) fn total(&self) -> f64 {
        self.parts.iter().map(|p| p.1).sum()
    }
}

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// What the bars measure, with its unit.
    pub measure: String,
    /// The causes that occur, in the order of the key.
    pub causes: Vec<(Cause, String)>,
}

const LEFT: i32 = 1150;
const STEP: i32 = 210;
const HEIGHT: i32 = 130;
const TOP: i32 = 210;

/// Draws the bars, longest first, as SVG. An empty list gives the axis alone.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(bars: &[Bar], labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let rows = i32::try_from(bars.len().max(1)).unwrap_or(1);
    let bottom = TOP + rows * STEP;
    let longest = bars.iter().map(Bar::total).fold(0.0, f64::max);
    let written = |bar: &Bar| theme.text_width(&bar.written, theme.label_pt, Weight::Bold);
    let spare = bars.iter().map(written).max().unwrap_or(0);
    let axis = Axis::new(0.0, longest, (LEFT, theme.width() - spare - 80));
    theme.chart(bottom + 330, &labels.description, |sheet| {
        for value in axis.values(5) {
            let x = axis.place(value);
            sheet.line(&[(x, TOP - 20), (x, bottom)], 0.5, GRID);
        }
        let mut x = LEFT;
        for (cause, name) in &labels.causes {
            // The look of the bars, hatch and all, so that grey print tells it too.
            sheet.hatch([(x, 50), (x + 120, 130)], *cause);
            sheet.small(name, (x + 165, 90), INK, Anchor::Left);
            x += 165 + theme.small_width(name) + 120;
        }
        let mut middle = TOP + STEP / 2;
        for bar in bars {
            sheet.row_name(&bar.label, LEFT, middle);
            let mut reach = 0.0;
            for &(cause, weight) in bar.parts.iter().filter(|p| p.1 > 0.0) {
                let from = axis.place(reach);
                reach += weight;
                let (y0, y1) = (middle - HEIGHT / 2, middle + HEIGHT / 2);
                sheet.hatch([(from, y0), (axis.place(reach), y1)], cause);
            }
            let look = (Weight::Bold, INK, Anchor::Left);
            let end = (axis.place(reach) + 60, middle);
            sheet.text(&bar.written, end, theme.label_pt, look);
            middle += STEP;
        }
        sheet.line(&[(LEFT, TOP - 20), (LEFT, bottom)], 0.6, FAINT);
        if bars.is_empty() {
            sheet.label("–", (LEFT + 60, TOP + 130), MUTED, Anchor::Left);
        }
        sheet.bottom_axis(&axis, bottom, &labels.measure);
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        Labels {
            measure: "Panels".into(),
            causes: vec![(Cause::Machine, "machine".into())],
            ..Labels::default()
        }
    }

    #[test]
    fn a_bar_is_split_by_cause_and_carries_its_total() {
        let bars = [Bar {
            label: "sand-through".into(),
            parts: vec![(Cause::Machine, 30.0), (Cause::Part, 10.0)],
            written: "40".into(),
        }];
        let svg = svg(&bars, &labels(), &Theme::default()).unwrap();
        assert!(svg.contains("#D55E00") && svg.contains("#009E73"));
        assert!(svg.contains(">40</text>") && svg.contains(">Panels</text>"));
    }

    #[test]
    fn no_defects_still_give_an_axis_with_its_label() {
        let svg = svg(&[], &labels(), &Theme::default()).unwrap();
        assert!(svg.contains(">Panels</text>"));
    }
}
