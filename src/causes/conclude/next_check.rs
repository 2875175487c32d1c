//! What to do next about a repeat.

use super::super::levels::FRAME_CLAIM;
use super::super::verdict::{Facts, Holds, Looks, Lots, Recipe, Verdict};
use crate::causes::NextCheck;
use crate::causes::responses::repeat::Dossier;
use crate::causes::rivals::contrast::FrameEvidence;
use crate::causes::{Cause, Kind, Tally};

pub(super) fn next_check(dossier: &Dossier, facts: &Facts, verdict: Verdict) -> NextCheck {
    let with = &dossier.with;
    let panels = panels_to_turn(with.live());
    match verdict.cause {
        Cause::Machine => match (facts.looks, &with.fixture, &dossier.fold) {
            (_, Some(f), _) if f.found.explains => NextCheck::CheckFixture {
                fixture: f.level.clone(),
            },
            (Looks::Dwell, ..) => NextCheck::CheckPath,
            (_, _, Some(fold)) => NextCheck::CheckEveryKth { every: fold.every },
            (Looks::Line, ..) => NextCheck::CheckStepOver,
            _ => NextCheck::CheckPlace,
        },
        Cause::Part if verdict.kind == Kind::Lot || facts.lots == Lots::Gathered => {
            NextCheck::CheckLots {
                lots: with.gathered_lots(),
            }
        }
        Cause::Part => NextCheck::CheckUpstream,
        Cause::Recipe => with.check_recipe(),
        Cause::Inspection => NextCheck::CheckTable,
        Cause::Undecided => {
            if !facts.placed() {
                NextCheck::CheckIncoming
            } else if let (true, Some(e)) = (facts.one_inspector, &with.inspector) {
                NextCheck::SecondInspector {
                    inspector: e.level.clone(),
                }
            } else if let (Recipe::OneStretch, Some(e)) = (facts.recipe, &with.recipe) {
                NextCheck::CheckRecipe {
                    recipe: e.level.clone(),
                }
            } else if facts.holds == Holds::Machine || facts.control_clears {
                NextCheck::MoreLots { lots: 3 }
            } else if table_alone_left(&dossier.frames) {
                NextCheck::TurnAtTable { panels }
            } else if symmetric(dossier) {
                NextCheck::ShiftPanels { panels }
            } else {
                NextCheck::TurnPanels { panels }
            }
        }
    }
}

/// Panels that a turn test needs so that a repeat of this rate would show with
/// 99 %: ⌈ln 0.01 / ln(1 − h)⌉.
pub(crate) fn panels_to_turn(seen: Tally) -> usize {
    turned_for(seen.hits as f64 / seen.exposed.max(1) as f64)
}

/// The same for a rate, 0..1.
pub(crate) fn turned_for(hit_rate: f64) -> usize {
    if hit_rate >= 1.0 {
        return 1;
    }
    (0.01_f64.ln() / (1.0 - hit_rate.max(0.001)).ln()).ceil() as usize
}

/// The machine or the panel has beaten the other, not the inspection table.
fn table_alone_left(frames: &FrameEvidence) -> bool {
    frames.panel_or_table
        || frames.machine_over_panel >= FRAME_CLAIM && frames.machine_over_table.is_some()
}

/// Whether a half turn maps the place onto itself on the panels hit: then the
/// panel's middle is too near.
pub(super) fn symmetric(dossier: &Dossier) -> bool {
    dossier.frames.half_turn_moves_mm < 2.0 * dossier.frames.reach_mm
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn panels_to_turn_agree_with_an_independent_slow_reference_implementation() {
        assert_eq!(turned_for(0.3), 13);
        assert_eq!(turned_for(1.0), 1);
    }
}
