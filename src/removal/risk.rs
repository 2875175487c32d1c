//! Defects against the recipe: counts per panel with area as exposure.

use std::collections::BTreeSet;
use std::sync::Arc;

use rayon::prelude::*;

use super::coding::Coding;
use super::design::Recipe;
use super::model::{Frame, Model, Observed};
use super::result::{Alias, Factor, Risk, Risked};
use super::setting::{Factors, Setting, level};
use crate::records::Records;
use crate::site::DefectClass;

/// Panels hit that a risk model needs at least, and panels inspected.
const LEAST_HIT: usize = 8;
const LEAST_PANELS: usize = 20;
/// A panel's count is cut at so many times the 95 % quantile of the counts of
/// panels hit, and never below the second number: one panel with hundreds of
/// marks is one bad panel, not hundreds of observations.
const CUT: (f64, f64) = (3.0, 5.0);

/// What all machines show together.
#[derive(Debug, Clone, Default)]
pub(super) struct Risks {
    /// Of classes, then of kinds.
    pub(super) risks: Vec<Risk>,
    /// The models behind the classes.
    pub(super) models: Vec<(DefectClass, Model)>,
    /// What could not be told apart.
    pub(super) aliases: Vec<Alias>,
}

/// What all risks are fitted to.
struct Inspected<'a> {
    records: &'a Records,
    settings: &'a [Setting],
    frame: Arc<Frame>,
    /// ln area, m².
    offset: Vec<f64>,
    confidence: f64,
}

impl Inspected<'_> {
    /// Counts of the defects picked, and how many panels' counts were cut.
    fn observe(&self, picked: impl Fn(usize) -> bool) -> (Observed<'_>, usize) {
        let panels = &self.frame.panels;
        let mut counts = vec![0.0; self.records.panels.len()];
        for defect in &self.records.defects {
            if picked(defect.name) {
                counts[defect.panel] += 1.0;
            }
        }
        let counts: Vec<f64> = panels.iter().map(|&p| counts[p]).collect();
        let (response, cut) = cut_off(&counts);
        let observed = Observed {
            panels,
            settings: self.settings,
            response,
            readings: Vec::new(),
            offset: self.offset.clone(),
        };
        (observed, cut)
    }

    /// Fits one risk; none where hits are too few or the fit does not settle.
    fn fit(&self, of: Risked) -> Option<(Risk, Model)> {
        let names = &self.records.defect_names;
        let picked = |name: usize| match &of {
            Risked::Class(class) => names[name].class == Some(*class),
            Risked::Defect(kind) => &names[name].name == kind,
        };
        let (observed, capped) = self.observe(picked);
        let panels_hit = observed.response.iter().filter(|c| **c > 0.0).count();
        if panels_hit < LEAST_HIT {
            return None;
        }
        let model = Model::fit(&self.frame, &observed, self.confidence).ok()?;
        let judge = model.inference();
        let p_values: Vec<f64> = model
            .recipe_columns()
            .into_iter()
            .filter_map(|(column, factor)| model.column(&judge, column, &factor).p_value)
            .collect();
        let smallest = p_values.iter().copied().fold(f64::INFINITY, f64::min);
        let class = match &of {
            Risked::Class(class) => Some(*class),
            Risked::Defect(kind) => names.iter().find(|n| &n.name == kind)?.class,
        };
        let panels = &self.records.panels;
        let risk = Risk {
            class,
            panels: observed.panels.len(),
            panels_hit,
            defects: (self.records.defects.iter())
                .filter(|d| picked(d.name) && panels[d.panel].inspected)
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
        Some((risk, model))
    }
}

/// Counts of panels, cut at the most that one may have, and how many were cut.
fn cut_off(counts: &[f64]) -> (Vec<f64>, usize) {
    let mut hit: Vec<f64> = counts.iter().copied().filter(|c| *c > 0.0).collect();
    hit.sort_by(f64::total_cmp);
    let most = hit
        .get((hit.len() * 95 / 100).min(hit.len().saturating_sub(1)))
        .map_or(f64::INFINITY, |q| (CUT.0 * q).max(CUT.1));
    let cut = counts.iter().filter(|c| **c > most).count();
    (counts.iter().map(|c| c.min(most)).collect(), cut)
}

/// Levels at which no panel or every panel was hit.
fn separated(model: &Model, observed: &Observed<'_>) -> Vec<(Factor, String)> {
    let mut found = Vec::new();
    for block in &model.frame.design.blocks {
        let Some(Coding::Levels { at, levels }) = block.coding() else {
            continue;
        };
        for name in levels {
            let rows = || {
                let used = model.frame.used().iter();
                used.filter(|&&i| level(&observed.setting(i)[*at]) == Some(name))
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
    settings: &[Setting],
    recipe: Recipe,
    confidence: f64,
) -> Risks {
    let panels: Vec<usize> = (0..records.panels.len())
        .filter(|&p| records.panels[p].inspected)
        .collect();
    let recipe = Recipe {
        per_area: true,
        ..recipe
    };
    if panels.len() < LEAST_PANELS {
        return Risks::default();
    }
    let Ok(frame) = Frame::new(records, factors, &panels, settings, recipe) else {
        return Risks::default();
    };
    let inspected = Inspected {
        records,
        settings,
        offset: (panels.iter())
            .map(|&p| records.panels[p].area_m2().ln())
            .collect(),
        frame: Arc::new(frame),
        confidence,
    };
    let names = &records.defect_names;
    let classes: BTreeSet<DefectClass> = names.iter().filter_map(|n| n.class).collect();
    let kinds = names.iter().map(|n| Risked::Defect(n.name.clone()));
    let all: Vec<Risked> = (classes.into_iter().map(Risked::Class))
        .chain(kinds)
        .collect();
    let fitted: Vec<(Risk, Option<Model>)> = (all.into_par_iter())
        .filter_map(|of| {
            let (risk, model) = inspected.fit(of)?;
            let keep = matches!(risk.of, Risked::Class(_));
            Some((risk, keep.then_some(model)))
        })
        .collect();
    let mut found = Risks::default();
    if !fitted.is_empty() {
        found.aliases.clone_from(&inspected.frame.design.aliases);
    }
    for (risk, model) in fitted {
        if let (Risked::Class(class), Some(model)) = (&risk.of, model) {
            found.models.push((*class, model));
        }
        found.risks.push(risk);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Thirty-nine panels with two marks and one with a hundred: cut at three times
    /// two.
    #[test]
    fn one_panel_with_hundreds_of_marks_is_one_bad_panel() {
        let mut counts = [2.0; 40];
        counts[39] = 100.0;
        let (response, cut) = cut_off(&counts);
        assert_eq!(cut, 1);
        assert_eq!(response[38..], [2.0, 6.0]);
    }
}
