//! One file, from its name to its rows.

use std::path::Path;

use csv::StringRecord;
use flate2::read::MultiGzDecoder;

use super::header::{Cell, Header, HeaderProblem, Matcher, Slot, combine};
use super::inputs::{Input, Named, Packing, file_reject};
use super::layout::{self, Layout};
use super::load::{self, Loaded, ReadAs};
use super::moment::OrderClues;
use super::notes::Note;
use super::number::Style;
use super::parts::FileRows;
use super::read::{decimals, folders, wide};
use super::rows::{RowReader, Rules};
use super::{Column, Quantity, Reject, Unit, parquet};
use crate::site::{DateOrder, Decimal, Encoding};

/// What became of a file.
#[derive(Debug)]
pub(super) enum Outcome {
    /// Read; the second part tells the same file under two names.
    Rows(Box<FileRows>, (u64, u64)),
    /// Skipped and named.
    Skipped(Reject),
    /// No inspection file, though its ending would allow it.
    NotOurs,
    /// Skipped, since a column that every file needs is missing: the column's
    /// header would be one of these.
    NoPanelId(Reject, Vec<String>),
    /// Packed, and not read before it is known that the run's budget has room
    /// for so many bytes.
    Packed(u64),
    /// The run stops.
    PressureAsForce(String),
}

/// How many rows are looked at to tell the decimal mark.
const CLUE_ROWS: usize = 500;

/// Reads one file; of a packed one, only how much it takes unpacked and read.
pub(super) fn read(input: &Input, rules: &Rules<'_>, matcher: &Matcher<'_>) -> Outcome {
    match load::load(&input.path) {
        Ok(loaded) => read_loaded(input, loaded, rules, matcher),
        Err(why) => Outcome::Skipped(file_reject(&input.path, &why)),
    }
}

/// Reads a file whose bytes are at hand; of a packed one, only how much it
/// takes unpacked and read.
pub(super) fn read_loaded(
    input: &Input,
    loaded: Loaded,
    rules: &Rules<'_>,
    matcher: &Matcher<'_>,
) -> Outcome {
    if !load::is_gzip(&loaded.bytes) {
        return if is_parquet(input, &loaded.bytes) {
            parquet::measure(input, loaded.bytes, rules, matcher)
        } else {
            read_table(input, loaded, rules, matcher)
        };
    }
    let skip = |why: String| Outcome::Skipped(file_reject(&input.path, &why));
    let budget = load::budget(rules.site);
    let unpacked = MultiGzDecoder::new(loaded.bytes.as_slice());
    let size = match load::survey(unpacked, budget, rules.site.numbers.encoding) {
        Ok(inside) if inside.cost > budget => return skip(load::too_much(rules.site)),
        Ok(inside) if !inside.is_parquet => return Outcome::Packed(inside.cost),
        Ok(inside) => inside.cost,
        Err(why) => return skip(why),
    };
    match load::gunzip(&loaded.bytes, size, rules.site) {
        Ok(bytes) => match parquet::measure(input, bytes, rules, matcher) {
            Outcome::Packed(more) => Outcome::Packed(size.saturating_add(more)),
            other => other,
        },
        Err(why) => skip(why),
    }
}

/// Reads a packed file that takes no more than `allowed` bytes.
pub(super) fn read_packed(
    input: &Input,
    loaded: Loaded,
    allowed: u64,
    rules: &Rules<'_>,
    matcher: &Matcher<'_>,
) -> Outcome {
    let Loaded {
        mut bytes,
        fingerprint,
    } = loaded;
    if load::is_gzip(&bytes) {
        bytes = match load::gunzip(&bytes, allowed, rules.site) {
            Ok(bytes) => bytes,
            Err(why) => return Outcome::Skipped(file_reject(&input.path, &why)),
        };
    }
    if is_parquet(input, &bytes) {
        parquet::read(input, bytes, fingerprint, allowed, rules, matcher)
    } else {
        read_table(input, Loaded { bytes, fingerprint }, rules, matcher)
    }
}

fn is_parquet(input: &Input, bytes: &[u8]) -> bool {
    input.packing == Packing::Parquet || parquet::is_one(bytes)
}

