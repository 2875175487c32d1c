//! From a file's bytes to text: unpacking and decoding, with limits.

use std::hash::Hasher;
use std::io::Read;
use std::path::Path;

use flate2::read::MultiGzDecoder;

use crate::site::{Encoding, Site};

/// The longest line that is read, bytes; a record is some hundred.
const MAX_LINE: usize = 16 << 20;

/// What is kept of a row once it is read, bytes: what it saw, then the defect
/// with its place and origin, both while one becomes the other. Measured on a
/// million rows of a defect each, 240.
pub(super) const KEPT_PER_ROW: u64 = 256;

/// Files of other kinds that are given by mistake, by how they start.
const OTHER_KINDS: [(&[u8], &str); 12] = [
    (b"PK\x03\x04", "a spreadsheet or zip file"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet file"),
    (b"%PDF", "a PDF"),
    (b"{\\rtf", "a text document"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"SQLite format 3", "a database"),
    (b"7z\xbc\xaf", "a packed file"),
    (b"Rar!", "a packed file"),
    (b"BZh", "a packed file"),
    (b"\x28\xb5\x2f\xfd", "a packed file"),
];

/// What a text without a header of ours seems to be, with what to do.
pub(super) fn other_text(text: &str) -> Option<String> {
    let start = text.trim_start();
    let what = if start.starts_with('<') {
        "a web page or XML"
    } else if start.starts_with('{') || start.starts_with("[{") || start.starts_with("[[") {
        "JSON"
    } else {
        return None;
    };
    Some(format!("{what}, not CSV; export the table as CSV"))
}

/// What had to be assumed to read a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum ReadAs {
    /// Plain UTF-8, which need not be told.
    Utf8,
    /// UTF-16 by its byte order mark or the site file.
    Utf16,
    /// Windows-1252, since the bytes are not UTF-8.
    Windows1252,
}

/// The bytes of a file.
#[derive(Debug)]
pub(super) struct Loaded {
    /// As they lie on disk, or unpacked.
    pub bytes: Vec<u8>,
    /// Size and hash of the file as it lies on disk, to find the same file
    /// under two names.
    pub fingerprint: (u64, u64),
}

/// Reads a file as it lies there; why it is skipped otherwise.
pub(super) fn load(path: &Path) -> Result<Loaded, String> {
    std::fs::read(path)
        .map(Loaded::from)
        .map_err(|error| format!("cannot be read: {error}"))
}

impl From<Vec<u8>> for Loaded {
    fn from(bytes: Vec<u8>) -> Self {
        let mut hasher = std::hash::DefaultHasher::new();
        hasher.write(&bytes);
        Loaded {
            fingerprint: (bytes.len() as u64, hasher.finish()),
            bytes,
        }
    }
}

/// The bytes that all packed files of a run may take, unpacked and read.
pub(super) fn budget(site: &Site) -> u64 {
    site.read.max_unpacked_mb.saturating_mul(1 << 20)
}

/// Why a file goes for which the run's budget has no room.
pub(super) fn too_much(site: &Site) -> String {
    format!(
        "with the packed files before it, takes more than {} MB once unpacked and read; raise [read] max_unpacked_mb in onus.toml if it is meant",
        site.read.max_unpacked_mb
    )
}

/// Whether the bytes are those of a gzip file.
pub(super) fn is_gzip(bytes: &[u8]) -> bool {
    bytes.starts_with(&[0x1f, 0x8b])
}

/// How many bytes come out of a reader, without keeping them; any number
/// above `most` where it is more than that.
pub(super) fn counted(reader: impl Read, most: u64) -> Result<u64, String> {
    std::io::copy(
        &mut reader.take(most.saturating_add(1)),
        &mut std::io::sink(),
    )
    .map_err(|error| damaged(&error))
}

/// What a gzip file holds, as far as it must be known before it is unpacked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Inside {
    /// Bytes that it takes, unpacked and read; any number above the budget
    /// where it is more than that.
    pub cost: u64,
    /// Whether it holds a Parquet file, whose rows are counted there.
    pub is_parquet: bool,
}

