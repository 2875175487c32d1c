//! The frames side by side: the hits of a repeat as they lay in the machine
//! and as they lie on the panel. The eye sees in which of the two the cloud
//! is tight.

use super::axes::Axis;
use super::{Anchor, ChartError, Colour, Description, FAINT, INK, MUTED, Theme, Weight};
use crate::records::{Point, Rect};

/// One frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Cloud {
    /// What the frame is called.
    pub title: String,
    /// What is to be seen in it, below.
    pub note: String,
    /// The area that the panels covered there, mm.
    pub outline: Rect,
    /// The hits, mm.
    pub hits: Vec<Point>,
}

const TOP: i32 = 230;
const NOTE: i32 = 190;
const GAP: i32 = 260;
const MARGIN: i32 = 40;
/// Highest drawing of a panel, tenths.
const HIGHEST: i32 = 1500;
const DOT: i32 = 22;

/// Draws the two frames to one scale, as SVG.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn svg(
    clouds: &[Cloud; 2],
    colour: Colour,
    description: &Description,
    theme: &Theme,
) -> Result<String, ChartError> {
    let width = (theme.width() - GAP - 2 * MARGIN) / 2;
    let largest = |of: fn(&Rect) -> f64| clouds.iter().map(|c| of(&c.outline)).fold(1.0, f64::max);
    let (widest, highest) = (largest(Rect::width), largest(Rect::height));
    // Tenths of a point per mm, the same along both axes and in both frames.
    let scale = (f64::from(width) / widest).min(f64::from(HIGHEST) / highest);
    let bottom = TOP + (highest * scale).ceil() as i32;
    theme.chart(bottom + NOTE, description, |sheet| {
        for (cloud, side) in clouds.iter().zip(0..) {
            let left = MARGIN + side * (width + GAP);
            let r = cloud.outline;
            let extent = |mm: f64| (mm * scale).round() as i32;
            let x = Axis::new(r.x0, r.x1, (left, left + extent(r.width())));
            let y = Axis::new(r.y0, r.y1, (bottom, bottom - extent(r.height())));
            let bold = (Weight::Bold, INK, Anchor::Left);
            sheet.text(&cloud.title, (left, 90), theme.label_pt, bold);
            sheet.outline([(x.at.0, y.at.1), (x.at.1, y.at.0)], 0.8, FAINT);
            for hit in &cloud.hits {
                sheet.dot((x.place(hit.x), y.place(hit.y)), DOT, colour);
            }
            sheet.small(&cloud.note, (left, bottom + 110), MUTED, Anchor::Left);
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_frames_are_drawn_to_one_scale() {
        let cloud = |title: &str, x1: f64, hits: usize| Cloud {
            title: title.into(),
            note: format!("{hits} hits"),
            outline: Rect {
                x0: 0.0,
                y0: 0.0,
                x1,
                y1: 400.0,
            },
            hits: vec![Point { x: 100.0, y: 100.0 }; hits],
        };
        let clouds = [cloud("machine", 600.0, 3), cloud("panel", 900.0, 2)];
        let text = svg(&clouds, INK, &Description::default(), &Theme::default()).unwrap();
        for word in ["machine", "panel", "3 hits", "2 hits"] {
            assert!(text.contains(&format!(">{word}</text>")), "{word}");
        }
    }
}
