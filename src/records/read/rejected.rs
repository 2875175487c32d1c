//! What goes with panels that cannot be kept: copies, contradictions, panels without
//! a size; and when so much is lost that the rest may mislead.

use std::collections::{HashMap, HashSet};

use crate::records::join::{Dispute, Joined};
use crate::records::parts::{Facts, FileRows};
use crate::records::{Column, InputCounts, Lost, Panel, Reject, Warning, WarningCode};
use crate::site::Site;

/// Why a panel without a size goes.
pub(in crate::records) const NO_SIZE: &str = "no row gives the panel's length_mm and width_mm";

/// One reject per row of the panels that are copies of another, which are no
/// panels of their own from here on.
pub(in crate::records) fn reject_copies(
    copies: &[(usize, usize)],
    panels: &[Panel],
    files: &[FileRows],
    joined: &Joined,
    place_of: &mut [Option<usize>],
    rejects: &mut Vec<Reject>,
) {
    if copies.is_empty() {
        return;
    }
    let original: HashMap<usize, usize> = copies.iter().copied().collect();
    for (file, rows) in files.iter().enumerate() {
        for (part, line) in &rows.rows {
            let Some((copy, of)) = place_of[joined.panel_of[file][*part as usize]]
                .and_then(|panel| Some((panel, original.get(&panel)?)))
            else {
                continue;
            };
            rejects.push(Reject {
                file: rows.path.clone(),
                line: Some(u64::from(*line)),
                column: None,
                value: None,
                lost: Lost::Panel,
                why: format!("panel {}: {COPY} {}", panels[copy].id, panels[*of].id),
            });
        }
    }
    for place in place_of.iter_mut() {
        if place.is_some_and(|panel| original.contains_key(&panel)) {
            *place = None;
        }
    }
}

/// What stands between the names of a copy and of its original.
pub(in crate::records) const COPY: &str = "seems to be the same panel as";

/// From this share of rows or panels on, what is left may not stand for all.
const MANY: f64 = 0.1;

/// Tells where so much was lost that the rest may mislead, besides the rows and
/// panels of copies.
pub(in crate::records) fn many_lost(
    input: &InputCounts,
    read: usize,
    copies: (usize, usize),
    rejects: &[Reject],
) -> Option<Warning> {
    let rows = (input.rejected_rows + input.rows_lost_with_panels).saturating_sub(copies.0);
    let read = read.saturating_sub(copies.0);
    let lost = input.rejected_panels.saturating_sub(copies.1);
    let panels = input.panels + lost;
    let many = |lost: usize, of: usize| lost as f64 > MANY * of as f64;
    if !many(rows, read) && !many(lost, panels) {
        return None;
    }
    Some(Warning {
        code: WarningCode::ManyLost,
        text: format!(
            "{rows} of {read} rows and {lost} of {panels} panels were lost: what is left may not stand for the rest. See rejects.csv for the reasons, mend them and report again{}.",
            if ids_start_again(rejects) {
                PANEL_KEY
            } else {
                ""
            }
        ),
        file: None,
    })
}

/// What to do where ids start again.
pub(in crate::records) const PANEL_KEY: &str = "; if ids start again every day or shift, set [read] panel_key = [\"date\", \"panel_id\"] in onus.toml";

/// Whether most panels whose rows contradict each other do so in when they were
/// sanded, as where ids start again.
pub(in crate::records) fn ids_start_again(rejects: &[Reject]) -> bool {
    let of_panels = || {
        rejects
            .iter()
            .filter(|r| r.lost == Lost::Panel && r.column.is_some())
    };
    let in_time = of_panels().filter(|r| r.why.ends_with(PANEL_KEY)).count();
    in_time >= 3 && 2 * in_time >= of_panels().count()
}

/// The reject of a panel whose rows contradict each other.
pub(in crate::records) fn disputed(
    id: &str,
    dispute: &Dispute,
    files: &[FileRows],
    site: &Site,
) -> Reject {
    let name = Facts::name(dispute.fact, site);
    let (first_file, first) = &dispute.first;
    let (second_file, second) = &dispute.second;
    let header = files[*second_file]
        .facts
        .iter()
        .find(|(fact, _)| *fact == dispute.fact)
        .map_or_else(|| name.to_owned(), |(_, header)| header.clone());
    let hint = if Facts::COLUMNS.get(dispute.fact) == Some(&Column::SandedAt) {
        PANEL_KEY
    } else {
        ""
    };
    Reject {
        file: files[*second_file].path.clone(),
        line: Some(second.line),
        column: Some(header),
        value: Some(second.fact.written()),
        lost: Lost::Panel,
        why: format!(
            "panel {id}: {name} is {} here and {} in {}, line {}{hint}",
            second.fact.written(),
            first.fact.written(),
            files[*first_file].path.display(),
            first.line
        ),
    }
}

/// What stands after the panel's name where a row goes with its panel.
pub(in crate::records) const WITH_PANEL: &str =
    "goes with its panel, whose rows contradict each other";

/// One reject per row of the panels whose rows contradict each other, besides
/// those that name the contradiction.
pub(in crate::records) fn reject_with_panel(
    files: &[FileRows],
    joined: &Joined,
    rejects: &mut Vec<Reject>,
) {
    let mut named: HashSet<(usize, u64)> = HashSet::new();
    let mut disputed: HashSet<usize> = HashSet::new();
    for (panel, disputes) in joined.disputes.iter().filter(|(_, d)| !d.is_empty()) {
        disputed.insert(*panel);
        named.extend(disputes.iter().map(|d| (d.second.0, d.second.1.line)));
    }
    if disputed.is_empty() {
        return;
    }
    for (file, rows) in files.iter().enumerate() {
        for (part, line) in &rows.rows {
            let panel = joined.panel_of[file][*part as usize];
            let line = u64::from(*line);
            if disputed.contains(&panel) && !named.contains(&(file, line)) {
                rejects.push(Reject {
                    file: rows.path.clone(),
                    line: Some(line),
                    column: None,
                    value: None,
                    lost: Lost::Panel,
                    why: format!("panel {}: {WITH_PANEL}", joined.ids[panel]),
                });
            }
        }
    }
}

/// One reject per row of the panels that have no size.
pub(in crate::records) fn reject_sizeless(
    files: &[FileRows],
    joined: &Joined,
    sizeless: &HashSet<usize>,
    rejects: &mut Vec<Reject>,
) {
    if sizeless.is_empty() {
        return;
    }
    for (file, rows) in files.iter().enumerate() {
        for (part, line) in &rows.rows {
            let panel = joined.panel_of[file][*part as usize];
            if sizeless.contains(&panel) {
                rejects.push(Reject {
                    file: rows.path.clone(),
                    line: Some(u64::from(*line)),
                    column: None,
                    value: None,
                    lost: Lost::Panel,
                    why: format!("panel {}: {NO_SIZE}", joined.ids[panel]),
                });
            }
        }
    }
}
