//! A sheet that came back: how it was run, and what its contrasts show.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::Serialize;

use super::contrast::{Given, read};
use super::turned::{Place, Turned, turned};
use crate::change::Source;
use crate::columns::Column;
use crate::duel::{Toward, stretches};
use crate::records::{Departure, Panel, Records};
use crate::stats::multiplicity::holm;

/// A plan as it was run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadBack {
    /// Its id.
    pub plan: String,
    /// Runs of the sheet.
    pub runs: usize,
    /// Runs that have a panel with results.
    pub done: usize,
    /// Runs without a panel.
    pub missing: Vec<u32>,
    /// Runs whose panel was not yet inspected or measured.
    pub without_result: Vec<u32>,
    /// Runs sanded out of their order.
    pub out_of_order: Vec<u32>,
    /// Settings that were not as planned.
    pub departures: Vec<Departure>,
    /// Settings of two levels that met inside blocks, against each defect.
    pub shown: Vec<Shown>,
    /// Places of the report, where panels lay differently inside blocks.
    pub turned: Vec<Turned>,
}

/// A defect against a setting of two levels.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Shown {
    /// The machine and head, where the plan was run on several.
    pub cell: Option<String>,
    /// The setting.
    pub column: String,
    /// Its levels.
    pub levels: [String; 2],
    /// The defect.
    pub defect: String,
    /// Panels at each level.
    pub panels: [usize; 2],
    /// Panels with the defect at each level.
    pub hit: [usize; 2],
    /// p of "the setting makes no difference", two-sided, adjusted (Holm) for all
    /// settings and defects of the plan.
    pub p_adjusted: f64,
}

/// Most levels and least panels of a contrast.
const LEVELS: usize = 2;
const LEAST_PANELS: usize = 4;

/// Reads all plans back that the records name, in the order of their ids; `places`
/// are those of the report's findings.
#[must_use]
pub fn read_back(records: &Records, places: &[Place]) -> Vec<ReadBack> {
    let mut plans: BTreeMap<Arc<str>, Vec<usize>> = BTreeMap::new();
    for (at, panel) in records.panels.iter().enumerate() {
        if let Some(run) = &panel.planned {
            plans.entry(run.plan.clone()).or_default().push(at);
        }
    }
    for run in &records.unrun {
        plans.entry(run.plan.clone()).or_default();
    }
    (plans.iter())
        .map(|(plan, rows)| one(records, plan, rows, places))
        .collect()
}

fn run_of(panel: &Panel) -> u32 {
    panel.planned.as_ref().map_or(0, |run| run.run)
}

/// The block of a plan in which a panel was run.
pub(super) fn block_of(panel: &Panel) -> usize {
    let block = panel.planned.as_ref().and_then(|run| run.block);
    block.unwrap_or(1) as usize
}

fn one(records: &Records, plan: &Arc<str>, rows: &[usize], places: &[Place]) -> ReadBack {
    let panels: Vec<&Panel> = rows.iter().map(|at| &records.panels[*at]).collect();
    let have: BTreeSet<u32> = panels.iter().map(|p| run_of(p)).collect();
    let blank = records
        .unrun
        .iter()
        .filter(|r| r.plan == *plan)
        .map(|r| r.run);
    let last = have.iter().copied().chain(blank).max().unwrap_or(0);
    let measured: BTreeSet<usize> = records.readings.iter().map(|r| r.panel).collect();
    let without_result: Vec<u32> = (rows.iter())
        .filter(|at| !records.panels[**at].inspected && !measured.contains(at))
        .map(|at| run_of(&records.panels[*at]))
        .collect();
    let ids: BTreeSet<&str> = panels.iter().map(|p| p.id.as_str()).collect();
    ReadBack {
        plan: plan.to_string(),
        runs: last as usize,
        done: have.len().saturating_sub(without_result.len()),
        missing: (1..=last).filter(|run| !have.contains(run)).collect(),
        out_of_order: out_of_order(&panels),
        departures: (records.departures.iter())
            .filter(|d| ids.contains(d.panel.as_str()))
            .cloned()
            .collect(),
        shown: shown(records, rows),
        turned: turned(records, rows, places),
        without_result,
    }
}

/// The fewest runs without which the others were sanded in their order; panels of
/// one moment are in any order.
fn out_of_order(panels: &[&Panel]) -> Vec<u32> {
    let mut timed: Vec<(jiff::Timestamp, u32)> = panels
        .iter()
        .filter_map(|p| Some((p.sanded_at?.instant, run_of(p))))
        .collect();
    timed.sort_unstable();
    // The longest rising run, by the last place of the best one that ends there.
    let mut best: Vec<(usize, Option<usize>)> = Vec::with_capacity(timed.len());
    for (at, (_, run)) in timed.iter().enumerate() {
        let before = (0..at)
            .filter(|b| timed[*b].1 < *run)
            .max_by_key(|b| best[*b].0);
        best.push((1 + before.map_or(0, |b| best[b].0), before));
    }
    let mut kept = BTreeSet::new();
    let mut next = (0..timed.len()).max_by_key(|at| best[*at].0);
    while let Some(at) = next {
        kept.insert(timed[at].1);
        next = best[at].1;
    }
    let mut out: Vec<u32> = timed
        .iter()
        .map(|t| t.1)
        .filter(|r| !kept.contains(r))
        .collect();
    out.sort_unstable();
    out
}

