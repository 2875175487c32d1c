//! Tables with one row for each panel and a group of columns for each defect,
//! such as `defect1_x`, `defect1_y`, `defect1_kind`, `defect2_x`: read as one
//! row for each group.

use std::collections::BTreeMap;

use csv::StringRecord;

use crate::records::Column;
use crate::records::header::{Cell, Header, Slot};

/// What the columns of a group hold, in the order in which they are put after
/// the file's own.
const HELD: [Column; 3] = [Column::XMm, Column::YMm, Column::Defect];

/// The groups of a file: which column holds what.
#[derive(Debug, PartialEq, Eq)]
pub(in crate::records) struct Wide {
    groups: Vec<[Option<usize>; HELD.len()]>,
    /// How many columns the file has.
    width: usize,
}

/// What a header names within a group, the group's number, and whether it
/// speaks of defects.
fn part(header: &str) -> Option<(Column, u32, bool)> {
    let mut words: Vec<String> = Vec::new();
    let mut last = None;
    for c in header.chars().flat_map(char::to_lowercase) {
        let kind = (c.is_ascii_digit(), c.is_alphabetic());
        if kind == (false, false) {
            last = None;
            continue;
        }
        if last == Some(kind) {
            words.last_mut()?.push(c);
        } else {
            words.push(c.to_string());
        }
        last = Some(kind);
    }
    let mut numbers = words.iter().filter_map(|word| word.parse::<u32>().ok());
    let number = numbers.next()?;
    if numbers.next().is_some() {
        return None;
    }
    const WHAT: [&str; 10] = [
        "defect", "mark", "fault", "flaw", "fehler", "defekt", "défaut", "defaut", "defecto",
        "difetto",
    ];
    let own: Vec<&str> = words
        .iter()
        .map(String::as_str)
        .filter(|word| word.parse::<u32>().is_err() && !WHAT.contains(word))
        .collect();
    let column = match own.as_slice() {
        ["x"] | ["x", "mm" | "pos"] | ["pos", "x"] => Column::XMm,
        ["y"] | ["y", "mm" | "pos"] | ["pos", "y"] => Column::YMm,
        ["kind" | "type" | "name" | "class" | "code" | "art" | "typ"] => Column::Defect,
        [] if words.len() > 1 => Column::Defect,
        _ => return None,
    };
    let named = words.iter().any(|word| WHAT.contains(&word.as_str()));
    Some((column, number, named))
}

/// The groups of a file's columns, where all of its numbered columns that mean
/// nothing else make up groups that each name a defect.
pub(in crate::records) fn find(headers: &StringRecord, header: &Header) -> Option<Wide> {
    let held = |column: Column| HELD.iter().position(|held| *held == column);
    let mut groups: BTreeMap<u32, [Option<usize>; HELD.len()]> = BTreeMap::new();
    let mut all_named = true;
    for (index, text) in headers.iter().enumerate() {
        let is_read = header.cells.iter().any(|cell| cell.index == index);
        if let Some((column, number, named)) = part(text).filter(|_| !is_read) {
            all_named &= named;
            let at = &mut groups.entry(number).or_default()[held(column)?];
            if at.is_some() {
                return None;
            }
            *at = Some(index);
        }
    }
    let mut groups: Vec<_> = groups.into_values().collect();
    // `x_mm`, `x_mm.1`: the first group may bear the plain names.
    let plain = HELD.map(|column| {
        let is = |cell: &&Cell| cell.slot == Slot::Column(column);
        header.cells.iter().find(is).map(|cell| cell.index)
    });
    if plain.iter().any(Option::is_some) {
        groups.insert(0, plain);
    }
    let shape = |group: &[Option<usize>; HELD.len()]| group.map(|at| at.is_some());
    let first = shape(groups.first()?);
    // A kind alone must be said to be one of defects, others have types too.
    let is_sure = first == [true; 3] || (first == [false, false, true] && all_named);
    let is_one = is_sure && groups.len() > 1 && groups.iter().all(|g| shape(g) == first);
    is_one.then(|| Wide {
        groups,
        width: headers.len(),
    })
}

impl Wide {
    /// The header of the rows that [`Wide::rows`] gives, and what to tell:
    /// headers and as what they are read.
    pub(in crate::records) fn header(
        &self,
        mut header: Header,
        headers: &StringRecord,
    ) -> (Header, Vec<(String, String)>) {
        let mut told = Vec::new();
        let spelled = |at: usize| headers.get(at).unwrap_or_default().to_owned();
        let grouped: Vec<usize> = self.groups.iter().flatten().flatten().copied().collect();
        header.cells.retain(|cell| !grouped.contains(&cell.index));
        header
            .unknown
            .retain(|text| !grouped.iter().any(|at| headers.get(*at) == Some(text)));
        for cell in &mut header.cells {
            if cell.index >= self.width {
                cell.index += HELD.len();
            }
        }
        for (nth, column) in HELD.into_iter().enumerate() {
            let of: Vec<String> = self
                .groups
                .iter()
                .filter_map(|g| g[nth])
                .map(spelled)
                .collect();
            let (Some(first), Some(last)) = (of.first(), of.last()) else {
                continue;
            };
            told.push((
                format!("{first} to {last}"),
                format!("{}, a row for each of the {}", column.name(), of.len()),
            ));
            header.cells.push(Cell {
                slot: Slot::Column(column),
                index: self.width + nth,
                header: first.clone(),
                conversion: None,
            });
        }
        header.width += HELD.len();
        header.added = HELD.len();
        (header, told)
    }

    /// The numbers of all groups, to tell how they are written.
    pub(in crate::records) fn places(&self) -> impl Iterator<Item = usize> {
        self.groups.iter().flat_map(|g| [g[0], g[1]]).flatten()
    }

    /// One row for each group that holds anything; one without if none does.
    pub(in crate::records) fn rows(&self, record: &StringRecord) -> Vec<StringRecord> {
        let row = |group: [Option<usize>; HELD.len()]| {
            let mut row: StringRecord = record.iter().take(self.width).collect();
            for at in group {
                row.push_field(at.and_then(|at| record.get(at)).unwrap_or_default());
            }
            row
        };
        let extra = record.iter().skip(self.width).any(|c| !c.trim().is_empty());
        if record.len() < self.width || extra {
            return vec![record.clone()];
        }
        let is_held = |group: &&[Option<usize>; HELD.len()]| {
            let mut cells = group.iter().flatten().filter_map(|at| record.get(*at));
            cells.any(|cell| !cell.trim().is_empty())
        };
        let rows: Vec<StringRecord> = self
            .groups
            .iter()
            .filter(is_held)
            .map(|g| row(*g))
            .collect();
        if rows.is_empty() {
            vec![row([None; HELD.len()])]
        } else {
            rows
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_of_a_group_are_told_by_their_number() {
        for (header, column, number) in [
            ("defect1_x", Column::XMm, 1),
            ("x1", Column::XMm, 1),
            ("Y 2 (mm)", Column::YMm, 2),
            ("x_mm.3", Column::XMm, 3),
            ("Fehler 4 Typ", Column::Defect, 4),
            ("type2", Column::Defect, 2),
            ("defect2", Column::Defect, 2),
        ] {
            let found = part(header).map(|(column, number, _)| (column, number));
            assert_eq!(found, Some((column, number)), "{header}");
        }
        for header in ["12", "x", "lot2", "x1_2", "speed 1", "x1 (in)", "force1_x"] {
            assert_eq!(part(header), None, "{header}");
        }
    }
}
