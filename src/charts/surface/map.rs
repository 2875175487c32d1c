//! The machine's removal surface over the panel as it lay, in contour lines.

use crate::charts::axes::Axis;
use crate::charts::contours::{Line, contours};
use crate::charts::sheet::{At, Sheet};
use crate::charts::theme::tenths;
use crate::charts::{ACCENT, Anchor, ChartError, Description, FAINT, INK, MUTED, PAPER, Theme};
use crate::site::FeedDirection;

/// The surface to draw.
#[derive(Debug, Clone, PartialEq)]
pub struct Map {
    /// Size of the panel as it lay, along machine x and y, mm, > 0.
    pub extent_mm: (f64, f64),
    /// Slope along x and y, crown along x and y, twist: µm over −1..1.
    pub terms: [f64; 5],
    /// Where the panels feed to.
    pub feed: FeedDirection,
}

/// The texts of the map.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// Below the horizontal axis, with its unit.
    pub x: String,
    /// Beside the vertical axis, with its unit.
    pub y: String,
    /// At the machine's origin.
    pub stop_corner: String,
    /// At the arrow.
    pub feed: String,
    /// What the lines are, with their unit.
    pub key: String,
    /// Where the surface is flat.
    pub flat: String,
}

const LEFT: i32 = 560;
const TOP: i32 = 330;
const BELOW: i32 = 330;
/// Contour lines, about.
const LINES: f64 = 8.0;
/// A surface that spans less than this is flat, µm.
const FLAT_UM: f64 = 1e-6;

impl Map {
    /// Removal above the panel's mean at (u, v), µm.
    fn above_mean(&self, u: f64, v: f64) -> f64 {
        let [x, y, bend_x, bend_y, twist] = self.terms;
        x * u + y * v + bend_x * (u * u - 1.0 / 3.0) + bend_y * (v * v - 1.0 / 3.0) + twist * u * v
    }
}

/// Draws the map to scale, at most `height_pt` high, as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(
    map: &Map,
    labels: &Labels,
    height_pt: f64,
    theme: &Theme,
) -> Result<String, ChartError> {
    let right = theme.width() - 120;
    let most_high = tenths(height_pt) - TOP - BELOW;
    let (wide, high) = map.extent_mm;
    let scale = (f64::from(right - LEFT) / wide).min(f64::from(most_high) / high);
    let (width, height) = ((wide * scale) as i32, (high * scale) as i32);
    let left = LEFT + (right - LEFT - width) / 2;
    let bottom = TOP + height;
    let x = Axis::new(0.0, wide, (left, left + width));
    let y = Axis::new(0.0, high, (bottom, TOP));
    let at = |(u, v): (f64, f64)| {
        let [u, v] = [u, v].map(|share| (share + 1.0) / 2.0);
        (x.place(u * wide), y.place(v * high))
    };
    theme.chart(bottom + BELOW, &labels.description, |sheet| {
        // Above the panel: the stop corner, the way panels feed, what the lines are.
        sheet.feed_key(left, map.feed, &labels.stop_corner, &labels.feed);
        sheet.small(&labels.key, (left, 220), MUTED, Anchor::Left);
        let found = contours(|u, v| map.above_mean(u, v), LINES, FLAT_UM);
        for line in &found.lines {
            let points: Vec<At> = line.points.iter().map(|&p| at(p)).collect();
            // More than the mean: heavy; less: light; the mean itself between the two.
            let (width_pt, colour) = match line.level {
                more if more > 0.0 => (1.6, ACCENT),
                less if less < 0.0 => (0.7, MUTED),
                _ => (0.7, FAINT),
            };
            sheet.line(&points, width_pt, colour);
        }
        for line in &found.lines {
            name(sheet, line, found.decimals, &at);
        }
        if found.lines.is_empty() {
            sheet.label(&labels.flat, at((0.0, 0.0)), MUTED, Anchor::Middle);
        }
        sheet.outline([(left, TOP), (left + width, bottom)], 1.0, MUTED);
        let corner = [(left, bottom - 170), (left, bottom), (left + 170, bottom)];
        sheet.line(&corner, 2.6, INK);
        sheet.bottom_axis(&x, bottom + 25, &labels.x);
        sheet.left_axis(&y, left - 25, None, &labels.y);
    })
}

/// The level on its line, where the line is clear of the edges.
fn name(sheet: &Sheet<'_>, line: &Line, decimals: usize, at: &impl Fn((f64, f64)) -> At) {
    let Some(&middle) = line.points.get(line.points.len() / 2) else {
        return;
    };
    let mut text = sheet.numbers.fixed(line.level, decimals);
    if line.level > 0.0 {
        text.insert(0, '+');
    }
    let (x, y) = at(middle);
    let half = sheet.small_width(&text) / 2 + 15;
    sheet.fill([(x - half, y - 55), (x + half, y + 55)], PAPER);
    sheet.small(&text, (x, y), INK, Anchor::Middle);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        let text = |s: &str| s.to_owned();
        Labels {
            x: text("along the feed, mm"),
            y: text("across the feed, mm"),
            stop_corner: text("stop corner"),
            feed: text("feed"),
            key: text("µm more (+) or less (−) than the mean"),
            flat: text("flat"),
            ..Labels::default()
        }
    }

    #[test]
    fn the_mean_over_the_panel_is_level_zero() {
        let map = Map {
            extent_mm: (600.0, 400.0),
            terms: [1.0, -0.5, 0.8, 0.3, 0.2],
            feed: FeedDirection::X,
        };
        let steps = 200;
        let at = |k: usize| (k as f64 + 0.5) / 100.0 - 1.0;
        let sum: f64 = (0..steps * steps)
            .map(|k| map.above_mean(at(k % steps), at(k / steps)))
            .sum();
        assert!((sum / 40_000.0).abs() < 1e-4);
    }

    #[test]
    fn lines_carry_their_level_in_um_and_axes_their_unit() {
        let map = Map {
            extent_mm: (600.0, 400.0),
            terms: [2.0, 0.0, 0.0, 0.0, 0.0],
            feed: FeedDirection::X,
        };
        let svg = svg(&map, &labels(), 260.0, &Theme::default()).unwrap();
        assert!(
            svg.contains(">+1.0</text>") && svg.contains(">−1.0</text>"),
            "{svg}"
        );
        assert!(svg.contains("mm</text>") && svg.contains("µm"));
    }

    #[test]
    fn a_flat_surface_says_so() {
        let map = Map {
            extent_mm: (600.0, 400.0),
            terms: [0.0; 5],
            feed: FeedDirection::Y,
        };
        let svg = svg(&map, &labels(), 260.0, &Theme::default()).unwrap();
        assert!(svg.contains(">flat</text>"));
    }
}
