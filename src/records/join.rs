//! Joining what the files say about a panel: polars groups the facts by panel
//! and finds where they disagree.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use polars::error::PolarsError;
use polars::prelude::{Column as Series, DataFrame, Expr, IntoLazy, PlSmallStr, PolarsResult, col};

use super::RecordsError;
use super::parts::{Fact, FactAt, FileRows, numbers_agree};

/// A fact on which the rows disagree.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Dispute {
    /// Which fact, as an index of `Facts`.
    pub fact: usize,
    /// Its first value: file (index) and line.
    pub first: (usize, FactAt),
    /// Another value, likewise.
    pub second: (usize, FactAt),
}

impl From<PolarsError> for RecordsError {
    fn from(error: PolarsError) -> Self {
        RecordsError::Join(Box::new(error))
    }
}

/// What all files together say about the panels.
#[derive(Debug, Default)]
pub(super) struct Joined {
    /// Ids, in the order met.
    pub ids: Vec<Arc<str>>,
    /// For every panel and fact, what was said, where anything was.
    pub facts: Vec<Vec<Option<Fact>>>,
    /// By panel, ordered by fact.
    pub disputes: BTreeMap<usize, Vec<Dispute>>,
    /// For every file, the panel of each of its `FileRows::panels`.
    pub panel_of: Vec<Vec<usize>>,
}

/// Joins the files; `facts` is the number of facts there are.
///
/// # Errors
///
/// Whatever polars says.
pub(super) fn join(files: &[FileRows], facts: usize) -> PolarsResult<Joined> {
    let mut joined = Joined::default();
    let mut index: HashMap<Arc<str>, usize> = HashMap::new();
    for file in files {
        let mut of = Vec::with_capacity(file.panels.len());
        for part in &file.panels {
            let panel = *index.entry(part.id.clone()).or_insert_with(|| {
                joined.ids.push(part.id.clone());
                joined.ids.len() - 1
            });
            of.push(panel);
        }
        joined.panel_of.push(of);
    }
    joined.facts = vec![vec![None; facts]; joined.ids.len()];

    let codes = Codes::of(files);
    let grouped = group(files, &joined.panel_of, &codes, facts)?;
    let panels = grouped.column("panel")?.u32()?.clone();
    for fact in 0..facts {
        let least = grouped.column(&least(fact))?.f64()?;
        let most = grouped.column(&most(fact))?.f64()?;
        for (at, panel) in panels.iter().enumerate() {
            let (Some(panel), Some(low), Some(high)) = (panel, least.get(at), most.get(at)) else {
                continue;
            };
            let panel = panel as usize;
            joined.facts[panel][fact] = Some(codes.fact(fact, low));
            let agree = match codes.kind(fact) {
                Kind::Number => numbers_agree(low, high),
                Kind::Coded => codes.fact(fact, low).agrees(&codes.fact(fact, high)),
            };
            if !agree {
                joined.disputes.entry(panel).or_default();
            }
        }
    }
    joined.find_places(files, facts);
    Ok(joined)
}

impl Joined {
    /// Names the two places of every dispute: one pass over the files.
    fn find_places(&mut self, files: &[FileRows], facts: usize) {
        for (file, rows) in files.iter().enumerate() {
            for (part, panel) in rows.panels.iter().zip(&self.panel_of[file]) {
                for own in &part.contradictions {
                    let disputes = self.disputes.entry(*panel).or_default();
                    if !disputes.iter().any(|d| d.fact == own.fact) {
                        disputes.push(Dispute {
                            fact: own.fact,
                            first: (file, own.first.clone()),
                            second: (file, own.second.clone()),
                        });
                    }
                }
            }
        }
        if self.disputes.is_empty() {
            return;
        }
        let mut first: HashMap<(usize, usize), (usize, FactAt)> = HashMap::new();
        for (file, rows) in files.iter().enumerate() {
            for (part, panel) in rows.panels.iter().zip(&self.panel_of[file]) {
                let Some(disputes) = self.disputes.get_mut(panel) else {
                    continue;
                };
                for (own, (fact, _)) in rows.facts.iter().enumerate() {
                    let Some(Some(at)) = part.facts.get(own) else {
                        continue;
                    };
                    match first.get(&(*panel, *fact)) {
                        None => {
                            first.insert((*panel, *fact), (file, at.clone()));
                        }
                        Some(known) => {
                            if !known.1.fact.agrees(&at.fact)
                                && !disputes.iter().any(|d| d.fact == *fact)
                            {
                                disputes.push(Dispute {
                                    fact: *fact,
                                    first: known.clone(),
                                    second: (file, at.clone()),
                                });
                            }
                        }
                    }
                }
            }
        }
        for disputes in self.disputes.values_mut() {
            disputes.sort_by_key(|d| d.fact);
            disputes.retain(|d| d.fact < facts);
        }
    }
}

