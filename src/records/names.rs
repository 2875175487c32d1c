//! The kinds of defect that occur, under one name each.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use super::DefectName;
use super::notes::{Note, Notes};
use super::parts::FileRows;
use crate::site::{Site, spelling_key};

/// One spelling: how often it is written, and the first file that has it.
type Spelling = (Arc<str>, usize, usize);

/// The kinds of defect: spellings that differ only in case, spaces and
/// hyphens are one.
pub(super) struct Names {
    pub names: Vec<DefectName>,
    index: HashMap<Arc<str>, usize>,
}

impl Names {
    pub(super) fn of(files: &[FileRows], site: &Site, notes: &mut Notes) -> Names {
        let mut count: BTreeMap<Arc<str>, (usize, usize)> = BTreeMap::new();
        for (file, rows) in files.iter().enumerate() {
            let mut times = vec![0usize; rows.names.len()];
            for at in rows.observations.iter().filter_map(|o| o.defect) {
                times[at.get() as usize - 1] += 1;
            }
            for (name, times) in rows.names.iter().zip(times).filter(|(_, n)| *n > 0) {
                count.entry(name.clone()).or_insert((0, file)).0 += times;
            }
        }
        let mut groups: BTreeMap<String, Vec<Spelling>> = BTreeMap::new();
        for (name, (times, file)) in count {
            groups
                .entry(spelling_key(&name))
                .or_default()
                .push((name, times, file));
        }
        let by_site: HashMap<String, &str> = site
            .defects
            .synonyms
            .keys()
            .chain(site.defects.classes.keys())
            .chain(site.defects.cost.keys())
            .map(|name| (spelling_key(name), name.as_str()))
            .collect();
        let mut chosen: Vec<(String, Vec<Spelling>)> = groups
            .into_iter()
            .map(|(key, spellings)| {
                let name = by_site.get(&key).map_or_else(
                    || {
                        spellings
                            .iter()
                            .max_by(|a, b| a.1.cmp(&b.1).then(b.0.cmp(&a.0)))
                            .map_or_else(String::new, |(name, _, _)| name.to_string())
                    },
                    |name| (*name).trim().to_owned(),
                );
                (name, spellings)
            })
            .collect();
        chosen.sort_by(|a, b| a.0.cmp(&b.0));
        let mut names = Names {
            names: Vec::new(),
            index: HashMap::new(),
        };
        for (at, (name, spellings)) in chosen.into_iter().enumerate() {
            for (spelling, _, file) in spellings {
                if *spelling != *name {
                    notes.add(
                        Note::Spelling(spelling.to_string(), name.clone()),
                        1,
                        &files[file].path,
                    );
                }
                names.index.insert(spelling, at);
            }
            names.names.push(DefectName {
                class: site.defects.class(&name),
                name,
            });
        }
        names
    }

    /// The index of each name of a file.
    pub(super) fn of_file(&self, rows: &FileRows) -> Vec<usize> {
        rows.names.iter().map(|name| self.index(name)).collect()
    }

    fn index(&self, name: &Arc<str>) -> usize {
        self.index.get(name).copied().unwrap_or(0)
    }
}
