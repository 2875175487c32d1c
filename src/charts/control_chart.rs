//! Defects per area over time within limits, with changes marked, and below it
//! the chart for small shifts.

use super::axes::Axis;
use super::sheet::{At, Sheet};
use super::{ACCENT, Anchor, ChartError, Description, FAINT, GRID, INK, MUTED, PAPER};
use super::{Theme, Weight};
use crate::change::{ControlChart, Signal, SmallShift};

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// Left axis, with its unit.
    pub rate: String,
    /// Above the chart for small shifts.
    pub small_shift: String,
    /// Names of the centre and the limits.
    pub centre: String,
    /// See `centre`.
    pub limits: String,
    /// Under the points that the limits are taken from.
    pub base: String,
    /// Label of every change.
    pub changes: Vec<String>,
    /// The week, where one is reported.
    pub week: Option<String>,
}

const LEFT: i32 = 620;
/// Room for the labels of changes and the week, where there are any.
const TOP: [i32; 2] = [90, 260];
const HEIGHT: i32 = 1050;
const GAP: i32 = 300;
const LOWER: i32 = 430;
/// Most changes that get a label.
const MARKS: usize = 8;

/// Draws the chart as SVG; without limits the points alone.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(chart: &ControlChart, labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let right = theme.width() - 560;
    let labelled = !chart.marks.is_empty() || labels.week.is_some();
    let top = TOP[usize::from(labelled)];
    let upper = (top, top + HEIGHT);
    let lower = (upper.1 + GAP, upper.1 + GAP + LOWER);
    let small = chart.small_shift.as_ref();
    let bottom = small.map_or(upper.1, |_| lower.1);
    let n = chart.points.len();
    let across = Axis::new(-0.6, (n as f64 - 0.4).max(0.4), (LEFT, right));
    // Radius of a point with a signal and of any other.
    let large = (0.45 * f64::from(right - LEFT) / n.max(1) as f64).clamp(36.0, 62.0);
    let radii = [large, 0.42 * large].map(|r| r.round() as i32);
    theme.chart(bottom + 220, &labels.description, |sheet| {
        let field = Field {
            sheet,
            chart,
            labels,
            across,
            radii,
        };
        field.shade_week((upper.0, bottom));
        field.mark_base(upper.1);
        field.mark_changes((upper.0, bottom));
        field.rates(upper);
        if let Some(small) = small {
            field.small_shift(small, lower);
        }
        field.days(bottom);
    })
}

/// The chart while it is drawn.
struct Field<'a, 'b> {
    sheet: &'a Sheet<'b>,
    chart: &'a ControlChart,
    labels: &'a Labels,
    across: Axis,
    radii: [i32; 2],
}

impl Field<'_, '_> {
    /// A point: small and filled, or with a signal large, open and heavy.
    fn dot(&self, at: At, signals: bool) {
        let [large, small] = self.radii;
        if signals {
            self.sheet.dot(at, large, PAPER);
            self.sheet.circle(at, large, 20, INK);
        }
        self.sheet.dot(at, small, ACCENT);
    }

    fn rates(&self, (top, foot): (i32, i32)) {
        let (sheet, across, points) = (self.sheet, &self.across, &self.chart.points);
        let values = points
            .iter()
            .flat_map(|p| [Some(p.rate), p.limits.map(|l| l.1)]);
        let most = values.flatten().fold(0.0, f64::max);
        let axis = Axis::new(0.0, 1.05 * most, (foot, top));
        let right = across.at.1;
        sheet.left_axis(&axis, LEFT, Some(right), &self.labels.rate);
        if let Some(centre) = self.chart.centre {
            let y = axis.place(centre);
            sheet.line(&[(LEFT, y), (right, y)], 0.9, MUTED);
            sheet.small(&self.labels.centre, (right + 40, y), MUTED, Anchor::Left);
        }
        for upper in [false, true] {
            let mut steps = Vec::new();
            for (k, point) in points.iter().enumerate() {
                if let Some((low, high)) = point.limits {
                    let y = axis.place(if upper { high } else { low });
                    steps.push((across.place(k as f64 - 0.5), y));
                    steps.push((across.place(k as f64 + 0.5), y));
                }
            }
            if let Some(&(_, y)) = steps.last() {
                sheet.line(&steps, 1.0, INK);
                if upper {
                    sheet.small(&self.labels.limits, (right + 40, y), INK, Anchor::Left);
                }
            }
        }
        let places = points.iter().enumerate();
        let line: Vec<At> = places
            .map(|(k, p)| (across.place(k as f64), axis.place(p.rate)))
            .collect();
        sheet.line(&line, 0.8, ACCENT);
        for (point, at) in points.iter().zip(line) {
            self.dot(at, point.signals.iter().any(|s| *s != Signal::Run));
            if point.signals.contains(&Signal::Run) {
                // part of a run on one side: a tick under the point
                sheet.line(&[(at.0, at.1 + 45), (at.0, at.1 + 110)], 1.6, INK);
            }
        }
    }

