//! The effect of each factor on removal: panels, fit and band, one factor
//! below the other; log axes where the law is a power.

use super::setting::way;
use super::{
    Anchor, Area, Axis, ChartError, Colour, Description, FAINT, INK, LogAxis, MUTED, Theme, Weight,
    tenths,
};
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
#[derive(Debug, Clone, PartialEq)]
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

const FIELD_HEIGHT: i32 = 1250;
const LEFT: i32 = 430;
const RIGHT: i32 = 80;
/// Room for the name and what was found.
const TOP: i32 = 270;
const BOTTOM: i32 = 290;
pub(super) const DOT_RADIUS: i32 = 11;

/// Draws the factors one below the other as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(fields: &[Field<'_>], labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let rows = i32::try_from(fields.len()).unwrap_or(1).max(1);
    let y = common_axis(fields);
    theme.chart(
        f64::from(rows * FIELD_HEIGHT) / 10.0,
        &labels.description,
        |area| {
            for (field, index) in fields.iter().zip(0..) {
                draw(theme, area, field, labels, index * FIELD_HEIGHT, y)?;
            }
            Ok(())
        },
    )
}

/// One range for all fields, so that slopes compare: the curves, the bands and
/// nearly all panels.
fn common_axis(fields: &[Field<'_>]) -> (f64, f64) {
    let mut values: Vec<f64> = fields
        .iter()
        .flat_map(|f| f.effect.data.iter().map(|d| d.1))
        .collect();
    values.retain(|v| *v > 0.0);
    values.sort_by(f64::total_cmp);
    let quantile = |q: f64| {
        values
            .get(((values.len() as f64 - 1.0) * q).round() as usize)
            .copied()
    };
    let mut low = quantile(0.01).unwrap_or(f64::INFINITY);
    let mut high = quantile(0.99).unwrap_or(0.0);
    for field in fields {
        for point in &field.effect.curve {
            low = low.min(point.removed_um);
            high = high.max(point.removed_um);
        }
        for (_, level) in &field.effect.levels {
            low = low.min(level.estimate);
            high = high.max(level.estimate);
        }
    }
    if low.is_finite() && high > low {
        (low / 1.15, high * 1.15)
    } else {
        (1.0, 10.0)
    }
}

fn draw(
    theme: &Theme,
    area: &Area<'_>,
    field: &Field<'_>,
    labels: &Labels,
    y0: i32,
    (low, high): (f64, f64),
) -> Result<(), ChartError> {
    let (left, right) = (LEFT, tenths(theme.width_pt) - RIGHT);
    let (top, bottom) = (y0 + TOP, y0 + FIELD_HEIGHT - BOTTOM);
    let y = LogAxis::new(low, high, (bottom, top));
    for (text, size, up, weight, colour) in [
        (&field.name, theme.label_pt, 195, Weight::Bold, INK),
        (&field.found, theme.small_pt, 75, Weight::Regular, MUTED),
    ] {
        let line = theme.wrap(text, right - left, size, 1);
        let look = (weight, colour, Anchor::Left);
        theme.lines(area, &line, (left, top - up), size, look)?;
    }
    theme.left_log_axis(area, &y, left, right, &labels.y)?;
    let level = |v: f64| y.place(v).clamp(top, bottom);
    let effect = field.effect;
    if effect.curve.is_empty() {
        return levels(theme, area, field, (left, right), bottom, &level);
    }
    let ends = effect
        .curve
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |e, p| {
            (e.0.min(p.at), e.1.max(p.at))
        });
    let place: Box<dyn Fn(f64) -> i32> = if effect.power {
        let spare = (ends.1 / ends.0).powf(0.04);
        let axis = LogAxis::new(ends.0 / spare, ends.1 * spare, (left, right));
        theme.bottom_log_axis(area, &axis, bottom, "")?;
        Box::new(move |v| axis.place(v))
    } else {
        let spare = (ends.1 - ends.0) * 0.04;
        let axis = Axis::new(ends.0 - spare, ends.1 + spare, (left, right));
        theme.bottom_axis(area, &axis, bottom, "")?;
        Box::new(move |v| axis.place(v))
    };
    band(theme, area, effect, &*place, &level)?;
    for &(at, removed) in &effect.data {
        theme.dot(area, (place(at), level(removed)), DOT_RADIUS, DOT)?;
    }
    let mut line: Vec<(i32, i32)> = effect
        .curve
        .iter()
        .map(|p| (place(p.at), level(p.removed_um)))
        .collect();
    line.sort_by_key(|p| p.0);
    theme.line(area, &line, 1.6, FIT)?;
    let Some(present) = effect.present.map(&*place) else {
        return Ok(());
    };
    let mut named = vec![(present, field.present.as_str())];
    if let Some((advised, name)) = &field.advised {
        let to = place(*advised).clamp(left, right);
        theme.arrow(area, &way(&line, present, to), INK)?;
        named.push((to, name));
    }
    if let Some(y) = super::setting::on(&line, present) {
        theme.setting(area, (present, y), INK)?;
    }
    theme.settings_row(area, &named, bottom)
}

