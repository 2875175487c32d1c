//! From the evidence about a repeat to its finding: facts and verdict here, then
//! reasons, next check and what the charts draw.

use std::collections::BTreeMap;

mod evidence;
mod next_check;
mod open;
mod reasons;

use super::levels::{LEAST_EXCESS, LEAST_HITS};
use super::reason::AbrasiveEnd;
use super::verdict::{self, Facts, Holds, Looks, Recipe};
use crate::causes::responses::merge::{Sighting, line_axis};
use crate::causes::responses::place::{Holder, Place};
use crate::causes::responses::repeat::{Dossier, Explained, Ground};
use crate::causes::rivals::together;
use crate::causes::{Cause, Certainty, Finding, Frame, Pace, Sharpness};
use crate::records::Panel;
use crate::stats::proportion;
use evidence::evidence;
use next_check::next_check;
pub(super) use open::leave_open;
use open::open;
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
    let facts = facts(ground, sighting, dossier);
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
    let place = match frames.chosen.holder {
        Holder::PanelEdge(_) => from_datum(ground, dossier).unwrap_or(place),
        _ => place,
    };
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
        certainty: Certainty::CannotTell,
        rival: None,
        levels: Vec::new(),
        open: open(dossier, &facts, verdict.cause),
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
        reach_mm: Some(sighting.reach_mm()),
        expected_hits: facts
            .sharp
            .then_some(scene.by_chance * panels_exposed as f64),
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

/// The place counted from the panel's datum corner, whatever corner it keeps its
/// distance from: on the size of panel that shows it most.
fn from_datum(ground: &Ground<'_>, dossier: &Dossier) -> Option<Place> {
    let scene = &ground.scene;
    let laid = scene.laid(&dossier.frames.chosen);
    let mut sizes: BTreeMap<(i64, i64), (usize, Place)> = BTreeMap::new();
    for (i, &at) in dossier.exposed.iter().enumerate() {
        let panel = &scene.records.panels[scene.panels[at]];
        if let (true, Some(place)) = (
            dossier.hit[i],
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

fn panel_at<'a>(ground: &Ground<'a>, dossier: &Dossier, at: usize) -> &'a Panel {
    &ground.scene.records.panels[ground.scene.panels[dossier.exposed[at]]]
}

/// The facts that the verdict table asks about.
pub(super) fn facts(ground: &Ground<'_>, sighting: &Sighting, dossier: &Dossier) -> Facts {
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
        enough: enough(ground, dossier),
        one_inspector: explains(&dossier.inspector),
        holds: dossier.frames.holds,
        control_clears: dossier.control.is_some_and(|c| c.clears())
            && !dossier.frames.panel_or_table,
        elsewhere: dossier.elsewhere.is_some(),
        lots: dossier.lots.fact(dossier.lots_by_turning.is_some()),
        recipe,
    }
}

/// Whether it is seen on panels enough, beyond chance, to name anybody.
fn enough(ground: &Ground<'_>, dossier: &Dossier) -> bool {
    let hits = dossier.hit.iter().filter(|h| **h).count();
    let expected = ground.scene.background * dossier.hit.len() as f64;
    hits >= LEAST_HITS && hits as f64 - expected >= LEAST_EXCESS
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
