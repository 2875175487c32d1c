//! Single panels as dots, and broken lines.

use plotters::element::Circle;
use plotters::style::{Color, ShapeStyle};

use super::{Area, ChartError, Colour, Theme};

/// Length of a dash and of the gap after it, tenths.
const DASH: f64 = 70.0;
const GAP: f64 = 45.0;
/// So far beside the drawing a line may run unseen, tenths.
const BESIDE: f64 = 200.0;

/// The part of a straight line that lies on the drawing or just beside it;
/// none where it passes by. Dashes are drawn one by one, so what nobody sees
/// must not be dashed.
pub(super) fn seen(
    area: &Area<'_>,
    from: (i32, i32),
    to: (i32, i32),
) -> Option<((i32, i32), (i32, i32))> {
    let (width, height) = area.dim_in_pixel();
    clipped(from, to, (f64::from(width), f64::from(height)))
}

/// Liang and Barsky's way to cut a line at a rectangle (1984, ACM Transactions
/// on Graphics 3:1): the share of it that is left shrinks at each side.
fn clipped(
    from: (i32, i32),
    to: (i32, i32),
    (width, height): (f64, f64),
) -> Option<((i32, i32), (i32, i32))> {
    let (x, y) = (f64::from(from.0), f64::from(from.1));
    let (dx, dy) = (f64::from(to.0) - x, f64::from(to.1) - y);
    let (mut first, mut last) = (0.0f64, 1.0f64);
    for (step, room) in [
        (-dx, x + BESIDE),
        (dx, width + BESIDE - x),
        (-dy, y + BESIDE),
        (dy, height + BESIDE - y),
    ] {
        if step == 0.0 {
            if room < 0.0 {
                return None;
            }
        } else if step < 0.0 {
            first = first.max(room / step);
        } else {
            last = last.min(room / step);
        }
    }
    let at = |share: f64| {
        (
            (x + share * dx).round() as i32,
            (y + share * dy).round() as i32,
        )
    };
    (first <= last).then(|| (at(first), at(last)))
}

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
            let Some((from, to)) = seen(area, pair[0], pair[1]) else {
                dash.clear();
                continue;
            };
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_nobody_sees_of_a_line_is_cut_off() {
        let size = (1000.0, 500.0);
        assert_eq!(
            clipped((10, 20), (900, 400), size),
            Some(((10, 20), (900, 400)))
        );
        assert_eq!(
            clipped((100, 50), (2_000_000_000, 50), size),
            Some(((100, 50), (1200, 50)))
        );
        assert_eq!(clipped((-5000, -400), (5000, -400), size), None);
        assert_eq!(
            clipped((-1_000_000, -1_000_000), (1_000_000, 1_000_000), size),
            Some(((-200, -200), (700, 700)))
        );
    }
}
