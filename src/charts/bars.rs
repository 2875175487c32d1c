//! Bars of counts. By level (lots, ages of the abrasive, the folded order of
//! nests): the panels hit inside an outline for the panels exposed, so that "nine
//! of ten" and "one of a hundred" don't look alike. By distance: pairs of marks
//! of one panel, folded by a pitch; a hill in the middle where bars of that pitch
//! are, a flat top where there are none.

use super::axes::Axis;
use super::sheet::Sheet;
use super::{Anchor, ChartError, Colour, Description, FAINT, MUTED, Theme};
use crate::causes::{FoldedDistance, LevelCount};

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// Below the axis: what the levels or distances are.
    pub x: String,
    /// At the left axis: what is counted.
    pub y: String,
}

const HEIGHT: i32 = 1500;
const LEFT: i32 = 400;
const TOP: i32 = 160;
const FOOT: i32 = HEIGHT - 330;

/// Draws the levels in the order given, as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails; no level gives the axes alone.
pub fn by_level(
    levels: &[LevelCount],
    colour: Colour,
    labels: &Labels,
    theme: &Theme,
) -> Result<String, ChartError> {
    let right = theme.width() - 60;
    let most = levels.iter().map(|l| l.exposed).max();
    let x = Axis::new(0.0, levels.len().max(1) as f64, (LEFT, right));
    chart(most, &x, labels, theme, |sheet, y| {
        let mut free_from = i32::MIN;
        for (i, level) in levels.iter().enumerate() {
            let (from, to) = (x.place(i as f64 + 0.12), x.place(i as f64 + 0.88));
            let [hit, exposed] = [level.hits, level.exposed].map(|n| y.place(n as f64));
            sheet.fill([(from, hit), (to, FOOT)], colour);
            sheet.outline([(from, exposed), (to, FOOT)], 0.6, MUTED);
            // Names stand where there is room for them.
            let (middle, half) = ((from + to) / 2, theme.small_width(&level.level) / 2);
            if middle - half > free_from && middle + half < right + 60 {
                sheet.small(&level.level, (middle, FOOT + 90), MUTED, Anchor::Middle);
                free_from = middle + half + 20;
            }
        }
    })
}

/// Draws the classes of distances in the order given, as SVG, with parts of a pitch
/// to be named and their names.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails; no class gives the axes alone.
pub fn by_distance(
    classes: &[FoldedDistance],
    parts: &[(f64, String)],
    colour: Colour,
    labels: &Labels,
    theme: &Theme,
) -> Result<String, ChartError> {
    let most = classes.iter().map(|c| c.pairs).max();
    let x = Axis::new(-0.5, 0.5, (LEFT, theme.width() - 140));
    let half = 0.88 * (0.5 / classes.len().max(1) as f64);
    chart(most, &x, labels, theme, |sheet, y| {
        for class in classes {
            let [from, to] = [class.part - half, class.part + half].map(|part| x.place(part));
            sheet.fill([(from, y.place(class.pairs as f64)), (to, FOOT)], colour);
        }
        for (part, name) in parts {
            sheet.small(name, (x.place(*part), FOOT + 90), MUTED, Anchor::Middle);
        }
    })
}

/// Axes up to `most`, with what `draw` puts between them.
fn chart(
    most: Option<usize>,
    x: &Axis,
    labels: &Labels,
    theme: &Theme,
    draw: impl Fn(&Sheet<'_>, &Axis),
) -> Result<String, ChartError> {
    let most = most.unwrap_or(1).max(1) as f64;
    let y = Axis::new(0.0, most * 1.05, (FOOT, TOP));
    theme.chart(HEIGHT, &labels.description, |sheet| {
        sheet.left_axis(&y, LEFT, Some(x.at.1), &labels.y);
        sheet.line(&[(LEFT, FOOT), (x.at.1, FOOT)], 0.6, FAINT);
        draw(sheet, &y);
        sheet.below(x, FOOT, &labels.x);
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::charts::INK;

    fn labels() -> Labels {
        Labels {
            x: "lot".into(),
            y: "panels".into(),
            ..Labels::default()
        }
    }

    fn level(name: &str, exposed: usize, hits: usize) -> LevelCount {
        LevelCount {
            level: name.into(),
            exposed,
            hits,
        }
    }

    #[test]
    fn every_lot_has_a_bar_an_outline_and_its_name() {
        let lots = [level("A", 10, 9), level("B", 20, 0)];
        let text = by_level(&lots, INK, &labels(), &Theme::default().half()).unwrap();
        for word in ["A", "B", "lot", "panels"] {
            assert!(text.contains(&format!(">{word}</text>")), "{word}");
        }
    }

    #[test]
    fn names_without_room_are_left_out() {
        let lots: Vec<LevelCount> = (0..200).map(|i| level(&format!("lot-{i}"), 5, 1)).collect();
        let text = by_level(&lots, INK, &labels(), &Theme::default().half()).unwrap();
        assert!(text.matches(">lot-").count() < 20);
        assert!(by_level(&[], INK, &labels(), &Theme::default()).is_ok());
    }

    #[test]
    fn one_bar_a_class_and_the_axes_alone_without_any() {
        let classes = [-0.25, 0.25].map(|part| FoldedDistance { part, pairs: 3 });
        let parts = [(0.0, "0".to_owned())];
        let draw = |classes: &[FoldedDistance]| {
            by_distance(classes, &parts, INK, &labels(), &Theme::default().half()).unwrap()
        };
        let filled = |svg: &str| svg.matches("<rect").count();
        let (with, without) = (draw(&classes), draw(&[]));
        assert_eq!(filled(&with), filled(&without) + 2);
        assert!(with.contains(">lot</text>") && without.contains(">panels</text>"));
    }
}
