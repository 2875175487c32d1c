//! From a file's bytes to text: unpacking and decoding, with limits.

use std::hash::Hasher;
use std::io::Read;
use std::path::Path;

use flate2::read::MultiGzDecoder;

use crate::site::{Encoding, Site};

/// The longest line that is read, bytes; a record is some hundred.
const MAX_LINE: usize = 16 << 20;

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

/// The bytes that all packed files of a run may unpack to.
pub(super) fn budget(site: &Site) -> u64 {
    site.read.max_unpacked_mb.saturating_mul(1 << 20)
}

/// Why a file goes for which the run's budget has no room.
pub(super) fn too_much(site: &Site) -> String {
    format!(
        "with the packed files before it, unpacks to more than {} MB; raise [read] max_unpacked_mb in onus.toml if it is meant",
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
    .map_err(|error| format!("the gzip file is damaged: {error}"))
}

/// How many bytes a gzip file unpacks to; any number above `most` where it is
/// more than that.
pub(super) fn gzip_size(packed: &[u8], most: u64) -> Result<u64, String> {
    counted(MultiGzDecoder::new(packed), most)
}

/// Unpacks a gzip file to at most `most` bytes.
pub(super) fn gunzip(packed: &[u8], most: u64, site: &Site) -> Result<Vec<u8>, String> {
    let mut unpacked = Vec::new();
    MultiGzDecoder::new(packed)
        .take(most.saturating_add(1))
        .read_to_end(&mut unpacked)
        .map_err(|error| format!("the gzip file is damaged: {error}"))?;
    if unpacked.len() as u64 > most {
        return Err(too_much(site));
    }
    Ok(unpacked)
}

/// Decodes a text file; why it is skipped otherwise.
pub(super) fn decode(bytes: Vec<u8>, encoding: Encoding) -> Result<(String, ReadAs), String> {
    if let Some((_, what)) = OTHER_KINDS
        .iter()
        .find(|(start, _)| bytes.starts_with(start))
    {
        return Err(format!("{what}, not CSV; export the table as CSV"));
    }
    let (text, read_as) = match encoding {
        Encoding::Auto if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) => {
            (utf16(&bytes)?, ReadAs::Utf16)
        }
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
    if let Some(at) = text.find('\0') {
        return Err(format!(
            "a NUL at byte {at}: no text, or UTF-16 without its mark; set [numbers] encoding in onus.toml, or export it again"
        ));
    }
    if let Some(line) = text.split('\n').position(|line| line.len() > MAX_LINE) {
        return Err(format!(
            "line {} is longer than {} MB; no table has such lines",
            line + 1,
            MAX_LINE >> 20
        ));
    }
    Ok((text, read_as))
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
