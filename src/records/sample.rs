//! A look at one file, to write a site file for its like.

use std::path::Path;

use csv::StringRecord;
use flate2::read::MultiGzDecoder;

use super::header::Matcher;
use super::{Conversion, RecordsError, file, layout, load, parquet};
use crate::site::Site;

/// What a file's header looks like to us.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// Every header, in the file's order.
    pub headers: Vec<SampleHeader>,
    /// Rows looked at.
    pub rows: usize,
}

/// One header of a sample.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleHeader {
    /// As the file spells it.
    pub header: String,
    /// What it is read as.
    pub read_as: Option<String>,
    /// The unit that it names, where that is not the column's own.
    pub unit: Option<Conversion>,
    /// The values below it that are not blank, in order.
    pub values: Vec<String>,
}

/// Most rows looked at.
const ROWS: usize = 400;

/// Looks at a file.
///
/// # Errors
///
/// [`RecordsError::Missing`] or `NothingUsable` if it cannot be read as a table.
pub fn look(path: &Path, site: &Site) -> Result<Sample, RecordsError> {
    if !path.exists() {
        return Err(RecordsError::Missing {
            path: path.to_owned(),
        });
    }
    let unusable = |why: String| RecordsError::NothingUsable {
        files: 1,
        why: format!("{}: {why}", path.display()),
        hint: "give one CSV file with a header line".into(),
    };
    if path.is_dir() {
        return Err(unusable("a folder, not a file".into()));
    }
    let mut bytes = load::load(path).map_err(unusable)?.bytes;
    let budget = load::budget(site);
    if load::is_gzip(&bytes) {
        load::survey(
            MultiGzDecoder::new(bytes.as_slice()),
            budget,
            site.numbers.encoding,
        )
        .map_err(unusable)?;
        bytes = load::gunzip(&bytes, budget, site).map_err(unusable)?;
    }
    let matcher = Matcher::new(site);
    let (headers, rows) = if parquet::is_one(&bytes) {
        parquet::first_rows(bytes, budget).map_err(unusable)?
    } else {
        let (text, _) = load::decode(bytes, site.numbers.encoding).map_err(unusable)?;
        first_rows(&text, site, &matcher)
    };
    if headers.is_empty() {
        return Err(unusable("the file is empty".into()));
    }
    let units = rows.first().and_then(file::units_of);
    let rows = &rows[usize::from(units.is_some())..];
    let header = matcher.read_with_units(&headers, units.as_ref()).ok();
    let mut sample = Sample {
        headers: Vec::new(),
        rows: rows.len(),
    };
    for (index, text) in headers.iter().enumerate() {
        let cell = header
            .as_ref()
            .and_then(|h| h.cells.iter().find(|c| c.index == index));
        sample.headers.push(SampleHeader {
            header: text.trim().to_owned(),
            read_as: cell.map(|c| matcher.name(c.slot).to_owned()),
            unit: cell.and_then(|c| c.conversion),
            values: rows
                .iter()
                .filter_map(|row| row.get(index))
                .map(str::trim)
                .filter(|value| !value.is_empty())
                .map(str::to_owned)
                .collect(),
        });
    }
    Ok(sample)
}

/// The header and the first rows of a text.
fn first_rows(text: &str, site: &Site, matcher: &Matcher<'_>) -> (StringRecord, Vec<StringRecord>) {
    let (start, delimiter) = match layout::find(text, site.numbers.delimiter, matcher, true) {
        Ok(layout) => (layout.start, layout.delimiter),
        Err(_) => (0, layout::by_use(text).first().copied().unwrap_or(b',')),
    };
    let mut reader = layout::csv_reader(&text[start..], delimiter);
    let mut records = reader.records().flatten();
    let header = records.next().unwrap_or_default();
    (header, records.take(ROWS).collect())
}