    /// The weighted mean within its limits.
    fn small_shift(&self, small: &SmallShift, (top, foot): (i32, i32)) {
        let (sheet, right) = (self.sheet, self.across.at.1);
        let values = small.values.iter().map(|v| v.abs());
        let most = values
            .chain(small.limits.iter().copied())
            .fold(0.0, f64::max);
        let axis = Axis::new(-1.1 * most, 1.1 * most, (foot, top));
        let zero = axis.place(0.0);
        sheet.line(&[(LEFT, zero), (right, zero)], 0.8, FAINT);
        // the weighted mean starts with the base
        let first = self.chart.base.map_or(0, |base| base.0);
        let curve = |values: &mut dyn Iterator<Item = f64>| -> Vec<At> {
            let places = values.enumerate();
            places
                .map(|(k, v)| (self.across.place((first + k) as f64), axis.place(v)))
                .collect()
        };
        for sign in [-1.0, 1.0] {
            let limit = curve(&mut small.limits.iter().map(|l| sign * l));
            sheet.line(&limit, 1.0, MUTED);
        }
        let values = curve(&mut small.values.iter().copied());
        sheet.line(&values, 1.0, ACCENT);
        for (at, (value, limit)) in values
            .into_iter()
            .zip(small.values.iter().zip(&small.limits))
        {
            self.dot(at, value.abs() > *limit);
        }
        sheet.left_axis(&axis, LEFT, None, "");
        let above = (LEFT, top - 60);
        sheet.small_on_paper(&self.labels.small_shift, above, INK);
    }

    fn shade_week(&self, (top, bottom): (i32, i32)) {
        let points = &self.chart.points;
        let first = points.iter().position(|p| p.week);
        let (Some(week), Some(first)) = (&self.labels.week, first) else {
            return;
        };
        let x0 = self.across.place(first as f64 - 0.5);
        let x1 = self.across.place(points.len() as f64 - 0.5);
        self.sheet.fill([(x0, top), (x1, bottom)], GRID);
        let look = (Weight::Bold, INK, Anchor::Middle);
        let middle = (i32::midpoint(x0, x1), top - 60);
        self.sheet.text(week, middle, self.sheet.small_pt, look);
    }

    /// A bar under the points that the limits are taken from, where others follow or
    /// go before.
    fn mark_base(&self, foot: i32) {
        let all = self.chart.points.len();
        let Some((first, end)) = self.chart.base.filter(|b| b.1 - b.0 < all) else {
            return;
        };
        let x0 = self.across.place(first as f64 - 0.4);
        let x1 = self.across.place(end as f64 - 0.6);
        let y = foot + 50;
        self.sheet.line(&[(x0, y), (x1, y)], 2.4, MUTED);
        let below = (x0, y + 80);
        let name = &self.labels.base;
        self.sheet.small_on_paper(name, below, MUTED);
    }

    fn mark_changes(&self, (top, bottom): (i32, i32)) {
        let mut free_from = i32::MIN;
        let named = self.chart.marks.iter().zip(&self.labels.changes);
        for (mark, label) in named.take(MARKS) {
            let x = self.across.place(mark.point as f64 - 0.5);
            self.sheet.dashed((x, top - 10), (x, bottom), 0.9, INK);
            let half = self.sheet.small_width(label) / 2;
            if x - half > free_from {
                let over = (x, top - 160);
                self.sheet.small(label, over, INK, Anchor::Middle);
                free_from = x + half + 60;
            }
        }
    }

    /// Days below the charts, as many as fit.
    fn days(&self, y: i32) {
        let (sheet, across) = (self.sheet, &self.across);
        sheet.line(&[(across.at.0, y), (across.at.1, y)], 0.6, FAINT);
        let mut free_from = i32::MIN;
        let mut last = None;
        for (k, point) in self.chart.points.iter().enumerate() {
            if last == Some(point.day) {
                continue;
            }
            last = Some(point.day);
            let text = sheet.numbers.date(point.day);
            let half = sheet.small_width(&text) / 2;
            let x = across.place(k as f64);
            if x - half > free_from {
                sheet.line(&[(x, y), (x, y + 30)], 0.6, FAINT);
                sheet.small(&text, (x, y + 95), MUTED, Anchor::Middle);
                free_from = x + half + 120;
            }
        }
    }
}
