//! What a change did to every kind: ratios with their intervals on one log axis.

use super::axes::Axis;
use super::sheet::Sheet;
use super::{ACCENT, Anchor, ChartError, Description, FAINT, GRID, INK, MUTED, PAPER};
use super::{Theme, Weight};

/// How much a row says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// A difference is shown: a filled mark, heavy line.
    Difference,
    /// None is shown: an open mark.
    None,
    /// Nothing can be said: faint.
    Refused,
}

/// One kind of defect.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// The kind.
    pub label: String,
    /// After over before, > 0; none where it can't be formed or is 0.
    pub ratio: Option<f64>,
    /// Limits; 0 and ∞ are drawn as arrows. None without an interval.
    pub limits: Option<(f64, f64)>,
    /// How much it says.
    pub shown: Shown,
    /// What is written at the right: ratio and verdict.
    pub written: [String; 2],
}

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// What the axis measures.
    pub axis: String,
    /// Over the part below 1 and the part above 1.
    pub halves: [String; 2],
    /// Over the column of ratios and verdicts.
    pub head: String,
}

const LEFT: i32 = 1150;
const RIGHT_SPACE: i32 = 1250;
const TOP: i32 = 330;
const STEP: i32 = 250;

/// Ratios that may be axis ends and labels.
const ROUND: [f64; 13] = [
    0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0,
];

/// A log axis around 1 between round ratios.
fn axis_of(rows: &[Row], at: (i32, i32)) -> Axis {
    let finite = rows
        .iter()
        .flat_map(|r| [r.ratio, r.limits.map(|l| l.0), r.limits.map(|l| l.1)])
        .flatten()
        .filter(|x| *x > 0.0 && x.is_finite());
    let (low, high) = finite.fold((0.5, 2.0), |(low, high): (f64, f64), x| {
        (low.min(x), high.max(x))
    });
    let below = ROUND.iter().rev().find(|r| **r <= low);
    let above = ROUND.iter().find(|r| **r >= high);
    let [low, high] = [below.unwrap_or(&ROUND[0]), above.unwrap_or(&ROUND[12])];
    Axis::log(*low, *high, at)
}

/// Draws one row per kind, in the order given, as SVG; no rows give the axis
/// alone.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(rows: &[Row], labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let count = i32::try_from(rows.len().max(1)).unwrap_or(1);
    let bottom = TOP + count * STEP;
    let axis = axis_of(rows, (LEFT, theme.width() - RIGHT_SPACE));
    theme.chart(bottom + 330, &labels.description, |sheet| {
        frame(sheet, &axis, bottom, labels);
        let mut y = TOP + STEP / 2;
        for row in rows {
            draw_row(sheet, &axis, row, y);
            y += STEP;
        }
    })
}

fn frame(sheet: &Sheet<'_>, axis: &Axis, bottom: i32, labels: &Labels) {
    let ((low, high), one) = (axis.data, axis.place(1.0));
    for &ratio in ROUND.iter().filter(|r| (low..=high).contains(*r)) {
        let x = axis.place(ratio);
        sheet.line(&[(x, TOP - 40), (x, bottom)], 0.5, GRID);
        sheet.line(&[(x, bottom), (x, bottom + 30)], 0.6, FAINT);
        let text = sheet.numbers.significant(ratio, 1);
        sheet.small(&text, (x, bottom + 95), MUTED, Anchor::Middle);
    }
    let (from, to) = axis.at;
    sheet.line(&[(from, bottom), (to, bottom)], 0.6, FAINT);
    sheet.line(&[(one, TOP - 40), (one, bottom)], 1.2, INK);
    let middle = (i32::midpoint(from, to), bottom + 235);
    sheet.label(&labels.axis, middle, INK, Anchor::Middle);
    let [fewer, more] = &labels.halves;
    sheet.small(fewer, (one - 70, 120), MUTED, Anchor::Right);
    sheet.small(more, (one + 70, 120), MUTED, Anchor::Left);
    sheet.small(&labels.head, (to + 120, 120), MUTED, Anchor::Left);
}