/// Looks through what comes out of a packed file without keeping it, and no
/// further than to the first thing that stands against it: a text costs its
/// bytes and what is kept of each of its lines.
///
/// # Errors
///
/// Why the file is skipped: damaged, of another kind, no text.
pub(super) fn survey(
    mut unpacked: impl Read,
    most: u64,
    encoding: Encoding,
) -> Result<Inside, String> {
    let mut chunk = vec![0; 1 << 16];
    let mut look = Look::default();
    let (mut bytes, mut breaks, mut returns) = (0u64, 0u64, 0u64);
    let mut is_parquet = false;
    loop {
        let read = fill(&mut unpacked, &mut chunk)?;
        let part = &chunk[..read];
        if bytes == 0 {
            is_parquet = super::parquet::is_one(part);
            look.wide = encoding == Encoding::Utf16 || has_utf16_mark(part);
            refuse_other_kinds(part)?;
        }
        bytes += read as u64;
        if !is_parquet {
            look.at(part)?;
            let count = |mark| part.iter().filter(|b| **b == mark).count() as u64;
            breaks += count(b'\n');
            returns += count(b'\r');
        }
        let cost = bytes.saturating_add(breaks.max(returns).saturating_mul(KEPT_PER_ROW));
        if read < chunk.len() || cost > most {
            return Ok(Inside { cost, is_parquet });
        }
    }
}

/// Fills a buffer as far as there is something to fill it with.
fn fill(from: &mut impl Read, buffer: &mut [u8]) -> Result<usize, String> {
    let mut filled = 0;
    while filled < buffer.len() {
        match from.read(&mut buffer[filled..]) {
            Ok(0) => break,
            Ok(read) => filled += read,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(damaged(&error)),
        }
    }
    Ok(filled)
}

fn damaged(error: &std::io::Error) -> String {
    format!("the gzip file is damaged: {error}")
}

/// A look at a text, part by part, for what no table holds.
#[derive(Debug, Default)]
struct Look {
    /// Whether each character takes two bytes, one of which may well be NUL.
    wide: bool,
    bytes: usize,
    line: usize,
    line_bytes: usize,
}

impl Look {
    fn at(&mut self, part: &[u8]) -> Result<(), String> {
        if !self.wide
            && let Some(at) = part.iter().position(|byte| *byte == 0)
        {
            return Err(format!(
                "a NUL at byte {}: no text, or UTF-16 without its mark; set [numbers] encoding in onus.toml, or export it again",
                self.bytes + at
            ));
        }
        for (nth, piece) in part.split(|byte| *byte == b'\n').enumerate() {
            if nth > 0 {
                self.line += 1;
                self.line_bytes = 0;
            }
            self.line_bytes += piece.len();
            if self.line_bytes > MAX_LINE {
                return Err(format!(
                    "line {} is longer than {} MB; no table has such lines",
                    self.line + 1,
                    MAX_LINE >> 20
                ));
            }
        }
        self.bytes += part.len();
        Ok(())
    }
}

/// Unpacks a gzip file to at most `most` bytes.
pub(super) fn gunzip(packed: &[u8], most: u64, site: &Site) -> Result<Vec<u8>, String> {
    let mut unpacked = Vec::new();
    MultiGzDecoder::new(packed)
        .take(most.saturating_add(1))
        .read_to_end(&mut unpacked)
        .map_err(|error| damaged(&error))?;
    if unpacked.len() as u64 > most {
        return Err(too_much(site));
    }
    Ok(unpacked)
}

/// Decodes a text file; why it is skipped otherwise.
pub(super) fn decode(bytes: Vec<u8>, encoding: Encoding) -> Result<(String, ReadAs), String> {
    refuse_other_kinds(&bytes)?;
    let (text, read_as) = match encoding {
        Encoding::Auto if has_utf16_mark(&bytes) => (utf16(&bytes)?, ReadAs::Utf16),
        Encoding::Utf16 => (utf16(&bytes)?, ReadAs::Utf8),
        Encoding::Windows1252 => (windows_1252(&bytes)?, ReadAs::Utf8),
        Encoding::Auto | Encoding::Utf8 => {
            let bytes = without_mark(bytes);
            match String::from_utf8(bytes) {
                Ok(text) => (text, ReadAs::Utf8),
                Err(error) => {
                    let at = error.utf8_error().valid_up_to();
                    let bytes = error.into_bytes();
                    let byte = bytes.get(at).copied().unwrap_or_default();
                    let damaged = bytes[..at].iter().any(|b| !b.is_ascii());
                    if encoding == Encoding::Utf8 || damaged {
                        return Err(format!(
                            "not UTF-8: byte {byte:#04x} at byte {at}; set [numbers] encoding in onus.toml, or export it again"
                        ));
                    }
                    (windows_1252(&bytes)?, ReadAs::Windows1252)
                }
            }
        }
    };
    // Old systems end a text with Ctrl-Z.
    let mut text = text;
    text.truncate(text.trim_end_matches('\u{1a}').len());
    Look::default().at(text.as_bytes())?;
    Ok((text, read_as))
}

