//! Too much at one corner and too little at the corner across, panel after
//! panel: a head that leans across the diagonal.
//!
//! Each corner has been found on its own, with the burden of a side (frames,
//! lots, control, table). Where a kind of class "over" leads at one corner in
//! the machine and a kind of class "under" at the corner across, neither corner
//! lies high or low by itself: together they are a tilt (common practice, no
//! source), and the tilt is what to check.

use crate::causes::{Finding, Frame, NextCheck, Reason, Side};
use crate::records::Records;
use crate::site::DefectClass;

/// Two sides of different axes.
type Corner = (Side, Side);

/// Turns such pairs of findings into a tilt; all others stay as they are.
pub(crate) fn tilts(findings: &mut [Finding], records: &Records) {
    let corners: Vec<Option<(Corner, DefectClass)>> =
        findings.iter().map(|f| corner(f, records)).collect();
    for i in 0..findings.len() {
        let Some((own, class)) = corners[i] else {
            continue;
        };
        let across = (own.0.opposite(), own.1.opposite());
        let partner = (0..findings.len()).find(|&j| {
            corners[j].is_some_and(|(at, of)| at == across && of != class)
                && (&findings[j].machine, &findings[j].head)
                    == (&findings[i].machine, &findings[i].head)
        });
        let Some(j) = partner else { continue };
        let reason = Reason::OtherKindAcross {
            defect: findings[j].defect.clone(),
            class: corners[j].map_or(class, |c| c.1),
            panels: findings[j].panels_hit,
        };
        let finding = &mut findings[i];
        finding.reasons.insert(1, reason);
        // Checks that settle who makes it come first.
        if matches!(
            finding.next_check,
            NextCheck::CheckCorner | NextCheck::CheckStandOff
        ) {
            let takes_more = if class == DefectClass::Over {
                own
            } else {
                across
            };
            finding.next_check = NextCheck::CheckDiagonalTilt { takes_more };
        }
    }
}

/// The corner of the machine at which a finding of class over or under leads,
/// its side along x first.
fn corner(finding: &Finding, records: &Records) -> Option<(Corner, DefectClass)> {
    let corner = match finding.reasons.first()? {
        Reason::OneCorner {
            sides,
            frame: Frame::Machine,
            ..
        } => *sides,
        Reason::OneEndOfAnEdge {
            edge,
            end,
            frame: Frame::Machine,
            ..
        } => match edge {
            Side::LowX | Side::HighX => (*edge, *end),
            Side::LowY | Side::HighY => (*end, *edge),
        },
        _ => return None,
    };
    let names = &records.defect_names;
    let class = names.iter().find(|n| n.name == finding.defect)?.class?;
    matches!(class, DefectClass::Over | DefectClass::Under).then_some((corner, class))
}
