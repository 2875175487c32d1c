//! Before and after by lot: two marks a lot on one axis of rates.

use super::axes::Axis;
use super::{ACCENT, Anchor, ChartError, Description, FAINT, GRID, INK, MUTED, PAPER};
use super::{Theme, Weight};

/// A lot.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// The lot.
    pub label: String,
    /// Rate before; none without panels before.
    pub before: Option<f64>,
    /// Rate after; none without panels after.
    pub after: Option<f64>,
    /// Panels before and after, as written at the right.
    pub written: String,
}

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// What the axis measures, with its unit.
    pub axis: String,
    /// Before, after.
    pub sides: [String; 2],
    /// Over the column of panels.
    pub panels: String,
}

const LEFT: i32 = 900;
const RIGHT_SPACE: i32 = 800;
const TOP: i32 = 300;
const STEP: i32 = 175;

/// Draws one row per lot, in the order given, as SVG: an open mark before, a
/// filled one after, a line between them where a lot was sanded both ways.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(rows: &[Row], labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let count = i32::try_from(rows.len().max(1)).unwrap_or(1);
    let bottom = TOP + count * STEP;
    let right = theme.width() - RIGHT_SPACE;
    let rates = rows.iter().flat_map(|r| [r.before, r.after]).flatten();
    let axis = Axis::new(0.0, rates.fold(0.0, f64::max), (LEFT, right));
    theme.chart(bottom + 330, &labels.description, |sheet| {
        for value in axis.values(6) {
            let x = axis.place(value);
            sheet.line(&[(x, TOP - 30), (x, bottom)], 0.5, GRID);
        }
        let mark = |at, inside| {
            sheet.dot(at, 45, inside);
            sheet.circle(at, 45, 12, ACCENT);
        };
        let mut x = LEFT;
        for (inside, name) in [PAPER, ACCENT].into_iter().zip(&labels.sides) {
            mark((x + 45, 100), inside);
            sheet.small(name, (x + 125, 100), INK, Anchor::Left);
            x += 125 + theme.small_width(name) + 150;
        }
        sheet.small(&labels.panels, (right + 120, 100), MUTED, Anchor::Left);
        let mut y = TOP + STEP / 2;
        for row in rows {
            let label = theme.wrap(&row.label, LEFT - 130, theme.small_pt, 1);
            let look = (Weight::Regular, INK, Anchor::Right);
            sheet.lines(&label, (LEFT - 80, y), theme.small_pt, look);
            let [before, after] = [row.before, row.after].map(|r| Some((axis.place(r?), y)));
            if let (Some(before), Some(after)) = (before, after) {
                sheet.line(&[before, after], 1.6, ACCENT);
            }
            before.into_iter().for_each(|at| mark(at, PAPER));
            after.into_iter().for_each(|at| mark(at, ACCENT));
            sheet.small(&row.written, (right + 120, y), MUTED, Anchor::Left);
            y += STEP;
        }
        sheet.line(&[(LEFT, TOP - 30), (LEFT, bottom)], 0.6, FAINT);
        sheet.bottom_axis(&axis, bottom, &labels.axis);
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lot_on_both_sides_gets_a_line_and_a_lot_on_one_side_only_its_mark() {
        let labels = Labels {
            axis: "defects per m²".into(),
            ..Labels::default()
        };
        let both = Row {
            label: "L1".into(),
            before: Some(4.0),
            after: Some(2.0),
            written: "12 | 9".into(),
        };
        let one = Row {
            label: "L2".into(),
            after: None,
            ..both.clone()
        };
        let count = |rows: &[Row]| {
            let text = svg(rows, &labels, &Theme::default()).unwrap();
            assert!(text.contains(">defects per m²</text>"));
            (text.matches("stroke-width=\"16\"").count(), text)
        };
        assert_eq!(count(&[both]).0, 1);
        let (lines, text) = count(&[one]);
        assert_eq!(lines, 0);
        assert!(text.contains(">L2</text>"));
        assert_eq!(count(&[]).0, 0);
    }
}
