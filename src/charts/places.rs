//! Where: panels laid over each other in the machine frame, marks on them,
//! findings ringed.

use std::collections::BTreeMap;

use plotters::element::Circle;
use plotters::style::ShapeStyle;

use super::{
    Anchor, Area, Axis, ChartError, Colour, Description, FAINT, GRID, INK, MUTED, PAPER, Theme,
    Weight, cause_colour, draw_mark, tenths,
};
use crate::causes::{Cause, LineAxis};
use crate::records::{Point, Rect};
use crate::site::FeedDirection;

/// What the map shows.
#[derive(Debug, Clone, PartialEq)]
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

/// A finding on the map.
#[derive(Debug, Clone, PartialEq)]
pub struct Ring {
    /// Its shape and place.
    pub shape: Shape,
    /// Who makes it.
    pub cause: Cause,
    /// Its label: F1.
    pub label: String,
}

/// Shape of a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// A circle.
    Spot {
        /// Centre, mm.
        centre: Point,
        /// Radius, mm.
        radius_mm: f64,
    },
    /// A band along an axis.
    Line {
        /// The axis along which it runs.
        along: LineAxis,
        /// Where it lies across, mm.
        at_mm: f64,
        /// Half its width, mm.
        half_width_mm: f64,
    },
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
    let right = tenths(theme.width_pt) - 150;
    let most_high = tenths(height_pt) - TOP - BELOW;
    let scale =
        (f64::from(right - LEFT) / extent.width()).min(f64::from(most_high) / extent.height());
    let (width, height) = (
        (extent.width() * scale) as i32,
        (extent.height() * scale) as i32,
    );
    let left = LEFT + (right - LEFT - width) / 2;
    let bottom = TOP + height;
    let view = View {
        x: Axis::new(extent.x0, extent.x1, (left, left + width)),
        y: Axis::new(extent.y0, extent.y1, (bottom, TOP)),
        scale,
    };
    let full = f64::from(bottom + BELOW) / 10.0;
    theme.chart(full, &labels.description, |area| {
        let rects: Vec<[(i32, i32); 2]> = map
            .outlines
            .iter()
            .take(OUTLINES)
            .map(|r| view.rect(r))
            .collect();
        for &corners in &rects {
            theme.fill(area, corners, PAPER)?;
        }
        if map.marks.len() > DENSITY_FROM {
            density(theme, area, &view, &map.marks)?;
            let look = (Weight::Regular, MUTED, Anchor::Right);
            theme.text(
                area,
                &labels.density,
                (right + 100, 70),
                theme.small_pt,
                look,
            )?;
        } else {
            dots(area, map.marks.iter().map(|&p| view.point(p)), 11, FAINT)?;
        }
        for (i, &corners) in rects.iter().enumerate() {
            let (width, colour) = if i == 0 { (1.0, MUTED) } else { (0.6, FAINT) };
            theme.outline(area, corners, width, colour)?;
        }
        for cause in super::CAUSES {
            let of_cause = map.members.iter().filter(|m| m.0 == cause);
            dots(
                area,
                of_cause.map(|m| view.point(m.1)),
                15,
                cause_colour(cause),
            )?;
        }
        theme.bottom_axis(area, &view.x, bottom + 25, &labels.x)?;
        theme.left_axis(area, &view.y, left - 25, None, &labels.y)?;
        if let Some(feed) = map.feed {
            orientation(theme, area, &view, feed, labels)?;
        }
        for ring in &map.rings {
            draw_ring(theme, area, &view, ring)?;
        }
        Ok(())
    })
}

/// Millimetres to tenths of a point.
struct View {
    x: Axis,
    y: Axis,
    scale: f64,
}

impl View {
    fn point(&self, p: Point) -> (i32, i32) {
        (self.x.place(p.x), self.y.place(p.y))
    }

    fn rect(&self, r: &Rect) -> [(i32, i32); 2] {
        [
            self.point(Point { x: r.x0, y: r.y1 }),
            self.point(Point { x: r.x1, y: r.y0 }),
        ]
    }
}

