//! Whether names name something: kinds of defect, ids of panels.

use std::collections::BTreeMap;

use super::super::{Column, Records, Warning, WarningCode};
use super::{counted, warn};
use crate::site::{bare_word, says_none};

/// What is written in a column that asks "any defect?", not "which?".
/// Without dots and spaces.
const ANSWERS: [&str; 36] = [
    "yes", "no", "y", "n", "true", "false", "t", "f", "x", "pass", "fail", "failed", "good", "bad",
    "nok", "nio", "io", "ng", "reject", "rejected", "accept", "accepted", "fine", "clean", "ja",
    "nein", "kein", "keine", "aucun", "rien", "ninguno", "nessuno", "defect", "nan", "null", "nil",
];

pub(super) fn find(records: &Records, warnings: &mut Vec<Warning>) {
    no_defect_column(records, warnings);
    answers_for_kinds(records, warnings);
    ids_alike(records, warnings);
    ids_changed(records, warnings);
}

fn no_defect_column(records: &Records, warnings: &mut Vec<Warning>) {
    let has = records
        .columns
        .iter()
        .any(|used| used.column == Column::Defect.name());
    if !has && records.panels.iter().any(|p| p.inspected) {
        warnings.push(warn(
            WarningCode::NoDefectColumn,
            "No file has a column defect, so nothing tells a good panel from a bad one, though every panel counts as inspected and clean. If defects stand under another header, name it under [columns] in onus.toml; if every kind has a column of its own, export one row for each defect.".into(),
        ));
    }
}

fn answers_for_kinds(records: &Records, warnings: &mut Vec<Warning>) {
    let answers: Vec<String> = records
        .defect_names
        .iter()
        .map(|kind| kind.name.as_str())
        .filter(|name| {
            let bare = bare_word(name);
            ANSWERS.contains(&bare.as_str())
                || says_none(&bare)
                || bare.bytes().all(|b| b.is_ascii_digit())
        })
        .take(6)
        .map(|name| format!("\"{name}\""))
        .collect();
    if !answers.is_empty() {
        warnings.push(warn(
            WarningCode::DefectNotNamed,
            format!(
                "defect holds {}: an answer or a count, yet read as a kind of defect. If it means that there is none, add it to none under [defects] in onus.toml; else export the kind, one row for each defect.",
                answers.join(", ")
            ),
        ));
    }
}

/// Ids that a careless hand or a spreadsheet would make of one another.
fn ids_alike(records: &Records, warnings: &mut Vec<Warning>) {
    let mut alike: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for panel in &records.panels {
        alike.entry(loose(&panel.id)).or_default().push(&panel.id);
    }
    let groups: Vec<&Vec<&str>> = alike.values().filter(|ids| ids.len() > 1).collect();
    if let Some(first) = groups.first() {
        let ids: Vec<String> = first.iter().take(3).map(|id| format!("\"{id}\"")).collect();
        let more = match groups.len() {
            1 => String::new(),
            n => format!(" (and {} more such)", n - 1),
        };
        warnings.push(warn(
            WarningCode::IdsSuspect,
            format!(
                "{}{more} differ only in case, spaces or leading zeros and are read as different panels. If they are one, a spreadsheet may have dropped the zeros: export ids as text.",
                ids.join(" and ")
            ),
        ));
    }
}

/// Lower case, without spaces and without the zeros that lead a number.
fn loose(id: &str) -> String {
    let mut key = String::with_capacity(id.len());
    let mut in_number = false;
    let mut letters = id
        .chars()
        .filter(|c| !c.is_whitespace())
        .flat_map(char::to_lowercase)
        .peekable();
    while let Some(c) = letters.next() {
        if c == '0' && !in_number && letters.peek().is_some_and(char::is_ascii_digit) {
            continue;
        }
        in_number = c.is_ascii_digit();
        key.push(c);
    }
    key
}

fn ids_changed(records: &Records, warnings: &mut Vec<Warning>) {
    let mut changed = records
        .panels
        .iter()
        .map(|p| p.id.as_str())
        .filter(|id| in_powers_of_ten(id));
    if let Some(first) = changed.next() {
        let all = 1 + changed.count();
        warnings.push(warn(
            WarningCode::IdsSuspect,
            format!(
                "The id of {} is written as \"{first}\" is, a number that a spreadsheet has shortened: different panels may have become one. Export ids as text.",
                counted(all, "panel")
            ),
        ));
    }
}

/// `1.23E+05`, as spreadsheets shorten long numbers.
fn in_powers_of_ten(id: &str) -> bool {
    let digits = |t: &str| !t.is_empty() && t.bytes().all(|b| b.is_ascii_digit());
    id.split_once("E+").is_some_and(|(number, power)| {
        digits(power)
            && number
                .split_once(['.', ','])
                .is_some_and(|(whole, rest)| whole.len() == 1 && digits(whole) && digits(rest))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_alike_but_for_case_spaces_and_leading_zeros() {
        for (a, b) in [
            ("P1", "p1 "),
            ("0012", "12"),
            ("A-007", "a-7"),
            ("P 1", "P1"),
        ] {
            assert_eq!(loose(a), loose(b), "{a} {b}");
        }
        for (a, b) in [
            ("P1", "P10"),
            ("A1-01", "A10-1"),
            ("100", "1"),
            ("10", "1"),
            ("A", "B"),
            ("A0", "A"),
        ] {
            assert_ne!(loose(a), loose(b), "{a} {b}");
        }
    }

    #[test]
    fn a_shortened_number_is_no_id() {
        assert!(in_powers_of_ten("1.23E+05"));
        assert!(in_powers_of_ten("2,00E+11"));
        for id in ["E+05", "1E+05", "P1.2E+05", "1.23E-05", "12.3E+05", "LE+5"] {
            assert!(!in_powers_of_ten(id), "{id}");
        }
    }
}
