//! Parquet files: read by polars, then taken in row by row like any other.

use std::cell::Cell;
use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};

use csv::StringRecord;
use polars::prelude::{
    AnyValue, ArrowDataType, Column as Series, DataFrame, DataType, ParquetReader, SerReader,
    TimeUnit,
};

use super::file::{Outcome, id_from_name, no_panel_id, refused};
use super::header::Matcher;
use super::inputs::{Input, file_reject};
use super::notes::Note;
use super::number::NumberStyle;
use super::rows::{RowReader, Rules};

/// Reads a Parquet file. Rows count from 2, as if a header were line 1.
pub(super) fn read(
    input: &Input,
    bytes: Vec<u8>,
    fingerprint: (u64, u64),
    rules: &Rules<'_>,
    matcher: &Matcher<'_>,
) -> Outcome {
    let skip = |why: &str| Outcome::Skipped(file_reject(&input.path, why));
    let id_from_file = match id_from_name(&input.path, rules) {
        Ok(id) => id,
        Err(why) => return skip(&why),
    };
    let mut table = match Table::open(bytes) {
        Ok(table) => table,
        Err(why) => return skip(&why),
    };
    let headers = StringRecord::from(table.names.clone());
    let (_, has_id) = matcher.known(&headers);
    if !has_id && id_from_file.is_none() {
        return no_panel_id(input, table.names, matcher);
    }
    let mut header = match matcher.read(&headers) {
        Ok(header) => header,
        Err(problem) => return refused(input, problem),
    };
    let used: Vec<usize> = header.cells.iter().map(|cell| cell.index).collect();
    let frame = match table.columns(&used) {
        Ok(frame) => frame,
        Err(why) => return skip(&why),
    };
    let style = NumberStyle {
        decimal_comma: false,
        thousands: None,
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
    for nth in 0..frame.height() {
        rows.row(&record(&frame, nth, &table.names), nth as u64 + 2);
    }
    Outcome::Rows(Box::new(rows.finish()), fingerprint)
}

/// The header and the first rows, for a look.
pub(super) fn first_rows(bytes: Vec<u8>) -> Result<(StringRecord, Vec<StringRecord>), String> {
    let mut table = Table::open(bytes)?;
    let all: Vec<usize> = (0..table.names.len()).collect();
    let frame = table.columns(&all)?;
    let rows = (0..frame.height().min(20))
        .map(|nth| record(&frame, nth, &table.names))
        .collect();
    Ok((StringRecord::from(table.names), rows))
}

/// A file whose columns are known but not yet read.
struct Table {
    bytes: Vec<u8>,
    names: Vec<String>,
    /// What stands in the way of reading each column, if anything.
    unreadable: Vec<Option<&'static str>>,
}

impl Table {
    fn open(bytes: Vec<u8>) -> Result<Table, String> {
        let mut table = Table {
            bytes,
            names: Vec::new(),
            unreadable: Vec::new(),
        };
        (table.names, table.unreadable) = guarded(|| {
            let mut reader = ParquetReader::new(Cursor::new(&table.bytes));
            let schema = reader.schema().map_err(|error| error.to_string())?;
            Ok(schema
                .iter()
                .map(|(name, field)| (name.to_string(), unreadable(field.dtype())))
                .unzip())
        })?;
        Ok(table)
    }

    /// Reads the columns at these places.
    fn columns(&mut self, wanted: &[usize]) -> Result<DataFrame, String> {
        for index in wanted {
            if let (Some(name), Some(Some(what))) =
                (self.names.get(*index), self.unreadable.get(*index))
            {
                return Err(format!("column \"{name}\" holds {what}"));
            }
        }
        let wanted: Vec<String> = wanted
            .iter()
            .filter_map(|index| self.names.get(*index).cloned())
            .collect();
        let frame = guarded(|| {
            ParquetReader::new(Cursor::new(&self.bytes))
                .with_columns(Some(wanted))
                .finish()
                .map_err(|error| error.to_string())
        })?;
        match frame.columns().iter().find(|column| !is_text(column)) {
            Some(column) => Err(format!(
                "column \"{}\" holds bytes that are no text; store texts as strings",
                column.name()
            )),
            None => Ok(frame),
        }
    }
}

/// What a column holds that cannot be read, and what to store instead.
fn unreadable(stored: &ArrowDataType) -> Option<&'static str> {
    use ArrowDataType as Stored;
    match stored {
        Stored::Int8 | Stored::Int16 | Stored::UInt8 | Stored::UInt16 => {
            Some("whole numbers of 8 or 16 bits; store them as 32 or 64 bits")
        }
        Stored::Int128 | Stored::UInt128 => {
            Some("whole numbers of 128 bits; store them as 32 or 64 bits")
        }
        Stored::Float16 => Some("floating-point numbers of 16 bits; store them as 32 or 64 bits"),
        Stored::Decimal(..)
        | Stored::Decimal32(..)
        | Stored::Decimal64(..)
        | Stored::Decimal256(..) => {
            Some("decimals; store them as floating-point numbers of 64 bits")
        }
        Stored::Duration(_) | Stored::Interval(_) => {
            Some("lengths of time; store the date and time itself")
        }
        Stored::Time32(_) | Stored::Time64(_) => Some("times of day; store the date with the time"),
        Stored::List(_)
        | Stored::LargeList(_)
        | Stored::FixedSizeList(..)
        | Stored::Struct(_)
        | Stored::Map(..)
        | Stored::Union(_) => Some("lists or nested values; store one value in each row"),
        Stored::Dictionary(_, values, _) => unreadable(values),
        Stored::Extension(extension) => unreadable(&extension.inner),
        _ => None,
    }
}