/// The interval of the curve as a shaded band.
pub(super) fn band(
    theme: &Theme,
    area: &Area<'_>,
    effect: &Effect,
    x: &dyn Fn(f64) -> i32,
    y: &dyn Fn(f64) -> i32,
) -> Result<(), ChartError> {
    let mut edge: Vec<(i32, i32)> = Vec::new();
    for point in &effect.curve {
        if let Some(ci) = point.ci {
            edge.push((x(point.at), y(ci.high)));
        }
    }
    for point in effect.curve.iter().rev() {
        if let Some(ci) = point.ci {
            edge.push((x(point.at), y(ci.low)));
        }
    }
    if edge.len() < 4 {
        return Ok(());
    }
    theme.fill_polygon(area, &edge, FIT, 0.18)
}

fn levels(
    theme: &Theme,
    area: &Area<'_>,
    field: &Field<'_>,
    (left, right): (i32, i32),
    bottom: i32,
    level: &dyn Fn(f64) -> i32,
) -> Result<(), ChartError> {
    let effect = field.effect;
    let count = i32::try_from(effect.levels.len()).unwrap_or(1).max(1);
    let step = (right - left) / count;
    theme.line(area, &[(left, bottom), (right, bottom)], 0.6, FAINT)?;
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
        theme.dot(area, (x, level(removed)), DOT_RADIUS, DOT)?;
    }
    for ((name, estimate), index) in effect.levels.iter().zip(0..) {
        let x = middle(index);
        if let Some(ci) = estimate.ci {
            theme.line(area, &[(x, level(ci.low)), (x, level(ci.high))], 1.6, FIT)?;
        }
        let y = level(estimate.estimate);
        theme.line(area, &[(x - 90, y), (x + 90, y)], 2.0, FIT)?;
        let lines = theme.wrap(name, step - 20, theme.small_pt, 1);
        let look = (Weight::Regular, INK, Anchor::Middle);
        theme.lines(area, &lines, (x, bottom + 95), theme.small_pt, look)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::removal::{EffectPoint, Estimate, Factor};
    use crate::stats::Interval;

    fn labels() -> Labels {
        Labels {
            description: Description {
                title: "Effects".into(),
                text: "Removal against each factor".into(),
            },
            y: "Removal (µm)".into(),
        }
    }

    pub(crate) fn feed() -> Effect {
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
            levels: vec![
                (
                    "P240".into(),
                    Estimate {
                        estimate: 30.0,
                        ci: None,
                    },
                ),
                (
                    "P320".into(),
                    Estimate {
                        estimate: 20.0,
                        ci: None,
                    },
                ),
            ],
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
        assert!(
            svg(&[], &labels(), &Theme::default())
                .unwrap()
                .contains("<title>")
        );
    }
}
