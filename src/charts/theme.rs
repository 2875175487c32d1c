//! What all charts share: size, colours, the width of text.

use plotters::drawing::DrawingAreaErrorKind;
use plotters::style::RGBColor;

use super::{NumberStyle, printable, typeface};

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
#[derive(Debug, Clone, PartialEq, Eq, Default)]
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

/// Which point of the text lies at the given place, in the middle of its height.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// The left end.
    Left,
    /// The right end.
    Right,
    /// The middle.
    Middle,
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
pub(super) fn tenths(points: f64) -> i32 {
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

    /// Width of a chart, tenths.
    pub(super) fn width(&self) -> i32 {
        tenths(self.width_pt)
    }

    /// Width of a line of text, tenths, with 15 % to spare: another typeface
    /// may be used outside the PDF.
    pub(super) fn text_width(&self, text: &str, size_pt: f64, weight: Weight) -> i32 {
        let width = typeface::width_em(&printable(text), weight) * size_pt * 10.0;
        (width * 1.15).ceil() as i32
    }

    /// The same of a tick label or note.
    pub(super) fn small_width(&self, text: &str) -> i32 {
        self.text_width(text, self.small_pt, Weight::Regular)
    }

    /// Breaks text into lines of at most `width` tenths: at spaces where there
    /// are any, inside a word where it is longer than the line. At most
    /// `max_lines`; what is left ends in an ellipsis.
    pub(super) fn wrap(
        &self,
        text: &str,
        width: i32,
        size_pt: f64,
        max_lines: usize,
    ) -> Vec<String> {
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