fn draw_row(sheet: &Sheet<'_>, axis: &Axis, row: &Row, y: i32) {
    sheet.row_name(&row.label, LEFT, y);
    let (colour, width, weight) = match row.shown {
        Shown::Difference => (ACCENT, 2.4, Weight::Bold),
        Shown::None => (MUTED, 1.4, Weight::Regular),
        Shown::Refused => (FAINT, 1.0, Weight::Regular),
    };
    let (first, last) = axis.data;
    if let Some((low, high)) = row.limits {
        let [x0, x1] = [low, high].map(|ratio| axis.place(ratio.clamp(first, last)));
        sheet.line(&[(x0, y), (x1, y)], width, colour);
        // an end beyond the axis is an arrow, one on it a small stop
        for (x, open, out) in [(x0, low < first, -1), (x1, high > last, 1)] {
            if open {
                let points = [(x + 70 * out, y), (x, y - 35), (x, y + 35)];
                sheet.polygon(&points, colour, 1.0);
            } else {
                sheet.line(&[(x, y - 35), (x, y + 35)], width.min(1.4), colour);
            }
        }
    }
    if let Some(ratio) = row.ratio.filter(|r| (first..=last).contains(r)) {
        let at = (axis.place(ratio), y);
        let inside = match row.shown {
            Shown::Difference => colour,
            Shown::None | Shown::Refused => PAPER,
        };
        sheet.dot(at, 55, inside);
        sheet.circle(at, 55, 14, colour);
    }
    let [number, verdict] = &row.written;
    let (look, right) = ((weight, INK, Anchor::Left), axis.at.1);
    sheet.text(number, (right + 120, y), sheet.label_pt, look);
    let lines = sheet.wrap(verdict, RIGHT_SPACE - 480, sheet.small_pt, 2);
    let up = if lines.len() > 1 { 56 } else { 0 };
    sheet.lines(&lines, (right + 430, y - up), sheet.small_pt, look);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        Labels {
            axis: "defects per m², after over before".into(),
            ..Labels::default()
        }
    }

    fn row(ratio: f64, limits: (f64, f64), shown: Shown) -> Row {
        Row {
            label: "orange peel".into(),
            ratio: Some(ratio),
            limits: Some(limits),
            shown,
            written: ["0.5".into(), "helped".into()],
        }
    }

    #[test]
    fn a_ratio_and_its_inverse_lie_mirrored_about_one() {
        let rows = [
            row(0.5, (0.3, 0.8), Shown::Difference),
            row(2.0, (1.25, 10.0 / 3.0), Shown::None),
        ];
        let axis = axis_of(&rows, (0, 1000));
        let [low, one, high] = [0.5, 1.0, 2.0].map(|ratio| axis.place(ratio));
        assert!(
            ((one - low) - (high - one)).abs() <= 1,
            "{low} {one} {high}"
        );
        assert_eq!(axis.data, (0.2, 5.0));
    }

    #[test]
    fn an_open_end_is_an_arrow_and_a_row_without_interval_still_has_its_words() {
        let open = svg(
            &[row(0.5, (0.0, f64::INFINITY), Shown::None)],
            &labels(),
            &Theme::default(),
        );
        assert_eq!(open.unwrap().matches("<polygon").count(), 2);
        let refused = Row {
            ratio: None,
            limits: None,
            ..row(1.0, (1.0, 1.0), Shown::Refused)
        };
        let text = svg(&[refused], &labels(), &Theme::default()).unwrap();
        assert!(text.contains(">helped</text>") && text.contains(">orange peel</text>"));
        assert!(!text.contains("<circle") && !text.contains("<polygon"));
    }

    #[test]
    fn no_rows_still_give_an_axis_with_its_label() {
        let text = svg(&[], &labels(), &Theme::default()).unwrap();
        assert!(text.contains("after over before</text>"));
    }
}
