//! Panels whose ids one file spells otherwise than another: joined where one
//! common rule makes each of them fit exactly one, and told.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

use super::super::parts::{Facts, FileRows};
use super::super::{Column, Warning, WarningCode};
use crate::records::header::Slot;

/// Fewer ids than this may be slips of single rows.
const IDS: usize = 3;
/// So large a share of the ids that have no size must fit one that has.
const FIT: f64 = 0.9;

/// What two spellings of one id may differ in, the least first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Rule {
    /// Case, spaces and marks: `P-001`, `p 001`, `P001`.
    Marks,
    /// And zeros that lead a number, and `.0` behind one: `P1`, `0012`, `12.0`.
    Zeros,
    /// And all but the last number, where the rest is the same on every id of a
    /// file: `PANEL-0012`, `12`.
    Number,
}

impl Rule {
    const ALL: [Rule; 3] = [Rule::Marks, Rule::Zeros, Rule::Number];

    fn words(self) -> &'static str {
        match self {
            Rule::Marks => "case, spaces and marks between letters and digits",
            Rule::Zeros => "case, spaces, marks, leading zeros and \".0\"",
            Rule::Number => {
                "all but the running number, since the rest is the same on every id of a file"
            }
        }
    }

    /// What spellings of one id have in common; `rest` is what all ids of the
    /// file share around their numbers.
    fn key(self, id: &str, rest: Option<&(String, String)>) -> Option<String> {
        match self {
            Rule::Marks => Some(bare(id)),
            Rule::Zeros => Some(without_zeros(&bare(without_point_zero(id)))),
            Rule::Number => {
                let (before, number, after) = around_number(id)?;
                let rest = rest?;
                (rest.0 == before && rest.1 == after).then(|| without_zeros(&number))
            }
        }
    }
}

/// Letters and digits, lower case; what stands between two digits is a `-`.
fn bare(id: &str) -> String {
    let mut key = String::with_capacity(id.len());
    let mut is_apart = false;
    for c in id.chars().flat_map(char::to_lowercase) {
        if !c.is_alphanumeric() {
            is_apart = true;
            continue;
        }
        if is_apart && c.is_ascii_digit() && key.ends_with(|c: char| c.is_ascii_digit()) {
            key.push('-');
        }
        is_apart = false;
        key.push(c);
    }
    key
}

/// `12` for `12.0` and `12,00`.
fn without_point_zero(id: &str) -> &str {
    let id = id.trim();
    match id.rsplit_once(['.', ',']) {
        Some((whole, zeros))
            if !zeros.is_empty()
                && zeros.bytes().all(|b| b == b'0')
                && whole.bytes().all(|b| b.is_ascii_digit()) =>
        {
            whole
        }
        _ => id,
    }
}

/// Without the zeros that lead each number.
fn without_zeros(id: &str) -> String {
    let mut key = String::with_capacity(id.len());
    let mut letters = id.chars().peekable();
    let mut in_number = false;
    while let Some(c) = letters.next() {
        if c == '0' && !in_number && letters.peek().is_some_and(char::is_ascii_digit) {
            continue;
        }
        in_number = c.is_ascii_digit();
        key.push(c);
    }
    key
}

/// The last number of an id, and what stands before and after it.
fn around_number(id: &str) -> Option<(String, String, String)> {
    let id = bare(without_point_zero(id));
    let end = id.rfind(|c: char| c.is_ascii_digit())? + 1;
    let start = id[..end]
        .rfind(|c: char| !c.is_ascii_digit())
        .map_or(0, |at| {
            at + id[at..].chars().next().map_or(1, char::len_utf8)
        });
    let part = |text: &str| text.to_owned();
    Some((part(&id[..start]), part(&id[start..end]), part(&id[end..])))
}

/// What stands around the numbers of all ids of a file.
fn rest_of(file: &FileRows) -> Option<(String, String)> {
    let mut all = file.panels.iter().map(|part| around_number(&part.id));
    let (before, _, after) = all.next()??;
    all.all(|id| id.is_some_and(|(b, _, a)| b == before && a == after))
        .then_some((before, after))
}

