//! How a cause looks: a colour of the Okabe–Ito palette, a mark and a hatch,
//! so that it is told apart in grey print and by the colour-blind.
//!
//! Palette: Okabe & Ito (2008), "Color Universal Design".

use plotters::style::RGBColor;

use super::{Area, ChartError, Colour, PAPER, Theme};
use crate::causes::Cause;

/// Lines over a filled area.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hatch {
    /// None: solid.
    Solid,
    /// Rising lines.
    Rising,
    /// Level lines.
    Level,
    /// Rising and falling lines.
    Crossed,
    /// An empty area with an outline.
    Open,
}

/// All causes, in the order in which keys and tables list them.
pub const CAUSES: [Cause; 5] = [
    Cause::Machine,
    Cause::Recipe,
    Cause::Part,
    Cause::Inspection,
    Cause::Undecided,
];

/// The colour of a cause.
#[must_use]
pub fn cause_colour(cause: Cause) -> Colour {
    match cause {
        Cause::Machine => RGBColor(0xd5, 0x5e, 0x00),
        Cause::Recipe => RGBColor(0x00, 0x72, 0xb2),
        Cause::Part => RGBColor(0x00, 0x9e, 0x73),
        Cause::Inspection => RGBColor(0xcc, 0x79, 0xa7),
        Cause::Undecided => RGBColor(0x7f, 0x7f, 0x7f),
    }
}

/// The hatch of a cause.
#[must_use]
pub fn cause_hatch(cause: Cause) -> Hatch {
    match cause {
        Cause::Machine => Hatch::Solid,
        Cause::Recipe => Hatch::Rising,
        Cause::Part => Hatch::Level,
        Cause::Inspection => Hatch::Crossed,
        Cause::Undecided => Hatch::Open,
    }
}

/// The mark of a cause as a character of the typeface.
#[must_use]
pub fn cause_mark(cause: Cause) -> char {
    match cause {
        Cause::Machine => '■',
        Cause::Recipe => '▲',
        Cause::Part => '●',
        Cause::Inspection => '✘',
        Cause::Undecided => '○',
    }
}

/// Draws the mark of a cause at (x, y), `size` tenths wide.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn draw_mark(
    theme: &Theme,
    area: &Area<'_>,
    cause: Cause,
    (x, y): (i32, i32),
    size: i32,
) -> Result<(), ChartError> {
    use plotters::element::Circle;
    use plotters::style::ShapeStyle;
    let (colour, half) = (cause_colour(cause), size / 2);
    match cause {
        Cause::Machine => theme.fill(area, [(x - half, y - half), (x + half, y + half)], colour),
        Cause::Recipe => {
            let points = [(x - half, y + half), (x + half, y + half), (x, y - half)];
            theme.fill_polygon(area, &points, colour, 1.0)
        }
        Cause::Part => {
            let style = ShapeStyle::from(colour).filled();
            area.draw(&Circle::new((x, y), half, style))?;
            Ok(())
        }
        Cause::Inspection => {
            theme.line(
                area,
                &[(x - half, y - half), (x + half, y + half)],
                1.6,
                colour,
            )?;
            theme.line(
                area,
                &[(x - half, y + half), (x + half, y - half)],
                1.6,
                colour,
            )
        }
        Cause::Undecided => {
            let style = ShapeStyle::from(colour).stroke_width(14);
            area.draw(&Circle::new((x, y), half, style))?;
            Ok(())
        }
    }
}

/// Fills a rectangle in a cause's colour and hatch.
///
/// # Errors
///
/// [`ChartError`] if the drawing library fails.
pub fn hatch(
    theme: &Theme,
    area: &Area<'_>,
    corners: [(i32, i32); 2],
    cause: Cause,
) -> Result<(), ChartError> {
    let colour = cause_colour(cause);
    let [(x0, y0), (x1, y1)] = corners;
    let corners = [(x0.min(x1), y0.min(y1)), (x0.max(x1), y0.max(y1))];
    match cause_hatch(cause) {
        Hatch::Solid => theme.fill(area, corners, colour),
        Hatch::Open => {
            theme.fill(area, corners, RGBColor(0xee, 0xee, 0xee))?;
            theme.outline(area, corners, 1.0, colour)
        }
        Hatch::Level => {
            theme.fill(area, corners, colour)?;
            let [(x0, y0), (x1, y1)] = corners;
            for y in (y0 + 35..y1).step_by(50) {
                theme.line(area, &[(x0, y), (x1, y)], 1.1, PAPER)?;
            }
            Ok(())
        }
        Hatch::Rising => {
            theme.fill(area, corners, colour)?;
            slanted(theme, area, corners, Slant::Rising)
        }
        Hatch::Crossed => {
            theme.fill(area, corners, colour)?;
            slanted(theme, area, corners, Slant::Rising)?;
            slanted(theme, area, corners, Slant::Falling)
        }
    }
}

#[derive(Clone, Copy)]
enum Slant {
    Rising,
    Falling,
}

/// Lines at 45° clipped to the rectangle.
fn slanted(
    theme: &Theme,
    area: &Area<'_>,
    [(x0, y0), (x1, y1)]: [(i32, i32); 2],
    slant: Slant,
) -> Result<(), ChartError> {
    let (width, height) = (x1 - x0, y1 - y0);
    for offset in (40..width + height).step_by(70) {
        // The line u + v = offset with u from the left, v from the top.
        let (u0, u1) = ((offset - height).max(0), offset.min(width));
        let (v0, v1) = (offset - u0, offset - u1);
        let ends = match slant {
            Slant::Rising => [(x0 + u0, y0 + v0), (x0 + u1, y0 + v1)],
            Slant::Falling => [(x1 - u0, y0 + v0), (x1 - u1, y0 + v1)],
        };
        theme.line(area, &ends, 1.1, PAPER)?;
    }
    Ok(())
}
