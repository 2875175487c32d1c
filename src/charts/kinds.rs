//! Which kinds: a Pareto chart, each bar split by cause.

use super::{Anchor, Axis, ChartError, Description, FAINT, GRID, INK, MUTED, Theme, Weight, hatch};
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

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// What the bars measure, with its unit.
    pub measure: String,
    /// The causes that occur, in the order of the key.
    pub causes: Vec<(Cause, String)>,
}

const LABEL_WIDTH: i32 = 1150;
const BAR_STEP: i32 = 210;
const BAR_HEIGHT: i32 = 130;
const TOP: i32 = 210;

/// Draws the bars, longest first, as SVG. An empty list gives the axis alone.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(bars: &[Bar], labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let rows = i32::try_from(bars.len().max(1)).unwrap_or(1);
    let bottom = TOP + rows * BAR_STEP;
    let height_pt = f64::from(bottom + 330) / 10.0;
    let longest = bars
        .iter()
        .map(|bar| bar.parts.iter().map(|p| p.1).sum::<f64>())
        .fold(0.0, f64::max);
    let spare = bars
        .iter()
        .map(|bar| theme.text_width(&bar.written, theme.label_pt, Weight::Bold))
        .max()
        .unwrap_or(0);
    let right = (theme.width_pt * 10.0) as i32 - spare - 80;
    let axis = Axis::new(0.0, longest, (LABEL_WIDTH, right));
    theme.chart(height_pt, &labels.description, |area| {
        for value in axis.ticks(5).values {
            let x = axis.place(value);
            theme.line(area, &[(x, TOP - 20), (x, bottom)], 0.5, GRID)?;
        }
        let mut x = LABEL_WIDTH;
        for (cause, name) in &labels.causes {
            // The look of the bars, hatch and all, so that grey print tells it too.
            hatch(theme, area, [(x, 50), (x + 120, 130)], *cause)?;
            let look = (Weight::Regular, INK, Anchor::Left);
            theme.text(area, name, (x + 165, 90), theme.small_pt, look)?;
            x += 165 + theme.text_width(name, theme.small_pt, Weight::Regular) + 120;
        }
        let mut y = TOP;
        for bar in bars {
            let middle = y + BAR_STEP / 2;
            let lines = theme.wrap(&bar.label, LABEL_WIDTH - 130, theme.label_pt, 2);
            let up = if lines.len() > 1 { 62 } else { 0 };
            let look = (Weight::Regular, INK, Anchor::Right);
            theme.lines(
                area,
                &lines,
                (LABEL_WIDTH - 80, middle - up),
                theme.label_pt,
                look,
            )?;
            let mut reach = 0.0;
            for &(cause, weight) in bar.parts.iter().filter(|p| p.1 > 0.0) {
                let from = axis.place(reach);
                reach += weight;
                let to = axis.place(reach);
                let (y0, y1) = (middle - BAR_HEIGHT / 2, middle + BAR_HEIGHT / 2);
                hatch(theme, area, [(from, y0), (to, y1)], cause)?;
            }
            let look = (Weight::Bold, INK, Anchor::Left);
            let end = (axis.place(reach) + 60, middle);
            theme.text(area, &bar.written, end, theme.label_pt, look)?;
            y += BAR_STEP;
        }
        theme.line(
            area,
            &[(LABEL_WIDTH, TOP - 20), (LABEL_WIDTH, bottom)],
            0.6,
            FAINT,
        )?;
        if bars.is_empty() {
            let look = (Weight::Regular, MUTED, Anchor::Left);
            theme.text(
                area,
                "–",
                (LABEL_WIDTH + 60, TOP + 130),
                theme.label_pt,
                look,
            )?;
        }
        theme.bottom_axis(area, &axis, bottom, &labels.measure)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        Labels {
            description: Description {
                title: "Kinds".into(),
                text: "Bars".into(),
            },
            measure: "Panels".into(),
            causes: vec![(Cause::Machine, "machine".into())],
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