/// Reads a file that is not packed.
fn read_table(input: &Input, loaded: Loaded, rules: &Rules<'_>, matcher: &Matcher<'_>) -> Outcome {
    let skip = |why: &str| Outcome::Skipped(file_reject(&input.path, why));
    let fingerprint = loaded.fingerprint;
    let (text, read_as) = match load::decode(loaded.bytes, rules.site.numbers.encoding) {
        Ok(decoded) => decoded,
        Err(why) => return skip(&why),
    };
    if text.trim().is_empty() {
        return skip("the file is empty");
    }
    let id_from_file = match id_from_name(&input.path, rules) {
        Ok(id) => id,
        Err(why) => return skip(&why),
    };
    let layout = match layout::find(
        &text,
        rules.site.numbers.delimiter,
        matcher,
        id_from_file.is_some(),
    ) {
        Ok(layout) => layout,
        Err(cells) => {
            return match load::other_text(&text).or_else(|| other_mark(&cells, matcher)) {
                Some(why) => skip(&why),
                None => no_panel_id(input, cells, matcher),
            };
        }
    };
    let units = units_below(&text, &layout);
    let mut header = match matcher.read_with_units(&layout.headers, units.as_ref()) {
        Ok(header) => header,
        Err(problem) => return refused(input, problem),
    };
    folders::add_columns(&mut header, &input.path, matcher);
    let guessed = (read_as != ReadAs::Utf8 && rules.site.numbers.encoding == Encoding::Auto)
        .then_some(Note::ReadAs(read_as));
    let table = Table {
        text: &text,
        layout: &layout,
        header,
        id_from_file,
    };
    match read_text(input, table, rules, matcher) {
        Ok(mut rows) => {
            rows.notes.extend(guessed.map(|note| (note, 1)));
            Outcome::Rows(Box::new(rows), fingerprint)
        }
        Err(TextProblem::Skip(why)) => skip(&why),
        Err(TextProblem::Header(problem)) => refused(input, problem),
    }
}

/// A table whose cells are parted by a mark that is not read.
fn other_mark(cells: &[String], matcher: &Matcher<'_>) -> Option<String> {
    let [line] = cells else { return None };
    [
        ("\"|\"", '|'),
        ("\"^\"", '^'),
        ("\"~\"", '~'),
        ("spaces", ' '),
    ]
    .into_iter()
    .find(|(_, mark)| {
        let parts: Vec<&str> = line.split(*mark).filter(|p| !p.is_empty()).collect();
        let (known, has_id) = matcher.known(&StringRecord::from(parts));
        has_id && known >= 2
    })
    .map(|(name, _)| {
        format!("its cells are parted by {name}; export it parted by commas, semicolons or tabs")
    })
}

/// The record under the header, where it holds units and nothing else.
fn units_below(text: &str, layout: &Layout) -> Option<StringRecord> {
    let mut reader = layout::csv_reader(&text[layout.start..], layout.delimiter);
    let mut record = StringRecord::new();
    for _ in 0..2 {
        if !reader.read_record(&mut record).unwrap_or(false) {
            return None;
        }
    }
    units_of(&record)
}

/// The bare units of a record that holds units and nothing else.
pub(super) fn units_of(record: &StringRecord) -> Option<StringRecord> {
    let units = || record.iter().map(bare_unit).filter(|cell| !cell.is_empty());
    let all = units().all(|unit| Unit::parse(unit).is_some() || Unit::is_pressure(unit));
    (all && units().next().is_some()).then(|| record.iter().map(bare_unit).collect())
}

/// A header that cannot be used.
pub(super) fn refused(input: &Input, problem: HeaderProblem) -> Outcome {
    match problem {
        HeaderProblem::Skip(why) => Outcome::Skipped(file_reject(&input.path, &why)),
        HeaderProblem::Pressure(header) => Outcome::PressureAsForce(header),
    }
}

/// A file without `panel_id`.
pub(super) fn no_panel_id(input: &Input, found: Vec<String>, matcher: &Matcher<'_>) -> Outcome {
    let is_txt = input
        .path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("txt"));
    if input.named == Named::InFolder && is_txt {
        return Outcome::NotOurs;
    }
    let found: Vec<String> = found.into_iter().filter(|c| !c.is_empty()).collect();
    let listed: Vec<&str> = found.iter().take(12).map(String::as_str).collect();
    let near = found
        .iter()
        .find(|header| matcher.nearest(header) == Some(Column::PanelId.name()))
        .map_or_else(String::new, |header| {
            format!("; if \"{header}\" is meant, say so under [columns] in onus.toml")
        });
    let why = format!(
        "no column panel_id in the first lines ({}){near}",
        if listed.is_empty() {
            "nothing there".to_owned()
        } else {
            listed.join(", ")
        }
    );
    Outcome::NoPanelId(file_reject(&input.path, &why), found)
}

