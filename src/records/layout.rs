//! Where the table of a text file starts and what parts its cells.

use csv::{ReaderBuilder, StringRecord};

use super::header::Matcher;
use crate::site::Delimiter;

/// How far down a header is looked for, records.
const HEADER_WITHIN: usize = 50;

/// Where the table starts.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layout {
    /// The mark between cells.
    pub delimiter: u8,
    /// Byte where the header starts.
    pub start: usize,
    /// Its physical line, from 1.
    pub line: u64,
    /// The header.
    pub headers: StringRecord,
    /// How many of its columns are known.
    pub known: usize,
}

/// A CSV reader as all texts are read: rows of any width, by RFC 4180.
pub(super) fn csv_reader(text: &str, delimiter: u8) -> csv::Reader<&[u8]> {
    ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes())
}

/// Finds the header: the first record, or the first unmistakable one below
/// lines that are none. `Err` holds the cells of the first line, for a message.
pub(super) fn find(
    text: &str,
    delimiter: Delimiter,
    matcher: &Matcher<'_>,
    id_from_file: bool,
) -> Result<Layout, Vec<String>> {
    let candidates: Vec<u8> = match delimiter {
        Delimiter::Comma => vec![b','],
        Delimiter::Semicolon => vec![b';'],
        Delimiter::Tab => vec![b'\t'],
        Delimiter::Auto => by_use(text),
    };
    let mut best: Option<Layout> = None;
    for delimiter in &candidates {
        let mut reader = csv_reader(text, *delimiter);
        let mut record = StringRecord::new();
        for nth in 0..HEADER_WITHIN {
            if !reader.read_record(&mut record).unwrap_or(false) {
                break;
            }
            let (known, has_id) = matcher.known(&record);
            if !(has_id || id_from_file) {
                continue;
            }
            let least = if nth == 0 && has_id { 1 } else { 2 };
            if known < least || best.as_ref().is_some_and(|b| b.known >= known) {
                continue;
            }
            let (start, line) = record
                .position()
                .map_or((0, 1), |p| skip_blank(text, p.byte() as usize, p.line()));
            best = Some(Layout {
                delimiter: *delimiter,
                start,
                line,
                headers: record.clone(),
                known,
            });
            if nth == 0 {
                break;
            }
        }
        if best.as_ref().is_some_and(|b| b.line == 1) {
            break;
        }
    }
    best.ok_or_else(|| {
        let delimiter = candidates.first().copied().unwrap_or(b',');
        let mut record = StringRecord::new();
        let mut reader = csv_reader(text, delimiter);
        if reader.read_record(&mut record).unwrap_or(false) {
            record.iter().map(|c| c.trim().to_owned()).collect()
        } else {
            Vec::new()
        }
    })
}

/// The marks in the order of how often the first lines use them.
pub(super) fn by_use(text: &str) -> Vec<u8> {
    let first = text
        .lines()
        .find(|line| !line.trim().is_empty())
        .unwrap_or_default();
    let mut marks = vec![b',', b';', b'\t'];
    marks.sort_by_key(|mark| std::cmp::Reverse(first.bytes().filter(|b| b == mark).count()));
    marks
}

/// Where a record really starts: the reader's position is that of the blank
/// lines before it.
pub(super) fn skip_blank(text: &str, byte: usize, line: u64) -> (usize, u64) {
    let mut at = byte;
    let mut line = line;
    let bytes = text.as_bytes();
    while let Some(b @ (b'\n' | b'\r')) = bytes.get(at) {
        line += u64::from(*b == b'\n');
        at += 1;
    }
    (at, line)
}
