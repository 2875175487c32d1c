//! Which header of some sample files is which column: by its name, and by what
//! stands below it.

use std::collections::BTreeSet;

use super::vocabulary::likeness;
use crate::records::sample::Sample;
use crate::records::{Column, Quantity};

/// How a column was guessed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sure {
    /// By its name, and its values are as they should be.
    Name,
    /// By part of its name, or by its values alone.
    Check,
}

/// A header taken for a column.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Guess {
    /// The header as the files spell it.
    pub header: String,
    /// What it is taken for.
    pub column: Column,
    /// How sure.
    pub sure: Sure,
}

/// What stands below a header, over all samples.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Below {
    /// Values that are not blank, file by file.
    pub files: Vec<Vec<String>>,
    /// Rows in all.
    pub rows: usize,
}

impl Below {
    fn values(&self) -> impl Iterator<Item = &str> {
        self.files.iter().flatten().map(String::as_str)
    }

    fn count(&self) -> usize {
        self.files.iter().map(Vec::len).sum()
    }

    fn distinct(&self) -> usize {
        self.values().collect::<BTreeSet<_>>().len()
    }

    /// Share of the values for which something holds, 0..1.
    fn share(&self, holds: impl Fn(&str) -> bool) -> f64 {
        self.values().filter(|v| holds(v)).count() as f64 / self.count().max(1) as f64
    }
}

/// All headers of the samples with what stands below them, in the order of the
/// first file that has them.
pub(super) fn below(samples: &[Sample]) -> Vec<(String, Below)> {
    let mut out: Vec<(String, Below)> = Vec::new();
    for sample in samples {
        for header in &sample.headers {
            if header.header.is_empty() {
                continue;
            }
            let at = out.iter().position(|(name, _)| *name == header.header);
            let at = at.unwrap_or_else(|| {
                out.push((header.header.clone(), Below::default()));
                out.len() - 1
            });
            out[at].1.files.push(header.values.clone());
            out[at].1.rows += sample.rows;
        }
    }
    out
}

/// At least this much of a name must say the column.
const LIKE: f64 = 0.42;
/// From here on the name alone is sure.
const SURE: f64 = 0.7;
/// Values that do not fit may be this rare: a note, a dash.
const ODD: f64 = 0.05;

/// The best header for every column; each header once. `taken` are columns and
/// headers that are known already.
pub(super) fn guesses(
    headers: &[(String, Below)],
    known_columns: &[Column],
    known_headers: &[&str],
) -> Vec<Guess> {
    let mut pairs: Vec<(f64, usize, Column)> = Vec::new();
    for (at, (header, below)) in headers.iter().enumerate() {
        if known_headers.contains(&header.as_str()) || below.count() == 0 {
            continue;
        }
        for column in Column::ALL {
            let like = likeness(header, column);
            if like >= LIKE && !known_columns.contains(&column) && fits(column, below) {
                pairs.push((like, at, column));
            }
        }
    }
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut out: Vec<Guess> = Vec::new();
    for (like, at, column) in pairs {
        let header = &headers[at].0;
        if out
            .iter()
            .any(|g| g.column == column || g.header == *header)
        {
            continue;
        }
        out.push(Guess {
            header: header.clone(),
            column,
            sure: if like >= SURE {
                Sure::Name
            } else {
                Sure::Check
            },
        });
    }
    // By values alone: only what nothing can do without and what looks like
    // nothing else.
    for column in [Column::PanelId, Column::SandedAt] {
        if known_columns.contains(&column) || out.iter().any(|g| g.column == column) {
            continue;
        }
        let looks = |below: &Below| match column {
            Column::PanelId => looks_like_ids(below),
            _ => fits(column, below),
        };
        let mut free = headers.iter().filter(|(header, below)| {
            !known_headers.contains(&header.as_str())
                && !out.iter().any(|g| g.header == *header)
                && below.count() > 0
                && looks(below)
        });
        if let (Some((header, _)), None) = (free.next(), free.next()) {
            out.push(Guess {
                header: header.clone(),
                column,
                sure: Sure::Check,
            });
        }
    }
    out
}

/// Whether nothing below the header contradicts the column.
pub(super) fn fits(column: Column, below: &Below) -> bool {
    let most = |holds: &dyn Fn(&str) -> bool| below.share(holds) >= 1.0 - ODD;
    match column.quantity() {
        Quantity::Time => most(&is_date),
        Quantity::Size | Quantity::Speed | Quantity::Force => {
            most(&|v| number(v).is_some_and(|x| x > 0.0))
        }
        Quantity::Length | Quantity::Thickness => most(&|v| number(v).is_some()),
        Quantity::Area => most(&|v| number(v).is_some_and(|x| x >= 0.0)),
        Quantity::Passes => most(&|v| number(v).is_some_and(|x| x > 0.0 && x <= 100.0)),
        Quantity::Age => most(&|v| number(v).is_some_and(|x| x >= 0.0)),
        Quantity::Ordinal => most(&|v| number(v).is_some_and(|x| x >= 1.0 && x.fract() == 0.0)),
        Quantity::Grade => most(&|v| number(v).is_some_and(|x| (1.0..=5.0).contains(&x))),
        Quantity::Lay => most(&|v| {
            number(v.trim_end_matches('°')).is_some_and(|x| [0.0, 90.0, 180.0, 270.0].contains(&x))
        }),
        Quantity::Grit => most(&|v| {
            let digits = v.trim_start_matches(|c: char| c.is_alphabetic() || c == ' ');
            number(digits).is_some_and(|x| (16.0..=5000.0).contains(&x))
        }),
        Quantity::Text => text_fits(column, below),
    }
}

