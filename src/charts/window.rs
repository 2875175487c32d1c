//! The process window: chance of too much and of too little against a lever,
//! with the present and the advised setting.

use super::setting::{ROW, on, way};
use super::{
    Anchor, Area, Axis, ChartError, Colour, Description, GRID, INK, LogAxis, MUTED, Theme, Weight,
    tenths,
};
use crate::removal::{Estimate, Window, WindowPoint};

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// Below the axis: the lever with its unit.
    pub x: String,
    /// At the left axis.
    pub y: String,
    /// At the curve of too much.
    pub too_much: String,
    /// At the curve of too little.
    pub too_little: String,
    /// At the accepted share.
    pub accepted: String,
    /// At the present setting.
    pub present: String,
    /// At the advised setting.
    pub advised: String,
    /// Over the settings inside.
    pub inside: String,
}

const TOO_MUCH: Colour = plotters::style::RGBColor(0xb3, 0x6b, 0x00);
const TOO_LITTLE: Colour = plotters::style::RGBColor(0x2a, 0x7f, 0xb8);

const HEIGHT: i32 = 1650;
const LEFT: i32 = 430;
const TOP: i32 = 250;
const BOTTOM: i32 = 410;
/// Length of the line beside a curve's name.
const SAMPLE: i32 = 120;
/// From the line to the name.
const GAP: i32 = 30;

/// Draws one window as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(window: &Window, labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let right = tenths(theme.width_pt) - 80;
    let (top, bottom) = (TOP, HEIGHT - BOTTOM);
    let ends = (
        window.points.first().map_or(1.0, |p| p.setting),
        window.points.last().map_or(2.0, |p| p.setting),
    );
    let x = LogAxis::new(ends.0, ends.1, (LEFT, right));
    let highest = window
        .points
        .iter()
        .flat_map(|p| [p.too_much, p.too_little])
        .flatten()
        .map(|e| e.ci.map_or(e.estimate, |ci| ci.high))
        .fold(2.0 * window.accepted_share, f64::max);
    let y = Axis::new(0.0, (highest * 115.0).min(100.0), (bottom, top));
    theme.chart(f64::from(HEIGHT) / 10.0, &labels.description, |area| {
        if let Some((low, high)) = window.inside {
            let corners = [(x.place(low), top), (x.place(high), bottom)];
            theme.fill(area, corners, GRID)?;
            let middle = (x.place(low) + x.place(high)) / 2;
            let look = (Weight::Regular, MUTED, Anchor::Middle);
            let half = theme.text_width(&labels.inside, theme.small_pt, Weight::Regular) / 2;
            let at = middle.clamp(LEFT + half, (right - half).max(LEFT + half));
            theme.text(area, &labels.inside, (at, top + 65), theme.small_pt, look)?;
        }
        theme.left_axis(area, &y, LEFT, Some(right), &labels.y)?;
        theme.bottom_log_axis(area, &x, bottom, "")?;
        let look = (Weight::Regular, INK, Anchor::Middle);
        let at = ((LEFT + right) / 2, bottom + ROW + 125);
        theme.text(area, &labels.x, at, theme.label_pt, look)?;
        let level = y.place(100.0 * window.accepted_share);
        theme.dashed(area, (LEFT, level), (right, level), 0.8, MUTED)?;
        // named above the field, below the curves' names
        let row = top - 55;
        theme.dashed(area, (LEFT, row), (LEFT + SAMPLE, row), 0.8, MUTED)?;
        let look = (Weight::Regular, MUTED, Anchor::Left);
        let at = (LEFT + SAMPLE + GAP, row);
        theme.text(area, &labels.accepted, at, theme.small_pt, look)?;
        for (pick, colour, name) in [
            (Side::TooMuch, TOO_MUCH, &labels.too_much),
            (Side::TooLittle, TOO_LITTLE, &labels.too_little),
        ] {
            curve(theme, area, window, (&x, &y), pick, (colour, name))?;
        }
        let present = x.place(window.present).clamp(LEFT, right);
        let advised = window.advised.map(|v| x.place(v).clamp(LEFT, right));
        for side in [Side::TooMuch, Side::TooLittle] {
            let line = line_of(window, (&x, &y), side);
            if line.len() < 2 {
                continue;
            }
            if let Some(advised) = advised {
                theme.arrow(area, &way(&line, present, advised), INK)?;
            }
            if let Some(height) = on(&line, present) {
                theme.setting(area, (present, height), INK)?;
            }
        }
        let mut named = vec![(present, labels.present.as_str())];
        named.extend(advised.map(|at| (at, labels.advised.as_str())));
        theme.settings_row(area, &named, bottom)?;
        Ok(())
    })
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    TooMuch,
    TooLittle,
}

