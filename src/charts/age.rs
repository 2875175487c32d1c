//! How removal falls as an abrasive wears: panels by age, fit and band, the
//! first panels set apart.

use super::axes::Axis;
use super::effect::{DOT, DOT_RADIUS, FIT, at_share, band};
use super::{Anchor, ChartError, Description, GRID, MUTED, Theme};
use crate::removal::Effect;

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// Below the axis, with the unit.
    pub x: String,
    /// At the left axis, with the unit.
    pub y: String,
    /// Over the first panels.
    pub fresh: String,
}

const HEIGHT: i32 = 1500;
const LEFT: i32 = 430;
const TOP: i32 = 130;
const BOTTOM: i32 = 330;

/// Draws the effect of the abrasive's age as SVG; ages up to `fresh_up_to`
/// are shaded.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails; an empty curve gives the axes.
pub fn svg(
    effect: &Effect,
    fresh_up_to: f64,
    labels: &Labels,
    theme: &Theme,
) -> Result<String, ChartError> {
    let right = theme.width() - 80;
    let (top, bottom) = (TOP, HEIGHT - BOTTOM);
    let oldest = effect.curve.iter().map(|p| p.at).fold(1.0, f64::max);
    let mut values: Vec<f64> = effect.data.iter().map(|d| d.1).collect();
    values.sort_by(f64::total_cmp);
    let fitted = effect.curve.iter().map(|p| p.removed_um);
    let highest = fitted.fold(1e-9, f64::max);
    let lowest = at_share(&values, 0.0).unwrap_or(0.0).min(0.0);
    let high = at_share(&values, 0.99).unwrap_or(highest).max(highest) * 1.1;
    let x = Axis::new(-0.02 * oldest, oldest * 1.02, (LEFT, right));
    let y = Axis::new(lowest, high, (bottom, top));
    theme.chart(HEIGHT, &labels.description, |sheet| {
        let edge = x.place(fresh_up_to.min(oldest));
        sheet.fill([(x.at.0, top), (edge, bottom)], GRID);
        let over = (x.at.0 + 10, top - 60);
        sheet.small(&labels.fresh, over, MUTED, Anchor::Left);
        sheet.left_axis(&y, LEFT, Some(right), &labels.y);
        sheet.bottom_axis(&x, bottom, &labels.x);
        let level = |v: f64| y.place(v).clamp(top, bottom);
        band(sheet, effect, &|v| x.place(v), &level);
        for &(age, removed) in &effect.data {
            sheet.dot((x.place(age), level(removed)), DOT_RADIUS, DOT);
        }
        let curve = effect.curve.iter();
        let line: Vec<_> = curve
            .map(|p| (x.place(p.at), level(p.removed_um)))
            .collect();
        if line.len() > 1 {
            sheet.line(&line, 1.8, FIT);
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::removal::{EffectPoint, Factor};

    #[test]
    fn the_first_panels_are_shaded_and_the_axes_carry_units() {
        let point = |at, removed_um| EffectPoint {
            at,
            removed_um,
            ci: None,
        };
        let effect = Effect {
            factor: Factor::AbrasiveAge,
            curve: vec![point(0.0, 24.0), point(2.0, 23.0), point(30.0, 16.0)],
            levels: Vec::new(),
            power: false,
            data: vec![(0.0, 25.0), (30.0, 15.0)],
            present: None,
        };
        let labels = Labels {
            y: "Removal (µm)".into(),
            fresh: "fresh".into(),
            ..Labels::default()
        };
        let svg = svg(&effect, 2.0, &labels, &Theme::default()).unwrap();
        assert!(svg.contains("(µm)</text>") && svg.contains(">fresh</text>"));
        assert!(svg.contains("<rect"));
    }
}
