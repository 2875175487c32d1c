//! Names, classes and cost of the kinds of defect.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::DefectClass;
use super::classes::usual_class;

/// `[defects]`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Defects {
    /// Words in `defect` that mean "no defect", besides a blank; case does not
    /// matter.
    pub none: Vec<String>,
    /// A name → other names for the same kind, which are read as it; case
    /// does not matter.
    pub synonyms: BTreeMap<String, Vec<String>>,
    /// A name → its class, where the usual one is not meant.
    pub classes: BTreeMap<String, DefectClass>,
    /// A name → what one panel with it costs, in `cost_unit`, ≥ 0.
    pub cost: BTreeMap<String, f64>,
    /// Unit of `cost`: a currency or `min`. Default `min`.
    pub cost_unit: String,
}

impl Default for Defects {
    fn default() -> Self {
        Self {
            none: ["none", "ok", "pass", "n/a", "na", "-", "no defect"]
                .map(String::from)
                .to_vec(),
            synonyms: BTreeMap::new(),
            classes: BTreeMap::new(),
            cost: BTreeMap::new(),
            cost_unit: "min".into(),
        }
    }
}

impl Defects {
    /// The class of a kind of defect: the site's, else the trade's usual one,
    /// else none.
    #[must_use]
    pub fn class(&self, name: &str) -> Option<DefectClass> {
        let key = spelling_key(name);
        self.classes
            .iter()
            .find(|(known, _)| spelling_key(known) == key)
            .map(|(_, class)| *class)
            .or_else(|| usual_class(name))
    }

    /// What one panel with that defect costs, in `cost_unit`.
    #[must_use]
    pub fn cost_of(&self, name: &str) -> Option<f64> {
        let key = spelling_key(name);
        self.cost
            .iter()
            .find(|(known, _)| spelling_key(known) == key)
            .map(|(_, cost)| *cost)
    }
}

/// What spellings of one name have in common: case, hyphens, underscores and
/// doubled spaces do not matter.
#[must_use]
pub(crate) fn spelling_key(name: &str) -> String {
    let mut key = String::with_capacity(name.len());
    for c in name.trim().chars().flat_map(char::to_lowercase) {
        let c = if matches!(c, '-' | '_') || c.is_whitespace() {
            ' '
        } else {
            c
        };
        if c == ' ' && key.ends_with(' ') {
            continue;
        }
        key.push(c);
    }
    key
}
