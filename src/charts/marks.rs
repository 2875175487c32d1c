//! Single panels as dots, and broken lines.

use plotters::element::Circle;
use plotters::style::{Color, ShapeStyle};

use super::{Area, ChartError, Colour, Theme};

/// Length of a dash and of the gap after it, tenths.
const DASH: f64 = 70.0;
const GAP: f64 = 45.0;

impl Theme {
    /// A filled dot of `radius` tenths.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn dot(
        &self,
        area: &Area<'_>,
        at: (i32, i32),
        radius: i32,
        colour: Colour,
    ) -> Result<(), ChartError> {
        let style = ShapeStyle::from(colour.mix(1.0)).filled();
        area.draw(&Circle::new(at, radius, style))?;
        Ok(())
    }

    /// A dashed line through the points.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn dashed_line(
        &self,
        area: &Area<'_>,
        points: &[(i32, i32)],
        width_pt: f64,
        colour: Colour,
    ) -> Result<(), ChartError> {
        let mut dash: Vec<(i32, i32)> = Vec::new();
        let (mut drawing, mut left) = (true, DASH);
        for pair in points.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let (dx, dy) = (f64::from(to.0 - from.0), f64::from(to.1 - from.1));
            let length = dx.hypot(dy);
            let at = |along: f64| {
                let share = if length > 0.0 { along / length } else { 0.0 };
                (
                    from.0 + (dx * share).round() as i32,
                    from.1 + (dy * share).round() as i32,
                )
            };
            let mut done = 0.0;
            if drawing && dash.is_empty() {
                dash.push(from);
            }
            while length - done >= left {
                done += left;
                if drawing {
                    dash.push(at(done));
                    self.line(area, &dash, width_pt, colour)?;
                    dash.clear();
                } else {
                    dash.push(at(done));
                }
                drawing = !drawing;
                left = if drawing { DASH } else { GAP };
            }
            left -= length - done;
            if drawing {
                dash.push(to);
            }
        }
        if dash.len() > 1 {
            self.line(area, &dash, width_pt, colour)?;
        }
        Ok(())
    }
}
