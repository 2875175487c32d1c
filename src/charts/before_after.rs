//! Before and after by lot: two marks a lot on one axis of rates.

use plotters::element::Circle;
use plotters::style::ShapeStyle;

use super::{
    ACCENT, Anchor, Axis, ChartError, Description, FAINT, GRID, INK, MUTED, PAPER, Theme, Weight,
    tenths,
};

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
#[derive(Debug, Clone, PartialEq)]
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
    let right = tenths(theme.width_pt) - RIGHT_SPACE;
    let highest = rows
        .iter()
        .flat_map(|r| [r.before, r.after])
        .flatten()
        .fold(0.0, f64::max);
    let axis = Axis::new(0.0, highest, (LEFT, right));
    theme.chart(
        f64::from(bottom + 330) / 10.0,
        &labels.description,
        |area| {
            for value in axis.ticks(6).values {
                let x = axis.place(value);
                theme.line(area, &[(x, TOP - 30), (x, bottom)], 0.5, GRID)?;
            }
            let mark = |x: i32, y: i32, after: bool| -> Result<(), ChartError> {
                let inside = ShapeStyle::from(if after { ACCENT } else { PAPER }).filled();
                area.draw(&Circle::new((x, y), 45, inside))?;
                let rim = ShapeStyle::from(ACCENT).stroke_width(12);
                area.draw(&Circle::new((x, y), 45, rim))?;
                Ok(())
            };
            let look = (Weight::Regular, INK, Anchor::Left);
            let mut x = LEFT;
            for (after, name) in [(false, &labels.sides[0]), (true, &labels.sides[1])] {
                mark(x + 45, 100, after)?;
                theme.text(area, name, (x + 125, 100), theme.small_pt, look)?;
                x += 125 + theme.text_width(name, theme.small_pt, Weight::Regular) + 150;
            }
            let muted = (Weight::Regular, MUTED, Anchor::Left);
            let head = (right + 120, 100);
            theme.text(area, &labels.panels, head, theme.small_pt, muted)?;
            let mut y = TOP + STEP / 2;
            for row in rows {
                let label = theme.wrap(&row.label, LEFT - 130, theme.small_pt, 1);
                let look = (Weight::Regular, INK, Anchor::Right);
                theme.lines(area, &label, (LEFT - 80, y), theme.small_pt, look)?;
                if let (Some(before), Some(after)) = (row.before, row.after) {
                    let ends = [(axis.place(before), y), (axis.place(after), y)];
                    theme.line(area, &ends, 1.6, ACCENT)?;
                }
                for (rate, after) in [(row.before, false), (row.after, true)] {
                    if let Some(rate) = rate {
                        mark(axis.place(rate), y, after)?;
                    }
                }
                theme.text(area, &row.written, (right + 120, y), theme.small_pt, muted)?;
                y += STEP;
            }
            theme.line(area, &[(LEFT, TOP - 30), (LEFT, bottom)], 0.6, FAINT)?;
            theme.bottom_axis(area, &axis, bottom, &labels.axis)
        },
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lot_on_both_sides_gets_a_line_and_a_lot_on_one_side_only_its_mark() {
        let labels = Labels {
            description: Description {
                title: "Lots".into(),
                text: "Rows".into(),
            },
            axis: "defects per m²".into(),
            sides: ["before".into(), "after".into()],
            panels: "panels".into(),
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
