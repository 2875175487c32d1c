//! Defects per area over time within limits, with changes marked, and below it
//! the chart for small shifts.

use plotters::element::Circle;
use plotters::style::ShapeStyle;

use super::{
    ACCENT, Anchor, Area, Axis, ChartError, Colour, Description, FAINT, GRID, INK, MUTED, PAPER,
    Theme, Weight, tenths,
};
use crate::change::{ControlChart, Signal};

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq)]
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
    let right = tenths(theme.width_pt) - 560;
    let labelled = !chart.marks.is_empty() || labels.week.is_some();
    let top = TOP[usize::from(labelled)];
    let upper = (top, top + HEIGHT);
    let lower = (upper.1 + GAP, upper.1 + GAP + LOWER);
    let bottom = if chart.small_shift.is_some() {
        lower.1
    } else {
        upper.1
    };
    let n = chart.points.len();
    let across = Axis::new(-0.6, (n as f64 - 0.4).max(0.4), (LEFT, right));
    let radii = radii(f64::from(right - LEFT) / n.max(1) as f64);
    theme.chart(
        f64::from(bottom + 220) / 10.0,
        &labels.description,
        |area| {
            // the weighted mean starts with the base
            let first = chart.base.map_or(0, |base| base.0);
            let place = |k: usize| across.place((first + k) as f64);
            shade_week(theme, area, chart, labels, &across, (upper.0, bottom))?;
            mark_base(theme, area, chart, labels, &across, upper.1)?;
            mark_changes(theme, area, chart, labels, &across, (upper.0, bottom))?;
            rates(theme, area, (chart, radii), labels, &across, upper)?;
            if let Some(small) = &chart.small_shift {
                let most = small
                    .values
                    .iter()
                    .map(|v| v.abs())
                    .chain(small.limits.iter().copied())
                    .fold(0.0, f64::max);
                let axis = Axis::new(-1.1 * most, 1.1 * most, (lower.1, lower.0));
                theme.line(
                    area,
                    &[(LEFT, axis.place(0.0)), (right, axis.place(0.0))],
                    0.8,
                    FAINT,
                )?;
                for sign in [-1.0, 1.0] {
                    let limit: Vec<(i32, i32)> = small
                        .limits
                        .iter()
                        .enumerate()
                        .map(|(k, l)| (place(k), axis.place(sign * l)))
                        .collect();
                    theme.line(area, &limit, 1.0, MUTED)?;
                }
                let values: Vec<(i32, i32)> = small
                    .values
                    .iter()
                    .enumerate()
                    .map(|(k, v)| (place(k), axis.place(*v)))
                    .collect();
                theme.line(area, &values, 1.0, ACCENT)?;
                for (k, (&at, limit)) in values.iter().zip(&small.limits).enumerate() {
                    dot(area, at, radii, small.values[k].abs() > *limit)?;
                }
                theme.left_axis(area, &axis, LEFT, None, "")?;
                let look = (Weight::Regular, INK, Anchor::Left);
                let above = (LEFT, lower.0 - 60);
                theme.text(area, &labels.small_shift, above, theme.small_pt, look)?;
            }
            days(theme, area, chart, &across, bottom)
        },
    )
}

/// Radius of a point with a signal and of any other, where points are `step` apart.
fn radii(step: f64) -> [i32; 2] {
    let large = (0.45 * step).clamp(36.0, 62.0);
    [large, 0.42 * large].map(|r| r.round() as i32)
}

/// A point: small and filled, or with a signal large, open and heavy.
fn dot(
    area: &Area<'_>,
    at: (i32, i32),
    [large, small]: [i32; 2],
    signals: bool,
) -> Result<(), ChartError> {
    if signals {
        area.draw(&Circle::new(at, large, ShapeStyle::from(PAPER).filled()))?;
        area.draw(&Circle::new(
            at,
            large,
            ShapeStyle::from(INK).stroke_width(20),
        ))?;
    }
    area.draw(&Circle::new(at, small, ShapeStyle::from(ACCENT).filled()))?;
    Ok(())
}

