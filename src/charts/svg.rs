//! Cleans the SVG text that the drawing library writes.
//!
//! The library draws whole numbers only, so charts are drawn in tenths of a
//! point and the root element is given its size in points here. It writes
//! `opacity` on every element, which becomes a transparency group each in a
//! PDF: full opacity is dropped, the rest moves to stroke or fill. Equal dots
//! that follow each other are merged into one path with round caps.

use super::Description;

/// The drawing library's text as a chart file: sized in points, described,
/// without needless opacity, with equal dots merged.
pub(super) fn clean(raw: &str, (width, height): (u32, u32), description: &Description) -> String {
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}pt\" height=\"{}pt\" \
         viewBox=\"0 0 {width} {height}\" role=\"img\">\n<title>{}</title>\n<desc>{}</desc>\n",
        f64::from(width) / 10.0,
        f64::from(height) / 10.0,
        escape(&description.title),
        escape(&description.text),
    );
    let mut dots: Option<Dots> = None;
    let mut text: Option<String> = None;
    for line in raw.lines().skip(1) {
        if let Some(open) = text.take() {
            // A text element spreads over three lines, which readers show as
            // spaces around the words.
            match line {
                "</text>" => out += &format!("{open}</text>\n"),
                words => text = Some(open + words),
            }
            continue;
        }
        let element = move_opacity(line);
        if element.starts_with("<text") {
            flush(&mut dots, &mut out);
            text = Some(element);
            continue;
        }
        if let Some(dot) = Dot::read(&element) {
            match &mut dots {
                Some(run) if run.look == dot.look => run.centres.push(dot.centre),
                _ => {
                    flush(&mut dots, &mut out);
                    dots = Some(Dots {
                        look: dot.look,
                        centres: vec![dot.centre],
                    });
                }
            }
            continue;
        }
        flush(&mut dots, &mut out);
        if !element.is_empty() {
            out += &element;
            out.push('\n');
        }
    }
    out
}

/// Text as it may stand between tags: escaped, and without the characters
/// that XML 1.0 does not allow.
#[must_use]
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '<' => out += "&lt;",
            '>' => out += "&gt;",
            '&' => out += "&amp;",
            '"' => out += "&quot;",
            '\'' => out += "&#39;",
            '\t' | '\n' | '\r' => out.push(' '),
            // Marks that turn the direction of writing show as their number.
            c if turns(c) => out += &format!("[U+{:04X}]", u32::from(c)),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// Whether a character changes the direction of the text about it (Unicode
/// Standard Annex 9).
fn turns(c: char) -> bool {
    matches!(u32::from(c), 0x061c | 0x200e | 0x200f | 0x202a..=0x202e | 0x2066..=0x2069)
}

fn move_opacity(line: &str) -> String {
    let Some(value) = attribute(line, "opacity") else {
        return line.to_owned();
    };
    let written = format!(" opacity=\"{value}\"");
    if value == "1" {
        return line.replacen(&written, "", 1);
    }
    let name = match (attribute(line, "fill"), attribute(line, "stroke")) {
        (Some(fill), _) if fill != "none" => "fill-opacity",
        _ => "stroke-opacity",
    };
    line.replacen(&written, &format!(" {name}=\"{value}\""), 1)
}

/// The value of an attribute of a one-line element.
fn attribute<'a>(element: &'a str, name: &str) -> Option<&'a str> {
    let key = format!(" {name}=\"");
    let start = element.find(&key)? + key.len();
    let length = element.get(start..)?.find('"')?;
    element.get(start..start + length)
}

/// Radius, colour and opacity of a dot.
type Look = (u32, String, Option<String>);

/// A filled circle without a stroke.
struct Dot {
    look: Look,
    centre: (String, String),
}

/// Equal dots that follow each other.
struct Dots {
    look: Look,
    centres: Vec<(String, String)>,
}

impl Dot {
    fn read(element: &str) -> Option<Self> {
        if !element.starts_with("<circle") || attribute(element, "fill")? == "none" {
            return None;
        }
        Some(Self {
            look: (
                attribute(element, "r")?.parse().ok()?,
                attribute(element, "fill")?.to_owned(),
                attribute(element, "fill-opacity").map(str::to_owned),
            ),
            centre: (
                attribute(element, "cx")?.to_owned(),
                attribute(element, "cy")?.to_owned(),
            ),
        })
    }
}

fn flush(dots: &mut Option<Dots>, out: &mut String) {
    let Some(Dots { look, centres }) = dots.take() else {
        return;
    };
    let (radius, colour, opacity) = look;
    // A path of one dot has no extent, and readers may leave it out.
    if let [(x, y)] = centres.as_slice() {
        let opacity = opacity.map_or(String::new(), |o| format!(" fill-opacity=\"{o}\""));
        *out +=
            &format!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{radius}\" fill=\"{colour}\"{opacity}/>\n");
        return;
    }
    let opacity = opacity.map_or(String::new(), |o| format!(" stroke-opacity=\"{o}\""));
    *out += &format!(
        "<path fill=\"none\" stroke=\"{colour}\"{opacity} stroke-width=\"{}\" stroke-linecap=\"round\" d=\"",
        2 * radius
    );
    for (x, y) in centres {
        *out += &format!("M{x} {y}h0");
    }
    *out += "\"/>\n";
}

#[cfg(test)]
mod tests {
    use super::*;

    fn description() -> Description {
        Description {
            title: "a <b>".into(),
            text: "c & d".into(),
        }
    }

    #[test]
    fn equal_dots_become_one_path_and_full_opacity_goes() {
        let raw = "<svg width=\"100\" height=\"50\" viewBox=\"0 0 100 50\" xmlns=\"x\">\n\
            <circle cx=\"1\" cy=\"2\" r=\"3\" opacity=\"1\" fill=\"#000000\" stroke=\"none\" stroke-width=\"1\"/>\n\
            <circle cx=\"4\" cy=\"5\" r=\"3\" opacity=\"1\" fill=\"#000000\" stroke=\"none\" stroke-width=\"1\"/>\n\
            <line opacity=\"0.5\" stroke=\"#000000\" stroke-width=\"1\" x1=\"0\" y1=\"0\" x2=\"1\" y2=\"1\"/>\n\
            <text x=\"1\" y=\"1\" opacity=\"1\" fill=\"#000000\">\nA&lt;B\n</text>\n</svg>\n";
        let out = clean(raw, (100, 50), &description());
        assert!(out.starts_with(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"10pt\" height=\"5pt\""
        ));
        assert!(out.contains("<title>a &lt;b&gt;</title>\n<desc>c &amp; d</desc>"));
        assert!(out.contains("d=\"M1 2h0M4 5h0\""), "{out}");
        assert_eq!(out.matches("<circle").count(), 0);
        assert!(out.contains("<line stroke-opacity=\"0.5\""));
        assert!(out.contains(">A&lt;B</text>"));
        assert!(!out.contains(" opacity="));
        assert!(out.ends_with("</svg>\n"));
    }

    #[test]
    fn escaped_text_holds_no_markup_and_no_controls() {
        assert_eq!(
            escape("<a href='x'>&\u{0}\n"),
            "&lt;a href=&#39;x&#39;&gt;&amp;\u{fffd} "
        );
        assert_eq!(escape("a\u{202e}b"), "a[U+202E]b");
    }
}