/// What a fact's values are to polars.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Number,
    /// Texts and times as their place in a sorted list.
    Coded,
}

/// The texts and times that occur, sorted, so that a code stands for each.
struct Codes {
    kinds: BTreeMap<usize, Kind>,
    sorted: BTreeMap<usize, Vec<Fact>>,
}

impl Codes {
    fn of(files: &[FileRows]) -> Codes {
        let mut values: BTreeMap<usize, Vec<Fact>> = BTreeMap::new();
        let mut kinds = BTreeMap::new();
        for file in files {
            for (own, (fact, _)) in file.facts.iter().enumerate() {
                for part in &file.panels {
                    match part.facts.get(own) {
                        Some(Some(FactAt {
                            fact: Fact::Number(_),
                            ..
                        })) => {
                            kinds.insert(*fact, Kind::Number);
                        }
                        Some(Some(at)) => {
                            kinds.insert(*fact, Kind::Coded);
                            values.entry(*fact).or_default().push(at.fact.clone());
                        }
                        _ => {}
                    }
                }
            }
        }
        for list in values.values_mut() {
            list.sort_by(order);
            list.dedup_by(|a, b| order(a, b).is_eq());
        }
        Codes {
            kinds,
            sorted: values,
        }
    }

    fn kind(&self, fact: usize) -> Kind {
        self.kinds.get(&fact).copied().unwrap_or(Kind::Number)
    }

    fn code(&self, fact: usize, value: &Fact) -> Option<f64> {
        if let Fact::Number(number) = value {
            return Some(*number);
        }
        let list = self.sorted.get(&fact)?;
        list.binary_search_by(|known| order(known, value))
            .ok()
            .map(|at| at as f64)
    }

    fn fact(&self, fact: usize, code: f64) -> Fact {
        match self.kind(fact) {
            Kind::Number => Fact::Number(code),
            Kind::Coded => self
                .sorted
                .get(&fact)
                .and_then(|list| list.get(code as usize))
                .cloned()
                .unwrap_or(Fact::Number(code)),
        }
    }
}

/// Texts by their letters, times by instant, then clock.
fn order(a: &Fact, b: &Fact) -> std::cmp::Ordering {
    match (a, b) {
        (Fact::Text(a), Fact::Text(b)) => a.cmp(b),
        (Fact::Time(a), Fact::Time(b)) => a.cmp(b),
        (Fact::Number(a), Fact::Number(b)) => a.total_cmp(b),
        (Fact::Number(_), _) | (Fact::Text(_), Fact::Time(_)) => std::cmp::Ordering::Less,
        (_, Fact::Number(_)) | (Fact::Time(_), Fact::Text(_)) => std::cmp::Ordering::Greater,
    }
}

fn least(fact: usize) -> String {
    format!("least {fact}")
}

fn most(fact: usize) -> String {
    format!("most {fact}")
}

/// The least and the greatest of every fact, by panel.
fn group(
    files: &[FileRows],
    panel_of: &[Vec<usize>],
    codes: &Codes,
    facts: usize,
) -> PolarsResult<DataFrame> {
    let parts = panel_of.iter().map(Vec::len).sum();
    let mut panels: Vec<u32> = Vec::with_capacity(parts);
    let mut values: Vec<Vec<Option<f64>>> = vec![vec![None; parts]; facts];
    for (file, of) in files.iter().zip(panel_of) {
        for (part, panel) in file.panels.iter().zip(of) {
            let row = panels.len();
            panels.push(*panel as u32);
            for (own, (fact, _)) in file.facts.iter().enumerate() {
                if let Some(Some(at)) = part.facts.get(own) {
                    values[*fact][row] = codes.code(*fact, &at.fact);
                }
            }
        }
    }
    let mut columns = vec![Series::new(PlSmallStr::from_static("panel"), panels)];
    let mut wanted: Vec<Expr> = Vec::with_capacity(2 * facts);
    for (fact, values) in values.into_iter().enumerate() {
        let name = fact.to_string();
        columns.push(Series::new(PlSmallStr::from_str(&name), values));
        wanted.push(col(name.clone()).min().alias(least(fact)));
        wanted.push(col(name).max().alias(most(fact)));
    }
    DataFrame::new(parts, columns)?
        .lazy()
        .group_by([col("panel")])
        .agg(wanted)
        .sort(["panel"], Default::default())
        .collect()
}
