//! Joining what the files say about a panel: the facts by panel, and where
//! they disagree.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

use super::parts::{Cells, Fact, FactAt, FileRows};

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

/// What all files together say about the panels.
#[derive(Debug, Default)]
pub(super) struct Joined {
    /// Ids, in the order met.
    pub ids: Vec<Arc<str>>,
    /// For every panel, what was said of the facts that any file holds.
    facts: Cells<Fact>,
    /// Where each fact stands there.
    slots: Vec<Option<usize>>,
    /// By panel, ordered by fact.
    pub disputes: BTreeMap<usize, Vec<Dispute>>,
    /// For every file, the panel of each of its `FileRows::panels`.
    pub panel_of: Vec<Vec<usize>>,
    /// Where a run sheet says otherwise than the other files.
    pub departures: Vec<Change>,
    /// What files say that are no run sheets; empty where there is no run sheet.
    done: Option<Cells<Fact>>,
}

/// A fact of a panel that was planned otherwise.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Change {
    /// Which panel.
    pub panel: usize,
    /// Which fact.
    pub fact: usize,
    /// As planned.
    pub planned: Fact,
    /// As it was.
    pub done: Fact,
}

/// Joins the files; `facts` is the number of facts there are. Of values that
/// agree, as numbers do that differ by the rounding of a conversion, the least
/// is kept, so that the order of files does not matter. What a run sheet says
/// holds where no other file speaks.
pub(super) fn join(files: &mut [FileRows], facts: usize) -> Joined {
    let mut joined = Joined {
        slots: vec![None; facts],
        ..Joined::default()
    };
    let held: BTreeSet<usize> = (files.iter())
        .flat_map(|file| file.facts.iter().map(|(fact, _)| *fact))
        .collect();
    joined.facts = Cells::of_width(held.len());
    for (slot, fact) in held.into_iter().enumerate() {
        joined.slots[fact] = Some(slot);
    }
    let mut index: HashMap<Arc<str>, usize> = HashMap::new();
    for file in files.iter() {
        let mut of = Vec::with_capacity(file.panels.len());
        for part in &file.panels {
            let panel = *index.entry(part.id.clone()).or_insert_with(|| {
                joined.ids.push(part.id.clone());
                joined.facts.push();
                joined.ids.len() - 1
            });
            of.push(panel);
        }
        joined.panel_of.push(of);
    }
    // The greatest of each fact, where it is not the least.
    let mut greatest: HashMap<(usize, usize), Fact> = HashMap::new();
    for (at, file) in files.iter().enumerate().filter(|(_, f)| !f.is_sheet) {
        joined.add(file, at, &mut greatest);
    }
    if files.iter().any(|file| file.is_sheet) {
        joined.done = Some(joined.facts.clone());
    }
    for (at, file) in files.iter().enumerate().filter(|(_, f)| f.is_sheet) {
        joined.add(file, at, &mut greatest);
    }
    let mut at_odds: Vec<usize> = greatest
        .into_iter()
        .filter(|((panel, fact), most)| {
            (joined.fact(*panel, *fact)).is_some_and(|least| !least.agrees(most))
        })
        .map(|((panel, _), _)| panel)
        .collect();
    at_odds.sort_unstable();
    for panel in at_odds {
        joined.disputes.entry(panel).or_default();
    }
    joined.find_places(files, facts);
    for file in files {
        file.said = Cells::default();
    }
    joined
}

impl Joined {
    /// What was said, before [`Self::forget_facts`].
    pub(super) fn fact(&self, panel: usize, fact: usize) -> Option<&Fact> {
        self.facts.row(panel)[self.slots[fact]?].as_ref()
    }

    /// Gives back the room that the facts take.
    pub(super) fn forget_facts(&mut self) {
        self.facts = Cells::default();
        self.done = None;
    }

    /// Takes in what one file says.
    fn add(&mut self, file: &FileRows, at: usize, greatest: &mut HashMap<(usize, usize), Fact>) {
        for (part, &panel) in self.panel_of[at].iter().enumerate() {
            for ((fact, _), at) in file.facts.iter().zip(file.said.row(part)) {
                let Some(FactAt { fact: value, .. }) = at else {
                    continue;
                };
                let Some(slot) = self.slots[*fact] else {
                    continue;
                };
                let planned_only = is_done(self.done.as_ref(), panel, slot);
                let least = &mut self.facts.row_mut(panel)[slot];
                match least {
                    None => *least = Some(value.clone()),
                    Some(known) if order(value, known).is_eq() => {}
                    Some(known) if planned_only => {
                        if !known.agrees(value) {
                            self.departures.push(Change {
                                panel,
                                fact: *fact,
                                planned: value.clone(),
                                done: known.clone(),
                            });
                        }
                    }
                    Some(known) => {
                        let most = greatest
                            .entry((panel, *fact))
                            .or_insert_with(|| known.clone());
                        if order(value, most).is_gt() {
                            *most = value.clone();
                        }
                        if order(value, known).is_lt() {
                            *known = value.clone();
                        }
                    }
                }
            }
        }
    }

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
        let done = &self.done;
        for (file, rows) in files.iter().enumerate() {
            for (part, panel) in self.panel_of[file].iter().enumerate() {
                let Some(disputes) = self.disputes.get_mut(panel) else {
                    continue;
                };
                for (own, (fact, _)) in rows.facts.iter().enumerate() {
                    let (Some(at), Some(slot)) = (&rows.said.row(part)[own], self.slots[*fact])
                    else {
                        continue;
                    };
                    if rows.is_sheet && is_done(done.as_ref(), *panel, slot) {
                        continue;
                    }
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

/// Whether a file that is no run sheet says it.
fn is_done(done: Option<&Cells<Fact>>, panel: usize, slot: usize) -> bool {
    done.is_some_and(|done| done.row(panel)[slot].is_some())
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
