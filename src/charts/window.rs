//! The process window: chance of too much and of too little against a lever,
//! with the present and the advised setting.

use super::axes::Axis;
use super::effect::shade;
use super::setting::ROW;
use super::sheet::{At, Sheet};
use super::{Anchor, ChartError, Colour, Description, GRID, INK, MUTED, Theme, Weight};
use crate::removal::{Estimate, Window, WindowPoint};

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq, Default)]
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
const BOTTOM: i32 = HEIGHT - 410;
/// Length of the line beside a curve's name, and from there to the name.
const SAMPLE: i32 = 120;
const GAP: i32 = 30;

/// Draws one window as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(window: &Window, labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let right = theme.width() - 80;
    let first = window.points.first().map_or(1.0, |p| p.setting);
    let last = window.points.last().map_or(2.0, |p| p.setting);
    let x = Axis::log(first, last, (LEFT, right));
    let shares = window.points.iter();
    let highest = shares
        .flat_map(|p| [p.too_much, p.too_little])
        .flatten()
        .map(|e| e.ci.map_or(e.estimate, |ci| ci.high))
        .fold(2.0 * window.accepted_share, f64::max);
    let y = Axis::new(0.0, (highest * 115.0).min(100.0), (BOTTOM, TOP));
    theme.chart(HEIGHT, &labels.description, |sheet| {
        if let Some((low, high)) = window.inside {
            let (low, high) = (x.place(low), x.place(high));
            sheet.fill([(low, TOP), (high, BOTTOM)], GRID);
            let half = theme.small_width(&labels.inside) / 2;
            let at = ((low + high) / 2).clamp(LEFT + half, (right - half).max(LEFT + half));
            sheet.small(&labels.inside, (at, TOP + 65), MUTED, Anchor::Middle);
        }
        sheet.left_axis(&y, LEFT, Some(right), &labels.y);
        sheet.bottom_axis(&x, BOTTOM, "");
        let below = ((LEFT + right) / 2, BOTTOM + ROW + 125);
        sheet.label(&labels.x, below, INK, Anchor::Middle);
        let level = y.place(100.0 * window.accepted_share);
        sheet.dashed((LEFT, level), (right, level), 0.8, MUTED);
        // named above the field, below the curves' names
        let row = TOP - 55;
        sheet.dashed((LEFT, row), (LEFT + SAMPLE, row), 0.8, MUTED);
        let at = (LEFT + SAMPLE + GAP, row);
        sheet.small(&labels.accepted, at, MUTED, Anchor::Left);
        let present = x.place(window.present).clamp(LEFT, right);
        let advised = window.advised.map(|v| x.place(v).clamp(LEFT, right));
        let lines = [Side::TooMuch, Side::TooLittle]
            .map(|side| curve(sheet, window, (&x, &y), side, labels));
        for line in lines.iter().filter(|line| line.len() > 1) {
            sheet.setting(line, present, advised);
        }
        let named = [(present, labels.present.as_str())].into_iter();
        let advised = advised.map(|at| (at, labels.advised.as_str()));
        sheet.settings_row(&named.chain(advised).collect::<Vec<_>>(), BOTTOM);
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

/// Draws one curve with its band and its name and gives its points. Too little is
/// dashed, so that grey print tells the two apart.
fn curve(
    sheet: &Sheet<'_>,
    window: &Window,
    (x, y): (&Axis, &Axis),
    side: Side,
    labels: &Labels,
) -> Vec<At> {
    let level = |share: f64| y.place(100.0 * share).clamp(y.at.1, y.at.0);
    let points: Vec<(i32, Estimate)> = (window.points.iter())
        .filter_map(|p| Some((x.place(p.setting), side.of(p)?)))
        .collect();
    let line: Vec<At> = points
        .iter()
        .map(|(at, e)| (*at, level(e.estimate)))
        .collect();
    if points.len() < 2 {
        return line;
    }
    let (colour, name) = match side {
        Side::TooMuch => (TOO_MUCH, &labels.too_much),
        Side::TooLittle => (TOO_LITTLE, &labels.too_little),
    };
    let limits = points
        .iter()
        .filter_map(|(at, e)| Some((*at, e.ci?.low, e.ci?.high)));
    shade(sheet, &limits.collect::<Vec<_>>(), &level, (colour, 0.15));
    let stroke = |points: &[At]| match side {
        Side::TooMuch => sheet.line(points, 1.8, colour),
        Side::TooLittle => sheet.dashed_curve(points, 1.8, colour),
    };
    stroke(&line);
    // Named above the field, where no curve or level can cross the name.
    let row = y.at.1 - 145;
    let wide = sheet.text_width(name, sheet.small_pt, Weight::Bold);
    let start = match side {
        Side::TooMuch => x.at.0,
        Side::TooLittle => x.at.1 - wide - GAP - SAMPLE,
    };
    stroke(&[(start, row), (start + SAMPLE, row)]);
    let look = (Weight::Bold, colour, Anchor::Left);
    sheet.text(name, (start + SAMPLE + GAP, row), sheet.small_pt, look);
    line
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
            y: "Panels (%)".into(),
            too_much: "too much".into(),
            too_little: "too little".into(),
            present: "now 100".into(),
            advised: "try 140".into(),
            inside: "inside".into(),
            ..Labels::default()
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
