//! Rivals on the records that the accused never met or did not beat, and what
//! would make them meet.

use super::super::levels::FRAME_CLAIM;
use super::super::verdict::{Facts, Holds, Lots, Recipe};
use super::next_check::{panels_to_turn, symmetric, turned_for};
use crate::causes::responses::repeat::Dossier;
use crate::causes::rivals::lots::LotEvidence;
use crate::causes::{Cause, Finding, LotsLack, NextCheck, OpenRival, Reason, Rival};
use crate::records::Records;

/// Places this near to where a half turn takes each other count as the same, mm,
/// beside their own radii.
const NEAR_MM: f64 = 8.0;

/// Open rivals of a repeat; none where somebody was named.
pub(super) fn open(dossier: &Dossier, facts: &Facts, cause: Cause) -> Vec<OpenRival> {
    if cause != Cause::Undecided || !facts.placed() {
        return Vec::new();
    }
    let with = &dossier.with;
    let panels = panels_to_turn(with.live());
    let mut out: Vec<OpenRival> = Vec::new();
    let mut add = |rival, levels: Vec<String>, to_settle, panels| {
        if out.iter().any(|o: &OpenRival| o.rival == rival) {
            return;
        }
        out.push(OpenRival {
            rival,
            levels,
            to_settle,
            panels,
        });
    };
    let frames = &dossier.frames;
    let contrast = facts.holds == Holds::Machine || facts.control_clears;
    if frames.panel_or_table {
        for rival in [Rival::Panel, Rival::Table] {
            let turn = NextCheck::TurnAtTable { panels };
            add(rival, Vec::new(), turn, Some(panels));
        }
    } else if !contrast {
        let panel_won = frames.machine_over_panel >= FRAME_CLAIM && !frames.lay_goes_with_others();
        if !panel_won {
            let turn = if symmetric(dossier) {
                NextCheck::ShiftPanels { panels }
            } else {
                NextCheck::TurnPanels { panels }
            };
            add(Rival::Panel, Vec::new(), turn.clone(), Some(panels));
            add(Rival::Machine, Vec::new(), turn, Some(panels));
        }
        if frames.machine_over_table.is_some_and(|r| r < FRAME_CLAIM) {
            let turn = NextCheck::TurnAtTable { panels };
            add(Rival::Table, Vec::new(), turn, Some(panels));
        }
    }
    if let Some((machine, _)) = &dossier.elsewhere {
        let levels = vec![machine.clone()];
        add(Rival::Panel, levels, NextCheck::CheckUpstream, None);
    }
    if matches!(facts.lots, Lots::Gathered | Lots::TooFew) {
        let check = NextCheck::MoreLots { lots: 3 };
        add(Rival::Lot, with.gathered_lots(), check, None);
    }
    let lack = LotsLack::OneStretch;
    if matches!(&with.lots, LotEvidence::Open { lack: l, .. } if *l == lack) {
        let check = NextCheck::MoreLots { lots: 3 };
        add(Rival::Step, Vec::new(), check, None);
    }
    if let Some(e) = with.inspector.as_ref().filter(|_| facts.one_inspector) {
        let inspector = e.level.clone();
        let check = NextCheck::SecondInspector {
            inspector: inspector.clone(),
        };
        add(Rival::Inspector, vec![inspector], check, Some(panels));
    }
    if let (Recipe::OneStretch, Some(e)) = (facts.recipe, &with.recipe) {
        let recipe = e.level.clone();
        let check = NextCheck::CheckRecipe {
            recipe: recipe.clone(),
        };
        add(Rival::Recipe, vec![recipe], check, None);
    }
    out
}