/// Columns that may have been a plan's contrast; the site's factors may too.
const CONTRASTS: [Column; 13] = [
    Column::Machine,
    Column::Head,
    Column::Fixture,
    Column::Recipe,
    Column::FeedMmS,
    Column::Passes,
    Column::ForceN,
    Column::Grit,
    Column::AbrasiveId,
    Column::Inspector,
    Column::Lot,
    Column::Supplier,
    Column::Part,
];

/// Every defect against every setting of two levels, inside blocks, stretches of one
/// setting exchanged as wholes; cell by cell where each block has its own.
fn shown(records: &Records, rows: &[usize]) -> Vec<Shown> {
    let mut rows: Vec<usize> = rows
        .iter()
        .copied()
        .filter(|at| records.panels[*at].inspected)
        .collect();
    rows.sort_by_key(|at| run_of(&records.panels[*at]));
    let cell_of = |at: &usize| {
        let panel = &records.panels[*at];
        let names = panel.machine.iter().chain(&panel.head);
        names.map(AsRef::as_ref).collect::<Vec<&str>>().join(" ")
    };
    let mut cells: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    let mut cell_of_block: BTreeMap<usize, String> = BTreeMap::new();
    let mut apart = true;
    for at in &rows {
        let cell = cell_of(at);
        let of_block = cell_of_block.entry(block_of(&records.panels[*at]));
        apart &= *of_block.or_insert_with(|| cell.clone()) == cell;
        cells.entry(cell).or_default().push(*at);
    }
    let mut out = Vec::new();
    if apart && cells.len() > 1 {
        for (cell, rows) in &cells {
            contrasts(records, rows, Some(cell), &mut out);
        }
    } else {
        contrasts(records, &rows, None, &mut out);
    }
    let p_values: Vec<f64> = out.iter().map(|s| s.p_adjusted).collect();
    for (shown, p) in out.iter_mut().zip(holm(&p_values)) {
        shown.p_adjusted = p;
    }
    out
}

fn contrasts(records: &Records, rows: &[usize], cell: Option<&String>, out: &mut Vec<Shown>) {
    if rows.len() < LEAST_PANELS {
        return;
    }
    let panel = |at: usize| &records.panels[rows[at]];
    let blocks: Vec<usize> = (0..rows.len()).map(|at| block_of(panel(at))).collect();
    let columns = CONTRASTS.iter().map(|c| c.name());
    for column in columns.chain(records.factor_names.iter().map(String::as_str)) {
        let Ok(source) = Source::find(records, column) else {
            continue;
        };
        let values: Vec<Option<String>> =
            (0..rows.len()).map(|at| source.value(panel(at))).collect();
        let levels: BTreeSet<&String> = values.iter().flatten().collect();
        if levels.len() != LEVELS {
            continue;
        }
        let names: Vec<&String> = levels.into_iter().collect();
        let coded: Vec<Option<usize>> = (values.iter())
            .map(|v| Some(usize::from(v.as_ref()? == names[1])))
            .collect();
        // Given panel by panel, or in stretches: as it was run.
        let units: BTreeSet<usize> = stretches(&coded, &blocks).into_iter().collect();
        let given = if 3 * units.len() >= rows.len() {
            Given::Singly
        } else {
            Given::InStretches
        };
        for (name, defect) in records.defect_names.iter().enumerate() {
            let mut marks = vec![0.0_f64; records.panels.len()];
            for mark in records.defects.iter().filter(|d| d.name == name) {
                marks[mark.panel] += 1.0;
            }
            let response: Vec<f64> = rows.iter().map(|at| marks[*at].ln_1p()).collect();
            let Some(found) = read(&response, &coded, &blocks, given, Toward::Either, None) else {
                continue;
            };
            let count = |level: usize, hit: bool| {
                let of = |at: &usize| coded[*at] == Some(level) && (!hit || response[*at] > 0.0);
                (0..rows.len()).filter(of).count()
            };
            out.push(Shown {
                cell: cell.cloned(),
                column: column.to_owned(),
                levels: [names[0].clone(), names[1].clone()],
                defect: defect.name.clone(),
                panels: [count(0, false), count(1, false)],
                hit: [count(0, true), count(1, true)],
                p_adjusted: found.p_value,
            });
        }
    }
}
