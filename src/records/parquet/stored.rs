//! How Parquet stores the values of a column, and each value as it would
//! stand in a CSV file, to the last digit.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use parquet::basic::{ConvertedType, LogicalType, TimeUnit, Type as Physical};
use parquet::column::reader::{ColumnReader, ColumnReaderImpl};
use parquet::data_type::{DataType, Int96};
use parquet::schema::types::ColumnDescriptor;

use super::super::cell;

/// What the values of a column are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stored {
    /// Numbers, texts and truth values, as their storage type says.
    Plain,
    /// Whole numbers without sign.
    Unsigned,
    /// Days since 1970.
    Day,
    /// Units since 1970 of which there are so many in a second; a time with a
    /// zone is an instant, one without is the clock's.
    Time { per_second: i64, is_instant: bool },
    /// Digits before and after a point that stands so many from the right.
    Decimal(i32),
}

/// What a column holds; what cannot be read, with what to store instead.
pub(super) fn of(column: &ColumnDescriptor) -> Result<Stored, &'static str> {
    const NESTED: &str = "lists or nested values; store one value in each row";
    const CLOCK: &str = "times of day; store the date with the time";
    const LENGTH: &str = "lengths of time; store the date and time itself";
    if column.max_rep_level() > 0 || column.path().parts().len() > 1 {
        return Err(NESTED);
    }
    let time = |unit: TimeUnit, is_instant: bool| Stored::Time {
        per_second: match unit {
            TimeUnit::MILLIS => 1_000,
            TimeUnit::MICROS => 1_000_000,
            TimeUnit::NANOS => 1_000_000_000,
        },
        is_instant,
    };
    if let Some(logical) = column.logical_type_ref() {
        return match logical {
            LogicalType::Decimal(decimal) => Ok(Stored::Decimal(decimal.scale)),
            LogicalType::Date => Ok(Stored::Day),
            LogicalType::Time(_) => Err(CLOCK),
            LogicalType::Timestamp(at) => Ok(time(at.unit, at.is_adjusted_to_u_t_c)),
            LogicalType::Integer(whole) if !whole.is_signed => Ok(Stored::Unsigned),
            LogicalType::Float16 => {
                Err("floating-point numbers of 16 bits; store them as 32 or 64 bits")
            }
            LogicalType::Map | LogicalType::List => Err(NESTED),
            _ => Ok(Stored::Plain),
        };
    }
    match column.converted_type() {
        ConvertedType::DECIMAL => Ok(Stored::Decimal(column.type_scale())),
        ConvertedType::DATE => Ok(Stored::Day),
        ConvertedType::TIME_MILLIS | ConvertedType::TIME_MICROS => Err(CLOCK),
        // Before zones could be stored, writers meant the clock's time.
        ConvertedType::TIMESTAMP_MILLIS => Ok(time(TimeUnit::MILLIS, false)),
        ConvertedType::TIMESTAMP_MICROS => Ok(time(TimeUnit::MICROS, false)),
        ConvertedType::UINT_8
        | ConvertedType::UINT_16
        | ConvertedType::UINT_32
        | ConvertedType::UINT_64 => Ok(Stored::Unsigned),
        ConvertedType::INTERVAL => Err(LENGTH),
        ConvertedType::MAP | ConvertedType::MAP_KEY_VALUE | ConvertedType::LIST => Err(NESTED),
        _ if column.physical_type() == Physical::INT96 => Ok(time(TimeUnit::NANOS, false)),
        _ => Ok(Stored::Plain),
    }
}

/// The next `rows` values of a column as texts, blank where there is none.
pub(super) fn texts(
    reader: &mut ColumnReader,
    stored: Stored,
    rows: usize,
) -> Result<Vec<String>, String> {
    use ColumnReader as Reader;
    match reader {
        Reader::BoolColumnReader(reader) => fill(reader, rows, |v| Ok(v.to_string())),
        Reader::Int32ColumnReader(reader) => fill(reader, rows, |v| {
            Ok(match stored {
                Stored::Unsigned => v.cast_unsigned().to_string(),
                stored => whole(i64::from(*v), stored),
            })
        }),
        Reader::Int64ColumnReader(reader) => fill(reader, rows, |v| {
            Ok(match stored {
                Stored::Unsigned => v.cast_unsigned().to_string(),
                stored => whole(*v, stored),
            })
        }),
        Reader::Int96ColumnReader(reader) => {
            fill(reader, rows, |v: &Int96| Ok(whole(v.to_nanos(), stored)))
        }
        Reader::FloatColumnReader(reader) => fill(reader, rows, |v| Ok(v.to_string())),
        Reader::DoubleColumnReader(reader) => fill(reader, rows, |v| Ok(v.to_string())),
        Reader::ByteArrayColumnReader(reader) => fill(reader, rows, |v| bytes(v.as_ref(), stored)),
        Reader::FixedLenByteArrayColumnReader(reader) => {
            fill(reader, rows, |v| bytes(v.as_ref(), stored))
        }
    }
}

