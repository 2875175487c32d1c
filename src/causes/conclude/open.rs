//! Rivals on the records that the accused never met or did not beat, and what
//! would make them meet.

use super::super::levels::FRAME_CLAIM;
use super::super::verdict::{Facts, Holds, Lots, Recipe};
use super::next_check::{panels_to_turn, symmetric};
use crate::causes::responses::repeat::Dossier;
use crate::causes::rivals::lots::LotEvidence;
use crate::causes::{Cause, LotsLack, NextCheck, OpenRival, Rival};

/// Open rivals of a repeat; none where somebody was named.
pub(super) fn open(dossier: &Dossier, facts: &Facts, cause: Cause) -> Vec<OpenRival> {
    if cause != Cause::Undecided || !facts.sharp {
        return Vec::new();
    }
    let live = &dossier.hit[dossier.life.first..dossier.life.past];
    let hits = live.iter().filter(|h| **h).count();
    let panels = panels_to_turn(hits as f64 / live.len().max(1) as f64);
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
    if !contrast {
        let panel_beaten =
            frames.machine_over_panel >= FRAME_CLAIM && !frames.lay_goes_with_others();
        if !panel_beaten && !frames.rides() {
            let turn = if symmetric(dossier) {
                NextCheck::ShiftPanels { panels }
            } else {
                NextCheck::TurnPanels { panels }
            };
            add(Rival::Panel, Vec::new(), turn, Some(panels));
            add(
                Rival::Machine,
                Vec::new(),
                NextCheck::TurnPanels { panels },
                Some(panels),
            );
        }
        if frames.machine_over_table.is_some_and(|r| r < FRAME_CLAIM) {
            let turn = NextCheck::TurnAtTable { panels };
            if frames.rides() {
                add(Rival::Panel, Vec::new(), turn.clone(), Some(panels));
            }
            add(Rival::Table, Vec::new(), turn, Some(panels));
        }
    }
    if let Some(e) = &dossier.elsewhere {
        let levels = vec![e.machine.clone()];
        add(Rival::Panel, levels, NextCheck::CheckUpstream, None);
    }
    if matches!(facts.lots, Lots::Gathered | Lots::TooFew) {
        let levels = match &dossier.lots {
            LotEvidence::Gathered { lots, .. } => {
                lots.iter().map(|&l| dossier.lot_names[l].clone()).collect()
            }
            _ => Vec::new(),
        };
        add(Rival::Lot, levels, NextCheck::MoreLots { lots: 3 }, None);
    }
    if matches!(
        &dossier.lots,
        LotEvidence::Open {
            lack: LotsLack::OneStretch,
            ..
        }
    ) {
        add(
            Rival::Step,
            Vec::new(),
            NextCheck::MoreLots { lots: 3 },
            None,
        );
    }
    if let Some(e) = dossier.inspector.as_ref().filter(|_| facts.one_inspector) {
        let inspector = e.level.clone();
        let check = NextCheck::SecondInspector {
            inspector: inspector.clone(),
        };
        add(Rival::Inspector, vec![inspector], check, Some(panels));
    }
    if let (Recipe::OneStretch, Some(e)) = (facts.recipe, &dossier.recipe) {
        let recipe = e.level.clone();
        let check = NextCheck::CheckRecipe {
            recipe: recipe.clone(),
        };
        add(Rival::Recipe, vec![recipe], check, None);
    }
    out
}
