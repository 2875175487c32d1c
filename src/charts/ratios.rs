//! What a change did to every kind: ratios with their intervals on one log axis.

use plotters::element::Circle;
use plotters::style::ShapeStyle;

use super::{
    ACCENT, Anchor, Area, ChartError, Description, FAINT, GRID, INK, MUTED, PAPER, Theme, Weight,
    tenths,
};

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
#[derive(Debug, Clone, PartialEq)]
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

/// A log axis around 1 between round ratios.
struct LogAxis {
    low: f64,
    high: f64,
    from: i32,
    to: i32,
}

/// Ratios that may be axis ends and labels.
const ROUND: [f64; 13] = [
    0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0,
];

impl LogAxis {
    fn new(rows: &[Row], from: i32, to: i32) -> Self {
        let finite = rows
            .iter()
            .flat_map(|r| [r.ratio, r.limits.map(|l| l.0), r.limits.map(|l| l.1)])
            .flatten()
            .filter(|x| *x > 0.0 && x.is_finite());
        let (low, high) = finite.fold((0.5, 2.0), |(low, high): (f64, f64), x| {
            (low.min(x), high.max(x))
        });
        let end = |x: f64| x.clamp(ROUND[0], ROUND[ROUND.len() - 1]);
        Self {
            low: *ROUND.iter().rev().find(|r| **r <= end(low)).unwrap_or(&0.5),
            high: *ROUND.iter().find(|r| **r >= end(high)).unwrap_or(&2.0),
            from,
            to,
        }
    }

    fn place(&self, ratio: f64) -> i32 {
        let share = (ratio.max(1e-9) / self.low).ln() / (self.high / self.low).ln();
        let share = share.clamp(0.0, 1.0);
        self.from + (share * f64::from(self.to - self.from)).round() as i32
    }
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
    let right = tenths(theme.width_pt) - RIGHT_SPACE;
    let axis = LogAxis::new(rows, LEFT, right);
    theme.chart(
        f64::from(bottom + 330) / 10.0,
        &labels.description,
        |area| {
            frame(theme, area, &axis, bottom, labels)?;
            let mut y = TOP + STEP / 2;
            for row in rows {
                draw_row(theme, area, &axis, row, y)?;
                y += STEP;
            }
            Ok(())
        },
    )
}

fn frame(
    theme: &Theme,
    area: &Area<'_>,
    axis: &LogAxis,
    bottom: i32,
    labels: &Labels,
) -> Result<(), ChartError> {
    let one = axis.place(1.0);
    for ratio in ROUND.iter().filter(|r| **r >= axis.low && **r <= axis.high) {
        let x = axis.place(*ratio);
        theme.line(area, &[(x, TOP - 40), (x, bottom)], 0.5, GRID)?;
        theme.line(area, &[(x, bottom), (x, bottom + 30)], 0.6, FAINT)?;
        let text = theme.numbers.significant(*ratio, 1);
        let look = (Weight::Regular, MUTED, Anchor::Middle);
        theme.text(area, &text, (x, bottom + 95), theme.small_pt, look)?;
    }
    theme.line(area, &[(axis.from, bottom), (axis.to, bottom)], 0.6, FAINT)?;
    theme.line(area, &[(one, TOP - 40), (one, bottom)], 1.2, INK)?;
    let middle = i32::midpoint(axis.from, axis.to);
    let look = (Weight::Regular, INK, Anchor::Middle);
    theme.text(
        area,
        &labels.axis,
        (middle, bottom + 235),
        theme.label_pt,
        look,
    )?;
    let [fewer, more] = &labels.halves;
    let below = (one - 70, 120);
    let look = (Weight::Regular, MUTED, Anchor::Right);
    theme.text(area, fewer, below, theme.small_pt, look)?;
    let look = (Weight::Regular, MUTED, Anchor::Left);
    theme.text(area, more, (one + 70, 120), theme.small_pt, look)?;
    theme.text(
        area,
        &labels.head,
        (axis.to + 120, 120),
        theme.small_pt,
        look,
    )
}

fn draw_row(
    theme: &Theme,
    area: &Area<'_>,
    axis: &LogAxis,
    row: &Row,
    y: i32,
) -> Result<(), ChartError> {
    let lines = theme.wrap(&row.label, LEFT - 130, theme.label_pt, 2);
    let up = if lines.len() > 1 { 62 } else { 0 };
    let look = (Weight::Regular, INK, Anchor::Right);
    theme.lines(area, &lines, (LEFT - 80, y - up), theme.label_pt, look)?;
    let (colour, width, weight) = match row.shown {
        Shown::Difference => (ACCENT, 2.4, Weight::Bold),
        Shown::None => (MUTED, 1.4, Weight::Regular),
        Shown::Refused => (FAINT, 1.0, Weight::Regular),
    };
    if let Some((low, high)) = row.limits {
        let (x0, x1) = (axis.place(low), axis.place(high));
        theme.line(area, &[(x0, y), (x1, y)], width, colour)?;
        // an end beyond the axis is an arrow, one on it a small stop
        for (x, open, out) in [(x0, low < axis.low, -1), (x1, high > axis.high, 1)] {
            if open {
                let points = [(x + 70 * out, y), (x, y - 35), (x, y + 35)];
                theme.fill_polygon(area, &points, colour, 1.0)?;
            } else {
                theme.line(area, &[(x, y - 35), (x, y + 35)], width.min(1.4), colour)?;
            }
        }
    }
    if let Some(ratio) = row.ratio.filter(|r| *r >= axis.low && *r <= axis.high) {
        let x = axis.place(ratio);
        let filled = ShapeStyle::from(if row.shown == Shown::Difference {
            colour
        } else {
            PAPER
        })
        .filled();
        area.draw(&Circle::new((x, y), 55, filled))?;
        let outline = ShapeStyle::from(colour).stroke_width(14);
        area.draw(&Circle::new((x, y), 55, outline))?;
    }
    let [number, verdict] = &row.written;
    let look = (weight, INK, Anchor::Left);
    theme.text(area, number, (axis.to + 120, y), theme.label_pt, look)?;
    let lines = theme.wrap(verdict, RIGHT_SPACE - 480, theme.small_pt, 2);
    let up = if lines.len() > 1 { 56 } else { 0 };
    theme.lines(area, &lines, (axis.to + 430, y - up), theme.small_pt, look)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        Labels {
            description: Description {
                title: "Ratios".into(),
                text: "Rows".into(),
            },
            axis: "defects per m², after over before".into(),
            halves: ["fewer".into(), "more".into()],
            head: "ratio".into(),
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
        let axis = LogAxis::new(&rows, 0, 1000);
        let (low, one, high) = (axis.place(0.5), axis.place(1.0), axis.place(2.0));
        assert!(
            ((one - low) - (high - one)).abs() <= 1,
            "{low} {one} {high}"
        );
        assert_eq!(axis.place(axis.low), 0);
        assert_eq!(axis.place(axis.high), 1000);
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
