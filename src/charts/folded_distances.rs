//! Distances between marks of one panel, folded by a pitch: a hill in the middle
//! where bars of that pitch are, a flat top where there are none.

use super::{
    Anchor, Axis, ChartError, Colour, Description, FAINT, INK, MUTED, Theme, Weight, tenths,
};
use crate::causes::FoldedDistance;

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// Below the axis: part of a pitch.
    pub x: String,
    /// At the left axis: pairs of marks.
    pub y: String,
    /// The parts of a pitch to be named, and their names.
    pub parts: Vec<(f64, String)>,
}

const HEIGHT: i32 = 1500;
const LEFT: i32 = 400;
const TOP: i32 = 160;
const BOTTOM: i32 = 330;

/// Draws the classes in the order given, as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails; no class gives the axes alone.
pub fn svg(
    classes: &[FoldedDistance],
    colour: Colour,
    labels: &Labels,
    theme: &Theme,
) -> Result<String, ChartError> {
    let right = tenths(theme.width_pt) - 140;
    let (top, bottom) = (TOP, HEIGHT - BOTTOM);
    let most = classes.iter().map(|c| c.pairs).max().unwrap_or(1).max(1);
    let y = Axis::new(0.0, most as f64 * 1.05, (bottom, top));
    let x = Axis::new(-0.5, 0.5, (LEFT, right));
    let half = 0.5 / classes.len().max(1) as f64;
    theme.chart(f64::from(HEIGHT) / 10.0, &labels.description, |area| {
        theme.left_axis(area, &y, LEFT, Some(right), &labels.y)?;
        theme.line(area, &[(LEFT, bottom), (right, bottom)], 0.6, FAINT)?;
        for class in classes {
            let (from, to) = (
                x.place(class.part - 0.88 * half),
                x.place(class.part + 0.88 * half),
            );
            let height = y.place(class.pairs as f64);
            theme.fill(area, [(from, height), (to, bottom)], colour)?;
        }
        for (part, name) in &labels.parts {
            let look = (Weight::Regular, MUTED, Anchor::Middle);
            let at = (x.place(*part), bottom + 90);
            theme.text(area, name, at, theme.small_pt, look)?;
        }
        let look = (Weight::Regular, INK, Anchor::Middle);
        let at = ((LEFT + right) / 2, bottom + 235);
        theme.text(area, &labels.x, at, theme.label_pt, look)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        Labels {
            description: Description {
                title: "Folded".into(),
                text: "Pairs by part of a pitch".into(),
            },
            x: "part of a pitch".into(),
            y: "pairs".into(),
            parts: vec![(0.0, "0".into())],
        }
    }

    #[test]
    fn one_bar_a_class_and_the_axes_alone_without_any() {
        let classes = [-0.25, 0.25].map(|part| FoldedDistance { part, pairs: 3 });
        let theme = Theme::default().half();
        let filled = |svg: &str| svg.matches("<rect").count();
        let with = svg(&classes, INK, &labels(), &theme).unwrap();
        let without = svg(&[], INK, &labels(), &theme).unwrap();
        assert_eq!(filled(&with), filled(&without) + 2);
        assert!(with.contains("part of a pitch") && without.contains("pairs"));
    }
}
