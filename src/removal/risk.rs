//! Defects against the recipe: counts per panel with area as exposure.

use std::collections::BTreeMap;

use super::coding::Coding;
use super::design::Recipe;
use super::model::{Model, Observed};
use super::result::{Factor, Risk, Risked};
use super::setting::{Factors, level};
use crate::records::Records;
use crate::site::DefectClass;

/// Panels hit that a risk model needs at least, and panels inspected.
const LEAST_HIT: usize = 8;
const LEAST_PANELS: usize = 20;
/// A panel's count is cut at so many times the 95 % quantile of the counts of
/// panels hit, and never below the second number: one panel with hundreds of
/// marks is one bad panel, not hundreds of observations.
const CUT: (f64, f64) = (3.0, 5.0);

/// A fitted risk with the model behind it.
#[derive(Debug, Clone)]
pub(super) struct Fitted {
    pub(super) risk: Risk,
    pub(super) model: Model,
}

/// What all machines show together.
#[derive(Debug, Clone, Default)]
pub(super) struct Risks {
    pub(super) classes: Vec<Fitted>,
    pub(super) kinds: Vec<Fitted>,
}

/// Counts of the defects picked, on the inspected panels picked.
fn observe(
    records: &Records,
    factors: &Factors,
    panels: &[usize],
    picked: impl Fn(usize) -> bool,
) -> (Observed, usize) {
    let mut counts = vec![0.0; records.panels.len()];
    for defect in &records.defects {
        if picked(defect.name) {
            counts[defect.panel] += 1.0;
        }
    }
    let mut hit: Vec<f64> = panels
        .iter()
        .map(|&p| counts[p])
        .filter(|c| *c > 0.0)
        .collect();
    hit.sort_by(f64::total_cmp);
    let most = hit
        .get((hit.len() * 95 / 100).min(hit.len().saturating_sub(1)))
        .map_or(f64::INFINITY, |q| (CUT.0 * q).max(CUT.1));
    let capped = panels.iter().filter(|&&p| counts[p] > most).count();
    let observed = Observed {
        panels: panels.to_vec(),
        settings: panels
            .iter()
            .map(|&p| factors.setting_per_area(&records.panels[p]))
            .collect(),
        response: panels.iter().map(|&p| counts[p].min(most)).collect(),
        readings: Vec::new(),
        offset: panels
            .iter()
            .map(|&p| records.panels[p].area_m2().ln())
            .collect(),
    };
    (observed, capped)
}

/// Fits one risk; none where hits are too few or nothing varies.
fn fit(
    records: &Records,
    factors: &Factors,
    panels: &[usize],
    of: Risked,
    recipe: Recipe,
    confidence: f64,
) -> Option<Fitted> {
    let picked = |name: usize| match &of {
        Risked::Class(class) => records.defect_names[name].class == Some(*class),
        Risked::Defect(kind) => &records.defect_names[name].name == kind,
    };
    let (observed, capped) = observe(records, factors, panels, picked);
    let panels_hit = observed.response.iter().filter(|c| **c > 0.0).count();
    if panels_hit < LEAST_HIT || panels.len() < LEAST_PANELS {
        return None;
    }
    let model = Model::fit(records, factors, &observed, recipe, &[], confidence).ok()?;
    let judge = model.inference();
    let p_values: Vec<f64> = model
        .recipe_columns()
        .into_iter()
        .filter_map(|(column, factor)| model.column(&judge, column, &factor).p_value)
        .collect();
    let smallest = p_values.iter().copied().fold(f64::INFINITY, f64::min);
    let class = match &of {
        Risked::Class(class) => Some(*class),
        Risked::Defect(kind) => records
            .defect_names
            .iter()
            .find(|n| &n.name == kind)
            .and_then(|n| n.class),
    };
    let risk = Risk {
        class,
        panels: panels.len(),
        panels_hit,
        defects: records
            .defects
            .iter()
            .filter(|d| picked(d.name) && records.panels[d.panel].inspected)
            .count(),
        terms: model.terms(&judge),
        p_value: (!p_values.is_empty()).then(|| (smallest * p_values.len() as f64).min(1.0)),
        dispersion: model.fit.scale,
        extra: model.fit.mix,
        separated: separated(&model, &observed),
        capped_panels: capped,
        of,
    };
    drop(judge);
    Some(Fitted { risk, model })
}

/// Levels at which no panel or every panel was hit.
fn separated(model: &Model, observed: &Observed) -> Vec<(Factor, String)> {
    let mut found = Vec::new();
    for block in &model.design.blocks {
        let Some(Coding::Levels { at, levels }) = block.coding() else {
            continue;
        };
        for name in levels {
            let rows = || {
                model
                    .used
                    .iter()
                    .filter(|&&i| level(&observed.settings[i][*at]) == Some(name))
            };
            let hit = rows().filter(|&&i| observed.response[i] > 0.0).count();
            if hit == 0 || hit == rows().count() {
                found.push((block.factors[0].clone(), name.clone()));
            }
        }
    }
    found
}

/// Fits every class and every kind that has enough hits.
pub(super) fn fit_all(
    records: &Records,
    factors: &Factors,
    recipe: Recipe,
    confidence: f64,
) -> Risks {
    let inspected: Vec<usize> = (0..records.panels.len())
        .filter(|&p| records.panels[p].inspected)
        .collect();
    let one = |panels: &[usize], of: Risked| fit(records, factors, panels, of, recipe, confidence);
    let mut kinds_of_class: BTreeMap<DefectClass, usize> = BTreeMap::new();
    for name in &records.defect_names {
        if let Some(class) = name.class {
            *kinds_of_class.entry(class).or_default() += 1;
        }
    }
    let classes = kinds_of_class
        .keys()
        .filter_map(|&class| one(&inspected, Risked::Class(class)))
        .collect();
    let kinds: Vec<Fitted> = records
        .defect_names
        .iter()
        .filter_map(|n| one(&inspected, Risked::Defect(n.name.clone())))
        .collect();
    Risks { classes, kinds }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::{Defect, DefectName, Panel};

    /// Thirty-nine panels with two marks and one with a hundred: cut at three times
    /// two.
    #[test]
    fn one_panel_with_hundreds_of_marks_is_one_bad_panel() {
        let mark = |panel: usize| Defect {
            panel,
            name: 0,
            place: None,
            written: None,
            area_mm2: None,
            severity: None,
        };
        let marks = |panel: usize| vec![mark(panel); if panel == 39 { 100 } else { 2 }];
        let records = Records {
            panels: vec![
                Panel {
                    length_mm: 1000.0,
                    width_mm: 1000.0,
                    ..Panel::default()
                };
                40
            ],
            defects: (0..40).flat_map(marks).collect(),
            defect_names: vec![DefectName {
                name: "scratch".into(),
                class: None,
            }],
            ..Records::default()
        };
        let panels: Vec<usize> = (0..40).collect();
        let (observed, cut) = observe(&records, &Factors::of(&records), &panels, |_| true);
        assert_eq!(cut, 1);
        assert_eq!(observed.response[38..], [2.0, 6.0]);
    }
}
