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

/// Lines folded at words to the terminal's width, further lines as far in as
/// the first and two more; as they are where standard output is no terminal.
pub(super) fn folded(text: &str) -> String {
    if !std::io::stdout().is_terminal() {
        return text.to_owned();
    }
    let (_, columns) = console::Term::stdout().size();
    fold(text, usize::from(columns))
}

fn fold(text: &str, width: usize) -> String {
    let mut out = Vec::new();
    for line in text.split('\n') {
        let indent = line.chars().take_while(|c| *c == ' ').count();
        let mut current = " ".repeat(indent);
        let mut empty = true;
        for word in line.split(' ').filter(|word| !word.is_empty()) {
            let length = current.chars().count() + word.chars().count() + usize::from(!empty);
            if !empty && length > width {
                out.push(std::mem::replace(&mut current, " ".repeat(indent + 2)));
                empty = true;
            }
            if !empty {
                current.push(' ');
            }
            current += word;
            empty = false;
        }
        out.push(current);
    }
    out.join("\n")
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
    fn lines_fold_at_words_and_long_words_stay_whole() {
        assert_eq!(fold("  F1 one two three", 12), "  F1 one two\n    three");
        assert_eq!(fold("a-very-long-word b", 6), "a-very-long-word\n  b");
        assert_eq!(fold("fits", 80), "fits");
    }

    #[test]
    fn text_from_the_data_cannot_steer_a_terminal() {
        assert_eq!(plain("a\u{1b}[2Jb\r\u{7}"), "a[U+001B][2Jb[U+000D][U+0007]");
        assert_eq!(plain("x\u{202e}y\n"), "x[U+202E]y\n");
        assert_eq!(plain("Größe 5 µm"), "Größe 5 µm");
    }
}
