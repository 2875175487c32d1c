//! One physical cause is told once: a side of marks where the readings show
//! the head's slope the same way carries the slope's cause.
//!
//! Too much on the side that takes more, or too little on the side across, is
//! what a slope of the removal does. The readings were asked with frames and
//! lots of their own; the marks add that it hurts.

use crate::causes::scan::RING_MM;
use crate::causes::verdict::certainty;
use crate::causes::{
    Cause, Finding, Frame, Kind, NextCheck, OpenRival, Reason, Side, Surface, SurfaceCause,
    UNEVEN_REMOVAL,
};
use crate::records::Records;
use crate::site::DefectClass;

/// Of broad concentrations of one stream that lie beside each other, whoever found
/// them, the clearest is told.
pub(crate) fn one_breadth(findings: &mut Vec<Finding>) {
    let broad = |f: &Finding| f.reasons.iter().any(|r| matches!(r, Reason::Broad { .. }));
    let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= 2.0 * RING_MM,
        (a, b) => a.is_none() && b.is_none(),
    };
    let told: Vec<Finding> = findings.iter().filter(|f| broad(f)).cloned().collect();
    let clearer = |f: &Finding, o: &Finding| {
        (f.evidence.stream, f.frame, f.line_axis) == (o.evidence.stream, o.frame, o.line_axis)
            && near(f.x_mm, o.x_mm)
            && near(f.y_mm, o.y_mm)
            && o.p_adjusted < f.p_adjusted
    };
    findings.retain(|f| !broad(f) || !told.iter().any(|o| clearer(f, o)));
}

/// Gives sides that are not yet told the cause of the slope that makes them. A
/// slope along one axis that a side of marks shows is told with that side alone.
pub(crate) fn carry_slopes(
    findings: &mut Vec<Finding>,
    surfaces: &[Surface],
    records: &Records,
    alpha: f64,
) {
    let mut told: Vec<(Option<String>, Option<String>)> = Vec::new();
    // What a slope leaves open stays open where a side carries its cause.
    let left_open: Vec<(Option<String>, Option<String>, Vec<OpenRival>)> = (findings.iter())
        .filter(|f| f.defect == UNEVEN_REMOVAL && f.cause == Cause::Machine)
        .map(|f| (f.machine.clone(), f.head.clone(), f.open.clone()))
        .collect();
    for finding in findings.iter_mut() {
        let may = matches!(finding.cause, Cause::Undecided | Cause::Machine);
        if finding.kind != Kind::Side || finding.defect == UNEVEN_REMOVAL || !may {
            continue;
        }
        let Some(more) = takes_more(finding, records) else {
            continue;
        };
        let slope = surfaces.iter().find(|s| {
            (&s.machine, &s.head) == (&finding.machine, &finding.head)
                && s.cause == SurfaceCause::Machine
                && s.lean.sides().iter().any(|side| side.more == more)
        });
        let Some(slope) = slope else {
            continue;
        };
        finding.reasons.push(Reason::SlopeLeansTheSameWay { more });
        finding.next_check = NextCheck::CheckHeadTilt {
            takes_more: Some(more),
        };
        if finding.cause == Cause::Undecided {
            finding.cause = Cause::Machine;
            finding.frame = Some(Frame::Machine);
            finding.open = (left_open.iter())
                .find(|(machine, head, _)| (machine, head) == (&finding.machine, &finding.head))
                .map(|(_, _, open)| open.clone())
                .unwrap_or_default();
            let p = (finding.p_adjusted.zip(slope.p_adjusted)).map(|(a, b)| a.max(b));
            finding.certainty = certainty(Cause::Machine, p, alpha, !finding.open.is_empty());
        }
        if slope.lean.sides().len() == 1 {
            told.push((finding.machine.clone(), finding.head.clone()));
        }
    }
    findings.retain(|f| {
        let cell = (&f.machine, &f.head);
        let slope = f.defect == UNEVEN_REMOVAL && f.cause == Cause::Machine;
        !slope || told.iter().all(|(machine, head)| cell != (machine, head))
    });
}

/// The side of the machine that takes more, if the marks lead on one side.
fn takes_more(finding: &Finding, records: &Records) -> Option<Side> {
    let Some(Reason::SideVotes {
        side,
        frame: Frame::Machine,
        ..
    }) = finding.reasons.first()
    else {
        return None;
    };
    let names = &records.defect_names;
    match names.iter().find(|n| n.name == finding.defect)?.class? {
        DefectClass::Over => Some(*side),
        DefectClass::Under => Some(side.opposite()),
        DefectClass::Surface | DefectClass::Incoming => None,
    }
}
