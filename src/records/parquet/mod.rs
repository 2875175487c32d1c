//! Parquet files: what they claim is checked first, then they are taken in
//! row by row like any other.

mod stored;
mod thrift;

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};

use bytes::Bytes;
use csv::StringRecord;
use flate2::read::MultiGzDecoder;
use parquet::basic::Compression;
use parquet::column::reader::ColumnReader;
use parquet::file::metadata::ColumnChunkMetaData;
use parquet::file::reader::{FileReader, SerializedFileReader};

use super::file::{Outcome, id_from_name, no_panel_id, refused};
use super::header::{Header, Matcher};
use super::inputs::{Input, file_reject};
use super::load;
use super::notes::Note;
use super::number::Style;
use super::rows::{RowReader, Rules};
use crate::records::read::folders;
use stored::Stored;
use thrift::Walk;

/// Rows that are unpacked at a time.
const BATCH: usize = 1024;

/// Bytes of a number: what a value takes once unpacked, at least.
const NUMBER: u64 = 8;

/// How a file begins and ends.
const MAGIC: &[u8] = b"PAR1";

/// Bytes at the end of the file: the footer's size and the mark.
const TAIL: usize = 8;

/// Whether the bytes are those of a Parquet file.
pub(super) fn is_one(bytes: &[u8]) -> bool {
    bytes.starts_with(MAGIC)
}

/// How many bytes a file takes, unpacked and read, by its footer and page
/// headers.
pub(super) fn measure(
    input: &Input,
    bytes: Vec<u8>,
    rules: &Rules<'_>,
    matcher: &Matcher<'_>,
) -> Outcome {
    let opened = match open(input, bytes, rules, matcher) {
        Ok(opened) => opened,
        Err(outcome) => return *outcome,
    };
    match guarded(|| opened.table.unpacked(&opened.used())) {
        Ok(size) => Outcome::Packed(size),
        Err(why) => Outcome::Skipped(file_reject(&input.path, &why)),
    }
}

/// Reads a file that takes no more than `allowed` bytes. Rows count from
/// 2, as if a header were line 1.
pub(super) fn read(
    input: &Input,
    bytes: Vec<u8>,
    fingerprint: (u64, u64),
    allowed: u64,
    rules: &Rules<'_>,
    matcher: &Matcher<'_>,
) -> Outcome {
    let opened = match open(input, bytes, rules, matcher) {
        Ok(opened) => opened,
        Err(outcome) => return *outcome,
    };
    let used = opened.used();
    let Opened {
        table,
        mut header,
        id_from_file,
    } = opened;
    let style = Style {
        decimal_comma: false,
        thousands: None,
        dates: rules.site.dates.order,
    };
    let matched = std::mem::take(&mut header.matched);
    let unknown = std::mem::take(&mut header.unknown);
    let mut rows = RowReader::new(rules, input.path.clone(), header, style, id_from_file);
    for (header, column) in matched {
        rows.note(Note::Matched(header, column));
    }
    for header in unknown {
        let near = matcher.nearest(&header);
        rows.note(Note::Unknown(header, near));
    }
    let done = guarded(|| table.unpacked(&used)).and_then(|size| {
        if size > allowed {
            return Err(load::too_much(rules.site));
        }
        let mut line = 1;
        table.rows(&used, usize::MAX, |record| {
            line += 1;
            rows.row(record, line);
        })
    });
    match done {
        Ok(()) => Outcome::Rows(Box::new(rows.finish()), fingerprint),
        Err(why) => Outcome::Skipped(file_reject(&input.path, &why)),
    }
}

/// The header and the first rows, for a look.
pub(super) fn first_rows(
    bytes: Vec<u8>,
    allowed: u64,
) -> Result<(StringRecord, Vec<StringRecord>), String> {
    const LOOK: usize = 20;
    let table = guarded(|| Table::open(bytes))?;
    let readable: Vec<usize> = (0..table.names.len())
        .filter(|at| table.stored[*at].is_ok())
        .collect();
    let mut rows = Vec::new();
    if guarded(|| table.unpacked(&readable))? <= allowed {
        table.rows(&readable, LOOK, |record| rows.push(record.clone()))?;
    }
    Ok((StringRecord::from(table.names), rows))
}

/// A file and what its header means.
struct Opened {
    table: Table,
    header: Header,
    id_from_file: Option<String>,
}

impl Opened {
    /// The places of the columns that are read.
    fn used(&self) -> Vec<usize> {
        let stored = |at: &usize| *at < self.header.width;
        let cells = self.header.cells.iter().map(|cell| cell.index);
        cells.filter(stored).collect()
    }
}

