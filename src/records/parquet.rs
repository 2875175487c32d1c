//! Parquet files: read by polars, then taken in row by row like any other.

use csv::StringRecord;
use polars::prelude::{AnyValue, DataFrame, ParquetReader, SerReader};

use super::file::{Outcome, id_from_name, no_panel_id, refused};
use super::header::Matcher;
use super::inputs::{Input, file_reject};
use super::notes::Note;
use super::number::NumberStyle;
use super::rows::{RowReader, Rules};

/// Reads a Parquet file. Rows count from 1, as if a header were line 1.
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
    let frame = match ParquetReader::new(std::io::Cursor::new(bytes)).finish() {
        Ok(frame) => frame,
        Err(error) => return skip(&format!("cannot be read as Parquet: {error}")),
    };
    let names: Vec<&str> = frame
        .get_column_names()
        .iter()
        .map(|n| n.as_str())
        .collect();
    let headers = StringRecord::from(names.clone());
    let (_, has_id) = matcher.known(&headers);
    if !has_id && id_from_file.is_none() {
        return no_panel_id(
            input,
            names.iter().map(|n| (*n).to_owned()).collect(),
            matcher,
        );
    }
    let mut header = match matcher.read(&headers) {
        Ok(header) => header,
        Err(problem) => return refused(input, problem),
    };
    let style = NumberStyle {
        decimal_comma: false,
        thousands: None,
    };
    let matched = std::mem::take(&mut header.matched);
    let unknown = std::mem::take(&mut header.unknown);
    let used: Vec<usize> = header.cells.iter().map(|cell| cell.index).collect();
    let mut rows = RowReader::new(rules, input.path.clone(), header, style, id_from_file);
    for (header, column) in matched {
        rows.note(Note::Matched(header, column));
    }
    for header in unknown {
        let near = matcher.nearest(&header);
        rows.note(Note::Unknown(header, near));
    }
    for nth in 0..frame.height() {
        rows.row(&record(&frame, nth, &used), nth as u64 + 2);
    }
    Outcome::Rows(Box::new(rows.finish()), fingerprint)
}

/// The header and the first rows, for a look.
pub(super) fn first_rows(bytes: Vec<u8>) -> Result<(StringRecord, Vec<StringRecord>), String> {
    let frame = ParquetReader::new(std::io::Cursor::new(bytes))
        .finish()
        .map_err(|error| format!("cannot be read as Parquet: {error}"))?;
    let names: Vec<&str> = frame
        .get_column_names()
        .iter()
        .map(|n| n.as_str())
        .collect();
    let all: Vec<usize> = (0..names.len()).collect();
    let rows = (0..frame.height().min(20))
        .map(|nth| record(&frame, nth, &all))
        .collect();
    Ok((StringRecord::from(names), rows))
}

/// One row as text, so that every value is checked in one place.
fn record(frame: &DataFrame, nth: usize, used: &[usize]) -> StringRecord {
    let columns = frame.columns();
    let mut record = StringRecord::new();
    for (index, column) in columns.iter().enumerate() {
        let text = if used.contains(&index) {
            column.get(nth).map_or_else(|_| String::new(), |v| text(&v))
        } else {
            String::new()
        };
        record.push_field(&text);
    }
    record
}

/// A value as it would stand in a CSV file, to the last digit.
fn text(value: &AnyValue<'_>) -> String {
    match value {
        AnyValue::Null => String::new(),
        AnyValue::String(text) => (*text).to_owned(),
        AnyValue::StringOwned(text) => text.to_string(),
        AnyValue::Float64(number) => number.to_string(),
        AnyValue::Float32(number) => number.to_string(),
        other => other.to_string(),
    }
}
