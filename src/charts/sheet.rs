//! A chart while it is drawn, in tenths of a point, y down, and the way from the
//! drawing to clean SVG.

use std::cell::RefCell;
use std::ops::Deref;

use plotters::backend::SVGBackend;
use plotters::coord::Shift;
use plotters::drawing::{DrawingArea, DrawingAreaErrorKind, IntoDrawingArea};
use plotters::element::{Circle, PathElement, Polygon, Rectangle, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, FontTransform};
use plotters::style::{ShapeStyle, TextStyle};

use super::theme::tenths;
use super::{Anchor, ChartError, Colour, Description, FAMILY, INK, PAPER, Theme, Weight};
use super::{dashes, printable, svg, typeface};
use crate::site::FeedDirection;

/// A place on the sheet.
pub(super) type At = (i32, i32);

/// A sheet with its theme. Drawing on it never fails at once: the first failure
/// is told when the chart is done.
pub(super) struct Sheet<'a> {
    theme: &'a Theme,
    area: DrawingArea<SVGBackend<'a>, Shift>,
    failed: RefCell<Option<ChartError>>,
}

impl Deref for Sheet<'_> {
    type Target = Theme;

    fn deref(&self) -> &Theme {
        self.theme
    }
}

impl Theme {
    /// Draws a chart of the theme's width and so many tenths high, as clean SVG.
    pub(super) fn chart(
        &self,
        height: i32,
        description: &Description,
        draw: impl FnOnce(&Sheet<'_>),
    ) -> Result<String, ChartError> {
        if !typeface::register() {
            return Err(ChartError::Typeface);
        }
        let size = (self.width().unsigned_abs(), height.unsigned_abs());
        let mut text = String::new();
        {
            let sheet = Sheet {
                theme: self,
                area: SVGBackend::with_string(&mut text, size).into_drawing_area(),
                failed: RefCell::default(),
            };
            draw(&sheet);
            sheet.done(sheet.area.present());
            if let Some(error) = sheet.failed.take() {
                return Err(error);
            }
        }
        Ok(svg::clean(&text, size, description))
    }
}

impl Sheet<'_> {
    fn done(&self, result: Result<(), DrawingAreaErrorKind<std::io::Error>>) {
        if let Err(error) = result {
            self.failed.borrow_mut().get_or_insert(error.into());
        }
    }

    /// Text of `size_pt` points.
    pub(super) fn text(
        &self,
        text: &str,
        at: At,
        size_pt: f64,
        (weight, colour, anchor): (Weight, Colour, Anchor),
    ) {
        let style = text_style(size_pt, weight, colour, anchor);
        self.done(self.area.draw(&Text::new(printable(text), at, style)));
    }

    /// A tick label or note.
    pub(super) fn small(&self, text: &str, at: At, colour: Colour, anchor: Anchor) {
        self.text(text, at, self.small_pt, (Weight::Regular, colour, anchor));
    }

    /// A note that begins at its place, on a ground that lines do not cross.
    pub(super) fn small_on_paper(&self, text: &str, (x, y): At, colour: Colour) {
        let right = x + self.small_width(text);
        self.fill([(x - 10, y - 50), (right, y + 50)], PAPER);
        self.small(text, (x, y), colour, Anchor::Left);
    }

    /// A label.
    pub(super) fn label(&self, text: &str, at: At, colour: Colour, anchor: Anchor) {
        self.text(text, at, self.label_pt, (Weight::Regular, colour, anchor));
    }

    /// A label turned to read upwards, centred on its place.
    pub(super) fn upward(&self, text: &str, at: At) {
        let mut style = text_style(self.label_pt, Weight::Regular, INK, Anchor::Middle);
        style.font = style.font.transform(FontTransform::Rotate270);
        self.done(self.area.draw(&Text::new(printable(text), at, style)));
    }

    /// Lines of text below each other, the first one's middle at y.
    pub(super) fn lines(
        &self,
        lines: &[String],
        (x, y): At,
        size_pt: f64,
        look: (Weight, Colour, Anchor),
    ) {
        for (line, i) in lines.iter().zip(0..) {
            let below = y + tenths(size_pt * 1.25) * i;
            self.text(line, (x, below), size_pt, look);
        }
    }

    /// The name of a row, to the left of a field that begins at `left`.
    pub(super) fn row_name(&self, name: &str, left: i32, y: i32) {
        let lines = self.wrap(name, left - 130, self.label_pt, 2);
        let up = if lines.len() > 1 { 62 } else { 0 };
        let look = (Weight::Regular, INK, Anchor::Right);
        self.lines(&lines, (left - 80, y - up), self.label_pt, look);
    }

