//! The one typeface of charts and report, inside the binary.
//!
//! Source Sans 3, SIL Open Font License 1.1 (`fonts/OFL.txt`), unmodified.

use std::sync::LazyLock;

use plotters::style::{FontStyle, register_font};
use typst::foundations::Bytes;
use typst::layout::Abs;
use typst::text::{Font, FontInstance, FontVariant, FontVariations};

use super::Weight;

/// The family as a CSS list: readers without Source Sans 3 fall back. Also the
/// key under which plotters knows the faces, since it writes the key as
/// `font-family`.
pub const FAMILY: &str = "'Source Sans 3', 'Helvetica Neue', Arial, sans-serif";

/// The faces: regular, italic, semibold, bold.
pub const FACES: [&[u8]; 4] = [
    include_bytes!("fonts/SourceSans3-Regular.ttf"),
    include_bytes!("fonts/SourceSans3-Italic.ttf"),
    include_bytes!("fonts/SourceSans3-SemiBold.ttf"),
    include_bytes!("fonts/SourceSans3-Bold.ttf"),
];

static REGULAR: LazyLock<Option<Font>> = LazyLock::new(|| Font::new(Bytes::new(FACES[0]), 0));

/// Regular and bold as the widths of text need them.
static WIDTHS: LazyLock<[Option<FontInstance>; 2]> = LazyLock::new(|| {
    [FACES[0], FACES[3]].map(|face| {
        let font = Font::new(Bytes::new(face), 0)?;
        let (variant, variations) = (FontVariant::default(), FontVariations::default());
        Some(font.instantiate(variant, Abs::pt(10.0), &variations))
    })
});

static REGISTERED: LazyLock<bool> = LazyLock::new(|| {
    register_font(FAMILY, FontStyle::Normal, FACES[0]).is_ok()
        && register_font(FAMILY, FontStyle::Italic, FACES[1]).is_ok()
        && register_font(FAMILY, FontStyle::Bold, FACES[3]).is_ok()
});

/// Makes the faces known to plotters; cheap after the first call.
pub(super) fn register() -> bool {
    *REGISTERED
}

/// Width of a line of text in ems, by the face's own advances.
pub(super) fn width_em(text: &str, weight: Weight) -> f64 {
    let [regular, bold] = &*WIDTHS;
    let face = match weight {
        Weight::Regular => regular,
        Weight::Bold => bold,
    };
    let Some(font) = face else {
        return 0.6 * text.chars().count() as f64;
    };
    let ttf = font.ttf();
    let units: u32 = text
        .chars()
        .filter_map(|c| ttf.glyph_hor_advance(ttf.glyph_index(c)?))
        .map(u32::from)
        .sum();
    f64::from(units) / f64::from(ttf.units_per_em())
}

/// Text as it can be printed in the typeface.
///
/// Tabs and line breaks become spaces; a character without a glyph, a control
/// or one that changes direction or has no width becomes its number in
/// brackets, `[U+90E8]`: nothing vanishes and nothing hides.
#[must_use]
pub fn printable(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\t' | '\n' | '\r' | '\u{85}' | '\u{2028}' | '\u{2029}' => out.push(' '),
            ' ' | '\u{a0}' => out.push(c),
            '\u{202f}' | '\u{2009}' => out.push('\u{a0}'),
            c if is_hidden(c) || !has_glyph(c) => out += &format!("[U+{:04X}]", u32::from(c)),
            c => out.push(c),
        }
    }
    out
}

/// Controls, and marks that change direction or have no width.
fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{feff}')
        || matches!(u32::from(c), 0x200b..=0x200f | 0x202a..=0x202e | 0x2060..=0x206f)
        || matches!(u32::from(c), 0xe000..=0xf8ff | 0xfe00..=0xfe0f | 0xe0000..=0x10_ffff)
}

fn has_glyph(c: char) -> bool {
    REGULAR
        .as_ref()
        .is_some_and(|font| font.info().coverage.contains(u32::from(c)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_faces_load() {
        assert!(register());
        for face in FACES {
            assert!(Font::new(Bytes::new(face), 0).is_some());
        }
    }

    #[test]
    fn what_cannot_be_printed_is_named_by_its_number() {
        assert_eq!(printable("Größe Ø 12 ±0.05 µm"), "Größe Ø 12 ±0.05 µm");
        assert_eq!(printable("a\tb\r\nc"), "a b  c");
        assert_eq!(printable("\u{90e8}\u{54c1}"), "[U+90E8][U+54C1]");
        assert_eq!(
            printable("x\u{202e}y\u{200b}\u{0}"),
            "x[U+202E]y[U+200B][U+0000]"
        );
    }
}
