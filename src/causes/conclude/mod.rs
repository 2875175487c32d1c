//! From the evidence about a repeat to its finding: facts and verdict here, then
//! reasons, next check and what the charts draw.

use std::collections::BTreeMap;

mod evidence;
mod next_check;
mod open;
mod reasons;

use super::about::About;
use super::verdict::{self, Facts, Holds, Looks};
use crate::causes::responses::merge::Sighting;
use crate::causes::responses::place::{Holder, Place};
use crate::causes::responses::repeat::{Dossier, Ground};
use crate::causes::{Cause, Finding, Frame, LineAxis, Pace, Sharpness};
use evidence::evidence;
use next_check::next_check;
use open::open;
pub(super) use open::{leave_open, shift_pairs};
use reasons::reasons;

pub(super) use next_check::{panels_to_turn, turned_for};

/// The finding of a repeat; `members` are the indices of its defects.
pub(super) fn conclude(
    about: About,
    ground: &Ground<'_>,
    sighting: &Sighting,
    dossier: &Dossier,
    members: Vec<usize>,
) -> Finding {
    let scene = &ground.scene;
    let facts = facts(sighting, dossier);
    let verdict = verdict::of_repeat(&facts);
    let frames = &dossier.frames;
    let told = verdict.cause != Cause::Undecided && frames.holds != Holds::Untold
        || (verdict.cause == Cause::Undecided && frames.holds == Holds::Machine);
    let frame = match frames.chosen.holder {
        Holder::Path(_) => Some(Frame::Path),
        _ if verdict.cause == Cause::Machine => Some(Frame::Machine),
        Holder::Panel | Holder::PanelEdge(_) => Some(Frame::Panel),
        Holder::Inspection => Some(Frame::Inspection),
        Holder::Machine => told.then_some(Frame::Machine),
    };
    let place = match frames.chosen.holder {
        Holder::PanelEdge(_) => from_datum(ground, dossier).unwrap_or(frames.chosen.place),
        _ => frames.chosen.place,
    };
    let (x_mm, y_mm, line_axis) = match place {
        Place::Spot(p) => (Some(p.x), Some(p.y), None),
        Place::Stripe(LineAxis::Y, x) => (Some(x), None, Some(LineAxis::Y)),
        Place::Stripe(LineAxis::X, y) => (None, Some(y), Some(LineAxis::X)),
    };
    let days = |d: &&super::Drift| d.pace == Pace::Days;
    let drift = sighting.found.drift.as_ref().filter(days);
    let base = dossier.with.finding(scene.records, about);
    Finding {
        cause: verdict.cause,
        open: open(dossier, &facts, verdict.cause),
        kind: verdict.kind,
        frame,
        x_mm,
        y_mm,
        radius_mm: Some(sighting.found.radius_mm),
        line_axis,
        reach_mm: Some(sighting.reach_mm()),
        expected_hits: facts
            .sharp
            .then_some(scene.by_chance * base.panels_exposed as f64),
        p_adjusted: Some(sighting.p_adjusted),
        drift_mm_per_day: drift.map(|d| d.x_mm.hypot(d.y_mm)),
        reasons: reasons(ground, sighting, dossier, &facts),
        next_check: next_check(dossier, &facts, verdict),
        evidence: evidence(ground, dossier, members, base.evidence),
        ..base
    }
}

/// The place counted from the panel's datum corner, whatever corner it keeps its
/// distance from: on the size of panel that shows it most.
fn from_datum(ground: &Ground<'_>, dossier: &Dossier) -> Option<Place> {
    let scene = &ground.scene;
    let laid = scene.laid(&dossier.frames.chosen);
    let mut sizes: BTreeMap<(i64, i64), (usize, Place)> = BTreeMap::new();
    for (i, &at) in dossier.exposed.iter().enumerate() {
        let panel = &scene.records.panels[scene.panels[at]];
        if let (true, Some(place)) = (
            dossier.with.hit[i],
            laid[at].and_then(|p| Holder::Panel.place_of(panel, &p)),
        ) {
            let size = (
                panel.length_mm.round() as i64,
                panel.width_mm.round() as i64,
            );
            sizes.entry(size).or_insert((0, place)).0 += 1;
        }
    }
    sizes
        .into_values()
        .max_by_key(|(hits, _)| *hits)
        .map(|(_, place)| place)
}

/// The facts that the verdict table asks about.
fn facts(sighting: &Sighting, dossier: &Dossier) -> Facts {
    let with = &dossier.with;
    Facts {
        looks: if dossier.frames.dwell {
            Looks::Dwell
        } else if dossier.fold.is_some() {
            Looks::Periodic
        } else if matches!(dossier.frames.chosen.place, Place::Stripe(..)) {
            Looks::Line
        } else {
            Looks::Spot
        },
        sharp: sighting.found.sharpness == Sharpness::Sharp,
        enough: with.enough(),
        one_inspector: with.one_inspector(),
        holds: dossier.frames.holds,
        control_clears: dossier.control.is_some_and(|c| c.clears())
            && !dossier.frames.panel_or_table,
        elsewhere: dossier.elsewhere.is_some(),
        lots: with.lots.fact(with.by_turning.is_some()),
        recipe: with.recipe_fact(),
    }
}