fn text_fits(column: Column, below: &Below) -> bool {
    let broken = |v: &str| number(v).is_some_and(|x| x.fract() != 0.0);
    if below.share(broken) > ODD || below.share(is_date) > 0.5 {
        return false;
    }
    match column {
        Column::PanelId => may_be_ids(below),
        // A kind of defect is a word; a number with a few values may be its code.
        Column::Defect => {
            below.share(|v| number(v).is_none()) > 0.5
                || (below.distinct() <= 30 && below.count() > 30)
        }
        // These repeat: one that never does is an id or a remark.
        Column::Machine | Column::Head | Column::Fixture | Column::Inspector | Column::Recipe => {
            below.count() < 20 || 2 * below.distinct() <= below.count()
        }
        _ => true,
    }
}

/// Ids stand in every row and are many: not one for all files, nor a few for
/// many rows or files.
fn may_be_ids(below: &Below) -> bool {
    if below.count() < below.rows {
        return false;
    }
    let (files, rows, distinct) = (below.files.len(), below.count(), below.distinct());
    if files > 1 && 2 * distinct < files {
        return false;
    }
    // A file of many rows with hardly any different value names machines or
    // sides, not panels; a file for one panel has one.
    let crowded = below.files.iter().any(|values| {
        let own: BTreeSet<&String> = values.iter().collect();
        values.len() >= 20 && own.len() > 1 && own.len() * 15 < values.len()
    });
    !(crowded || files == 1 && rows >= 5 && distinct == 1)
}

/// Ids by their looks alone: runs of equal values that never come back, with a
/// digit in them.
fn looks_like_ids(below: &Below) -> bool {
    if !may_be_ids(below) || !text_fits(Column::Part, below) || below.distinct() < 3 {
        return false;
    }
    let digits = below.share(|v| v.chars().any(|c| c.is_ascii_digit()));
    let mut seen = BTreeSet::new();
    let mut comes_back = false;
    for values in &below.files {
        let mut last: Option<&String> = None;
        for value in values {
            if last != Some(value) {
                comes_back |= !seen.insert(value);
            }
            last = Some(value);
        }
    }
    digits > 0.9 && !comes_back && 5 * below.distinct() >= below.files.len().max(below.count() / 20)
}

fn number(text: &str) -> Option<f64> {
    let text = text.trim().replace(['\u{a0}', ' ', '\''], "");
    let text = match (text.contains(','), text.contains('.')) {
        (true, false) => text.replace(',', "."),
        _ => text,
    };
    text.parse().ok().filter(|x: &f64| x.is_finite())
}

fn is_date(text: &str) -> bool {
    let text = text.trim();
    let parts: Vec<&str> = text
        .split(['-', '/', '.', 'T', ' ', ':', 'Z', '+'])
        .collect();
    let numbers = parts
        .iter()
        .filter(|p| !p.is_empty() && p.len() <= 4 && p.bytes().all(|b| b.is_ascii_digit()))
        .count();
    let separated = text.contains(['-', '/', ':']) || text.matches('.').count() >= 2;
    numbers >= 3 && separated && text.len() >= 6
}

#[cfg(test)]
mod tests {
    use super::*;

    fn files(files: &[&[&str]]) -> Below {
        Below {
            files: files
                .iter()
                .map(|values| values.iter().map(|v| (*v).to_owned()).collect())
                .collect(),
            rows: files.iter().map(|values| values.len()).sum(),
        }
    }

    #[test]
    fn what_its_own_sample_contradicts_is_no_guess() {
        let cells: Vec<&str> = (0..60).map(|i| ["S1", "S2"][i % 2]).collect();
        let machine = files(&[&cells]);
        assert!(!fits(Column::PanelId, &machine) && fits(Column::Machine, &machine));
        let sizes = files(&[&["12.5", "13.1", "9"]]);
        assert!(!fits(Column::PanelId, &sizes) && fits(Column::XMm, &sizes));
        assert!(!fits(Column::LayDeg, &files(&[&["0", "45"]])));
        assert!(!fits(Column::Severity, &files(&[&["3", "9"]])));
        assert!(!fits(Column::SandedAt, &files(&[&["M1", "M2"]])));
        assert!(fits(Column::SandedAt, &files(&[&["03.02.2031 06:10"]])));
    }

    #[test]
    fn the_same_id_in_every_file_is_none_and_one_each_is() {
        let same: Vec<&[&str]> = vec![&["A", "A"]; 6];
        assert!(!fits(Column::PanelId, &files(&same)));
        let each: [&[&str]; 3] = [&["A1", "A1"], &["A2"], &["A3"]];
        assert!(fits(Column::PanelId, &files(&each)) && looks_like_ids(&files(&each)));
    }

    #[test]
    fn numbers_and_dates_are_told_apart() {
        assert_eq!(number("1 234,5"), Some(1234.5));
        assert!(is_date("2031-03-04T06:00:00Z") && is_date("4/3/31 6:00"));
        assert!(!is_date("12.5") && !is_date("P-0012-A") && !is_date("W-60"));
    }
}
