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
        let key = name.trim().to_lowercase();
        self.classes
            .iter()
            .find(|(known, _)| known.trim().to_lowercase() == key)
            .map(|(_, class)| *class)
            .or_else(|| usual_class(name))
    }

    /// What one panel with that defect costs, in `cost_unit`.
    #[must_use]
    pub fn cost_of(&self, name: &str) -> Option<f64> {
        let key = name.trim().to_lowercase();
        self.cost
            .iter()
            .find(|(known, _)| known.trim().to_lowercase() == key)
            .map(|(_, cost)| *cost)
    }
}
