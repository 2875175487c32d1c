//! From the evidence about a repeat to its finding: facts and verdict here, then
//! reasons, next check and what the charts draw.

mod evidence;
mod next_check;
mod reasons;

use super::levels::FRAME_CLAIM;
use super::lots::LotEvidence;
use super::merge::{Sighting, line_axis};
use super::place::{Holder, Place};
use super::reason::AbrasiveEnd;
use super::repeat::{Dossier, Explained, Ground};
use super::verdict::{self, Facts, Holds, Looks, Lots, Recipe};
use super::{Cause, Finding, Frame, Pace, Sharpness, together};
use crate::records::Panel;
use crate::stats::proportion;
use evidence::evidence;
use next_check::next_check;
use reasons::reasons;

pub(super) use next_check::panels_to_turn;
pub(super) use reasons::lot_reason;

/// Who and what the finding is about.
#[derive(Debug, Clone, Copy)]
pub(super) struct About<'a> {
    /// The machine, where recorded.
    pub machine: Option<&'a str>,
    /// The head, where recorded.
    pub head: Option<&'a str>,
    /// The defect's name.
    pub defect: &'a str,
    /// Index into `Causes::streams`.
    pub stream: usize,
}

/// The finding of a repeat; `members` are the indices of its defects.
pub(super) fn conclude(
    about: About<'_>,
    ground: &Ground<'_>,
    sighting: &Sighting,
    dossier: &Dossier,
    members: Vec<usize>,
) -> Finding {
    let scene = &ground.scene;
    let facts = facts(sighting, dossier);
    let verdict = verdict::of_repeat(&facts);
    let frames = &dossier.frames;
    let told = matches!(
        verdict.cause,
        Cause::Machine | Cause::Part | Cause::Inspection | Cause::Recipe
    ) && frames.holds != Holds::Untold
        || (verdict.cause == Cause::Undecided && frames.holds == Holds::Machine);
    let frame = match frames.chosen.holder {
        Holder::Path(_) => Some(Frame::Path),
        _ if verdict.cause == Cause::Machine => Some(Frame::Machine),
        Holder::Panel | Holder::PanelEdge(_) => Some(Frame::Panel),
        Holder::Inspection => Some(Frame::Inspection),
        Holder::Machine if told => Some(Frame::Machine),
        Holder::Machine => None,
    };
    let place = frames.chosen.place;
    let (x_mm, y_mm) = match place {
        Place::Spot(p) => (Some(p.x), Some(p.y)),
        Place::Stripe(super::LineAxis::Y, x) => (Some(x), None),
        Place::Stripe(super::LineAxis::X, y) => (None, Some(y)),
    };
    let live = dossier.life.first..dossier.life.past;
    let panels_hit = dossier.hit[live.clone()].iter().filter(|h| **h).count();
    let panels_exposed = live.len();
    let id = |at: usize| panel_at(ground, dossier, at).id.clone();
    let hits_at: Vec<usize> = (0..dossier.hit.len()).filter(|&i| dossier.hit[i]).collect();
    let mut lots: Vec<String> = Vec::new();
    for &i in &hits_at {
        if let Some(lot) = &panel_at(ground, dossier, i).lot
            && !lots.iter().any(|l| **l == **lot)
        {
            lots.push(lot.to_string());
        }
    }
    Finding {
        id: String::new(),
        machine: about.machine.map(String::from),
        head: about.head.map(String::from),
        defect: about.defect.to_string(),
        cause: verdict.cause,
        kind: verdict.kind,
        frame,
        x_mm,
        y_mm,
        radius_mm: Some(sighting.found.radius_mm),
        line_axis: line_axis(&place),
        panels_hit,
        panels_exposed,
        hit_rate: (panels_exposed > 0).then(|| panels_hit as f64 / panels_exposed as f64),
        hit_rate_ci: proportion::clopper_pearson(panels_hit as u64, panels_exposed as u64, 0.95)
            .ok(),
        expected_hits: facts
            .sharp
            .then_some(scene.background * panels_exposed as f64),
        p_adjusted: Some(sighting.p_adjusted),
        first_panel: hits_at.first().map(|&i| id(i)),
        last_panel: hits_at.last().map(|&i| id(i)),
        onset_panel: dossier.life.onset.map(|c| id(c.at)),
        end_panel: dossier.life.end.map(|c| id(c.at)),
        drift_mm_per_day: sighting
            .found
            .drift
            .filter(|d| d.pace == Pace::Days)
            .map(|d| d.x_mm.hypot(d.y_mm)),
        bars: None,
        lots,
        reasons: reasons(ground, sighting, dossier, &facts),
        next_check: next_check(sighting, dossier, &facts, verdict),
        evidence: evidence(about, ground, dossier, members),
    }
}

fn panel_at<'a>(ground: &Ground<'a>, dossier: &Dossier, at: usize) -> &'a Panel {
    &ground.scene.records.panels[ground.scene.panels[dossier.exposed[at]]]
}

/// The facts that the verdict table asks about.
pub(super) fn facts(sighting: &Sighting, dossier: &Dossier) -> Facts {
    let explains = |e: &Option<Explained>| e.as_ref().is_some_and(|e| e.found.explains);
    let recipe = if dossier.age.is_some_and(|a| a.explains) {
        Recipe::AbrasiveAge
    } else if explains(&dossier.recipe) {
        match &dossier.recipe {
            Some(e) if e.stretches > 1 => Recipe::Name,
            _ => Recipe::OneStretch,
        }
    } else {
        Recipe::Nothing
    };
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
        one_inspector: explains(&dossier.inspector),
        holds: dossier.frames.holds,
        control_clears: dossier.control.is_some_and(|c| c.clears()) || parts_clear(dossier),
        lots: match &dossier.lots {
            LotEvidence::NotRecorded => Lots::NotRecorded,
            LotEvidence::Cleared { .. } => Lots::Cleared,
            _ if dossier.lots_by_turning.is_some() => Lots::Cleared,
            LotEvidence::Gathered { .. } => Lots::Gathered,
            LotEvidence::OneLot | LotEvidence::Open { .. } => Lots::TooFew,
        },
        recipe,
    }
}

/// Whether parts of different suppliers at the same machine place clear the
/// part. All parts go over the same table, so that one has to be cleared by how
/// panels lay where that is recorded; and what another machine shows at the same
/// place of the panel, be it faintly, may have come with the panel.
fn parts_clear(dossier: &Dossier) -> bool {
    let table_cleared = dossier
        .frames
        .machine_over_table
        .is_none_or(|log_ratio| log_ratio >= FRAME_CLAIM);
    let shown_elsewhere = dossier.control.is_some_and(|c| c.may_show_it_too());
    dossier.parts.clears() && table_cleared && !shown_elsewhere
}

fn age_end(z: f64) -> AbrasiveEnd {
    if z > 0.0 {
        AbrasiveEnd::Worn
    } else {
        AbrasiveEnd::Fresh
    }
}

fn changed(
    ground: &Ground<'_>,
    dossier: &Dossier,
    earliest: usize,
    latest: usize,
) -> Vec<(String, String)> {
    let panels: Vec<usize> = dossier
        .exposed
        .iter()
        .map(|&at| ground.scene.panels[at])
        .collect();
    let last = panels.len().saturating_sub(1);
    together::changed(ground.scene.records, &panels, earliest, latest.min(last))
}
