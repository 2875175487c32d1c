//! Names, classes and cost of the kinds of defect.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::DefectClass;
use super::classes::usual_class;

/// `[defects]`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Defects {
    /// Words in `defect` that mean "no defect", besides a blank; case, dots and
    /// spaces do not matter. Unless they are named here, phrases such as "no
    /// defects" or "keine Fehler" mean it too.
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

/// What means "no defect" in English, German, French, Spanish and Italian
/// exports (common practice, no source), and what programs write for nothing.
const NONE: [&str; 40] = [
    "none",
    "ok",
    "okay",
    "pass",
    "passed",
    "good",
    "clean",
    "nothing",
    "n/a",
    "na",
    "nan",
    "null",
    "nil",
    "#n/a",
    "-",
    "--",
    "–",
    "—",
    "no defect",
    "i.o.",
    "in ordnung",
    "gut",
    "kein",
    "keine",
    "keiner",
    "fehlerfrei",
    "ohne befund",
    "o.b.",
    "aucun",
    "aucune",
    "rien",
    "néant",
    "bon",
    "conforme",
    "ninguno",
    "ninguna",
    "bueno",
    "nessuno",
    "nessuna",
    "buono",
];

/// What words and phrases have in common that mean the same: letters and
/// digits in lower case, where there are any.
pub(crate) fn bare_word(text: &str) -> String {
    let bare: String = text
        .chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect();
    if bare.is_empty() {
        text.trim().to_owned()
    } else {
        bare
    }
}

/// Whether a bare word says that there is no defect: "keinefehler".
pub(crate) fn says_none(bare: &str) -> bool {
    const NO: [&str; 16] = [
        "no", "without", "zero", "kein", "keine", "ohne", "sans", "aucun", "pasde", "sin",
        "ningun", "ningún", "senza", "nessun", "nessuno", "not",
    ];
    const DEFECT: [&str; 19] = [
        "defect", "fault", "flaw", "issue", "finding", "fehler", "mangel", "mängel", "maengel",
        "befund", "defekt", "defekte", "défaut", "defaut", "defecto", "fallo", "difetto",
        "difetti", "anomalie",
    ];
    const SEEN: [&str; 5] = ["found", "seen", "detected", "gefunden", "erkannt"];
    let rests = NO.iter().filter_map(|no| bare.strip_prefix(no));
    let mut plain = rests.map(|rest| {
        let rest = SEEN
            .iter()
            .find_map(|seen| rest.strip_suffix(seen))
            .unwrap_or(rest);
        rest.strip_suffix('s').unwrap_or(rest)
    });
    plain.any(|rest| DEFECT.contains(&rest))
}

impl Default for Defects {
    fn default() -> Self {
        Self {
            none: NONE.map(String::from).to_vec(),
            synonyms: BTreeMap::new(),
            classes: BTreeMap::new(),
            cost: BTreeMap::new(),
            cost_unit: "min".into(),
        }
    }
}

impl Defects {
    /// Whether the usual words and phrases mean "no defect".
    pub(crate) fn has_usual_none(&self) -> bool {
        self.none == NONE
    }

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_defect_in_other_words() {
        for none in [
            "keine Fehler",
            "No defects",
            "no defect found",
            "sans défaut",
            "aucun defaut",
            "pas de défaut",
            "sin defectos",
            "nessun difetto",
            "ohne Befund",
        ] {
            assert!(says_none(&bare_word(none)), "{none}");
        }
        for kind in ["nozzle defect", "defect", "ohne", "fehlerkeine", "no paint"] {
            assert!(!says_none(&bare_word(kind)), "{kind}");
        }
        assert_eq!(bare_word(" i. O."), "io");
        assert_eq!(bare_word(" -- "), "--");
    }
}
