//! The recipe: its name, its factors, and the sanding they do together.
//!
//! By Preston's law (1927, J. Soc. Glass Technology 11, 214) the removal goes
//! with force · passes / feed, so too much removed rises with it and too little
//! falls: one degree of freedom whose direction is known, also where the factors
//! were never moved apart.

use std::collections::{BTreeMap, BTreeSet};

use super::{Recorded, Rows, text};
use crate::causes::Rival;
use crate::duel::{Toward, in_order, stretches};
use crate::records::{FactorValue, Panel};
use crate::site::DefectClass;

type Setting = fn(&Panel) -> Option<f64>;

/// The law's factors with their exponents.
const LAW: [(Rival, Setting, f64); 3] = [
    (Rival::Feed, |p| p.feed_mm_s, -1.0),
    (Rival::Passes, |p| p.passes, 1.0),
    (Rival::Force, |p| p.force_n, 1.0),
];

pub(super) fn contenders(rows: &Rows<'_>) -> Vec<Recorded> {
    let cells = rows.cells();
    let numbers = |rival: Rival, scores: Vec<Option<f64>>| {
        let units = (stretches(&scores, &cells), cells.clone());
        let mut all = Recorded::numbers(rival, scores, units, Toward::Either);
        all.contender.by_neighbours = true;
        all
    };
    let words =
        |rival, values: Vec<Option<String>>| Recorded::in_stretches(rival, &values, cells.clone());
    let mut found = Vec::new();
    let logs: Vec<Vec<Option<f64>>> = (LAW.iter())
        .map(|(_, of, exponent)| {
            rows.each(|p| of(p).filter(|v| *v > 0.0).map(|v| exponent * v.ln()))
        })
        .collect();
    let varying: Vec<usize> = (0..LAW.len()).filter(|&k| differs(&logs[k])).collect();
    if varying.len() > 1 {
        let done = (0..cells.len())
            .map(|at| varying.iter().map(|&k| logs[k][at]).sum())
            .collect();
        found.push(numbers(Rival::SandingDone, done));
    }
    for &k in &varying {
        found.push(numbers(LAW[k].0.clone(), logs[k].clone()));
    }
    let grits = rows.each(|p| Some(p.grit.as_ref()?.label.clone()));
    found.push(words(Rival::Grit, grits));
    for (index, name) in rows.records.factor_names.iter().enumerate() {
        let value = |p: &Panel| p.factors.get(index).cloned().flatten();
        let rival = Rival::Factor(name.clone());
        let scores = rows.each(|p| match value(p) {
            Some(FactorValue::Number(v)) => Some(v),
            _ => None,
        });
        if differs(&scores) {
            found.push(numbers(rival, scores));
        } else {
            let texts = rows.each(|p| match value(p) {
                Some(FactorValue::Text(t)) => Some(t.to_string()),
                _ => None,
            });
            found.push(words(rival, texts));
        }
    }
    let names = rows.each(|p| text(&p.recipe));
    let settings = rows.each(|p| {
        let numbers = [p.feed_mm_s, p.passes, p.force_n].map(|v| v.map(f64::to_bits));
        (numbers, p.grit.as_ref().map(|g| &g.label))
    });
    if !told_by(&names, &in_order(settings)) {
        found.push(words(Rival::Recipe, names));
    }
    found
}

/// The way in which a kind goes with the law's factors, by the trade's law.
pub(super) fn toward(rival: &Rival, class: Option<DefectClass>) -> Option<Toward> {
    let sanding = *rival == Rival::SandingDone || LAW.iter().any(|(of, ..)| of == rival);
    match class {
        Some(DefectClass::Over) if sanding => Some(Toward::Rises),
        Some(DefectClass::Under) if sanding => Some(Toward::Falls),
        _ => None,
    }
}

/// Whether a recipe's name says no more than its settings: those that came again
/// had one name each.
fn told_by(names: &[Option<String>], settings: &[usize]) -> bool {
    let mut of: BTreeMap<usize, (usize, BTreeSet<&str>)> = BTreeMap::new();
    for (name, setting) in names.iter().zip(settings) {
        let Some(name) = name else { continue };
        let (panels, names) = of.entry(*setting).or_default();
        *panels += 1;
        names.insert(name);
    }
    let again = of.values().filter(|s| s.0 > 1);
    let panels: usize = again.clone().map(|s| s.0).sum();
    let several = of.values().any(|s| s.1.len() > 1);
    let known = names.iter().flatten().count();
    2 * panels > known && !several && again.count() > 1
}

fn differs(values: &[Option<f64>]) -> bool {
    let mut known = values.iter().flatten();
    let first = known.next();
    known.any(|v| Some(v) != first)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(of: &[&str]) -> Vec<Option<String>> {
        of.iter().map(|n| Some((*n).to_owned())).collect()
    }

    #[test]
    fn a_name_that_settings_tell_is_no_rival_of_its_own() {
        let two = names(&["A", "B", "A", "B", "A", "B"]);
        assert!(told_by(&two, &[0, 1, 0, 1, 0, 1]));
        // one setting, two names
        assert!(!told_by(&two, &[0, 0, 0, 0, 0, 0]));
        // settings that go their own way
        assert!(!told_by(&two, &[0, 0, 1, 1, 0, 1]));
        // measured settings, none of which comes twice
        assert!(!told_by(&two, &[0, 1, 2, 3, 4, 5]));
    }
}