    /// A line through the points, `width_pt` points wide.
    pub(super) fn line(&self, points: &[At], width_pt: f64, colour: Colour) {
        let stroke = stroke(tenths(width_pt), colour);
        self.done(self.area.draw(&PathElement::new(points.to_vec(), stroke)));
    }

    /// A dashed line through the points, of long dashes.
    pub(super) fn dashed_curve(&self, points: &[At], width_pt: f64, colour: Colour) {
        for dash in dashes::along(points, self.area.dim_in_pixel(), (70.0, 45.0)) {
            self.line(&dash, width_pt, colour);
        }
    }

    /// A dashed straight line.
    pub(super) fn dashed(&self, from: At, to: At, width_pt: f64, colour: Colour) {
        for dash in dashes::along(&[from, to], self.area.dim_in_pixel(), (40.0, 40.0)) {
            self.line(&dash, width_pt, colour);
        }
    }

    /// A filled rectangle between two corners.
    pub(super) fn fill(&self, corners: [At; 2], colour: Colour) {
        let filled = ShapeStyle::from(colour).filled();
        self.done(self.area.draw(&Rectangle::new(corners, filled)));
    }

    /// The outline of a rectangle, `width_pt` points wide.
    pub(super) fn outline(&self, [(x0, y0), (x1, y1)]: [At; 2], width_pt: f64, colour: Colour) {
        let path = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)];
        self.line(&path, width_pt, colour);
    }

    /// A filled polygon with the given opacity 0..1.
    pub(super) fn polygon(&self, points: &[At], colour: Colour, opacity: f64) {
        let filled = colour.mix(opacity);
        self.done(self.area.draw(&Polygon::new(points.to_vec(), filled)));
    }

    /// A filled dot of `radius` tenths.
    pub(super) fn dot(&self, at: At, radius: i32, colour: Colour) {
        let filled = ShapeStyle::from(colour).filled();
        self.done(self.area.draw(&Circle::new(at, radius, filled)));
    }

    /// A circle of `radius` tenths, `width` tenths wide.
    pub(super) fn circle(&self, at: At, radius: i32, width: i32, colour: Colour) {
        let stroke = stroke(width, colour);
        self.done(self.area.draw(&Circle::new(at, radius, stroke)));
    }

    /// Above a panel as it lies in the machine: what the thick corner means, and
    /// which way panels feed.
    pub(super) fn feed_key(&self, left: i32, feed: FeedDirection, corner: &str, arrow: &str) {
        let y = 70;
        let angle = [(left, y - 45), (left, y + 40), (left + 85, y + 40)];
        self.line(&angle, 2.6, INK);
        self.small(corner, (left + 120, y), INK, Anchor::Left);
        let from = left + 230 + self.small_width(corner);
        let (shaft, head, end) = match feed {
            FeedDirection::X => {
                let end = from + 320;
                let head = [(end, y), (end - 75, y - 32), (end - 75, y + 32)];
                ([(from, y), (end - 60, y)], head, end)
            }
            FeedDirection::Y => {
                let x = from + 40;
                let head = [(x, y - 65), (x - 32, y + 10), (x + 32, y + 10)];
                ([(x, y + 90), (x, y - 20)], head, x + 50)
            }
        };
        self.line(&shaft, 1.2, INK);
        self.polygon(&head, INK, 1.0);
        self.small(arrow, (end + 50, y), INK, Anchor::Left);
    }
}

fn stroke(width: i32, colour: Colour) -> ShapeStyle {
    ShapeStyle::from(colour).stroke_width(width.unsigned_abs())
}

fn text_style(size_pt: f64, weight: Weight, colour: Colour, anchor: Anchor) -> TextStyle<'static> {
    let face = match weight {
        Weight::Regular => FontStyle::Normal,
        Weight::Bold => FontStyle::Bold,
    };
    let across = match anchor {
        Anchor::Left => HPos::Left,
        Anchor::Right => HPos::Right,
        Anchor::Middle => HPos::Center,
    };
    // plotters divides the size by 1.24 when it writes it.
    let font = FontDesc::new(FontFamily::Name(FAMILY), size_pt * 10.0 * 1.24, face);
    let mut style = TextStyle::from(font).pos(Pos::new(across, VPos::Center));
    style.color = colour.to_backend_color();
    style
}
