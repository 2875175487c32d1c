//! Sheets that came back, in words.

use super::factor;
use crate::causes::{Finding, Frame};
use crate::charts::NumberStyle;
use crate::records::Records;
use crate::report::words::counting::listed;
use crate::trial::{Fixed, Parted, Place, ReadBack, Shown, Stays, Turned, read_back};

/// Heading over sheets that came back.
pub const READ_BACK: &str = "Planned trials";

/// All sheets that came back: how they were run, what their contrasts show.
pub fn came_back(
    records: &Records,
    findings: &[Finding],
    alpha: f64,
    numbers: &NumberStyle,
) -> Vec<String> {
    let mut out = Vec::new();
    for back in read_back(records, &places(findings)) {
        out.extend(as_run(&back));
        out.extend(back.turned.iter().map(|t| turned(&back, t, alpha, numbers)));
        out.extend(back.shown.iter().map(|s| shown(&back, s, alpha, numbers)));
    }
    out
}

/// How a sheet was run.
fn as_run(back: &ReadBack) -> Vec<String> {
    let mut out = vec![format!(
        "Plan {}: {} of {} runs done{}.",
        back.plan,
        back.done,
        back.runs,
        if back.done == back.runs && back.out_of_order.is_empty() && back.departures.is_empty() {
            ", in order and as planned"
        } else {
            ""
        }
    )];
    let mut runs = |what: &str, runs: &[u32]| {
        if !runs.is_empty() {
            let all: Vec<String> = runs.iter().map(u32::to_string).collect();
            out.push(format!("Plan {}: {what}: {}.", back.plan, listed(&all, 12)));
        }
    };
    runs("runs without a panel", &back.missing);
    runs("runs whose panel has no result yet", &back.without_result);
    runs("runs out of their order", &back.out_of_order);
    for change in &back.departures {
        out.push(format!(
            "Plan {}: panel {} was planned with {} {} and sanded with {}, which holds.",
            back.plan,
            change.panel,
            factor(&change.column),
            change.planned,
            change.done
        ));
    }
    out
}

/// The places of findings that lie in the machine or on the panel; an open one is
/// where it was seen in the machine.
pub fn places(findings: &[Finding]) -> Vec<Place> {
    let placed = |f: &&Finding| f.x_mm.is_some() || f.y_mm.is_some();
    findings
        .iter()
        .filter(placed)
        .filter_map(|f| {
            Some(Place {
                finding: f.id.clone(),
                machine: f.machine.clone(),
                head: f.head.clone(),
                defect: f.defect.clone(),
                x_mm: f.x_mm,
                y_mm: f.y_mm,
                reach_mm: f.reach_mm?,
                fixed: match f.frame {
                    None | Some(Frame::Machine) => Fixed::Machine,
                    Some(Frame::Panel) => Fixed::Panel,
                    Some(Frame::Inspection) => Fixed::Table,
                    Some(Frame::Path) => return None,
                },
            })
        })
        .collect()
}

/// What panels that lay differently show about a place.
fn turned(back: &ReadBack, found: &Turned, alpha: f64, numbers: &NumberStyle) -> String {
    let says = match found.stays(alpha) {
        Stays::In(Fixed::Machine) => "it stays in the machine",
        Stays::In(Fixed::Panel) => "it turns with the panels",
        Stays::In(Fixed::Table) => "it stays on the inspection table",
        Stays::Nowhere => "it stays in no frame",
        Stays::NotTold => "not told yet",
    };
    let seen: Vec<String> = found.parted.iter().map(|p| parted(p, numbers)).collect();
    format!(
        "Plan {}: {} ({}): {}: {says}.",
        back.plan,
        found.finding,
        found.defect,
        seen.join("; ")
    )
}

/// How often marks lay at each of two places that lay apart.
fn parted(parted: &Parted, numbers: &NumberStyle) -> String {
    let place = |at: usize| {
        let frame = match parted.frames[at] {
            Fixed::Machine => "the machine’s",
            Fixed::Panel => "the panel’s",
            Fixed::Table => "the table’s",
        };
        format!("{} at {frame} place", numbers.count(parted.hit[at]))
    };
    format!(
        "of {} panels on which the places lie apart, {}, {}",
        numbers.count(parted.panels),
        place(0),
        place(1)
    )
}

/// What a contrast of a sheet shows.
fn shown(back: &ReadBack, shown: &Shown, alpha: f64, numbers: &NumberStyle) -> String {
    let of = |level: usize| {
        format!(
            "{} of {} at {}",
            numbers.count(shown.hit[level]),
            numbers.count(shown.panels[level]),
            shown.levels[level]
        )
    };
    let cell = shown
        .cell
        .as_ref()
        .map_or(String::new(), |c| format!("{c}, "));
    format!(
        "Plan {}: {cell}{} on {}, {} ({}): {}.",
        back.plan,
        shown.defect,
        of(0),
        of(1),
        factor(&shown.column),
        if shown.p_adjusted <= alpha {
            "it goes with that setting"
        } else {
            "no difference shown"
        }
    )
}
