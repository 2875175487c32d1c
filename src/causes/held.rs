//! Records in doubt bear no verdict: where axes are swapped or a unit is wrong,
//! nothing is concluded from the places of that machine.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    Cause, Causes, Certainty, Finding, NextCheck, Reason, Rival, Stream, SurfaceCause,
    UNEVEN_REMOVAL,
};
use crate::records::{Column, Panel, Point, Records, WarningCode, only_marked};

/// Fields of a picture that is clicked on, at least and at most; so many marks make
/// one, and none is nearer to another than this, mm: what repeats at one place and is
/// written in round numbers lies on spots beside each other.
const LEAST_FIELDS: usize = 3;
const FIELDS: usize = 24;
const AGAIN: usize = 4;
const APART_MM: f64 = 60.0;
/// Share of a stream's marks, of so many at least, that lie on the fields.
const ON_FIELDS: f64 = 0.9;
const CLICKS: usize = 20;

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
            hold(finding, why.to_owned());
        }
    }
    hold_fields(records, findings);
    for only in only_marked(records) {
        let rates = |f: &&mut Finding| f.rival.is_some() && f.x_mm.is_none() && f.y_mm.is_none();
        for finding in findings.iter_mut().filter(rates) {
            let panels = records.panels.iter().zip(&only.panels);
            let compared = panels.filter(|(panel, _)| compares(finding, panel));
            let marked: BTreeSet<bool> = compared.map(|(_, marked)| *marked).collect();
            if marked.len() == 2 {
                let why = format!(
                    "Of {} only panels with a defect are in the files",
                    only.which
                );
                hold(finding, why);
            }
        }
    }
}

/// Takes the cause from a finding, and says why.
fn hold(finding: &mut Finding, why: String) {
    finding.cause = Cause::Undecided;
    finding.reasons.insert(0, Reason::HeldBack(why));
    finding.next_check = NextCheck::MendRecords;
}

/// Takes the cause from places in streams whose marks were clicked at a few spots of
/// a picture, such as the middles of its fields: where a mark lay is not known.
fn hold_fields(records: &Records, findings: &mut [Finding]) {
    for finding in findings {
        if finding.x_mm.is_none() && finding.y_mm.is_none() {
            continue;
        }
        let own = records.defects.iter().filter(|defect| {
            let name = &records.defect_names[defect.name].name;
            *name == finding.defect && of_cell(finding, &records.panels[defect.panel])
        });
        let mut spots: BTreeMap<(u64, u64), (Point, usize)> = BTreeMap::new();
        for at in own.filter_map(|defect| defect.written) {
            let spot = spots.entry((at.x.to_bits(), at.y.to_bits()));
            spot.or_insert((at, 0)).1 += 1;
        }
        let all: usize = spots.values().map(|s| s.1).sum();
        let fields: Vec<(Point, usize)> = spots.into_values().filter(|s| s.1 >= AGAIN).collect();
        let on_fields: usize = fields.iter().map(|f| f.1).sum();
        let apart = |a: &Point, b: &Point| (a.x - b.x).hypot(a.y - b.y) >= APART_MM;
        let all_apart = (fields.iter().enumerate())
            .all(|(k, a)| fields[k + 1..].iter().all(|b| apart(&a.0, &b.0)));
        if all >= CLICKS
            && (LEAST_FIELDS..=FIELDS).contains(&fields.len())
            && all_apart
            && on_fields as f64 >= ON_FIELDS * all as f64
        {
            let why = "Its marks were clicked at a few spots of a picture, so where they lay is not known";
            hold(finding, why.to_owned());
        }
    }
}

/// Whether a panel is of a finding's machine and head.
fn of_cell(finding: &Finding, panel: &Panel) -> bool {
    let own = |wanted: &Option<String>, is: Option<&str>| {
        (wanted.as_deref()).is_none_or(|wanted| is == Some(wanted))
    };
    own(&finding.machine, panel.machine.as_deref()) && own(&finding.head, panel.head.as_deref())
}

/// Whether a finding's rate was compared over a panel: those of its cell, or of all
/// where cells are compared.
fn compares(finding: &Finding, panel: &Panel) -> bool {
    let of_cells = matches!(finding.rival, Some(Rival::Machine | Rival::Head));
    panel.inspected && (of_cells || of_cell(finding, panel))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::about::About;
    use crate::causes::{Tally, made};

    /// Whether a place is held back where 60 panels each have a mark at one of these.
    fn held(places: &[(f64, f64)]) -> bool {
        let mut records = made::records(&[("scratch", None)]);
        for i in 0..60 {
            let (x, y) = places[i % places.len()];
            records.panels.push(made::panel(i, 1200.0, 800.0));
            records.defects.push(made::mark(i, 0, Some(Point { x, y })));
        }
        let about = About {
            defect: "scratch".into(),
            ..About::default()
        };
        let counted = Tally {
            hits: 20,
            exposed: 60,
        };
        let mut found = about.finding(&records, &[0, 3, 6], counted);
        (found.cause, found.x_mm, found.y_mm) = (Cause::Machine, Some(200.0), Some(200.0));
        let mut findings = [found];
        hold_fields(&records, &mut findings);
        findings[0].cause == Cause::Undecided
    }

    #[test]
    fn clicks_on_fields_are_held_back_and_round_numbers_at_one_place_are_not() {
        assert!(held(&[(200.0, 200.0), (600.0, 200.0), (1000.0, 600.0)]));
        assert!(!held(&[(200.0, 200.0), (210.0, 200.0), (200.0, 210.0)]));
    }
}
