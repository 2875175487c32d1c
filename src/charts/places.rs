//! Where: panels laid over each other in the machine frame, marks on them,
//! findings ringed.

use std::collections::BTreeMap;

use super::axes::Axis;
use super::cause_colour;
use super::rings::{self, Ring, Square, View};
use super::sheet::{At, Sheet};
use super::theme::tenths;
use super::{Anchor, CAUSES, ChartError, Description, FAINT, INK, MUTED, PAPER, Theme};
use crate::causes::Cause;
use crate::records::{Point, Rect};
use crate::site::FeedDirection;

/// What the map shows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Map {
    /// Outlines of panels as they lay, mm, the most frequent first.
    pub outlines: Vec<Rect>,
    /// Marks that belong to no finding, mm.
    pub marks: Vec<Point>,
    /// Marks of findings with their cause.
    pub members: Vec<(Cause, Point)>,
    /// Findings to ring.
    pub rings: Vec<Ring>,
    /// Where the panels feed to; none where the frame is not the machine's.
    pub feed: Option<FeedDirection>,
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
    /// In the key, for marks in density; with the cell's size.
    pub density: String,
}

/// More marks than this are drawn as density.
pub const DENSITY_FROM: usize = 2500;

/// Most outlines drawn.
const OUTLINES: usize = 10;

const LEFT: i32 = 620;
const TOP: i32 = 330;
const BELOW: i32 = 330;

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
    let extent = extent(map);
    let right = theme.width() - 150;
    let (wide, high) = (right - LEFT, tenths(height_pt) - TOP - BELOW);
    let scale = (f64::from(wide) / extent.width()).min(f64::from(high) / extent.height());
    let [width, height] = [extent.width(), extent.height()].map(|mm| (mm * scale) as i32);
    let left = LEFT + (wide - width) / 2;
    let bottom = TOP + height;
    let view = View {
        x: Axis::new(extent.x0, extent.x1, (left, left + width)),
        y: Axis::new(extent.y0, extent.y1, (bottom, TOP)),
        scale,
    };
    theme.chart(bottom + BELOW, &labels.description, |sheet| {
        let outlines = map.outlines.iter().take(OUTLINES);
        let rects: Vec<Square> = outlines.map(|r| view.rect(r)).collect();
        for &corners in &rects {
            sheet.fill(corners, PAPER);
        }
        if map.marks.len() > DENSITY_FROM {
            density(sheet, &view, &map.marks);
            sheet.small(&labels.density, (right + 100, 70), MUTED, Anchor::Right);
        } else {
            for &mark in &map.marks {
                sheet.dot(view.point(mark), 11, FAINT);
            }
        }
        for (i, &corners) in rects.iter().enumerate() {
            let (width, colour) = if i == 0 { (1.0, MUTED) } else { (0.6, FAINT) };
            sheet.outline(corners, width, colour);
        }
        for cause in CAUSES {
            for (_, at) in map.members.iter().filter(|m| m.0 == cause) {
                sheet.dot(view.point(*at), 15, cause_colour(cause));
            }
        }
        sheet.bottom_axis(&view.x, bottom + 25, &labels.x);
        sheet.left_axis(&view.y, left - 25, None, &labels.y);
        if let Some(feed) = map.feed {
            if view.x.data.0 <= 0.0 && view.y.data.0 <= 0.0 {
                let (x, y) = view.point(Point { x: 0.0, y: 0.0 });
                sheet.line(&[(x, y - 170), (x, y), (x + 170, y)], 2.6, INK);
            }
            sheet.feed_key(left, feed, &labels.stop_corner, &labels.feed);
        }
        rings::draw(sheet, &view, &map.rings);
    })
}