/// Gives panels without a size the id of the panel with one that theirs spells
/// otherwise, if nearly all of them have exactly one such.
pub(in crate::records) fn join_spellings(files: &mut [FileRows]) -> Option<Warning> {
    let sizes = [Column::LengthMm, Column::WidthMm].map(|c| Facts::index(Slot::Column(c)));
    let has = |file: &FileRows, at: usize, size: Option<usize>| {
        let own = file.facts.iter().position(|(fact, _)| Some(*fact) == size);
        own.is_some_and(|own| file.said.row(at)[own].is_some())
    };
    let mut sized: BTreeMap<Arc<str>, [bool; 2]> = BTreeMap::new();
    for file in files.iter() {
        for (at, part) in file.panels.iter().enumerate() {
            let known = sized.entry(part.id.clone()).or_default();
            for (known, size) in known.iter_mut().zip(sizes) {
                *known |= has(file, at, size);
            }
        }
    }
    let is_sized = |id: &Arc<str>| sized.get(id) == Some(&[true; 2]);
    let without = sized.values().filter(|has| **has != [true; 2]).count();
    if without < IDS || without == sized.len() {
        return None;
    }
    let rests: Vec<Option<(String, String)>> = files.iter().map(rest_of).collect();
    Rule::ALL
        .into_iter()
        .find_map(|rule| matches(files, &rests, rule, &is_sized, without))
        .map(|(rule, names)| {
            for file in files.iter_mut() {
                for part in &mut file.panels {
                    if let Some(name) = names.get(&part.id) {
                        part.id = name.clone();
                    }
                }
                file.lost_defects
                    .iter_mut()
                    .for_each(|id| rename(id, &names));
                file.lost_ids = std::mem::take(&mut file.lost_ids)
                    .into_iter()
                    .map(|mut id| {
                        rename(&mut id, &names);
                        id
                    })
                    .collect();
            }
            told(rule, &names, without)
        })
}

fn rename(id: &mut String, names: &BTreeMap<Arc<str>, Arc<str>>) {
    if let Some(name) = names.get(id.as_str()) {
        *id = name.to_string();
    }
}

/// Ids without a size and the one with a size that each of them fits by a rule.
type Names = BTreeMap<Arc<str>, Arc<str>>;

fn matches(
    files: &[FileRows],
    rests: &[Option<(String, String)>],
    rule: Rule,
    is_sized: &dyn Fn(&Arc<str>) -> bool,
    without: usize,
) -> Option<(Rule, Names)> {
    // The ids of each key that have a size, and those without, which may be
    // spelled one way in each file.
    let mut with: HashMap<String, BTreeSet<Arc<str>>> = HashMap::new();
    let mut names = Names::new();
    for (file, rest) in files.iter().zip(rests) {
        for part in file.panels.iter().filter(|part| is_sized(&part.id)) {
            if let Some(key) = rule.key(&part.id, rest.as_ref()) {
                with.entry(key).or_default().insert(part.id.clone());
            }
        }
    }
    for (file, rest) in files.iter().zip(rests) {
        let mut in_file: HashMap<String, usize> = HashMap::new();
        for part in &file.panels {
            if let Some(key) = rule.key(&part.id, rest.as_ref()) {
                *in_file.entry(key).or_default() += 1;
            }
        }
        for part in file.panels.iter().filter(|part| !is_sized(&part.id)) {
            let Some(key) = rule.key(&part.id, rest.as_ref()) else {
                continue;
            };
            let one = with.get(&key).filter(|ids| ids.len() == 1);
            if let Some(name) = one.and_then(|ids| ids.first())
                && in_file.get(&key) == Some(&1)
            {
                names.insert(part.id.clone(), name.clone());
            }
        }
    }
    (names.len() >= IDS && names.len() as f64 >= FIT * without as f64).then_some((rule, names))
}

fn told(rule: Rule, names: &Names, without: usize) -> Warning {
    let pairs: Vec<String> = names
        .iter()
        .take(3)
        .map(|(id, name)| format!("\"{id}\" as \"{name}\""))
        .collect();
    let left = match without - names.len() {
        0 => String::new(),
        n => format!(" {n} more fit none and were left out."),
    };
    Warning {
        code: WarningCode::IdsSuspect,
        text: format!(
            "{} panel ids are spelled otherwise than where the sizes stand and were joined, {}: without regard to {}, each fits exactly one.{left} If they are other panels, or to be sure, write panel_id the same way in all files.",
            names.len(),
            pairs.join(", "),
            rule.words()
        ),
        file: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings_of_one_id_have_a_key_in_common() {
        let key = |rule: Rule, id: &str| {
            let rest = around_number(id).map(|(before, _, after)| (before, after));
            rule.key(id, rest.as_ref())
        };
        for (rule, a, b) in [
            (Rule::Marks, "P-001", "p 001"),
            (Rule::Marks, "P/2026/07", "p 2026-07"),
            (Rule::Zeros, "P-001", "p1"),
            (Rule::Zeros, "0012", "12.0"),
            (Rule::Number, "PANEL-0012", "12"),
            (Rule::Number, "L2-7-B", "l2_07_b"),
        ] {
            assert!(key(rule, a).is_some(), "{a}");
            assert_eq!(key(rule, a), key(rule, b), "{a} {b}");
        }
        assert_ne!(key(Rule::Marks, "P-001"), key(Rule::Marks, "P1"));
        assert_ne!(key(Rule::Zeros, "P10"), key(Rule::Zeros, "P1"));
        assert_ne!(key(Rule::Marks, "1-11"), key(Rule::Marks, "11-1"));
        assert_ne!(key(Rule::Zeros, "1.50"), key(Rule::Zeros, "1.5"));
    }
}
