//! Records in doubt bear no verdict: where axes are swapped or a unit is wrong,
//! nothing is concluded from the places of that machine.

use std::collections::BTreeSet;

use super::{
    Cause, Causes, Certainty, Finding, NextCheck, Reason, Rival, Stream, SurfaceCause,
    UNEVEN_REMOVAL,
};
use crate::records::{Column, Panel, Records, WarningCode, only_marked};

/// Takes the cause from every finding that rests on records in doubt, and says why.
pub(super) fn hold_findings(records: &Records, findings: &mut [Finding]) {
    for finding in findings.iter_mut() {
        let column = if finding.defect == UNEVEN_REMOVAL {
            Column::RemovedUm
        } else {
            Column::XMm
        };
        let exposed = finding.evidence.exposed.iter();
        let mut machines: BTreeSet<Option<&str>> = exposed
            .map(|&panel| records.panels[panel].machine.as_deref())
            .collect();
        machines.extend(finding.machine.as_deref().map(Some));
        let held = |machine: &Option<&str>| records.held_back(*machine, column);
        if let Some(why) = machines.iter().find_map(held) {
            finding.cause = Cause::Undecided;
            finding.reasons.insert(0, Reason::HeldBack(why.to_owned()));
            finding.next_check = NextCheck::MendRecords;
        }
    }
    for only in only_marked(records) {
        let rates = |f: &&mut Finding| f.rival.is_some() && f.x_mm.is_none() && f.y_mm.is_none();
        for finding in findings.iter_mut().filter(rates) {
            let panels = records.panels.iter().zip(&only.panels);
            let compared = panels.filter(|(panel, _)| compares(finding, panel));
            let marked: BTreeSet<bool> = compared.map(|(_, marked)| *marked).collect();
            if marked.len() == 2 {
                finding.cause = Cause::Undecided;
                let why = format!(
                    "Of {} only panels with a defect are in the files",
                    only.which
                );
                finding.reasons.insert(0, Reason::HeldBack(why));
                finding.next_check = NextCheck::MendRecords;
            }
        }
    }
}

/// Whether a finding's rate was compared over a panel: those of its cell, or of all
/// where cells are compared.
fn compares(finding: &Finding, panel: &Panel) -> bool {
    let of_cells = matches!(finding.rival, Some(Rival::Machine | Rival::Head));
    let own = |wanted: &Option<String>, is: Option<&str>| {
        (wanted.as_deref()).is_none_or(|wanted| is == Some(wanted))
    };
    panel.inspected
        && (of_cells
            || own(&finding.machine, panel.machine.as_deref())
                && own(&finding.head, panel.head.as_deref()))
}

/// Tells of findings that rest on when panels were sanded where many times were lost:
/// they are less sure.
pub(super) fn doubt_times(records: &Records, findings: &mut [Finding]) {
    if (records.warnings.iter()).all(|w| w.code != WarningCode::TimesLost) {
        return;
    }
    // stretches at one setting are stretches of time too
    let rests_on_time = |reason: &Reason| {
        matches!(
            reason,
            Reason::BeganWithRecipe { .. }
                | Reason::EveryKth { .. }
                | Reason::SetIn { .. }
                | Reason::Ended { .. }
                | Reason::Drifts { .. }
                | Reason::RateSteps { .. }
                | Reason::RateHigher { .. }
                | Reason::RateFollows { .. }
        )
    };
    for finding in findings {
        if finding.reasons.iter().any(rests_on_time) {
            finding.reasons.push(Reason::TimesLost);
        }
    }
}

/// Takes the cause from streams and from the unevenness of removal as well.
pub(super) fn hold_results(records: &Records, causes: &mut Causes) {
    for stream in &mut causes.streams {
        if let Some(why) = records.held_back(stream.machine.as_deref(), Column::XMm) {
            hold_stream(stream, why);
        }
    }
    for surface in &mut causes.surface {
        if (records.held_back(surface.machine.as_deref(), Column::RemovedUm)).is_some() {
            surface.cause = SurfaceCause::Undecided;
        }
    }
}

fn hold_stream(stream: &mut Stream, why: &str) {
    stream.cause = Cause::Undecided;
    stream.certainty = Certainty::CannotTell;
    stream.causes.clear();
    stream.reasons.insert(0, Reason::HeldBack(why.to_owned()));
    stream.next_check = NextCheck::MendRecords;
}
