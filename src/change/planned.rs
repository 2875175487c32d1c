//! Old against new as plans put them by turns.

use std::collections::BTreeMap;

use super::assess::assess;
use super::{Comparison, Pick, Question, Selection, Settings, Side, Sides, Window};
use crate::records::{Panel, Records};

/// Whether a panel belongs to a plan by turns: then it is no change of recipe.
pub(super) fn is_planned(panel: &Panel) -> bool {
    panel
        .planned
        .as_ref()
        .is_some_and(|run| run.turns().is_some())
}

/// The comparison of every plan by turns, among its own panels, with the first of them:
/// the defect that it is about by itself, as it was sized, the other kinds before it;
/// removal goes with it.
pub(super) fn comparisons(records: &Records, settings: &Settings) -> Vec<(usize, Comparison)> {
    let mut plans: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    for (at, panel) in records.panels.iter().enumerate() {
        if let Some(run) = &panel.planned
            && let Some(change) = &run.change
        {
            plans.entry((&run.plan, change)).or_default().push(at);
        }
    }
    let found = plans.values().filter_map(|rows| {
        let first = *rows.first()?;
        Some((first, of_plan(records, rows, settings)?))
    });
    found
        .flat_map(|(first, both)| both.into_iter().map(move |c| (first, c)))
        .collect()
}

fn of_plan(records: &Records, rows: &[usize], settings: &Settings) -> Option<Vec<Comparison>> {
    let run = records.panels[*rows.first()?].planned.as_ref()?;
    let turns = run.turns()?;
    let pick = |value: &str| {
        vec![Pick {
            column: turns.column.to_owned(),
            value: value.to_owned(),
        }]
    };
    let [old, new] = turns.values;
    let selection = Selection {
        sides: Sides::Values {
            before: pick(old),
            after: pick(new),
        },
        only: Vec::new(),
        window: Window::default(),
        on: Vec::new(),
    };
    let all = selection.assign(records).ok()?;
    let mut sides: Vec<Option<Side>> = vec![None; all.len()];
    for at in rows {
        sides[*at] = all[*at];
    }
    let question = Question::Plan {
        plan: run.plan.to_string(),
        column: turns.column.to_owned(),
        old: old.to_owned(),
        new: new.to_owned(),
    };
    let names = records.defect_names.iter().map(|d| d.name.clone());
    let (asked, others): (Vec<String>, Vec<String>) = names.partition(|n| n == turns.defect);
    let mut out: Vec<Comparison> = ([others, asked].into_iter())
        .filter(|on| !on.is_empty())
        .map(|on| assess(records, &sides, question.clone(), &on, settings))
        .collect();
    if let [others, _] = &mut out[..] {
        others.removal.clear();
    }
    Some(out)
}
