//! How a cause looks: a colour of the Okabe–Ito palette, a mark and a hatch,
//! so that it is told apart in grey print and by the colour-blind.
//!
//! Palette: Okabe & Ito (2008), "Color Universal Design".

use plotters::style::RGBColor;

use super::sheet::{At, Sheet};
use super::{Colour, PAPER};
use crate::causes::Cause;

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

impl Sheet<'_> {
    /// The mark of a cause at (x, y), `size` tenths wide.
    pub(super) fn mark(&self, cause: Cause, (x, y): At, size: i32) {
        let (colour, half) = (cause_colour(cause), size / 2);
        let (left, right, top, foot) = (x - half, x + half, y - half, y + half);
        match cause {
            Cause::Machine => self.fill([(left, top), (right, foot)], colour),
            Cause::Recipe => self.polygon(&[(left, foot), (right, foot), (x, top)], colour, 1.0),
            Cause::Part => self.dot((x, y), half, colour),
            Cause::Inspection => {
                self.line(&[(left, top), (right, foot)], 1.6, colour);
                self.line(&[(left, foot), (right, top)], 1.6, colour);
            }
            Cause::Undecided => self.circle((x, y), half, 14, colour),
        }
    }

    /// A rectangle in a cause's colour and hatch: the machine's solid, the recipe's
    /// with rising, the part's with level, the inspection's with crossed lines, an
    /// unknown one's open.
    pub(super) fn hatch(&self, [(x0, y0), (x1, y1)]: [At; 2], cause: Cause) {
        let corners = [(x0.min(x1), y0.min(y1)), (x0.max(x1), y0.max(y1))];
        let colour = cause_colour(cause);
        if cause == Cause::Undecided {
            self.fill(corners, RGBColor(0xee, 0xee, 0xee));
            self.outline(corners, 1.0, colour);
            return;
        }
        self.fill(corners, colour);
        match cause {
            Cause::Part => {
                let [(x0, y0), (x1, y1)] = corners;
                for y in (y0 + 35..y1).step_by(50) {
                    self.line(&[(x0, y), (x1, y)], 1.1, PAPER);
                }
            }
            Cause::Recipe => self.slanted(corners, Slant::Rising),
            Cause::Inspection => {
                self.slanted(corners, Slant::Rising);
                self.slanted(corners, Slant::Falling);
            }
            Cause::Machine | Cause::Undecided => {}
        }
    }

    /// Lines at 45° clipped to the rectangle.
    fn slanted(&self, [(x0, y0), (x1, y1)]: [At; 2], slant: Slant) {
        let (width, height) = (x1 - x0, y1 - y0);
        for offset in (40..width + height).step_by(70) {
            // The line u + v = offset with u from the left, v from the top.
            let (u0, u1) = ((offset - height).max(0), offset.min(width));
            let (v0, v1) = (offset - u0, offset - u1);
            let ends = match slant {
                Slant::Rising => [(x0 + u0, y0 + v0), (x0 + u1, y0 + v1)],
                Slant::Falling => [(x1 - u0, y0 + v0), (x1 - u1, y0 + v1)],
            };
            self.line(&ends, 1.1, PAPER);
        }
    }
}

#[derive(Clone, Copy)]
enum Slant {
    Rising,
    Falling,
}