impl Side {
    fn of(self, point: &WindowPoint) -> Option<Estimate> {
        match self {
            Side::TooMuch => point.too_much,
            Side::TooLittle => point.too_little,
        }
    }
}

fn level_of(y: &Axis) -> impl Fn(f64) -> i32 {
    |share: f64| y.place(100.0 * share).clamp(y.at.1, y.at.0)
}

/// A curve's points in the chart.
fn line_of(window: &Window, (x, y): (&LogAxis, &Axis), side: Side) -> Vec<(i32, i32)> {
    let level = level_of(y);
    let points = window.points.iter();
    points
        .filter_map(|p| Some((x.place(p.setting), level(side.of(p)?.estimate))))
        .collect()
}

/// One curve with its band and its name. Too little is dashed, so that grey print
/// tells the two apart.
fn curve(
    theme: &Theme,
    area: &Area<'_>,
    window: &Window,
    (x, y): (&LogAxis, &Axis),
    side: Side,
    (colour, name): (Colour, &str),
) -> Result<(), ChartError> {
    let points: Vec<(i32, Estimate)> = window
        .points
        .iter()
        .filter_map(|p| Some((x.place(p.setting), side.of(p)?)))
        .collect();
    if points.len() < 2 {
        return Ok(());
    }
    let level = level_of(y);
    let mut edge: Vec<(i32, i32)> = points
        .iter()
        .filter_map(|(at, e)| Some((*at, level(e.ci?.high))))
        .collect();
    edge.extend(
        points
            .iter()
            .rev()
            .filter_map(|(at, e)| Some((*at, level(e.ci?.low)))),
    );
    if edge.len() >= 4 {
        theme.fill_polygon(area, &edge, colour, 0.15)?;
    }
    let line = line_of(window, (x, y), side);
    if side == Side::TooMuch {
        theme.line(area, &line, 1.8, colour)?;
    } else {
        theme.dashed_line(area, &line, 1.8, colour)?;
    }
    // Named above the field, where no curve or level can cross the name.
    let row = y.at.1 - 145;
    let wide = theme.text_width(name, theme.small_pt, Weight::Bold);
    let look = (Weight::Bold, colour, Anchor::Left);
    if side == Side::TooMuch {
        let start = x.at.0;
        theme.line(area, &[(start, row), (start + SAMPLE, row)], 1.8, colour)?;
        theme.text(
            area,
            name,
            (start + SAMPLE + GAP, row),
            theme.small_pt,
            look,
        )
    } else {
        let start = x.at.1 - wide - GAP - SAMPLE;
        theme.dashed_line(area, &[(start, row), (start + SAMPLE, row)], 1.8, colour)?;
        theme.text(
            area,
            name,
            (start + SAMPLE + GAP, row),
            theme.small_pt,
            look,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::removal::{Basis, Factor};

    fn window() -> Window {
        let point = |setting: f64| WindowPoint {
            setting,
            too_much: Some(Estimate {
                estimate: 10.0 / setting,
                ci: None,
            }),
            too_little: Some(Estimate {
                estimate: setting / 1000.0,
                ci: None,
            }),
        };
        Window {
            lever: Factor::Feed,
            basis: Basis::Defects,
            points: vec![point(80.0), point(120.0), point(160.0)],
            present: 100.0,
            advised: Some(140.0),
            accepted_share: 0.1,
            best: Some(100.0),
            inside: Some((95.0, 105.0)),
            surely_inside: None,
            perhaps_inside: None,
        }
    }

    #[test]
    fn both_curves_and_both_settings_are_named() {
        let labels = Labels {
            description: Description {
                title: "Window".into(),
                text: "Chances".into(),
            },
            x: "Feed speed (mm/s)".into(),
            y: "Panels (%)".into(),
            too_much: "too much".into(),
            too_little: "too little".into(),
            accepted: "accepted".into(),
            present: "now 100".into(),
            advised: "try 140".into(),
            inside: "inside".into(),
        };
        let svg = svg(&window(), &labels, &Theme::default()).unwrap();
        for text in [
            "too much",
            "too little",
            "now 100",
            "try 140",
            "inside",
            "Panels (%)",
        ] {
            assert!(svg.contains(&format!(">{text}</text>")), "{text}");
        }
    }
}
