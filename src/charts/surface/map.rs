//! The machine's removal surface over the panel as it lay, in contour lines.

use crate::charts::contours::{Line, contours};
use crate::charts::{
    ACCENT, Anchor, Area, Axis, ChartError, Colour, Description, FAINT, INK, MUTED, PAPER, Theme,
    Weight, tenths,
};
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
#[derive(Debug, Clone, PartialEq)]
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
    #[must_use]
    pub fn above_mean(&self, u: f64, v: f64) -> f64 {
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
    let right = tenths(theme.width_pt) - 120;
    let most_high = tenths(height_pt) - TOP - BELOW;
    let (wide, high) = map.extent_mm;
    let scale = (f64::from(right - LEFT) / wide).min(f64::from(most_high) / high);
    let (width, height) = ((wide * scale) as i32, (high * scale) as i32);
    let left = LEFT + (right - LEFT - width) / 2;
    let bottom = TOP + height;
    let x = Axis::new(0.0, wide, (left, left + width));
    let y = Axis::new(0.0, high, (bottom, TOP));
    let full = f64::from(bottom + BELOW) / 10.0;
    theme.chart(full, &labels.description, |area| {
        key(theme, area, map.feed, labels, left)?;
        let lines = contours(|u, v| map.above_mean(u, v), LINES, FLAT_UM);
        let at = |(u, v): (f64, f64)| {
            (
                x.place((u + 1.0) / 2.0 * wide),
                y.place((v + 1.0) / 2.0 * high),
            )
        };
        for line in &lines.lines {
            let points: Vec<(i32, i32)> = line.points.iter().map(|&p| at(p)).collect();
            let (width_pt, colour) = look(line.level);
            theme.line(area, &points, width_pt, colour)?;
        }
        for line in &lines.lines {
            label(theme, area, line, lines.decimals, &at)?;
        }
        if lines.lines.is_empty() {
            let style = (Weight::Regular, MUTED, Anchor::Middle);
            theme.text(area, &labels.flat, at((0.0, 0.0)), theme.label_pt, style)?;
        }
        theme.outline(area, [(left, TOP), (left + width, bottom)], 1.0, MUTED)?;
        let arm = 170;
        let corner = [(left, bottom - arm), (left, bottom), (left + arm, bottom)];
        theme.line(area, &corner, 2.6, INK)?;
        theme.bottom_axis(area, &x, bottom + 25, &labels.x)?;
        theme.left_axis(area, &y, left - 25, None, &labels.y)
    })
}

/// More than the mean: heavy; less: light; the mean itself between the two.
fn look(level: f64) -> (f64, Colour) {
    if level > 0.0 {
        (1.6, ACCENT)
    } else if level < 0.0 {
        (0.7, MUTED)
    } else {
        (0.7, FAINT)
    }
}

/// The level on its line, where the line is clear of the edges.
fn label(
    theme: &Theme,
    area: &Area<'_>,
    line: &Line,
    decimals: usize,
    at: &impl Fn((f64, f64)) -> (i32, i32),
) -> Result<(), ChartError> {
    let Some(&middle) = line.points.get(line.points.len() / 2) else {
        return Ok(());
    };
    let mut text = theme.numbers.fixed(line.level, decimals);
    if line.level > 0.0 {
        text.insert(0, '+');
    }
    let (x, y) = at(middle);
    let half = theme.text_width(&text, theme.small_pt, Weight::Regular) / 2 + 15;
    theme.fill(area, [(x - half, y - 55), (x + half, y + 55)], PAPER)?;
    let style = (Weight::Regular, INK, Anchor::Middle);
    theme.text(area, &text, (x, y), theme.small_pt, style)
}

/// Above the panel: the stop corner, the way panels feed, what the lines are.
fn key(
    theme: &Theme,
    area: &Area<'_>,
    feed: FeedDirection,
    labels: &Labels,
    left: i32,
) -> Result<(), ChartError> {
    let style = (Weight::Regular, INK, Anchor::Left);
    let y = 70;
    theme.line(
        area,
        &[(left, y - 45), (left, y + 40), (left + 85, y + 40)],
        2.6,
        INK,
    )?;
    theme.text(
        area,
        &labels.stop_corner,
        (left + 120, y),
        theme.small_pt,
        style,
    )?;
    let from = left + 230 + theme.text_width(&labels.stop_corner, theme.small_pt, Weight::Regular);
    let end = match feed {
        FeedDirection::X => {
            let end = from + 320;
            theme.line(area, &[(from, y), (end - 60, y)], 1.2, INK)?;
            let head = [(end, y), (end - 75, y - 32), (end - 75, y + 32)];
            theme.fill_polygon(area, &head, INK, 1.0)?;
            end
        }
        FeedDirection::Y => {
            let x = from + 40;
            theme.line(area, &[(x, y + 90), (x, y - 20)], 1.2, INK)?;
            let head = [(x, y - 65), (x - 32, y + 10), (x + 32, y + 10)];
            theme.fill_polygon(area, &head, INK, 1.0)?;
            x + 50
        }
    };
    theme.text(area, &labels.feed, (end + 50, y), theme.small_pt, style)?;
    let muted = (Weight::Regular, MUTED, Anchor::Left);
    theme.text(area, &labels.key, (left, y + 150), theme.small_pt, muted)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        let text = |s: &str| s.to_owned();
        Labels {
            description: Description {
                title: text("Surface"),
                text: text("Lines"),
            },
            x: text("along the feed, mm"),
            y: text("across the feed, mm"),
            stop_corner: text("stop corner"),
            feed: text("feed"),
            key: text("µm more (+) or less (−) than the mean"),
            flat: text("flat"),
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
