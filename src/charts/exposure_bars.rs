//! Hits against exposure by level: lots, ages of the abrasive, the folded
//! order of nests. A bar for the panels hit inside an outline for the panels
//! exposed, so that "nine of ten" and "one of a hundred" don't look alike.

use super::{
    Anchor, Axis, ChartError, Colour, Description, FAINT, INK, MUTED, Theme, Weight, tenths,
};
use crate::causes::LevelCount;

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// Below the axis: what the levels are.
    pub x: String,
    /// At the left axis: panels.
    pub y: String,
}

const HEIGHT: i32 = 1500;
const LEFT: i32 = 400;
const TOP: i32 = 160;
const BOTTOM: i32 = 330;

/// Draws the levels in the order given, as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails; no level gives the axes alone.
pub fn svg(
    levels: &[LevelCount],
    colour: Colour,
    labels: &Labels,
    theme: &Theme,
) -> Result<String, ChartError> {
    let right = tenths(theme.width_pt) - 60;
    let (top, bottom) = (TOP, HEIGHT - BOTTOM);
    let most = levels.iter().map(|l| l.exposed).max().unwrap_or(1).max(1);
    let y = Axis::new(0.0, most as f64 * 1.05, (bottom, top));
    let x = Axis::new(0.0, levels.len().max(1) as f64, (LEFT, right));
    theme.chart(f64::from(HEIGHT) / 10.0, &labels.description, |area| {
        theme.left_axis(area, &y, LEFT, Some(right), &labels.y)?;
        theme.line(area, &[(LEFT, bottom), (right, bottom)], 0.6, FAINT)?;
        let mut free_from = i32::MIN;
        for (i, level) in levels.iter().enumerate() {
            let (from, to) = (x.place(i as f64 + 0.12), x.place(i as f64 + 0.88));
            let middle = (from + to) / 2;
            let exposed = y.place(level.exposed as f64);
            theme.fill(
                area,
                [(from, y.place(level.hits as f64)), (to, bottom)],
                colour,
            )?;
            theme.outline(area, [(from, exposed), (to, bottom)], 0.6, MUTED)?;
            // Names stand where there is room for them.
            let half = theme.text_width(&level.level, theme.small_pt, Weight::Regular) / 2;
            if middle - half > free_from && middle + half < right + 60 {
                let look = (Weight::Regular, MUTED, Anchor::Middle);
                let at = (middle, bottom + 90);
                theme.text(area, &level.level, at, theme.small_pt, look)?;
                free_from = middle + half + 20;
            }
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
                title: "Lots".into(),
                text: "Panels hit by lot".into(),
            },
            x: "lot".into(),
            y: "panels".into(),
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
        let colour = super::super::ACCENT;
        let text = svg(&lots, colour, &labels(), &Theme::default().half()).unwrap();
        for word in ["A", "B", "lot", "panels"] {
            assert!(text.contains(&format!(">{word}</text>")), "{word}");
        }
    }

    #[test]
    fn names_without_room_are_left_out() {
        let lots: Vec<LevelCount> = (0..200).map(|i| level(&format!("lot-{i}"), 5, 1)).collect();
        let colour = super::super::ACCENT;
        let text = svg(&lots, colour, &labels(), &Theme::default().half()).unwrap();
        assert!(text.matches(">lot-").count() < 20);
        assert!(svg(&[], colour, &labels(), &Theme::default()).is_ok());
    }
}
