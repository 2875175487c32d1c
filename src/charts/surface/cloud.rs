//! The slopes of single panels as a cloud, with the machine's and its
//! confidence ellipse.

use std::f64::consts::TAU;

use crate::charts::axes::Axis;
use crate::charts::sheet::{At, Sheet};
use crate::charts::{Anchor, ChartError, Colour, Description, FAINT, INK, MUTED, PAPER, Theme};

/// The slopes to draw, edge to edge, µm.
#[derive(Debug, Clone, PartialEq)]
pub struct Cloud {
    /// Panels that lay as most do: along x and y.
    pub panels: Vec<(f64, f64)>,
    /// Panels that lay turned.
    pub turned: Vec<(f64, f64)>,
    /// What all share.
    pub mean: Option<(f64, f64)>,
    /// Its confidence region.
    pub ellipse: Option<Ellipse>,
    /// Colour of the mean and its ellipse.
    pub colour: Colour,
}

/// An ellipse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// Centre.
    pub centre: (f64, f64),
    /// Half axes, larger first.
    pub half_axes: (f64, f64),
    /// Direction of the larger, radians from x.
    pub angle: f64,
}

/// The texts of the chart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// Title and description.
    pub description: Description,
    /// Below the horizontal axis, with its unit.
    pub x: String,
    /// Beside the vertical axis, with its unit.
    pub y: String,
    /// Dots.
    pub panels: String,
    /// Rings; none where no panel was turned.
    pub turned: Option<String>,
    /// The cross and its ellipse.
    pub mean: String,
}

const LEFT: i32 = 620;
const BELOW: i32 = 330;
const ROW: i32 = 140;
/// Most width and height of the field: the page must hold the map beside it, the
/// table of terms and the film left.
const LARGEST: i32 = 1250;
const POINTS: usize = 72;

impl Ellipse {
    /// The point at `turn` radians around.
    fn point(&self, turn: f64) -> (f64, f64) {
        let (a, b) = (self.half_axes.0 * turn.cos(), self.half_axes.1 * turn.sin());
        let (sine, cosine) = self.angle.sin_cos();
        (
            self.centre.0 + a * cosine - b * sine,
            self.centre.1 + a * sine + b * cosine,
        )
    }

    /// Points all around, the first one once more at the end.
    fn ring(&self) -> impl Iterator<Item = (f64, f64)> {
        (0..=POINTS).map(|k| self.point(TAU * k as f64 / POINTS as f64))
    }
}

/// Draws the cloud on equal scales, zero lines through it, as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(cloud: &Cloud, labels: &Labels, theme: &Theme) -> Result<String, ChartError> {
    let reach = reach(cloud);
    let top = 60 + 2 * ROW;
    let side = (theme.width() - LEFT - 150).min(LARGEST);
    let x = Axis::new(-reach, reach, (LEFT, LEFT + side));
    let y = Axis::new(-reach, reach, (top + side, top));
    let at = |(a, b): (f64, f64)| (x.place(a), y.place(b));
    theme.chart(top + side + BELOW, &labels.description, |sheet| {
        sheet.line(&[at((-reach, 0.0)), at((reach, 0.0))], 0.6, FAINT);
        sheet.line(&[at((0.0, -reach)), at((0.0, reach))], 0.6, FAINT);
        let turned = |at: At| sheet.circle(at, 22, 9, INK);
        for &p in &cloud.panels {
            sheet.dot(at(p), 16, MUTED);
        }
        for &p in &cloud.turned {
            turned(at(p));
        }
        if let Some(ellipse) = cloud.ellipse {
            let ring: Vec<At> = ellipse.ring().map(at).collect();
            sheet.line(&ring, 2.6, PAPER);
            sheet.line(&ring, 1.6, cloud.colour);
        }
        if let Some(mean) = cloud.mean {
            cross(sheet, at(mean), cloud.colour);
        }
        sheet.outline([(LEFT, top), (LEFT + side, top + side)], 0.6, FAINT);
        sheet.bottom_axis(&x, top + side, &labels.x);
        sheet.left_axis(&y, LEFT, None, &labels.y);
        // The key.
        let key = |text: &str, (x, y): At| sheet.small(text, (x + 130, y), INK, Anchor::Left);
        sheet.dot((LEFT + 45, 70), 16, MUTED);
        key(&labels.panels, (LEFT, 70));
        if let Some(name) = &labels.turned {
            let x = LEFT + 210 + theme.small_width(&labels.panels);
            turned((x + 45, 70));
            key(name, (x, 70));
        }
        cross(sheet, (LEFT + 45, 70 + ROW), cloud.colour);
        key(&labels.mean, (LEFT, 70 + ROW));
    })
}

/// Half the range of both axes: all points, the ellipse and zero, with a margin.
fn reach(cloud: &Cloud) -> f64 {
    let mut most: f64 = 0.0;
    let ellipse = cloud.ellipse.iter().flat_map(Ellipse::ring);
    let points = cloud.panels.iter().chain(&cloud.turned).chain(&cloud.mean);
    for (x, y) in points.copied().chain(ellipse) {
        most = most.max(x.abs()).max(y.abs());
    }
    if most > 0.0 { most * 1.08 } else { 1.0 }
}

fn cross(sheet: &Sheet<'_>, (x, y): At, colour: Colour) {
    let arm = 55;
    for (width, colour) in [(3.6, PAPER), (2.2, colour)] {
        sheet.line(&[(x - arm, y), (x + arm, y)], width, colour);
        sheet.line(&[(x, y - arm), (x, y + arm)], width, colour);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels() -> Labels {
        Labels {
            x: "more at high x, µm".into(),
            y: "more at high y, µm".into(),
            panels: "a panel".into(),
            turned: Some("a turned panel".into()),
            mean: "the machine".into(),
            ..Labels::default()
        }
    }

    #[test]
    fn every_panel_is_a_dot_and_turned_ones_are_rings() {
        let cloud = Cloud {
            panels: vec![(1.0, 0.5), (0.8, 0.1)],
            turned: vec![(-0.2, 0.4)],
            mean: Some((0.5, 0.3)),
            ellipse: Some(Ellipse {
                centre: (0.5, 0.3),
                half_axes: (0.4, 0.2),
                angle: 0.3,
            }),
            colour: MUTED,
        };
        let svg = svg(&cloud, &labels(), &Theme::default()).unwrap();
        assert!(svg.contains("more at high x, µm") && svg.contains("a turned panel"));
    }

    #[test]
    fn no_panels_still_give_axes() {
        let cloud = Cloud {
            panels: Vec::new(),
            turned: Vec::new(),
            mean: None,
            ellipse: None,
            colour: MUTED,
        };
        let svg = svg(&cloud, &labels(), &Theme::default()).unwrap();
        assert!(svg.contains("more at high y, µm"));
    }

    #[test]
    fn an_ellipse_passes_through_its_half_axes() {
        let e = Ellipse {
            centre: (1.0, 2.0),
            half_axes: (3.0, 1.0),
            angle: std::f64::consts::FRAC_PI_2,
        };
        let (x, y) = e.point(0.0);
        assert!((x - 1.0).abs() < 1e-12 && (y - 5.0).abs() < 1e-12);
    }
}
