//! What a terminal gets to see: text without controls, and progress where
//! somebody is watching.

use std::io::{IsTerminal, Write};

use indicatif::{ProgressBar, ProgressStyle};

/// Text that cannot steer a terminal: controls and marks that change the
/// direction of writing become their number in brackets; line breaks stay.
pub(super) fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        let steers = (c.is_control() && c != '\n')
            || matches!(u32::from(c), 0x200e | 0x200f | 0x202a..=0x202e | 0x2066..=0x2069);
        if steers {
            out += &format!("[U+{:04X}]", u32::from(c));
        } else {
            out.push(c);
        }
    }
    out
}

/// Tells on stderr; where nobody can be told any more, the work goes on.
pub(super) fn tell(text: &str) {
    let _ = writeln!(std::io::stderr(), "{}", plain(text));
}

/// A bar over so many steps on stderr; nothing where that is no terminal.
pub(super) fn progress(what: &'static str) -> ProgressBar {
    if !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(0).with_message(what);
    if let Ok(style) = ProgressStyle::with_template("{msg} {bar:30} {pos}/{len}") {
        bar.set_style(style);
    }
    bar
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_from_the_data_cannot_steer_a_terminal() {
        assert_eq!(plain("a\u{1b}[2Jb\r\u{7}"), "a[U+001B][2Jb[U+000D][U+0007]");
        assert_eq!(plain("x\u{202e}y\n"), "x[U+202E]y\n");
        assert_eq!(plain("Größe 5 µm"), "Größe 5 µm");
    }
}