/// The panels' common extent, with the stop corner where it is near.
fn extent(map: &Map) -> Rect {
    let mut all: Option<Rect> = None;
    for r in &map.outlines {
        all = Some(match all {
            None => *r,
            Some(a) => Rect {
                x0: a.x0.min(r.x0),
                y0: a.y0.min(r.y0),
                x1: a.x1.max(r.x1),
                y1: a.y1.max(r.y1),
            },
        });
    }
    let unit = Rect {
        x0: 0.0,
        y0: 0.0,
        x1: 1.0,
        y1: 1.0,
    };
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

fn dots(
    area: &Area<'_>,
    points: impl Iterator<Item = (i32, i32)>,
    radius: i32,
    colour: Colour,
) -> Result<(), ChartError> {
    for point in points {
        area.draw(&Circle::new(
            point,
            radius,
            ShapeStyle::from(colour).filled(),
        ))?;
    }
    Ok(())
}

/// Side of a density cell, tenths of a point.
const CELL: i32 = 60;

/// Squares in four steps of grey, by rank of the number of marks in them.
fn density(theme: &Theme, area: &Area<'_>, view: &View, marks: &[Point]) -> Result<(), ChartError> {
    let mut cells: BTreeMap<(i32, i32), usize> = BTreeMap::new();
    for &mark in marks {
        let (x, y) = view.point(mark);
        *cells
            .entry((x.div_euclid(CELL), y.div_euclid(CELL)))
            .or_default() += 1;
    }
    let most = cells.values().copied().max().unwrap_or(1) as f64;
    for (&(column, row), &count) in &cells {
        let share = (count as f64 / most).sqrt();
        let level = (share * 4.0).ceil().clamp(1.0, 4.0) as usize;
        let grey = [0xe6, 0xcd, 0xab, 0x80][level - 1];
        let corner = (column * CELL, row * CELL);
        let corners = [corner, (corner.0 + CELL, corner.1 + CELL)];
        theme.fill(area, corners, plotters::style::RGBColor(grey, grey, grey))?;
    }
    Ok(())
}

/// The stop corner and the feed arrow.
fn orientation(
    theme: &Theme,
    area: &Area<'_>,
    view: &View,
    feed: FeedDirection,
    labels: &Labels,
) -> Result<(), ChartError> {
    let look = (Weight::Regular, INK, Anchor::Left);
    let (x0, y0) = (view.x.at.0, view.y.at.0);
    if view.x.data.0 <= 0.0 && view.y.data.0 <= 0.0 {
        let (x, y) = view.point(Point { x: 0.0, y: 0.0 });
        let arm = 170;
        theme.line(area, &[(x, y - arm), (x, y), (x + arm, y)], 2.6, INK)?;
    }
    // Above the panels: what the thick corner means, and which way panels feed.
    let y = 70;
    theme.line(
        area,
        &[(x0, y - 45), (x0, y + 40), (x0 + 85, y + 40)],
        2.6,
        INK,
    )?;
    theme.text(
        area,
        &labels.stop_corner,
        (x0 + 120, y),
        theme.small_pt,
        look,
    )?;
    let from = x0 + 230 + theme.text_width(&labels.stop_corner, theme.small_pt, Weight::Regular);
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
    let _ = y0;
    theme.text(area, &labels.feed, (end + 50, y), theme.small_pt, look)
}

fn draw_ring(theme: &Theme, area: &Area<'_>, view: &View, ring: &Ring) -> Result<(), ChartError> {
    let colour = cause_colour(ring.cause);
    let (left, right) = (view.x.at.0, view.x.at.1);
    let label_width = 120 + theme.text_width(&ring.label, theme.label_pt, Weight::Bold);
    let (anchor_x, y) = match ring.shape {
        Shape::Spot { centre, radius_mm } => {
            let (x, y) = view.point(centre);
            let radius = ((radius_mm * view.scale) as i32).max(90);
            let style = ShapeStyle::from(colour).stroke_width(16);
            area.draw(&Circle::new((x, y), radius, style))?;
            // Beside the ring, on the side where there is room.
            if x + radius + label_width > right {
                (x - radius - label_width, y)
            } else {
                (x + radius + 30, y)
            }
        }
        Shape::Line {
            along,
            at_mm,
            half_width_mm,
        } => {
            let half = ((half_width_mm * view.scale) as i32).max(45);
            let (ends, label) = match along {
                LineAxis::X => {
                    let y = view.y.place(at_mm);
                    let ends = [
                        [(left, y - half), (right, y - half)],
                        [(left, y + half), (right, y + half)],
                    ];
                    (ends, (left + 60, y - half - 85))
                }
                LineAxis::Y => {
                    let x = view.x.place(at_mm);
                    let (low, high) = (view.y.at.0, view.y.at.1);
                    let ends = [
                        [(x - half, low), (x - half, high)],
                        [(x + half, low), (x + half, high)],
                    ];
                    (ends, (x + half + 30, high + 90))
                }
            };
            for [from, to] in ends {
                theme.dashed(area, from, to, 1.6, colour)?;
            }
            label
        }
    };
    // A white ground keeps the label readable over marks.
    let ground = [(anchor_x - 15, y - 70), (anchor_x + label_width, y + 70)];
    theme.fill(area, ground, PAPER)?;
    theme.outline(area, ground, 0.4, GRID)?;
    draw_mark(theme, area, ring.cause, (anchor_x + 40, y), 75)?;
    let look = (Weight::Bold, INK, Anchor::Left);
    theme.text(area, &ring.label, (anchor_x + 100, y), theme.label_pt, look)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        Labels {
            description: Description {
                title: "Where".into(),
                text: "Marks".into(),
            },
            x: "x, mm".into(),
            y: "y, mm".into(),
            stop_corner: "stop corner".into(),
            feed: "feed".into(),
            density: "darker: more marks".into(),
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
        assert_eq!(
            few.matches("h0").count(),
            202,
            "one dot per mark and member"
        );
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
        let empty = Map {
            outlines: Vec::new(),
            marks: Vec::new(),
            members: Vec::new(),
            rings: Vec::new(),
            feed: None,
        };
        assert!(svg(&empty, &labels(), 300.0, &Theme::default()).is_ok());
    }
}
