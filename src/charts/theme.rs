//! What all charts share: size, colours, text, and the way from a drawing to
//! clean SVG.

use plotters::backend::SVGBackend;
use plotters::coord::Shift;
use plotters::drawing::{DrawingArea, DrawingAreaErrorKind, IntoDrawingArea};
use plotters::element::{PathElement, Polygon, Rectangle, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, RGBColor, ShapeStyle, TextStyle};

use super::marks::seen;
use super::{FAMILY, NumberStyle, printable, svg, typeface};

/// A colour.
pub type Colour = RGBColor;

/// Text and data.
pub const INK: Colour = RGBColor(0x1f, 0x25, 0x2b);
/// Second-rank text.
pub const MUTED: Colour = RGBColor(0x5b, 0x63, 0x6b);
/// Axes and outlines.
pub const FAINT: Colour = RGBColor(0x9a, 0xa1, 0xa8);
/// Grid lines and shades.
pub const GRID: Colour = RGBColor(0xe3, 0xe6, 0xe9);
/// Structure: headings, rules.
pub const ACCENT: Colour = RGBColor(0x2c, 0x3e, 0x57);
/// The sheet.
pub const PAPER: Colour = RGBColor(0xff, 0xff, 0xff);

/// A drawing area in tenths of a point.
pub type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// A chart could not be drawn.
#[derive(Debug, thiserror::Error)]
pub enum ChartError {
    /// The drawing library failed.
    #[error("a chart could not be drawn: {0}")]
    Drawing(#[from] DrawingAreaErrorKind<std::io::Error>),
    /// The typeface in the binary did not load.
    #[error("the typeface could not be loaded")]
    Typeface,
}

/// What a chart says of itself: every chart file can be read alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Description {
    /// Its name, a few words.
    pub title: String,
    /// What is seen, for those who cannot see it.
    pub text: String,
}

/// Weight of text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    /// For most.
    Regular,
    /// For what matters.
    Bold,
}

/// Which point of the text lies at the given place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Left end, middle of the height.
    Left,
    /// Right end, middle of the height.
    Right,
    /// Middle of both.
    Middle,
    /// Middle of the top.
    Top,
    /// Middle of the bottom.
    Bottom,
}

/// Size and number style of all charts of a report.
#[derive(Debug, Clone, PartialEq)]
pub struct Theme {
    /// Width of a chart, pt; the report's text width.
    pub width_pt: f64,
    /// Size of labels, pt; half of it is still read at half a page's width.
    pub label_pt: f64,
    /// Size of tick labels and notes, pt.
    pub small_pt: f64,
    /// How numbers are written.
    pub numbers: NumberStyle,
}

impl Default for Theme {
    fn default() -> Self {
        Self {
            width_pt: 470.0,
            label_pt: 10.0,
            small_pt: 9.0,
            numbers: NumberStyle::default(),
        }
    }
}

/// A length in points as the drawing's whole tenths.
#[must_use]
pub fn tenths(points: f64) -> i32 {
    (points * 10.0).round() as i32
}

impl Theme {
    /// The same look for a chart of half the width, two of which stand side
    /// by side.
    #[must_use]
    pub fn half(&self) -> Self {
        Self {
            width_pt: (self.width_pt - 14.0) / 2.0,
            ..self.clone()
        }
    }

    /// Draws a chart of the theme's width and `height_pt` points and returns
    /// it as clean SVG text. The closure draws in tenths of a point, y down.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn chart(
        &self,
        height_pt: f64,
        description: &Description,
        draw: impl FnOnce(&Area<'_>) -> Result<(), ChartError>,
    ) -> Result<String, ChartError> {
        if !typeface::register() {
            return Err(ChartError::Typeface);
        }
        let size = (
            tenths(self.width_pt).unsigned_abs(),
            tenths(height_pt).unsigned_abs(),
        );
        let mut text = String::new();
        {
            let area = SVGBackend::with_string(&mut text, size).into_drawing_area();
            draw(&area)?;
            area.present()?;
        }
        Ok(svg::clean(&text, size, description))
    }

