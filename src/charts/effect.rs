//! The effect of each factor on removal: panels, fit and band, one factor
//! below the other; log axes where the law is a power.

use super::axes::Axis;
use super::sheet::{At, Sheet};
use super::{Anchor, ChartError, Colour, Description, FAINT, INK, MUTED, Theme, Weight};
use crate::removal::Effect;

/// One factor.
#[derive(Debug, Clone, PartialEq)]
pub struct Field<'a> {
    /// The effect.
    pub effect: &'a Effect,
    /// Above the field: the factor, with the unit.
    pub name: String,
    /// Behind that: what was found.
    pub found: String,
    /// At the present setting, where it is a number.
    pub present: String,
    /// The setting to try and what stands there, where one is advised.
    pub advised: Option<(f64, String)>,
}

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// At the axes of removal, with the unit.
    pub y: String,
}

/// The fit and its band: the recipe's own colour.
pub(super) const FIT: Colour = plotters::style::RGBColor(0x00, 0x72, 0xb2);
/// Single panels.
pub(super) const DOT: Colour = plotters::style::RGBColor(0x8a, 0x92, 0x99);
pub(super) const DOT_RADIUS: i32 = 11;

const FIELD_HEIGHT: i32 = 1250;
const LEFT: i32 = 430;
const RIGHT: i32 = 80;
/// Room for the name and what was found.
const TOP: i32 = 270;
const BOTTOM: i32 = 290;

/// Draws the factors one below the other as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(fields: &[Field<'_>], labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let rows = i32::try_from(fields.len()).unwrap_or(1).max(1);
    let (low, high) = common_range(fields);
    theme.chart(rows * FIELD_HEIGHT, &labels.description, |sheet| {
        for (field, index) in fields.iter().zip(0..) {
            let (top, foot) = (index * FIELD_HEIGHT, (index + 1) * FIELD_HEIGHT);
            let y = Axis::log(low, high, (foot - BOTTOM, top + TOP));
            draw(sheet, field, labels, &y);
        }
    })
}

/// The value that a share of sorted values does not exceed.
pub(super) fn at_share(sorted: &[f64], share: f64) -> Option<f64> {
    let at = ((sorted.len() as f64 - 1.0) * share).round() as usize;
    sorted.get(at).copied()
}