fn open(
    input: &Input,
    bytes: Vec<u8>,
    rules: &Rules<'_>,
    matcher: &Matcher<'_>,
) -> Result<Opened, Box<Outcome>> {
    let skip = |why: String| Box::new(Outcome::Skipped(file_reject(&input.path, &why)));
    let id_from_file = id_from_name(&input.path, rules).map_err(skip)?;
    let table = guarded(|| Table::open(bytes)).map_err(skip)?;
    let headers = StringRecord::from(table.names.clone());
    let (_, has_id) = matcher.known(&headers);
    if !has_id && id_from_file.is_none() {
        return Err(Box::new(no_panel_id(input, table.names, matcher)));
    }
    let mut header = matcher
        .read(&headers)
        .map_err(|problem| Box::new(refused(input, problem)))?;
    for cell in &header.cells {
        if let Err(what) = table.stored[cell.index] {
            return Err(skip(format!(
                "column \"{}\" holds {what}",
                table.names[cell.index]
            )));
        }
    }
    folders::add_columns(&mut header, &input.path, matcher);
    Ok(Opened {
        table,
        header,
        id_from_file,
    })
}

/// A file whose columns are known but not yet read.
struct Table {
    bytes: Bytes,
    reader: SerializedFileReader<Bytes>,
    /// The columns of the table, in the file's order.
    names: Vec<String>,
    /// How each is stored, or what stands in the way of reading it.
    stored: Vec<Result<Stored, &'static str>>,
    /// The first stored column of each.
    leaves: Vec<usize>,
}

impl Table {
    fn open(bytes: Vec<u8>) -> Result<Table, String> {
        footer(&bytes)?;
        let bytes = Bytes::from(bytes);
        let reader = SerializedFileReader::new(bytes.clone()).map_err(|error| error.to_string())?;
        let schema = reader.metadata().file_metadata().schema_descr();
        let names: Vec<String> = schema
            .root_schema()
            .get_fields()
            .iter()
            .map(|field| field.name().to_owned())
            .collect();
        for (at, name) in names.iter().enumerate() {
            if names[..at].contains(name) {
                return Err(format!("duplicate column \"{name}\""));
            }
        }
        let mut stored = vec![Err("nothing"); names.len()];
        let mut leaves = vec![0; names.len()];
        for leaf in (0..schema.num_columns()).rev() {
            let root = schema.get_column_root_idx(leaf);
            stored[root] = stored::of(&schema.column(leaf));
            leaves[root] = leaf;
        }
        Ok(Table {
            bytes,
            reader,
            names,
            stored,
            leaves,
        })
    }

    /// How many bytes these columns unpack to: whatever is more, the pages as
    /// their headers say, or a number for each value; and what is kept of each
    /// row. Any header that does not fit the others is a lie, found before
    /// anything is unpacked.
    fn unpacked(&self, used: &[usize]) -> Result<u64, String> {
        let mut size = 0u64;
        for group in self.reader.metadata().row_groups() {
            let rows = u64::try_from(group.num_rows()).unwrap_or(0);
            size = size.saturating_add(rows.saturating_mul(load::KEPT_PER_ROW));
            for at in used {
                let chunk = group.column(self.leaves[*at]);
                let (pages, values) = self.pages(chunk)?;
                if i64::try_from(values) != Ok(group.num_rows()) {
                    return Err(format!(
                        "its footer tells of {} rows, its pages of {values} values",
                        group.num_rows()
                    ));
                }
                size = size.saturating_add(pages.max(values.saturating_mul(NUMBER)));
            }
        }
        Ok(size)
    }

    /// The bytes and values of all pages of a column's part, by their headers.
    fn pages(&self, chunk: &ColumnChunkMetaData) -> Result<(u64, u64), String> {
        const DAMAGED: &str = "a page header is damaged";
        let (start, length) = chunk.byte_range();
        let end = start.saturating_add(length);
        let part = usize::try_from(start)
            .ok()
            .zip(usize::try_from(end).ok())
            .and_then(|(start, end)| self.bytes.get(start..end));
        let mut rest = part.ok_or("a column lies outside the file")?;
        let (mut size, mut values) = (0u64, 0u64);
        while !rest.is_empty() {
            let page = Walk::new(rest).page_header().ok_or(DAMAGED)?;
            rest = &rest[page.size..];
            let whole = |number: i64| u64::try_from(number).map_err(|_| DAMAGED);
            let (packed, unpacked) = (whole(page.packed)?, whole(page.unpacked)?);
            let (count, levels) = (whole(page.values)?, whole(page.levels)?);
            if packed > rest.len() as u64 || levels > packed.min(unpacked) {
                return Err(DAMAGED.into());
            }
            let (body, after) = rest.split_at(packed as usize);
            match page.kind {
                0 | 3 => {
                    if let 6 | 7 = page.encoding {
                        return Err("its texts are stored as differences; store them plain or as a dictionary".into());
                    }
                    values = values.saturating_add(count);
                }
                // An entry of a dictionary takes a byte at least, and each is
                // kept ready.
                2 if count <= unpacked => {
                    size = size.saturating_add(count.saturating_mul(4 * NUMBER))
                }
                2 => return Err(DAMAGED.into()),
                _ => {}
            }
            match chunk.compression() {
                Compression::GZIP(_) if page.is_packed => {
                    let expected = unpacked - levels;
                    let packed = MultiGzDecoder::new(&body[levels as usize..]);
                    if load::counted(packed, expected) != Ok(expected) {
                        return Err("a page unpacks to another size than it says".into());
                    }
                }
                Compression::LZ4 | Compression::LZO | Compression::BROTLI(_) => {
                    return Err(format!(
                        "it is packed with {}; pack it with snappy, zstd or gzip",
                        chunk.compression()
                    ));
                }
                _ => {}
            }
            size = size.saturating_add(unpacked);
            rest = after;
        }
        Ok((size, values))
    }

