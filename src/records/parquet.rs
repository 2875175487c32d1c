//! Parquet files: read by polars, then taken in row by row like any other.

use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};

use csv::StringRecord;
use polars::prelude::{AnyValue, DataFrame, DataType, ParquetReader, SerReader, TimeUnit};

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
}

impl Table {
    fn open(bytes: Vec<u8>) -> Result<Table, String> {
        let mut table = Table {
            bytes,
            names: Vec::new(),
        };
        table.names = guarded(|| {
            let mut reader = ParquetReader::new(Cursor::new(&table.bytes));
            let schema = reader.schema().map_err(|error| error.to_string())?;
            Ok(schema.iter_names().map(|n| n.to_string()).collect())
        })?;
        Ok(table)
    }

    /// Reads the columns at these places.
    fn columns(&mut self, wanted: &[usize]) -> Result<DataFrame, String> {
        let wanted: Vec<String> = wanted
            .iter()
            .filter_map(|index| self.names.get(*index).cloned())
            .collect();
        guarded(|| {
            ParquetReader::new(Cursor::new(&self.bytes))
                .with_columns(Some(wanted))
                .finish()
                .map_err(|error| error.to_string())
        })
    }
}

/// Damaged files can make the decoder panic; that costs the file, no more.
fn guarded<T>(decode: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    let why = |text: &str| {
        format!(
            "cannot be read as Parquet: {text}; store numbers as 32 or 64 bits and texts as strings"
        )
    };
    match catch_unwind(AssertUnwindSafe(decode)) {
        Ok(done) => done.map_err(|text| why(&text)),
        Err(_) => Err(why("the file is damaged")),
    }
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
        other => match other.get_str() {
            Some(text) => text.to_owned(),
            None => other.to_string(),
        },
    }
}
