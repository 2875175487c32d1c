//! Names that a hand, a keyboard or a program would make of one another:
//! machines, lots, inspectors, kinds of defect.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

use strsim::levenshtein;
use unicode_normalization::UnicodeNormalization;

use super::super::{Column, Panel, Records, Warning, WarningCode};
use super::{some, warn};
use crate::site::quoted;

/// Words at least this long may be a letter off; shorter ones often differ by
/// just one.
const LONG: usize = 5;

pub(super) fn find(records: &Records, warnings: &mut Vec<Warning>) {
    type Of = fn(&Panel) -> Option<&Arc<str>>;
    let of: [(Column, Of); 6] = [
        (Column::Machine, |p| p.machine.as_ref()),
        (Column::Lot, |p| p.lot.as_ref()),
        (Column::Supplier, |p| p.supplier.as_ref()),
        (Column::Part, |p| p.part.as_ref()),
        (Column::Inspector, |p| p.inspector.as_ref()),
        (Column::Recipe, |p| p.recipe.as_ref()),
    ];
    for (column, name) in of {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        for name in records.panels.iter().filter_map(name) {
            *counts.entry(name).or_default() += 1;
        }
        let section = format!("names.{}", column.name());
        tell(warnings, column, &counts, "panels", &section);
    }
    let mut marks = vec![0; records.defect_names.len()];
    for defect in &records.defects {
        marks[defect.name] += 1;
    }
    let counts: BTreeMap<&str, usize> = records
        .defect_names
        .iter()
        .map(|name| name.name.as_str())
        .zip(marks)
        .collect();
    tell(
        warnings,
        Column::Defect,
        &counts,
        "marks",
        "defects.synonyms",
    );
}

/// One warning for each column with names alike.
fn tell(
    warnings: &mut Vec<Warning>,
    column: Column,
    counts: &BTreeMap<&str, usize>,
    what: &str,
    section: &str,
) {
    let names: Vec<&str> = counts.keys().copied().collect();
    let groups = groups(&names);
    if groups.is_empty() {
        return;
    }
    let count = |name: &str| counts.get(name).copied().unwrap_or(0);
    let (mut told, mut lines) = (Vec::new(), Vec::new());
    for group in &groups {
        let mut group: Vec<&str> = group.iter().map(|at| names[*at]).collect();
        group.sort_by_key(|name| (std::cmp::Reverse(count(name)), *name));
        let each: Vec<String> = group
            .iter()
            .map(|name| format!("{} ({} {what})", quoted(name), count(name)))
            .collect();
        told.push(each.join(" and "));
        let others: Vec<String> = group[1..].iter().map(|name| quoted(name)).collect();
        lines.push(format!("{} = [{}]", quoted(group[0]), others.join(", ")));
    }
    warnings.push(warn(
        WarningCode::NamesAlike,
        format!(
            "{} holds names that are almost one: {}. They are read as different; if they are one, join them under [{section}] in onus.toml: {}.",
            column.name(),
            some(&told),
            some(&lines)
        ),
    ));
}

/// Whether two names are almost one.
pub(crate) fn almost_one(a: &str, b: &str) -> bool {
    a != b && !groups(&[a, b]).is_empty()
}

/// Names that are alike, in groups of places in the list.
fn groups(names: &[&str]) -> Vec<Vec<usize>> {
    let keys: Vec<String> = names.iter().map(|name| folded(name)).collect();
    let mut leader: Vec<usize> = (0..names.len()).collect();
    let mut by_key: HashMap<&str, usize> = HashMap::new();
    for (at, key) in keys.iter().enumerate() {
        leader[at] = *by_key.entry(key).or_insert(at);
    }
    // Two words that differ by one letter are equal once the right one is
    // taken from the longer, or one from both.
    let mut without: HashMap<String, Vec<usize>> = HashMap::new();
    for (at, key) in keys.iter().enumerate() {
        if leader[at] != at || !is_long_word(key) {
            continue;
        }
        let mut near: BTreeSet<usize> = BTreeSet::new();
        let gaps: BTreeSet<String> = (0..key.chars().count())
            .map(|gap| {
                let rest = key.chars().enumerate().filter(|(i, _)| *i != gap);
                rest.map(|(_, c)| c).collect()
            })
            .chain([key.clone()])
            .collect();
        for gap in gaps {
            let others = without.entry(gap).or_default();
            near.extend(others.iter().copied());
            others.push(at);
        }
        if let Some(first) = near.into_iter().find(|o| levenshtein(&keys[*o], key) <= 1) {
            leader[at] = first;
        }
    }
    let mut groups: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for at in 0..names.len() {
        let mut root = at;
        while leader[root] != root {
            root = leader[root];
        }
        groups.entry(root).or_default().push(at);
    }
    groups.into_values().filter(|g| g.len() > 1).collect()
}

/// A word that may be a letter off: a number's digits never are by accident.
fn is_long_word(key: &str) -> bool {
    key.chars().count() >= LONG && !key.chars().any(|c| c.is_numeric())
}

/// What names that differ by case, spaces, dots or the way Unicode writes them
/// have in common. A point between digits tells 1.2 from 12 and stays.
fn folded(name: &str) -> String {
    let letters: Vec<char> = name.nfkc().flat_map(char::to_lowercase).collect();
    let digit = |at: Option<usize>| {
        at.and_then(|i| letters.get(i))
            .is_some_and(char::is_ascii_digit)
    };
    letters
        .iter()
        .enumerate()
        .filter(|(at, c)| match c {
            '.' => digit(at.checked_sub(1)) && digit(Some(at + 1)),
            c => !c.is_whitespace(),
        })
        .map(|(_, c)| *c)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn alike(a: &str, b: &str) -> bool {
        !groups(&[a, b]).is_empty()
    }

    #[test]
    fn spellings_of_one_name_are_alike() {
        for (a, b) in [
            ("M1", "m 1"),
            ("CELL 1", "CELL  1"),
            ("A.B.", "ab"),
            ("sand-through", "sand-trough"),
            ("North", "Nortth"),
            // One word in two forms of Unicode: a letter with its accent, and
            // the letter followed by the accent (Unicode Standard Annex 15).
            ("d\u{e9}faut", "de\u{301}faut"),
        ] {
            assert!(alike(a, b), "{a} {b}");
        }
    }

    #[test]
    fn different_names_are_not() {
        for (a, b) in [
            ("M1", "M2"),
            ("L-2026-01", "L-2026-07"),
            ("1.2", "12"),
            ("left", "lift"),
            ("scratch", "stretch"),
            ("nib", "nibs"),
        ] {
            assert!(!alike(a, b), "{a} {b}");
        }
    }

    #[test]
    fn a_chain_of_spellings_is_one_group() {
        let names = [
            "orange peel",
            "orange peal",
            "Orange  Peel",
            "orang peel",
            "burn",
        ];
        assert_eq!(groups(&names), [vec![0, 1, 2, 3]]);
    }
}