fn fill<T: DataType>(
    reader: &mut ColumnReaderImpl<T>,
    rows: usize,
    text: impl Fn(&T::T) -> Result<String, String>,
) -> Result<Vec<String>, String> {
    let (mut levels, mut values) = (Vec::with_capacity(rows), Vec::with_capacity(rows));
    let (read, _, _) = reader
        .read_records(rows, Some(&mut levels), None, &mut values)
        .map_err(|error| error.to_string())?;
    if read != rows {
        return Err("a column ends before the others".into());
    }
    if values.len() == rows {
        return values.iter().map(text).collect();
    }
    let mut values = values.iter();
    levels
        .iter()
        .map(|level| match level {
            0 => Ok(String::new()),
            _ => values.next().map_or_else(|| Ok(String::new()), &text),
        })
        .collect()
}

/// A whole number, or what it counts.
fn whole(value: i64, stored: Stored) -> String {
    match stored {
        Stored::Plain | Stored::Unsigned => value.to_string(),
        Stored::Day => jiff::Span::new()
            .try_days(value)
            .ok()
            .and_then(|days| Date::constant(1970, 1, 1).checked_add(days).ok())
            .map_or_else(|| value.to_string(), |day| day.to_string()),
        Stored::Time {
            per_second,
            is_instant,
        } => {
            let nanoseconds = i128::from(value) * i128::from(1_000_000_000 / per_second);
            match Timestamp::from_nanosecond(nanoseconds) {
                Ok(at) if is_instant => at.to_string(),
                Ok(at) => TimeZone::UTC.to_datetime(at).to_string(),
                Err(_) => value.to_string(),
            }
        }
        Stored::Decimal(scale) => decimal(i128::from(value), scale),
    }
}

/// Digits with a point that stands `scale` from the right.
fn decimal(value: i128, scale: i32) -> String {
    let scale = usize::try_from(scale).unwrap_or(0).min(64);
    let digits = format!("{:0>width$}", value.unsigned_abs(), width = scale + 1);
    let (before, after) = digits.split_at(digits.len() - scale);
    let sign = if value < 0 { "-" } else { "" };
    let point = if after.is_empty() { "" } else { "." };
    format!("{sign}{before}{point}{after}")
}

/// Bytes that are a text or a decimal.
fn bytes(bytes: &[u8], stored: Stored) -> Result<String, String> {
    if let Stored::Decimal(scale) = stored {
        return big(bytes)
            .map(|value| decimal(value, scale))
            .ok_or_else(|| "decimals of more than 38 digits".to_owned());
    }
    match std::str::from_utf8(bytes) {
        // Longer ones are no values; enough is kept to tell that.
        Ok(text) => Ok(text.chars().take(cell::LONGEST + 1).collect()),
        Err(_) => Err("bytes that are no text; store texts as strings".to_owned()),
    }
}

/// A whole number from its bytes, the highest first, if 128 bits hold it.
fn big(bytes: &[u8]) -> Option<i128> {
    let negative = bytes.first().is_some_and(|first| first & 0x80 != 0);
    let fill = if negative { 0xff } else { 0 };
    let (above, low) = bytes.split_at(bytes.len().saturating_sub(16));
    if above.iter().any(|byte| *byte != fill) {
        return None;
    }
    let mut value = [fill; 16];
    value[16 - low.len()..].copy_from_slice(low);
    let value = i128::from_be_bytes(value);
    ((value < 0) == negative).then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_keep_their_digits() {
        assert_eq!(decimal(1025, 2), "10.25");
        assert_eq!(decimal(-5, 3), "-0.005");
        assert_eq!(decimal(7, 0), "7");
        assert_eq!(big(&[0xff, 0xfe]), Some(-2));
        assert_eq!(big(&[0; 40]), Some(0));
        let mut large = [0; 17];
        large[1] = 0x80;
        assert_eq!(big(&large), None);
    }

    #[test]
    fn times_are_the_clocks_or_instants() {
        let clock = Stored::Time {
            per_second: 1_000,
            is_instant: false,
        };
        let instant = Stored::Time {
            per_second: 1_000_000,
            is_instant: true,
        };
        assert_eq!(whole(1_500, clock), "1970-01-01T00:00:01.5");
        assert_eq!(whole(1_500_000, instant), "1970-01-01T00:00:01.5Z");
        assert_eq!(whole(-1, Stored::Day), "1969-12-31");
        // What no calendar holds stays a number, for the cell's own check.
        assert_eq!(whole(i64::MAX, clock), i64::MAX.to_string());
        assert_eq!(whole(i64::MAX, Stored::Day), i64::MAX.to_string());
    }
}