/// The panel's id in the file's name, where the site says that it stands there.
pub(super) fn id_from_name(path: &Path, rules: &Rules<'_>) -> Result<Option<String>, String> {
    let Some(pattern) = &rules.site.read.panel_id_from_file else {
        return Ok(None);
    };
    let name = path
        .file_name()
        .map(|n| n.to_string_lossy().into_owned())
        .unwrap_or_default();
    let bare = name.strip_suffix(".gz").unwrap_or(&name);
    let stem = bare.rsplit_once('.').map_or(bare, |(stem, _)| stem);
    match match_name(pattern, stem) {
        Some(id) if !id.is_empty() => Ok(Some(id.to_owned())),
        _ => Err(format!(
            "the file's name does not fit [read] panel_id_from_file = \"{pattern}\""
        )),
    }
}

/// What stands for `{panel_id}` where `*` stands for anything; the shortest
/// that fits before the mark, then the longest id that what follows allows.
fn match_name<'a>(pattern: &str, name: &'a str) -> Option<&'a str> {
    let (before, after) = pattern.split_once("{panel_id}")?;
    let ends: Vec<usize> = name
        .char_indices()
        .map(|(at, _)| at)
        .chain([name.len()])
        .collect();
    let start = *ends.iter().find(|at| wildcard(before, &name[..**at]))?;
    let end = *ends
        .iter()
        .rev()
        .find(|at| **at > start && wildcard(after, &name[**at..]))?;
    Some(&name[start..end])
}

/// Whether the text is the pattern, `*` standing for anything.
fn wildcard(pattern: &str, text: &str) -> bool {
    let mut parts = pattern.split('*');
    let first = parts.next().unwrap_or_default();
    let Some(mut rest) = text.strip_prefix(first) else {
        return false;
    };
    let parts: Vec<&str> = parts.collect();
    let Some((last, middle)) = parts.split_last() else {
        return rest.is_empty();
    };
    for part in middle {
        match rest.find(part) {
            Some(at) => rest = &rest[at + part.len()..],
            None => return false,
        }
    }
    rest.ends_with(last)
}

enum TextProblem {
    Skip(String),
    Header(HeaderProblem),
}

/// A text and what is known of its table.
struct Table<'a> {
    text: &'a str,
    layout: &'a Layout,
    header: Header,
    id_from_file: Option<String>,
}