    /// Hands over at most `most` rows, one by one, with these columns filled
    /// in and the others blank.
    fn rows(
        &self,
        used: &[usize],
        most: usize,
        mut row: impl FnMut(&StringRecord),
    ) -> Result<(), String> {
        let mut record = StringRecord::new();
        let mut done = 0;
        for group in 0..self.reader.num_row_groups() {
            let mut left = self.reader.metadata().row_group(group).num_rows().max(0) as usize;
            let mut columns = guarded(|| self.columns(group, used))?;
            while left > 0 && done < most {
                let rows = left.min(BATCH).min(most - done);
                let texts = guarded(|| self.batch(&mut columns, rows))?;
                for nth in 0..rows {
                    record.clear();
                    for column in &texts {
                        record.push_field(column.get(nth).map_or("", String::as_str));
                    }
                    row(&record);
                }
                left -= rows;
                done += rows;
            }
        }
        Ok(())
    }

    /// The decoders of these columns in a group of rows.
    fn columns(&self, group: usize, used: &[usize]) -> Result<Vec<Decoder>, String> {
        let group = self
            .reader
            .get_row_group(group)
            .map_err(|error| error.to_string())?;
        used.iter()
            .map(|at| {
                Ok(Decoder {
                    column: *at,
                    stored: self.stored[*at].map_err(str::to_owned)?,
                    reader: group
                        .get_column_reader(self.leaves[*at])
                        .map_err(|error| error.to_string())?,
                })
            })
            .collect()
    }

    /// The next rows by column; nothing where a column is not read.
    fn batch(&self, columns: &mut [Decoder], rows: usize) -> Result<Vec<Vec<String>>, String> {
        let mut texts = vec![Vec::new(); self.names.len()];
        for decoder in columns {
            texts[decoder.column] = stored::texts(&mut decoder.reader, decoder.stored, rows)
                .map_err(|why| format!("column \"{}\": {why}", self.names[decoder.column]))?;
        }
        Ok(texts)
    }
}

/// A column of a group of rows, read so far.
struct Decoder {
    column: usize,
    stored: Stored,
    reader: ColumnReader,
}

/// Checks the footer before the decoder believes it.
fn footer(bytes: &[u8]) -> Result<(), String> {
    let tail = bytes.len().checked_sub(TAIL).map(|at| &bytes[at..]);
    let (Some(tail), true) = (tail, bytes.ends_with(MAGIC)) else {
        return Err("the file is cut off".into());
    };
    let length = u32::from_le_bytes([tail[0], tail[1], tail[2], tail[3]]) as usize;
    bytes
        .len()
        .checked_sub(TAIL + length)
        .and_then(|start| bytes.get(start..bytes.len() - TAIL))
        .and_then(|footer| Walk::new(footer).footer())
        .ok_or_else(|| "the footer is damaged".to_owned())
}

thread_local! {
    /// Whether this thread is in the middle of decoding.
    static DECODING: Cell<bool> = const { Cell::new(false) };
}

/// Damaged files can make the decoder panic; that costs the file, no more.
fn guarded<T>(decode: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    let why = |text: &str| format!("cannot be read as Parquet: {text}");
    let before = DECODING.replace(true);
    let done = catch_unwind(AssertUnwindSafe(decode));
    DECODING.set(before);
    match done {
        Ok(done) => done.map_err(|text| why(&text)),
        Err(_) => Err(why("the file is damaged; export it again")),
    }
}

/// Keeps the decoder's panics off the terminal: they cost a file, which is
/// named as skipped. All others are still told. For a program's start.
pub fn hush_decoder() {
    let others = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        if !DECODING.get() {
            others(panic);
        }
    }));
}