fn refuse_other_kinds(bytes: &[u8]) -> Result<(), String> {
    match OTHER_KINDS
        .iter()
        .find(|(start, _)| bytes.starts_with(start))
    {
        Some((_, what)) => Err(format!("{what}, not CSV; export the table as CSV")),
        None => Ok(()),
    }
}

fn has_utf16_mark(bytes: &[u8]) -> bool {
    bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff])
}

fn without_mark(mut bytes: Vec<u8>) -> Vec<u8> {
    if bytes.starts_with(&[0xef, 0xbb, 0xbf]) {
        bytes.drain(..3);
    }
    bytes
}

/// UTF-16 in the order its mark says, else little end first.
fn utf16(bytes: &[u8]) -> Result<String, String> {
    let (big, start) = match bytes {
        [0xfe, 0xff, ..] => (true, 2),
        [0xff, 0xfe, ..] => (false, 2),
        _ => (false, 0),
    };
    let body = &bytes[start..];
    if !body.len().is_multiple_of(2) {
        return Err(format!(
            "UTF-16 with half a character at byte {}; export it again",
            bytes.len() - 1
        ));
    }
    let units = body.chunks_exact(2).map(|pair| {
        if big {
            u16::from_be_bytes([pair[0], pair[1]])
        } else {
            u16::from_le_bytes([pair[0], pair[1]])
        }
    });
    let mut at = start;
    let mut text = String::with_capacity(body.len() / 2);
    for unit in char::decode_utf16(units) {
        match unit {
            Ok(c) => {
                at += 2 * c.len_utf16();
                text.push(c);
            }
            Err(_) => {
                return Err(format!(
                    "UTF-16 with half a character at byte {at}; export it again"
                ));
            }
        }
    }
    Ok(text)
}

fn windows_1252(bytes: &[u8]) -> Result<String, String> {
    // Five bytes mean nothing in Windows-1252; decoders for web pages turn
    // them into control characters, which would hide a wrong guess.
    if let Some(at) = bytes
        .iter()
        .position(|b| matches!(b, 0x81 | 0x8d | 0x8f | 0x90 | 0x9d))
    {
        return Err(format!(
            "neither UTF-8 nor Windows-1252: byte {:#04x} at byte {at}; set [numbers] encoding in onus.toml, or export it again",
            bytes[at]
        ));
    }
    Ok(encoding_rs::WINDOWS_1252
        .decode_without_bom_handling(bytes)
        .0
        .into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What never ends must be given up by its first bytes: none of these
    /// readers comes to an end.
    #[test]
    fn what_no_table_holds_is_met_without_unpacking_the_rest() {
        let endless = |byte| survey(std::io::repeat(byte), 1 << 30, Encoding::Auto);
        assert!(endless(0).unwrap_err().starts_with("a NUL at byte 0"));
        assert!(endless(b'x').unwrap_err().starts_with("line 1 is longer"));
        assert!(endless(b'\n').unwrap().cost > 1 << 30);
        let book = Read::chain(&b"PK\x03\x04"[..], std::io::repeat(0));
        let why = survey(book, 1 << 30, Encoding::Auto).unwrap_err();
        assert!(why.starts_with("a spreadsheet"));
    }

    #[test]
    fn a_text_costs_its_bytes_and_its_lines() {
        let cost = |text: &[u8], encoding| survey(text, 1 << 20, encoding).map(|i| i.cost);
        let unix = cost(b"a,b\n1,2\n", Encoding::Auto);
        assert_eq!(unix, Ok(8 + 2 * KEPT_PER_ROW));
        let dos = cost(b"a,b\r\n1,2\r\n", Encoding::Auto);
        assert_eq!(dos, Ok(10 + 2 * KEPT_PER_ROW));
        assert!(cost(b"a\0\n\0", Encoding::Auto).is_err());
        let wide = Ok(4 + KEPT_PER_ROW);
        assert_eq!(cost(b"a\0\n\0", Encoding::Utf16), wide);
        // A Parquet file inside counts its own rows.
        let inside = survey(&b"PAR1\n\n\0"[..], 1 << 20, Encoding::Auto);
        assert_eq!(
            inside,
            Ok(Inside {
                cost: 7,
                is_parquet: true
            })
        );
    }

    #[test]
    fn a_line_is_as_long_however_it_comes() {
        let mut look = Look::default();
        assert!(look.at(&vec![b'x'; MAX_LINE]).is_ok());
        assert!(look.at(b"\nx").is_ok());
        assert!(look.at(&vec![b'x'; MAX_LINE]).is_err());
    }
}