/// Reads the table of a text.
fn read_text(
    input: &Input,
    table: Table<'_>,
    rules: &Rules<'_>,
    matcher: &Matcher<'_>,
) -> Result<FileRows, TextProblem> {
    let Table {
        text,
        layout,
        mut header,
        id_from_file,
    } = table;
    let body = &text[layout.start..];
    let mut reader = layout::csv_reader(body, layout.delimiter);
    let mut record = StringRecord::new();
    let next = |reader: &mut csv::Reader<&[u8]>, record: &mut StringRecord| {
        reader
            .read_record(record)
            .map_err(|error| TextProblem::Skip(format!("cannot be read as CSV: {error}")))
    };
    next(&mut reader, &mut record)?;

    let mut pending = next(&mut reader, &mut record)?;
    let units_row = pending && is_units_row(&record, &header);
    if units_row {
        for cell in &mut header.cells {
            let (Slot::Column(column), Some(unit)) =
                (cell.slot, record.get(cell.index).map(bare_unit))
            else {
                continue;
            };
            if !unit.is_empty() && column.name_without_unit().is_some() {
                cell.conversion =
                    row_unit(cell, column, unit, rules).map_err(TextProblem::Header)?;
            }
        }
        pending = next(&mut reader, &mut record)?;
    }
    let wide = wide::find(&layout.headers, &header);
    let places = wide.iter().flat_map(wide::Wide::places);
    let numbers: Vec<(usize, Option<Column>)> = (header.cells.iter())
        .filter(|cell| decimals::holds_numbers(cell))
        .map(|cell| match cell.slot {
            Slot::Column(column) => (cell.index, Some(column)),
            Slot::Factor(_) => (cell.index, None),
        })
        .chain(places.map(|index| (index, None)))
        .collect();
    let marks = decimals::marks(body, layout.delimiter, &numbers, &rules.site.numbers);
    let style = Style {
        decimal_comma: marks.decimal_comma,
        thousands: marks.thousands,
        dates: date_order(body, layout.delimiter, &header, rules),
    };
    let mut matched = std::mem::take(&mut header.matched);
    if let Some(wide) = &wide {
        let (narrow, told) = wide.header(header, &layout.headers);
        header = narrow;
        matched.extend(told);
    }
    let unknown = std::mem::take(&mut header.unknown);
    let mut rows = RowReader::new(rules, input.path.clone(), header, style, id_from_file);
    for (header, column) in matched {
        rows.note(Note::Matched(header, column));
    }
    for header in unknown {
        let near = matcher.nearest(&header);
        rows.note(Note::Unknown(header, near));
    }
    if layout.line > 1 && !text[..layout.start].trim().is_empty() {
        rows.note(Note::Preamble);
    }
    if units_row {
        rows.note(Note::UnitsRow);
    }
    if rules.site.numbers.decimal == Decimal::Auto {
        match style.thousands {
            Some(mark) if rules.site.numbers.thousands.is_none() => {
                rows.note(Note::Thousands(mark));
            }
            None if style.decimal_comma && marks.is_sure => rows.note(Note::DecimalComma),
            _ => {}
        }
    }
    match style.dates {
        order if order == rules.site.dates.order => {}
        DateOrder::MonthFirst => rows.note(Note::MonthFirst),
        _ => rows.note(Note::DayFirst),
    }

    let take = |rows: &mut RowReader<'_>, record: &StringRecord, line: u64| match &wide {
        None => rows.row(record, line),
        Some(wide) => wide.rows(record).iter().for_each(|row| rows.row(row, line)),
    };
    let mut held: Vec<(StringRecord, u64)> = Vec::new();
    let mut after_blank = false;
    while pending {
        let (byte, line) = record
            .position()
            .map_or((0, 1), |p| (p.byte() as usize, p.line()));
        let (start, line) = layout::skip_blank(body, byte, line);
        let lines_skipped = body[byte..start].matches('\n').count();
        let line = line + layout.line - 1;
        let end = reader.position().byte() as usize;
        if end >= body.len() && body[start.min(end)..end].matches('"').count() % 2 == 1 {
            return Err(TextProblem::Skip(format!(
                "a quote opened in line {line} is never closed"
            )));
        }
        if record.iter().all(|cell| cell.trim().is_empty()) {
            after_blank = true;
        } else if is_header_again(&record, &layout.headers) {
            rows.note(Note::HeaderAgain);
        } else if !is_parted_otherwise(&record, rows.width())
            && is_note(
                &record,
                rows.width(),
                after_blank || lines_skipped > 0 || !held.is_empty(),
            )
        {
            held.push((record.clone(), line));
        } else {
            for (record, line) in held.drain(..) {
                take(&mut rows, &record, line);
            }
            after_blank = false;
            take(&mut rows, &record, line);
        }
        pending = next(&mut reader, &mut record)?;
    }
    if !held.is_empty() {
        if layout.known >= 2 {
            rows.note(Note::NotesBelow);
        } else {
            for (record, line) in held {
                take(&mut rows, &record, line);
            }
        }
    }
    Ok(rows.finish())
}

/// Whether a record is the header once more, as in files joined to one.
fn is_header_again(record: &StringRecord, headers: &StringRecord) -> bool {
    fn bare(cell: &str) -> &str {
        cell.trim_start_matches('\u{feff}').trim()
    }
    record.len() == headers.len()
        && record.len() > 1
        && record.iter().zip(headers).all(|(a, b)| bare(a) == bare(b))
}

/// Whether a line is a row whose cells another mark parts, as in exports of two
/// programs joined to one file.
fn is_parted_otherwise(record: &StringRecord, width: usize) -> bool {
    let mut filled = record.iter().filter(|cell| !cell.trim().is_empty());
    let (Some(line), None) = (filled.next(), filled.next()) else {
        return false;
    };
    width > 2
        && [',', ';', '\t']
            .iter()
            .any(|mark| line.split(*mark).count() == width)
}