/// Whether the bytes of a column, where it holds such, are texts.
fn is_text(column: &Series) -> bool {
    column.binary().map_or(true, |cells| {
        cells
            .iter()
            .flatten()
            .all(|cell| std::str::from_utf8(cell).is_ok())
    })
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
        let decoders = std::thread::current()
            .name()
            .is_some_and(|name| name.starts_with("polars-"));
        if !decoders && !DECODING.get() {
            others(panic);
        }
    }));
}

/// One row as text, so that every value is checked in one place.
fn record(frame: &DataFrame, nth: usize, names: &[String]) -> StringRecord {
    let mut record = StringRecord::new();
    for name in names {
        let text = frame.column(name).map_or_else(
            |_| String::new(),
            |column| {
                // Times with a zone are instants; their zone is of no matter.
                let instant = match column.dtype() {
                    DataType::Datetime(unit, Some(_)) => Some(*unit),
                    _ => None,
                };
                match instant {
                    Some(unit) => {
                        let physical = column.to_physical_repr();
                        physical
                            .get(nth)
                            .map_or_else(|_| String::new(), |v| instant_text(&v, unit))
                    }
                    None => column.get(nth).map_or_else(|_| String::new(), |v| text(&v)),
                }
            },
        );
        record.push_field(&text);
    }
    record
}

/// An instant by RFC 3339.
fn instant_text(value: &AnyValue<'_>, unit: TimeUnit) -> String {
    let AnyValue::Int64(count) = value else {
        return String::new();
    };
    let instant = match unit {
        TimeUnit::Nanoseconds => jiff::Timestamp::from_nanosecond(i128::from(*count)),
        TimeUnit::Microseconds => jiff::Timestamp::from_microsecond(*count),
        TimeUnit::Milliseconds => jiff::Timestamp::from_millisecond(*count),
    };
    instant.map_or_else(|_| count.to_string(), |at| at.to_string())
}

/// A value as it would stand in a CSV file, to the last digit.
fn text(value: &AnyValue<'_>) -> String {
    match value {
        AnyValue::Null => String::new(),
        AnyValue::Float64(number) => number.to_string(),
        AnyValue::Float32(number) => number.to_string(),
        // Some writers store texts as bare bytes.
        AnyValue::Binary(bytes) => String::from_utf8_lossy(bytes).into_owned(),
        AnyValue::BinaryOwned(bytes) => String::from_utf8_lossy(bytes).into_owned(),
        other => match other.get_str() {
            Some(text) => text.to_owned(),
            None => other.to_string(),
        },
    }
}