    /// Text of `size_pt` points at (x, y) tenths.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn text(
        &self,
        area: &Area<'_>,
        text: &str,
        (x, y): (i32, i32),
        size_pt: f64,
        (weight, colour, anchor): (Weight, Colour, Anchor),
    ) -> Result<(), ChartError> {
        let style = text_style(size_pt, weight, colour, anchor);
        area.draw(&Text::new(printable(text), (x, y), style))?;
        Ok(())
    }

    /// Text turned to read upwards, centred on (x, y) tenths.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn upward_text(
        &self,
        area: &Area<'_>,
        text: &str,
        (x, y): (i32, i32),
        size_pt: f64,
        colour: Colour,
    ) -> Result<(), ChartError> {
        let mut style = text_style(size_pt, Weight::Regular, colour, Anchor::Middle);
        style.font = style
            .font
            .transform(plotters::style::FontTransform::Rotate270);
        area.draw(&Text::new(printable(text), (x, y), style))?;
        Ok(())
    }

    /// Width of a line of text, tenths, with 15 % to spare: another typeface
    /// may be used outside the PDF.
    #[must_use]
    pub fn text_width(&self, text: &str, size_pt: f64, weight: Weight) -> i32 {
        let width = typeface::width_em(&printable(text), weight) * size_pt * 10.0;
        (width * 1.15).ceil() as i32
    }

    /// Breaks text into lines of at most `width` tenths: at spaces where there
    /// are any, inside a word where it is longer than the line. At most
    /// `max_lines`; what is left ends in an ellipsis.
    #[must_use]
    pub fn wrap(&self, text: &str, width: i32, size_pt: f64, max_lines: usize) -> Vec<String> {
        let fits = |line: &str| self.text_width(line, size_pt, Weight::Regular) <= width;
        let mut lines: Vec<String> = Vec::new();
        let mut line = String::new();
        for word in printable(text).split_whitespace() {
            let longer = if line.is_empty() {
                word.to_owned()
            } else {
                format!("{line} {word}")
            };
            if fits(&longer) {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            for c in word.chars() {
                line.push(c);
                if !fits(&line) && line.chars().count() > 1 {
                    line.pop();
                    lines.push(std::mem::replace(&mut line, c.to_string()));
                }
                if lines.len() > max_lines {
                    break;
                }
            }
        }
        if !line.is_empty() {
            lines.push(line);
        }
        if lines.len() > max_lines {
            lines.truncate(max_lines);
            if let Some(last) = lines.last_mut() {
                while !last.is_empty() && !fits(&format!("{last}…")) {
                    last.pop();
                }
                last.push('…');
            }
        }
        lines
    }

    /// Lines of text below each other, the first one's middle at y.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn lines(
        &self,
        area: &Area<'_>,
        lines: &[String],
        (x, y): (i32, i32),
        size_pt: f64,
        look: (Weight, Colour, Anchor),
    ) -> Result<(), ChartError> {
        for (i, line) in lines.iter().enumerate() {
            let below = y + tenths(size_pt * 1.25) * i32::try_from(i).unwrap_or(0);
            self.text(area, line, (x, below), size_pt, look)?;
        }
        Ok(())
    }

    /// A line through the points, `width_pt` points wide.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn line(
        &self,
        area: &Area<'_>,
        points: &[(i32, i32)],
        width_pt: f64,
        colour: Colour,
    ) -> Result<(), ChartError> {
        area.draw(&PathElement::new(points.to_vec(), stroke(width_pt, colour)))?;
        Ok(())
    }

    /// A dashed line from one point to another.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn dashed(
        &self,
        area: &Area<'_>,
        from: (i32, i32),
        to: (i32, i32),
        width_pt: f64,
        colour: Colour,
    ) -> Result<(), ChartError> {
        let Some((from, to)) = seen(area, from, to) else {
            return Ok(());
        };
        let (dx, dy) = (f64::from(to.0 - from.0), f64::from(to.1 - from.1));
        let length = dx.hypot(dy);
        let dash = 40.0;
        let count = (length / (2.0 * dash)).ceil() as usize;
        let at = |along: f64| {
            let share = (along / length.max(1.0)).min(1.0);
            (
                from.0 + (dx * share).round() as i32,
                from.1 + (dy * share).round() as i32,
            )
        };
        for i in 0..count {
            let start = 2.0 * dash * i as f64;
            self.line(area, &[at(start), at(start + dash)], width_pt, colour)?;
        }
        Ok(())
    }

    /// A filled rectangle between two corners.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn fill(
        &self,
        area: &Area<'_>,
        corners: [(i32, i32); 2],
        colour: Colour,
    ) -> Result<(), ChartError> {
        area.draw(&Rectangle::new(corners, ShapeStyle::from(colour).filled()))?;
        Ok(())
    }

    /// A filled polygon with the given opacity 0..1.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn fill_polygon(
        &self,
        area: &Area<'_>,
        points: &[(i32, i32)],
        colour: Colour,
        opacity: f64,
    ) -> Result<(), ChartError> {
        area.draw(&Polygon::new(points.to_vec(), colour.mix(opacity)))?;
        Ok(())
    }

    /// The outline of a rectangle, `width_pt` points wide.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn outline(
        &self,
        area: &Area<'_>,
        [(x0, y0), (x1, y1)]: [(i32, i32); 2],
        width_pt: f64,
        colour: Colour,
    ) -> Result<(), ChartError> {
        let path = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)];
        self.line(area, &path, width_pt, colour)
    }
}

/// A stroke of `width_pt` points.
fn stroke(width_pt: f64, colour: Colour) -> ShapeStyle {
    ShapeStyle::from(colour).stroke_width(tenths(width_pt).unsigned_abs())
}

fn text_style(size_pt: f64, weight: Weight, colour: Colour, anchor: Anchor) -> TextStyle<'static> {
    let face = match weight {
        Weight::Regular => FontStyle::Normal,
        Weight::Bold => FontStyle::Bold,
    };
    let (h_pos, v_pos) = match anchor {
        Anchor::Left => (HPos::Left, VPos::Center),
        Anchor::Right => (HPos::Right, VPos::Center),
        Anchor::Middle => (HPos::Center, VPos::Center),
        Anchor::Top => (HPos::Center, VPos::Top),
        Anchor::Bottom => (HPos::Center, VPos::Bottom),
    };
    // plotters divides the size by 1.24 when it writes it.
    let font = FontDesc::new(FontFamily::Name(FAMILY), size_pt * 10.0 * 1.24, face);
    let mut style = TextStyle::from(font).pos(Pos::new(h_pos, v_pos));
    style.color = colour.to_backend_color();
    style
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_names_wrap_and_end_in_an_ellipsis() {
        let theme = Theme::default();
        let lines = theme.wrap("sand-through at the long edge", 600, 9.0, 3);
        assert!(lines.len() > 1, "{lines:?}");
        assert_eq!(lines.join(" "), "sand-through at the long edge");
        let lines = theme.wrap(&"X".repeat(300), 600, 9.0, 2);
        assert_eq!(lines.len(), 2);
        assert!(lines[1].ends_with('…'), "{lines:?}");
        assert!(theme.wrap("", 600, 9.0, 2).is_empty());
    }
}
