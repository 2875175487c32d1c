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
            draw_ring(area, theme, &view, ring)?;
        }
        let mut taken: Vec<[(i32, i32); 2]> =
            map.rings.iter().filter_map(|r| view.around(r)).collect();
        for ring in &map.rings {
            let ground = label_ground(theme, &view, ring, &taken);
            draw_label(area, theme, ring, ground)?;
            taken.push(ground);
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

impl View {
    /// Radius of a spot's ring, so large that it is seen.
    fn radius(&self, radius_mm: f64) -> i32 {
        ((radius_mm * self.scale) as i32).max(90)
    }

    /// Half the width of a line's band, so wide that both sides are seen.
    fn half_width(&self, half_width_mm: f64) -> i32 {
        ((half_width_mm * self.scale) as i32).max(45)
    }

    /// The square around a spot's ring; none for a line.
    fn around(&self, ring: &Ring) -> Option<[(i32, i32); 2]> {
        let Shape::Spot { centre, radius_mm } = ring.shape else {
            return None;
        };
        let (x, y) = self.point(centre);
        let radius = self.radius(radius_mm);
        Some([(x - radius, y - radius), (x + radius, y + radius)])
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
    let x0 = view.x.at.0;
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
    theme.text(area, &labels.feed, (end + 50, y), theme.small_pt, look)
}

fn draw_ring(area: &Area<'_>, theme: &Theme, view: &View, ring: &Ring) -> Result<(), ChartError> {
    let colour = cause_colour(ring.cause);
    match ring.shape {
        Shape::Spot { centre, radius_mm } => {
            let style = ShapeStyle::from(colour).stroke_width(16);
            let circle = Circle::new(view.point(centre), view.radius(radius_mm), style);
            area.draw(&circle)?;
        }
        Shape::Line {
            along,
            at_mm,
            half_width_mm,
        } => {
            let half = view.half_width(half_width_mm);
            for side in [-half, half] {
                let ends = match along {
                    LineAxis::X => {
                        let y = view.y.place(at_mm) + side;
                        [(view.x.at.0, y), (view.x.at.1, y)]
                    }
                    LineAxis::Y => {
                        let x = view.x.place(at_mm) + side;
                        [(x, view.y.at.0), (x, view.y.at.1)]
                    }
                };
                theme.dashed(area, ends[0], ends[1], 1.6, colour)?;
            }
        }
    }
    Ok(())
}

/// The box of a ring's label: the first place beside the ring that is on the
/// panels and free, else the first on the panels.
fn label_ground(
    theme: &Theme,
    view: &View,
    ring: &Ring,
    taken: &[[(i32, i32); 2]],
) -> [(i32, i32); 2] {
    let width = 135 + theme.text_width(&ring.label, theme.label_pt, Weight::Bold);
    let (left, right) = view.x.at;
    let (bottom, top) = view.y.at;
    let beside = |x: i32, y: i32| [(x, y - 70), (x + width, y + 70)];
    let places: Vec<[(i32, i32); 2]> = match ring.shape {
        Shape::Spot { centre, radius_mm } => {
            let (x, y) = view.point(centre);
            let radius = view.radius(radius_mm);
            let (after, before) = (x + radius + 15, x - radius - 15 - width);
            let (above, below) = (y - radius - 85, y + radius + 85);
            vec![
                beside(after, y),
                beside(before, y),
                beside(x - width / 2, above),
                beside(x - width / 2, below),
                beside(after, above),
                beside(after, below),
                beside(before, above),
                beside(before, below),
            ]
        }
        Shape::Line {
            along,
            at_mm,
            half_width_mm,
        } => {
            let half = view.half_width(half_width_mm);
            match along {
                LineAxis::X => {
                    let y = view.y.place(at_mm);
                    let over = (1..6).map(|i| beside(left + 45 * i, y - half - 85));
                    over.chain([beside(left + 45, y + half + 85)]).collect()
                }
                LineAxis::Y => {
                    let x = view.x.place(at_mm);
                    let down = (0..6).map(|i| beside(x + half + 15, top + 90 + 150 * i));
                    down.chain([beside(x - half - 15 - width, top + 90)])
                        .collect()
                }
            }
        }
    };
    let on_panels = |[a, b]: &[(i32, i32); 2]| {
        a.0 >= left - 15 && b.0 <= right + 30 && a.1 >= top - 15 && b.1 <= bottom + 15
    };
    let free = |ground: &[(i32, i32); 2]| !taken.iter().any(|other| overlap(ground, other));
    let fitting = || places.iter().filter(|ground| on_panels(ground));
    *fitting()
        .find(|ground| free(ground))
        .or_else(|| fitting().next())
        .unwrap_or(&places[0])
}

fn overlap(a: &[(i32, i32); 2], b: &[(i32, i32); 2]) -> bool {
    a[0].0 < b[1].0 && b[0].0 < a[1].0 && a[0].1 < b[1].1 && b[0].1 < a[1].1
}

fn draw_label(
    area: &Area<'_>,
    theme: &Theme,
    ring: &Ring,
    ground: [(i32, i32); 2],
) -> Result<(), ChartError> {
    // A white ground keeps the label readable over marks.
    theme.fill(area, ground, PAPER)?;
    theme.outline(area, ground, 0.4, GRID)?;
    let (x, y) = (ground[0].0 + 55, ground[0].1 + 70);
    draw_mark(theme, area, ring.cause, (x, y), 75)?;
    let look = (Weight::Bold, INK, Anchor::Left);
    theme.text(area, &ring.label, (x + 60, y), theme.label_pt, look)
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

    #[test]
    fn labels_of_neighbouring_rings_lie_side_by_side() {
        let theme = Theme::default();
        let view = View {
            x: Axis::new(0.0, 600.0, (620, 4000)),
            y: Axis::new(0.0, 400.0, (2600, 330)),
            scale: 5.6,
        };
        let mut taken = Vec::new();
        for (x, y) in [(300.0, 200.0), (310.0, 205.0), (292.0, 208.0), (598.0, 2.0)] {
            let ring = Ring {
                shape: Shape::Spot {
                    centre: Point { x, y },
                    radius_mm: 8.0,
                },
                cause: Cause::Machine,
                label: "F1".into(),
            };
            let ground = label_ground(&theme, &view, &ring, &taken);
            assert!(
                !taken.iter().any(|t| overlap(t, &ground)),
                "{taken:?} {ground:?}"
            );
            assert!(
                ground[0].0 >= 605 && ground[1].0 <= 4030,
                "on the panels: {ground:?}"
            );
            taken.push(ground);
        }
    }
}
