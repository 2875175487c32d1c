//! Defects against the recipe: counts per panel with area as exposure.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::coding::Coding;
use super::design::Recipe;
use super::model::{Model, Observed};
use super::result::{Factor, Risk, Risked, StreamRisk, Unit};
use super::setting::{Factors, cell, level};
use crate::records::Records;
use crate::site::DefectClass;

/// Panels hit that a risk model needs at least, and panels inspected.
const LEAST_HIT: usize = 8;
const LEAST_PANELS: usize = 20;
/// A panel's count is cut at so many times the 95 % quantile of the counts of
/// panels hit, and never below the second number: one panel with hundreds of
/// marks is one bad panel, not hundreds of observations.
const CUT: (f64, f64) = (3.0, 5.0);
/// A stream counts towards what all machines show together only if it shows
/// the same by itself at this level.
const OWN_SHARE: f64 = 0.05;

/// A fitted risk with the model behind it.
#[derive(Debug, Clone)]
pub(super) struct Fitted {
    pub(super) risk: Risk,
    pub(super) model: Model,
    /// p-value and factor of every recipe column, by column.
    columns: Vec<(Factor, f64, f64)>,
}

/// What all machines and each stream show.
#[derive(Debug, Clone, Default)]
pub(super) struct Risks {
    pub(super) classes: Vec<Fitted>,
    pub(super) kinds: Vec<Fitted>,
    pub(super) streams: Vec<StreamRisk>,
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
            .map(|&p| factors.setting(&records.panels[p]))
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
    let columns: Vec<(Factor, f64, f64)> = model
        .recipe_columns()
        .into_iter()
        .filter_map(|(column, factor)| {
            let judged = model.column(&judge, column, &factor);
            Some((factor, judged.p_value?, judged.estimate))
        })
        .collect();
    let smallest = columns.iter().map(|c| c.1).fold(f64::INFINITY, f64::min);
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
        p_value: (!columns.is_empty()).then(|| (smallest * columns.len() as f64).min(1.0)),
        dispersion: model.fit.scale,
        extra: model.fit.mix,
        separated: separated(&model, &observed),
        capped_panels: capped,
        of,
    };
    drop(judge);
    Some(Fitted {
        risk,
        model,
        columns,
    })
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

/// Fits every class, every kind and every stream that has enough hits.
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
    let mut cells: BTreeMap<Option<Arc<str>>, Vec<usize>> = BTreeMap::new();
    for &p in &inspected {
        cells.entry(cell(&records.panels[p])).or_default().push(p);
    }
    let streams = streams(records, &cells, &kinds, &one);
    Risks {
        classes,
        kinds,
        streams,
    }
}

/// Every stream's own test, helped by what all machines show together.
fn streams(
    records: &Records,
    cells: &BTreeMap<Option<Arc<str>>, Vec<usize>>,
    kinds: &[Fitted],
    one: &dyn Fn(&[usize], Risked) -> Option<Fitted>,
) -> Vec<StreamRisk> {
    struct Tested {
        stream: StreamRisk,
        own: f64,
        together: Option<f64>,
    }
    let mut tested = Vec::new();
    let tests_of_kinds = kinds.len() as f64;
    for kind in kinds {
        let Risked::Defect(defect) = &kind.risk.of else {
            continue;
        };
        for panels in cells.values() {
            let alone = cells.len() == 1;
            let fitted = if alone {
                Some(kind.clone())
            } else {
                one(panels, kind.risk.of.clone())
            };
            let Some(fitted) = fitted else { continue };
            let Some(own) = fitted.risk.p_value else {
                continue;
            };
            let movers = movers(&fitted);
            if movers.is_empty() {
                continue;
            }
            // All machines together, where this one agrees on the same factor.
            let together = strongest_agreeing(kind, &fitted).filter(|_| !alone);
            let first = &records.panels[panels[0]];
            tested.push(Tested {
                stream: StreamRisk {
                    machine: first.machine.as_deref().map(str::to_owned),
                    head: first.head.as_deref().map(str::to_owned),
                    defect: defect.clone(),
                    factors: movers,
                    runs: fitted
                        .model
                        .groupings
                        .iter()
                        .find(|g| g.unit == Unit::Run)
                        .map_or(0, |g| g.count),
                    p_adjusted: 1.0,
                },
                own,
                together,
            });
        }
    }
    let tests = tested.len() as f64;
    tested
        .into_iter()
        .map(|t| {
            let p = match t.together {
                None if cells.len() == 1 => t.own * tests,
                None => 2.0 * t.own * tests,
                Some(together) => 2.0 * (t.own * tests).min(together * tests_of_kinds),
            };
            StreamRisk {
                p_adjusted: p.min(1.0),
                ..t.stream
            }
        })
        .collect()
}

fn strongest(columns: &[(Factor, f64, f64)]) -> Option<&(Factor, f64, f64)> {
    columns.iter().min_by(|a, b| a.1.total_cmp(&b.1))
}

/// The pooled p-value, if the stream by itself shows the pooled model's
/// strongest factor in the same direction.
fn strongest_agreeing(pooled: &Fitted, own: &Fitted) -> Option<f64> {
    let lead = strongest(&pooled.columns)?;
    let agrees = own
        .columns
        .iter()
        .any(|c| c.0 == lead.0 && c.2.signum() == lead.2.signum() && c.1 / 2.0 <= OWN_SHARE);
    pooled.risk.p_value.filter(|_| agrees)
}

/// The strongest factor, and any other that by itself passes over all terms.
fn movers(fitted: &Fitted) -> Vec<Factor> {
    let mut columns: Vec<&(Factor, f64, f64)> = fitted.columns.iter().collect();
    columns.sort_by(|a, b| a.1.total_cmp(&b.1));
    let tests = columns.len() as f64;
    let mut found: Vec<Factor> = Vec::new();
    for (index, (factor, p, _)) in columns.into_iter().enumerate() {
        if (index == 0 || p * tests <= OWN_SHARE) && !found.contains(factor) {
            found.push(factor.clone());
        }
    }
    found
}