/// One range for all fields, so that slopes compare: the curves, the levels and
/// nearly all panels.
fn common_range(fields: &[Field<'_>]) -> (f64, f64) {
    let data = fields.iter().flat_map(|f| &f.effect.data);
    let mut values: Vec<f64> = data.map(|d| d.1).filter(|v| *v > 0.0).collect();
    values.sort_by(f64::total_cmp);
    let mut low = at_share(&values, 0.01).unwrap_or(f64::INFINITY);
    let mut high = at_share(&values, 0.99).unwrap_or(0.0);
    for effect in fields.iter().map(|f| f.effect) {
        let curve = effect.curve.iter().map(|p| p.removed_um);
        for value in curve.chain(effect.levels.iter().map(|l| l.1.estimate)) {
            low = low.min(value);
            high = high.max(value);
        }
    }
    if low.is_finite() && high > low {
        (low / 1.15, high * 1.15)
    } else {
        (1.0, 10.0)
    }
}

fn draw(sheet: &Sheet<'_>, field: &Field<'_>, labels: &Labels, y: &Axis) {
    let (left, right) = (LEFT, sheet.width() - RIGHT);
    let (bottom, top) = y.at;
    for (text, size, up, weight, colour) in [
        (&field.name, sheet.label_pt, 195, Weight::Bold, INK),
        (&field.found, sheet.small_pt, 75, Weight::Regular, MUTED),
    ] {
        let line = sheet.wrap(text, right - left, size, 1);
        let look = (weight, colour, Anchor::Left);
        sheet.lines(&line, (left, top - up), size, look);
    }
    sheet.left_axis(y, left, Some(right), &labels.y);
    let level = |v: f64| y.place(v).clamp(top, bottom);
    let effect = field.effect;
    if effect.curve.is_empty() {
        levels(sheet, field, (left, right), bottom, &level);
        return;
    }
    let settings = || effect.curve.iter().map(|p| p.at);
    let low = settings().fold(f64::INFINITY, f64::min);
    let high = settings().fold(f64::NEG_INFINITY, f64::max);
    let x = if effect.power {
        let spare = (high / low).powf(0.04);
        Axis::log(low / spare, high * spare, (left, right))
    } else {
        let spare = (high - low) * 0.04;
        Axis::new(low - spare, high + spare, (left, right))
    };
    sheet.bottom_axis(&x, bottom, "");
    band(sheet, effect, &|v| x.place(v), &level);
    for &(at, removed) in &effect.data {
        sheet.dot((x.place(at), level(removed)), DOT_RADIUS, DOT);
    }
    let curve = effect.curve.iter();
    let mut line: Vec<At> = curve
        .map(|p| (x.place(p.at), level(p.removed_um)))
        .collect();
    line.sort_by_key(|p| p.0);
    sheet.line(&line, 1.6, FIT);
    let Some(present) = effect.present.map(|v| x.place(v)) else {
        return;
    };
    let advised =
        (field.advised.as_ref()).map(|(at, name)| (x.place(*at).clamp(left, right), name.as_str()));
    sheet.setting(&line, present, advised.map(|a| a.0));
    let named = [(present, field.present.as_str())].into_iter();
    sheet.settings_row(&named.chain(advised).collect::<Vec<_>>(), bottom);
}

/// The interval of the curve as a shaded band.
pub(super) fn band(
    sheet: &Sheet<'_>,
    effect: &Effect,
    x: &dyn Fn(f64) -> i32,
    y: &dyn Fn(f64) -> i32,
) {
    let curve = effect.curve.iter();
    let points: Vec<_> = curve
        .filter_map(|p| Some((x(p.at), p.ci?.low, p.ci?.high)))
        .collect();
    shade(sheet, &points, y, (FIT, 0.18));
}

/// The area between limits side by side: place across, low and high.
pub(super) fn shade(
    sheet: &Sheet<'_>,
    points: &[(i32, f64, f64)],
    y: &dyn Fn(f64) -> i32,
    (colour, opacity): (Colour, f64),
) {
    let upper = points.iter().map(|(x, _, high)| (*x, y(*high)));
    let lower = points.iter().rev().map(|(x, low, _)| (*x, y(*low)));
    let edge: Vec<At> = upper.chain(lower).collect();
    if edge.len() >= 4 {
        sheet.polygon(&edge, colour, opacity);
    }
}

fn levels(
    sheet: &Sheet<'_>,
    field: &Field<'_>,
    (left, right): (i32, i32),
    bottom: i32,
    level: &dyn Fn(f64) -> i32,
) {
    let effect = field.effect;
    let count = i32::try_from(effect.levels.len()).unwrap_or(1).max(1);
    let step = (right - left) / count;
    sheet.line(&[(left, bottom), (right, bottom)], 0.6, FAINT);
    let middle = |index: i32| left + step * index + step / 2;
    for (i, &(at, removed)) in effect.data.iter().enumerate() {
        // Panels of a level side by side in the order they ran.
        let spread = step / 3;
        let shift = if spread > 0 {
            (i as i32 * 37) % (2 * spread) - spread
        } else {
            0
        };
        let x = middle(at as i32) + shift;
        sheet.dot((x, level(removed)), DOT_RADIUS, DOT);
    }
    for ((name, estimate), index) in effect.levels.iter().zip(0..) {
        let x = middle(index);
        if let Some(ci) = estimate.ci {
            sheet.line(&[(x, level(ci.low)), (x, level(ci.high))], 1.6, FIT);
        }
        let y = level(estimate.estimate);
        sheet.line(&[(x - 90, y), (x + 90, y)], 2.0, FIT);
        let lines = sheet.wrap(name, step - 20, sheet.small_pt, 1);
        let look = (Weight::Regular, INK, Anchor::Middle);
        sheet.lines(&lines, (x, bottom + 95), sheet.small_pt, look);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::removal::{EffectPoint, Estimate, Factor};
    use crate::stats::Interval;

    fn labels() -> Labels {
        Labels {
            y: "Removal (µm)".into(),
            ..Labels::default()
        }
    }

    fn feed() -> Effect {
        let point = |at: f64| EffectPoint {
            at,
            removed_um: 2000.0 / at,
            ci: Some(Interval {
                low: 1800.0 / at,
                high: 2200.0 / at,
                level: 0.95,
            }),
        };
        Effect {
            factor: Factor::Feed,
            curve: vec![point(80.0), point(100.0), point(160.0)],
            levels: Vec::new(),
            power: true,
            data: vec![(80.0, 26.0), (160.0, 11.0), (100.0, -1.0)],
            present: Some(100.0),
        }
    }

    #[test]
    fn a_field_has_a_band_a_line_a_dot_per_panel_and_the_move_along_the_line() {
        let effect = feed();
        let field = Field {
            effect: &effect,
            name: "Feed speed (mm/s)".into(),
            found: "exponent −1".into(),
            present: "now 100".into(),
            advised: None,
        };
        let still = svg(std::slice::from_ref(&field), &labels(), &Theme::default()).unwrap();
        assert_eq!(still.matches("<polygon").count(), 1);
        let moved = Field {
            advised: Some((150.0, "try 150".into())),
            ..field
        };
        let svg = svg(&[moved], &labels(), &Theme::default()).unwrap();
        assert_eq!(svg.matches("<polygon").count(), 2, "the arrow's head");
        assert!(svg.contains("(mm/s)</text>") && svg.contains(">now 100</text>"));
        assert!(svg.contains(">try 150</text>"));
        // Zero and negative panels stand at the foot of the field, not outside.
        assert!(!svg.contains("NaN"));
    }

    #[test]
    fn levels_are_named_and_no_field_gives_an_empty_chart() {
        let effect = Effect {
            factor: Factor::Grit,
            curve: Vec::new(),
            levels: [("P240", 30.0), ("P320", 20.0)]
                .map(|(name, estimate)| (name.into(), Estimate { estimate, ci: None }))
                .to_vec(),
            power: false,
            data: vec![(0.0, 31.0), (1.0, 19.0)],
            present: None,
        };
        let field = Field {
            effect: &effect,
            name: "Grit".into(),
            found: String::new(),
            present: String::new(),
            advised: None,
        };
        let drawn = svg(&[field], &labels(), &Theme::default()).unwrap();
        assert!(drawn.contains(">P240</text>") && drawn.contains(">P320</text>"));
        let empty = svg(&[], &labels(), &Theme::default()).unwrap();
        assert!(empty.contains("<title>"));
    }
}
