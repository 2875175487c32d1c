//! What a terminal gets to see: text without controls, and progress where
//! somebody is watching.

use std::io::{IsTerminal, Write};
use std::sync::Mutex;
use std::time::Duration;

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
    let text = plain(text);
    let text = match width(&console::Term::stderr()) {
        Some(width) => fold(&text, width),
        None => text,
    };
    let _ = writeln!(std::io::stderr(), "{text}");
}

/// Lines folded at words to the terminal's width, further lines as far in as
/// the first and two more; as they are where standard output is no terminal.
pub(super) fn folded(text: &str) -> String {
    match width(&console::Term::stdout()) {
        Some(width) => fold(text, width),
        None => text.to_owned(),
    }
}

/// Letters on a line of a stream; none where it is no terminal.
fn width(stream: &console::Term) -> Option<usize> {
    stream.is_term().then(|| usize::from(stream.size().1))
}

/// Rows with columns as wide as their widest cell, two spaces between them; on a
/// terminal the last column is folded into what is left of its width.
pub(super) fn aligned<const N: usize>(rows: &[[String; N]]) -> String {
    in_columns(rows, width(&console::Term::stdout()))
}

/// Narrowest last column worth folding, letters.
const NARROWEST: usize = 20;

fn in_columns<const N: usize>(rows: &[[String; N]], width: Option<usize>) -> String {
    let widest = |k: usize| rows.iter().map(|row| row[k].chars().count()).max();
    let widths: Vec<usize> = (0..N).map(|k| widest(k).unwrap_or(0)).collect();
    let before: usize = widths.iter().take(N.saturating_sub(1)).map(|w| w + 2).sum();
    let room = width.and_then(|width| width.checked_sub(before));
    let room = room.filter(|room| *room >= NARROWEST);
    let mut text = String::new();
    for row in rows {
        let mut line = String::new();
        for (cell, width) in row.iter().zip(&widths).take(N.saturating_sub(1)) {
            line += cell;
            line.extend(std::iter::repeat_n(' ', width + 2 - cell.chars().count()));
        }
        let last = row.last().map_or("", String::as_str);
        let last = room.map_or(last.to_owned(), |room| fold(last, room));
        for part in last.split('\n') {
            text += format!("{line}{}", part.trim_start()).trim_end();
            text.push('\n');
            line = " ".repeat(before);
        }
    }
    text
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

/// The stages of a run on stderr, a line each with the time it took; nothing where
/// that is no terminal.
#[derive(Debug, Default)]
pub(super) struct Stages {
    now: Mutex<Option<ProgressBar>>,
}

impl Stages {
    /// The stage before is over.
    pub(super) fn begin(&self, what: &'static str) {
        self.end();
        if !std::io::stderr().is_terminal() {
            return;
        }
        let bar = ProgressBar::new_spinner().with_message(what);
        in_style(&bar, "{msg:<10} {elapsed}");
        bar.enable_steady_tick(Duration::from_millis(200));
        if let Ok(mut now) = self.now.lock() {
            *now = Some(bar);
        }
    }

    /// So many of so many steps of the stage are done.
    pub(super) fn at(&self, done: usize, of: usize) {
        let Ok(now) = self.now.lock() else { return };
        let Some(bar) = &*now else { return };
        if bar.length() != Some(of as u64) {
            bar.set_length(of as u64);
            in_style(bar, "{msg:<10} {bar:30} {pos}/{len} {elapsed}");
        }
        bar.set_position(done as u64);
    }

    /// The last stage is over.
    pub(super) fn end(&self) {
        let last = self.now.lock().ok().and_then(|mut now| now.take());
        if let Some(bar) = last {
            bar.finish_and_clear();
            tell(&format!(
                "{:<10} {:.1} s",
                bar.message(),
                bar.elapsed().as_secs_f64()
            ));
        }
    }
}

impl Drop for Stages {
    fn drop(&mut self) {
        self.end();
    }
}

fn in_style(bar: &ProgressBar, template: &str) {
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
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
    fn a_last_column_folds_into_what_is_left_of_the_width() {
        let row = |a: &str, b: &str| [a.to_owned(), b.to_owned()];
        let rows = [
            row("nib", "too few panels: about 400"),
            row("scratch", "helped"),
        ];
        let whole = "nib      too few panels: about 400\nscratch  helped\n";
        assert_eq!(in_columns(&rows, None), whole);
        let folded = "nib      too few panels:\n         about 400\nscratch  helped\n";
        assert_eq!(in_columns(&rows, Some(29)), folded);
        assert_eq!(in_columns(&rows, Some(12)), whole, "no room: as it is");
    }

    #[test]
    fn text_from_the_data_cannot_steer_a_terminal() {
        assert_eq!(plain("a\u{1b}[2Jb\r\u{7}"), "a[U+001B][2Jb[U+000D][U+0007]");
        assert_eq!(plain("x\u{202e}y\n"), "x[U+202E]y\n");
        assert_eq!(plain("Größe 5 µm"), "Größe 5 µm");
    }
}