fn rates(
    theme: &Theme,
    area: &Area<'_>,
    (chart, radii): (&ControlChart, [i32; 2]),
    labels: &Labels,
    across: &Axis,
    span: (i32, i32),
) -> Result<(), ChartError> {
    let most = chart
        .points
        .iter()
        .flat_map(|p| [Some(p.rate), p.limits.map(|l| l.1)])
        .flatten()
        .fold(0.0, f64::max);
    let axis = Axis::new(0.0, 1.05 * most, (span.1, span.0));
    let right = across.at.1;
    theme.left_axis(area, &axis, LEFT, Some(right), &labels.rate)?;
    let look = |colour: Colour| (Weight::Regular, colour, Anchor::Left);
    if let Some(centre) = chart.centre {
        let y = axis.place(centre);
        theme.line(area, &[(LEFT, y), (right, y)], 0.9, MUTED)?;
        theme.text(
            area,
            &labels.centre,
            (right + 40, y),
            theme.small_pt,
            look(MUTED),
        )?;
    }
    for upper in [false, true] {
        let mut steps = Vec::new();
        for (k, point) in chart.points.iter().enumerate() {
            if let Some((low, high)) = point.limits {
                let y = axis.place(if upper { high } else { low });
                steps.push((across.place(k as f64 - 0.5), y));
                steps.push((across.place(k as f64 + 0.5), y));
            }
        }
        if let Some(&(_, y)) = steps.last() {
            theme.line(area, &steps, 1.0, INK)?;
            if upper {
                theme.text(
                    area,
                    &labels.limits,
                    (right + 40, y),
                    theme.small_pt,
                    look(INK),
                )?;
            }
        }
    }
    let line: Vec<(i32, i32)> = chart
        .points
        .iter()
        .enumerate()
        .map(|(k, p)| (across.place(k as f64), axis.place(p.rate)))
        .collect();
    theme.line(area, &line, 0.8, ACCENT)?;
    for (point, at) in chart.points.iter().zip(line) {
        let signals = point.signals.iter().any(|s| *s != Signal::Run);
        dot(area, at, radii, signals)?;
        if point.signals.contains(&Signal::Run) {
            // part of a run on one side: a tick under the point
            theme.line(area, &[(at.0, at.1 + 45), (at.0, at.1 + 110)], 1.6, INK)?;
        }
    }
    Ok(())
}

fn shade_week(
    theme: &Theme,
    area: &Area<'_>,
    chart: &ControlChart,
    labels: &Labels,
    across: &Axis,
    (top, bottom): (i32, i32),
) -> Result<(), ChartError> {
    let Some(week) = &labels.week else {
        return Ok(());
    };
    let Some(first) = chart.points.iter().position(|p| p.week) else {
        return Ok(());
    };
    let x0 = across.place(first as f64 - 0.5);
    let x1 = across.place(chart.points.len() as f64 - 0.5);
    theme.fill(area, [(x0, top), (x1, bottom)], GRID)?;
    let look = (Weight::Bold, INK, Anchor::Middle);
    let middle = i32::midpoint(x0, x1);
    theme.text(area, week, (middle, top - 60), theme.small_pt, look)
}

/// A bar under the points that the limits are taken from, where others follow or
/// go before.
fn mark_base(
    theme: &Theme,
    area: &Area<'_>,
    chart: &ControlChart,
    labels: &Labels,
    across: &Axis,
    foot: i32,
) -> Result<(), ChartError> {
    let Some((first, end)) = chart.base.filter(|b| b.1 - b.0 < chart.points.len()) else {
        return Ok(());
    };
    let (x0, x1) = (
        across.place(first as f64 - 0.4),
        across.place(end as f64 - 0.6),
    );
    let y = foot + 50;
    theme.line(area, &[(x0, y), (x1, y)], 2.4, MUTED)?;
    let look = (Weight::Regular, MUTED, Anchor::Left);
    theme.text(area, &labels.base, (x0, y + 80), theme.small_pt, look)
}

fn mark_changes(
    theme: &Theme,
    area: &Area<'_>,
    chart: &ControlChart,
    labels: &Labels,
    across: &Axis,
    (top, bottom): (i32, i32),
) -> Result<(), ChartError> {
    let mut free_from = i32::MIN;
    for (mark, label) in chart.marks.iter().zip(&labels.changes).take(MARKS) {
        let x = across.place(mark.point as f64 - 0.5);
        theme.dashed(area, (x, top - 10), (x, bottom), 0.9, INK)?;
        let width = theme.text_width(label, theme.small_pt, Weight::Regular);
        if x - width / 2 > free_from {
            let look = (Weight::Regular, INK, Anchor::Middle);
            theme.text(area, label, (x, top - 160), theme.small_pt, look)?;
            free_from = x + width / 2 + 60;
        }
    }
    Ok(())
}

/// Days below the charts, as many as fit.
fn days(
    theme: &Theme,
    area: &Area<'_>,
    chart: &ControlChart,
    across: &Axis,
    y: i32,
) -> Result<(), ChartError> {
    theme.line(area, &[(across.at.0, y), (across.at.1, y)], 0.6, FAINT)?;
    let mut free_from = i32::MIN;
    let mut last = None;
    for (k, point) in chart.points.iter().enumerate() {
        if last == Some(point.day) {
            continue;
        }
        last = Some(point.day);
        let text = theme.numbers.date(point.day);
        let width = theme.text_width(&text, theme.small_pt, Weight::Regular);
        let x = across.place(k as f64);
        if x - width / 2 > free_from {
            theme.line(area, &[(x, y), (x, y + 30)], 0.6, FAINT)?;
            let look = (Weight::Regular, MUTED, Anchor::Middle);
            theme.text(area, &text, (x, y + 95), theme.small_pt, look)?;
            free_from = x + width / 2 + 120;
        }
    }
    Ok(())
}
