//! Panels that carry the very same marks: probably one panel under several ids.

use std::collections::BTreeMap;

use super::super::{Records, Warning, WarningCode};
use super::warn;

/// So many marks at the same places are no accident, if they are finely written.
const MARKS: usize = 2;

/// Places in steps of this are coarse: two panels may well share them, mm.
const COARSE_MM: f64 = 5.0;

/// Examples named in the warning.
const NAMED: usize = 3;

pub(super) fn find(records: &Records, warnings: &mut Vec<Warning>) {
    let groups = groups(records);
    let copies: usize = groups.iter().map(|g| g.len() - 1).sum();
    if copies == 0 {
        return;
    }
    let id = |panel: &usize| records.panels[*panel].id.as_ref();
    let named: Vec<String> = groups
        .iter()
        .take(NAMED)
        .map(|g| {
            let ids: Vec<&str> = g.iter().take(NAMED).map(id).collect();
            ids.join(" = ")
        })
        .collect();
    let dots = if groups.len() > NAMED { " …" } else { "" };
    warnings.push(warn(
        WarningCode::SameMarks,
        format!(
            "{} exactly the marks of another panel ({}{dots}): one panel written under several ids makes every mark on it look like a repeat. Give the later inspections the panel's first id and an inspection number, or take them out.",
            if copies == 1 { "1 panel carries".to_owned() } else { format!("{copies} panels carry") },
            named.join("; "),
        ),
    ));
}

/// Groups of panels with the same marks, each in the panels' order.
fn groups(records: &Records) -> Vec<Vec<usize>> {
    type Mark = (usize, u64, u64);
    let mut marks: BTreeMap<usize, Vec<Mark>> = BTreeMap::new();
    let mut fine: BTreeMap<usize, usize> = BTreeMap::new();
    for defect in &records.defects {
        let Some(at) = defect.written else { continue };
        let of_panel = marks.entry(defect.panel).or_default();
        of_panel.push((defect.name, at.x.to_bits(), at.y.to_bits()));
        if at.x % COARSE_MM != 0.0 || at.y % COARSE_MM != 0.0 {
            *fine.entry(defect.panel).or_default() += 1;
        }
    }
    let mut by_marks: BTreeMap<(Vec<Mark>, u64, u64), Vec<usize>> = BTreeMap::new();
    for (panel, mut of_panel) in marks {
        if fine.get(&panel).is_none_or(|count| *count < MARKS) {
            continue;
        }
        of_panel.sort_unstable();
        let size = &records.panels[panel];
        let key = (of_panel, size.length_mm.to_bits(), size.width_mm.to_bits());
        by_marks.entry(key).or_default().push(panel);
    }
    let mut groups: Vec<Vec<usize>> = by_marks.into_values().filter(|g| g.len() > 1).collect();
    groups.sort_unstable();
    groups
}