/// A line under the table that is no row: one cell of text, where the table
/// has several columns, that reads like a sentence or stands below a blank line.
fn is_note(record: &StringRecord, width: usize, apart: bool) -> bool {
    if width < 2 {
        return false;
    }
    let mut filled = record.iter().filter(|cell| !cell.trim().is_empty());
    let (Some(text), None) = (filled.next(), filled.next()) else {
        return false;
    };
    let sentence = text.trim().contains([' ', ':']) || text.starts_with('#');
    if record.len() < width {
        sentence || apart
    } else {
        sentence && apart
    }
}

/// The unit in a cell of a units row, without brackets.
fn bare_unit(cell: &str) -> &str {
    cell.trim()
        .trim_start_matches(['(', '['])
        .trim_end_matches([')', ']'])
        .trim_matches('-')
        .trim()
}

/// Whether a record holds units and nothing else.
fn is_units_row(record: &StringRecord, header: &Header) -> bool {
    let mut units = 0;
    for cell in &header.cells {
        let text = bare_unit(record.get(cell.index).unwrap_or_default());
        if text.is_empty() {
            continue;
        }
        let Slot::Column(column) = cell.slot else {
            continue;
        };
        let measured = column.name_without_unit().is_some();
        if measured && (Unit::parse(text).is_some() || Unit::is_pressure(text)) {
            units += 1;
        } else if measured
            || column.quantity() != Quantity::Text && !text.chars().all(char::is_alphabetic)
        {
            return false;
        }
    }
    units > 0
}

/// The unit that a units row gives a column, against what its header says.
fn row_unit(
    cell: &Cell,
    column: Column,
    unit: &str,
    rules: &Rules<'_>,
) -> Result<Option<super::Conversion>, HeaderProblem> {
    let conversion = combine(
        column,
        &cell.header,
        unit,
        cell.conversion.or(rules.site.units.get(&column).copied()),
    )?;
    let named = cell.header.trim() == column.name();
    if let (true, Some(super::Conversion::Unit(unit))) = (named, conversion)
        && unit.factor() != 1.0
        && cell.conversion.is_none()
    {
        return Err(HeaderProblem::Skip(format!(
            "the column is named {} but the row under the header says {}; make them agree",
            column.name(),
            unit.name()
        )));
    }
    Ok(conversion)
}

/// The order of day and month in a file: as the site says, else as the file
/// itself proves by days above the twelfth.
fn date_order(body: &str, delimiter: u8, header: &Header, rules: &Rules<'_>) -> DateOrder {
    let order = rules.site.dates.order;
    let times: Vec<usize> = header
        .cells
        .iter()
        .filter(|cell| matches!(cell.slot, Slot::Column(c) if c.quantity() == Quantity::Time))
        .map(|cell| cell.index)
        .collect();
    if order != DateOrder::Iso || times.is_empty() {
        return order;
    }
    let mut clues = OrderClues::default();
    let mut reader = layout::csv_reader(body, delimiter);
    for (nth, record) in reader.records().skip(1).flatten().enumerate() {
        for index in &times {
            clues.look(record.get(*index).unwrap_or_default());
        }
        // Where the first rows hold no such date, hardly any will.
        if nth == CLUE_ROWS && !clues.any {
            break;
        }
    }
    clues.order().unwrap_or(order)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_id_stands_where_the_pattern_says() {
        assert_eq!(match_name("{panel_id}", "P0012"), Some("P0012"));
        assert_eq!(match_name("panel_{panel_id}", "panel_12"), Some("12"));
        assert_eq!(
            match_name("*_{panel_id}_insp", "2026-11-23_P7_insp"),
            Some("P7")
        );
        assert_eq!(match_name("{panel_id}_*", "P7_a_b"), Some("P7_a"));
        assert_eq!(match_name("panel_{panel_id}", "P7"), None);
        assert_eq!(match_name("{panel_id}", ""), None);
        assert_eq!(match_name("ü{panel_id}ß", "ü7ß"), Some("7"));
    }

    #[test]
    fn notes_read_like_sentences() {
        let record = |cells: &[&str]| StringRecord::from(cells.to_vec());
        assert!(is_note(&record(&["Exported by station 2"]), 5, false));
        assert!(!is_note(&record(&["P00"]), 5, false));
        assert!(!is_note(&record(&["P7", "", "", "", ""]), 5, true));
        assert!(is_note(&record(&["Total: 14", "", "", "", ""]), 5, true));
        assert!(!is_note(&record(&["P 7", "600", "", "", ""]), 5, true));
    }
}