/// Sees that a finding's open rivals say what its reasons say: a table that was
/// not cleared is open where somebody is named, and whoever can't be named has
/// rivals.
pub(crate) fn leave_open(finding: &mut Finding) {
    let held_back = |r: &Reason| matches!(r, Reason::HeldBack(_));
    if finding.reasons.iter().any(held_back) {
        return;
    }
    let rate = finding.hit_rate.unwrap_or(0.0);
    if finding.cause != Cause::Undecided && finding.cause != Cause::Inspection {
        let to_settle = finding.reasons.iter().find_map(|reason| match reason {
            Reason::TableNotRecorded => Some((NextCheck::RecordTableLay, None)),
            Reason::TableNotCleared { .. } => {
                let panels = turned_for(rate);
                Some((NextCheck::TurnAtTable { panels }, Some(panels)))
            }
            _ => None,
        });
        if let Some((to_settle, panels)) = to_settle
            && !finding.open.iter().any(|o| o.rival == Rival::Table)
        {
            finding.open.push(OpenRival {
                rival: Rival::Table,
                levels: Vec::new(),
                to_settle,
                panels,
            });
        }
    } else if finding.cause == Cause::Undecided && finding.open.is_empty() {
        let rivals = match (&finding.rival, &finding.next_check) {
            (Some(rival), _) => vec![rival.clone()],
            (None, NextCheck::MoreLots { .. } | NextCheck::CheckLots { .. }) => vec![Rival::Lot],
            (None, NextCheck::SecondInspector { .. }) => vec![Rival::Inspector],
            (None, NextCheck::CheckRecipe { .. }) => vec![Rival::Recipe],
            (None, NextCheck::TurnAtTable { .. }) => vec![Rival::Panel, Rival::Table],
            (None, _) => vec![Rival::Panel, Rival::Machine],
        };
        finding.open = (rivals.into_iter())
            .map(|rival| OpenRival {
                rival,
                levels: finding.levels.clone(),
                to_settle: finding.next_check.clone(),
                panels: None,
            })
            .collect();
    }
}

/// Two places of one stream that a half turn takes onto each other tell nothing when
/// panels are turned so: they are shifted or turned by a quarter instead.
pub(crate) fn shift_pairs(findings: &mut [Finding], records: &Records) {
    let other = |a: &Finding, b: &Finding| {
        let panel = a.evidence.exposed.first().map(|&p| &records.panels[p])?;
        let rect = panel.machine_rect();
        let reach = a.radius_mm? + b.radius_mm? + NEAR_MM;
        let off =
            (a.x_mm? + b.x_mm? - rect.x0 - rect.x1).hypot(a.y_mm? + b.y_mm? - rect.y0 - rect.y1);
        Some(off <= reach)
    };
    let stream = |f: &Finding| (f.machine.clone(), f.head.clone(), f.defect.clone());
    let swapped: Vec<bool> = (findings.iter().enumerate())
        .map(|(at, a)| {
            let mut others = findings.iter().enumerate().filter(|(k, _)| *k != at);
            others.any(|(_, b)| stream(a) == stream(b) && other(a, b) == Some(true))
        })
        .collect();
    let shift = |check: &mut NextCheck| {
        if let NextCheck::TurnPanels { panels } = *check {
            *check = NextCheck::ShiftPanels { panels };
        }
    };
    for (finding, _) in findings
        .iter_mut()
        .zip(swapped)
        .filter(|(_, swapped)| *swapped)
    {
        shift(&mut finding.next_check);
        for open in &mut finding.open {
            shift(&mut open.to_settle);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::about::About;
    use crate::causes::{Tally, made};

    /// The next checks of two places on a panel of 600 × 400 mm.
    fn checks(second: (f64, f64)) -> Vec<NextCheck> {
        let mut records = made::records(&[("dent", None)]);
        records.panels.push(made::panel(0, 600.0, 400.0));
        let place = |(x, y): (f64, f64)| {
            let counted = Tally {
                hits: 1,
                exposed: 1,
            };
            let mut found = About::default().finding(&records, &[0], counted);
            found.evidence.exposed = vec![0];
            (found.x_mm, found.y_mm, found.radius_mm) = (Some(x), Some(y), Some(3.0));
            found.next_check = NextCheck::TurnPanels { panels: 12 };
            found
        };
        let mut findings = [place((150.0, 100.0)), place(second)];
        shift_pairs(&mut findings, &records);
        findings.map(|f| f.next_check).to_vec()
    }

    #[test]
    fn a_half_turn_is_not_advised_for_places_that_it_swaps() {
        let shift = NextCheck::ShiftPanels { panels: 12 };
        assert_eq!(checks((450.0, 300.0)), [shift.clone(), shift]);
        let turn = NextCheck::TurnPanels { panels: 12 };
        assert_eq!(checks((450.0, 100.0)), [turn.clone(), turn]);
    }
}
