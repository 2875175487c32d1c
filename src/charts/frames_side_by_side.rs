//! The frames side by side: the hits of a repeat as they lay in the machine
//! and as they lie on the panel. The eye sees in which of the two the cloud
//! is tight.

use super::{
    Anchor, Area, Axis, ChartError, Colour, Description, FAINT, INK, MUTED, Theme, Weight, tenths,
};
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
    let width = (tenths(theme.width_pt) - GAP - 2 * MARGIN) / 2;
    let widest = clouds.iter().map(|c| c.outline.width()).fold(1.0, f64::max);
    let highest = clouds
        .iter()
        .map(|c| c.outline.height())
        .fold(1.0, f64::max);
    // Tenths of a point per mm, the same along both axes and in both frames.
    let scale = (f64::from(width) / widest).min(f64::from(HIGHEST) / highest);
    let height = (highest * scale).ceil() as i32;
    theme.chart(f64::from(TOP + height + NOTE) / 10.0, description, |area| {
        for (cloud, side) in clouds.iter().zip(0..) {
            let left = MARGIN + side * (width + GAP);
            draw(theme, area, cloud, colour, (left, TOP + height), scale)?;
        }
        Ok(())
    })
}

fn draw(
    theme: &Theme,
    area: &Area<'_>,
    cloud: &Cloud,
    colour: Colour,
    (left, bottom): (i32, i32),
    scale: f64,
) -> Result<(), ChartError> {
    let r = cloud.outline;
    let extent = |mm: f64| (mm * scale).round() as i32;
    let x = Axis::new(r.x0, r.x1, (left, left + extent(r.width())));
    let y = Axis::new(r.y0, r.y1, (bottom, bottom - extent(r.height())));
    let bold = (Weight::Bold, INK, Anchor::Left);
    theme.text(area, &cloud.title, (left, 90), theme.label_pt, bold)?;
    let corners = [(x.at.0, y.at.1), (x.at.1, y.at.0)];
    theme.outline(area, corners, 0.8, FAINT)?;
    for hit in &cloud.hits {
        theme.dot(area, (x.place(hit.x), y.place(hit.y)), DOT, colour)?;
    }
    let look = (Weight::Regular, MUTED, Anchor::Left);
    let at = (left, bottom + 110);
    theme.text(area, &cloud.note, at, theme.small_pt, look)
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
        let description = Description {
            title: "Frames".into(),
            text: "Two frames".into(),
        };
        let clouds = [cloud("machine", 600.0, 3), cloud("panel", 900.0, 2)];
        let text = svg(
            &clouds,
            super::super::ACCENT,
            &description,
            &Theme::default(),
        )
        .unwrap();
        for word in ["machine", "panel", "3 hits", "2 hits"] {
            assert!(text.contains(&format!(">{word}</text>")), "{word}");
        }
    }
}