/// The panels' common extent, with the stop corner where it is near.
fn extent(map: &Map) -> Rect {
    let unit = Rect {
        x0: 0.0,
        y0: 0.0,
        x1: 1.0,
        y1: 1.0,
    };
    let all = map.outlines.iter().copied().reduce(|a, r| a.with(&r));
    let mut all = all
        .filter(|r| r.width() > 0.0 && r.height() > 0.0)
        .unwrap_or(unit);
    let near = |low: f64, size: f64| (0.0..=0.3 * size).contains(&low);
    if near(all.x0, all.width()) && near(all.y0, all.height()) {
        all.x0 = 0.0;
        all.y0 = 0.0;
    }
    all
}

/// Side of a density cell, tenths of a point.
const CELL: i32 = 60;

/// Squares in four steps of grey, by rank of the number of marks in them.
fn density(sheet: &Sheet<'_>, view: &View, marks: &[Point]) {
    let mut cells: BTreeMap<At, usize> = BTreeMap::new();
    for &mark in marks {
        let (x, y) = view.point(mark);
        let cell = (x.div_euclid(CELL), y.div_euclid(CELL));
        *cells.entry(cell).or_default() += 1;
    }
    let most = cells.values().copied().max().unwrap_or(1) as f64;
    for (&(column, row), &count) in &cells {
        let share = (count as f64 / most).sqrt();
        let level = (share * 4.0).ceil().clamp(1.0, 4.0) as usize;
        let grey = [0xe6, 0xcd, 0xab, 0x80][level - 1];
        let (x, y) = (column * CELL, row * CELL);
        let grey = plotters::style::RGBColor(grey, grey, grey);
        sheet.fill([(x, y), (x + CELL, y + CELL)], grey);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::LineAxis;
    use crate::charts::rings::Shape;

    fn labels() -> Labels {
        Labels {
            x: "x, mm".into(),
            y: "y, mm".into(),
            stop_corner: "stop corner".into(),
            feed: "feed".into(),
            density: "darker: more marks".into(),
            ..Labels::default()
        }
    }

    fn map(marks: usize) -> Map {
        Map {
            outlines: vec![Rect {
                x0: 0.0,
                y0: 0.0,
                x1: 1180.0,
                y1: 580.0,
            }],
            marks: (0..marks)
                .map(|i| Point {
                    x: (i * 137 % 1180) as f64,
                    y: (i * 89 % 580) as f64,
                })
                .collect(),
            members: [(412.0, 88.0), (410.0, 91.0)]
                .map(|(x, y)| (Cause::Machine, Point { x, y }))
                .to_vec(),
            rings: vec![
                Ring {
                    shape: Shape::Spot {
                        centre: Point { x: 412.0, y: 88.0 },
                        radius_mm: 9.0,
                    },
                    cause: Cause::Machine,
                    label: "F1".into(),
                },
                Ring {
                    shape: Shape::Line {
                        along: LineAxis::X,
                        at_mm: 300.0,
                        half_width_mm: 8.0,
                    },
                    cause: Cause::Undecided,
                    label: "F2".into(),
                },
            ],
            feed: Some(FeedDirection::X),
        }
    }

    #[test]
    fn few_marks_are_dots_and_many_are_density() {
        let theme = Theme::default();
        let few = svg(&map(200), &labels(), 300.0, &theme).unwrap();
        assert_eq!(few.matches("h0").count(), 202, "one dot a mark and member");
        let many = svg(&map(100_000), &labels(), 300.0, &theme).unwrap();
        assert!(many.len() < 400_000, "{} bytes", many.len());
        assert!(many.contains("darker: more marks"));
    }

    #[test]
    fn findings_the_stop_corner_and_the_feed_are_named() {
        let text = svg(&map(10), &labels(), 300.0, &Theme::default()).unwrap();
        for word in ["F1", "F2", "stop corner", "feed", "x, mm", "y, mm"] {
            assert!(text.contains(&format!(">{word}</text>")), "{word}");
        }
    }

    #[test]
    fn a_map_without_panels_still_draws() {
        let empty = svg(&Map::default(), &labels(), 300.0, &Theme::default());
        assert!(empty.is_ok());
    }
}
