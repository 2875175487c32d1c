//! From the evidence about a repeat to its finding: facts, verdict, reasons,
//! next check.

use super::contrast::FrameEvidence;
use super::lots::LotEvidence;
use super::merge::{Sighting, line_axis};
use super::place::{Holder, Place};
use super::reason::{AbrasiveEnd, Followed, NextCheck, Reason, Tally};
use super::repeat::{Dossier, Explained, Ground};
use super::verdict::{self, Facts, Holds, Looks, Lots, Recipe};
use super::{
    Cause, ChangePoint, Evidence, Finding, Frame, Hit, Kind, LevelCount, Period, Sharpness,
    abrasive, together,
};
use crate::records::Panel;
use crate::stats::proportion;

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
        expected_hits: Some(scene.background * panels_exposed as f64),
        p_adjusted: Some(sighting.p_adjusted),
        first_panel: hits_at.first().map(|&i| id(i)),
        last_panel: hits_at.last().map(|&i| id(i)),
        onset_panel: dossier.life.onset.map(|c| id(c.at)),
        end_panel: dossier.life.end.map(|c| id(c.at)),
        drift_mm_per_day: sighting
            .found
            .drift
            .map(|d| d.x_mm_per_day.hypot(d.y_mm_per_day)),
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
        control_clears: dossier.control.is_some_and(|c| c.clears()) || dossier.parts.clears(),
        lots: match &dossier.lots {
            LotEvidence::NotRecorded => Lots::NotRecorded,
            LotEvidence::Cleared { .. } => Lots::Cleared,
            _ if dossier.lots_by_turning.is_some() => Lots::Cleared,
            LotEvidence::Gathered { .. } => Lots::Gathered,
            LotEvidence::OneLot | LotEvidence::TooFew { .. } => Lots::TooFew,
        },
        recipe,
    }
}

/// Everything for and against, in the order in which it was asked.
fn reasons(
    ground: &Ground<'_>,
    sighting: &Sighting,
    dossier: &Dossier,
    facts: &Facts,
) -> Vec<Reason> {
    let scene = &ground.scene;
    let hits = dossier.hit.iter().filter(|h| **h).count();
    let exposed = dossier.exposed.len();
    let mut out = vec![Reason::Repeats {
        hits,
        exposed,
        expected: scene.background * exposed as f64,
    }];
    if !facts.sharp {
        out.push(Reason::Broad {
            ring_ratio: sighting.found.ring_ratio,
        });
    }
    if let Some(e) = &dossier.inspector {
        out.push(follows(Followed::Inspector, e));
    }
    frame_reasons(ground, &dossier.frames, facts, &mut out);
    lot_reasons(dossier, &mut out);
    control_reasons(dossier, &mut out);
    match (&dossier.recipe, facts.recipe) {
        (Some(e), Recipe::OneStretch) => out.push(Reason::BeganWithRecipe {
            recipe: e.level.clone(),
        }),
        (Some(e), _) => out.push(follows(Followed::Recipe, e)),
        (None, _) => {}
    }
    if let Some(e) = &dossier.fixture {
        out.push(follows(Followed::Fixture, e));
    }
    if let Some(age) = &dossier.age {
        out.push(Reason::FollowsAge {
            end: age_end(age.z),
            mean_of_hits: age.mean_of_hits,
            mean_of_all: age.mean_of_all,
            p_value: age.p_value,
        });
    }
    if let Some(fold) = &dossier.fold {
        out.push(Reason::EveryKth {
            every: fold.every,
            slips: fold.phase.is_none(),
            p_value: fold.p_value,
        });
    }
    let id = |at: usize| panel_at(ground, dossier, at).id.clone();
    let last = dossier.exposed.len().saturating_sub(1);
    if let Some(c) = dossier.life.onset {
        out.push(Reason::SetIn {
            panel: id(c.at),
            between: (id(c.earliest), id(c.latest.min(last))),
            together_with: changed(ground, dossier, c.earliest, c.latest),
        });
    }
    if let Some(c) = dossier.life.end {
        out.push(Reason::Ended {
            panel: id(c.at),
            between: (id(c.earliest), id(c.latest.min(last))),
            together_with: changed(ground, dossier, c.earliest, c.latest),
        });
    }
    if let Some(d) = sighting.found.drift {
        out.push(Reason::Drifts {
            mm_per_day: d.x_mm_per_day.hypot(d.y_mm_per_day),
        });
    }
    out
}

fn follows(column: Followed, e: &Explained) -> Reason {
    Reason::FollowsLevel {
        column,
        level: e.level.clone(),
        inside: Tally {
            hits: e.found.hits,
            exposed: e.found.exposed,
        },
        outside: Tally {
            hits: e.found.rest_hits,
            exposed: e.found.rest_exposed,
        },
        alone: e.found.explains,
    }
}

fn frame_reasons(
    ground: &Ground<'_>,
    frames: &FrameEvidence,
    facts: &Facts,
    out: &mut Vec<Reason>,
) {
    let duel = &frames.machine_panel;
    let machine_frame = if frames.dwell {
        Frame::Path
    } else {
        Frame::Machine
    };
    match facts.holds {
        Holds::Machine => out.push(Reason::HoldsInFrame {
            frame: machine_frame,
            rival: Frame::Panel,
            held: duel.first,
            failed: duel.second,
            log_ratio: frames.machine_over_panel,
        }),
        Holds::Panel => out.push(Reason::HoldsInFrame {
            frame: Frame::Panel,
            rival: machine_frame,
            held: duel.second,
            failed: duel.first,
            log_ratio: -frames.machine_over_panel,
        }),
        Holds::Inspection => {
            let table = frames
                .scores
                .iter()
                .find(|s| s.frame == Frame::Inspection)
                .copied();
            if let Some(score) = table {
                out.push(Reason::HoldsInFrame {
                    frame: Frame::Inspection,
                    rival: machine_frame,
                    held: Tally {
                        hits: score.hits,
                        exposed: score.informative,
                    },
                    failed: Tally::default(),
                    log_ratio: score.log_ratio,
                });
            }
        }
        Holds::Untold if duel.informative == 0 => {
            out.push(if turned(ground) {
                Reason::SymmetricPlace
            } else {
                Reason::NeverTurned
            });
        }
        Holds::Untold => out.push(Reason::FramesNotSeparated {
            left: frames.left.clone(),
            informative: duel.informative,
            log_ratio: frames.machine_over_panel,
        }),
    }
    let recorded = frames.machine_over_table.is_some();
    let table_open = frames
        .machine_over_table
        .is_none_or(|r| r < super::levels::FRAME_CLAIM);
    // What rode the panels at the table as well is not the table's.
    let rode_there = facts.holds == Holds::Panel
        && frames
            .table_over_panel
            .is_some_and(|r| r <= -super::levels::FRAME_CLAIM);
    if facts.holds != Holds::Inspection && table_open && !rode_there {
        out.push(
            if facts.control_clears && !facts.one_inspector && recorded {
                Reason::TableClearedByControl
            } else if recorded {
                Reason::TableNotCleared {
                    informative: frames.table_informative,
                }
            } else {
                Reason::TableNotRecorded
            },
        );
    }
}

/// Whether any panel of the stream lay otherwise than the first.
fn turned(ground: &Ground<'_>) -> bool {
    let scene = &ground.scene;
    let lay = |i: usize| {
        let p = &scene.records.panels[i];
        (p.lay, p.lay_x_mm.to_bits(), p.lay_y_mm.to_bits())
    };
    scene
        .panels
        .first()
        .is_some_and(|&first| scene.panels.iter().any(|&i| lay(i) != lay(first)))
}

fn lot_reasons(dossier: &Dossier, out: &mut Vec<Reason>) {
    let lots = dossier.lot_counts.iter().filter(|c| c.exposed > 0).count();
    out.push(match &dossier.lots {
        LotEvidence::NotRecorded => Reason::LotsNotRecorded,
        LotEvidence::OneLot => Reason::OneLot,
        LotEvidence::Cleared { lots_hit, .. } => Reason::LotsClear {
            lots_hit: *lots_hit,
            lots,
        },
        LotEvidence::TooFew { lots_hit } => Reason::FewLots {
            lots_hit: *lots_hit,
            lots,
        },
        LotEvidence::Gathered { lots, p_value } => {
            let sum = |inside: bool| {
                let chosen = dossier
                    .lot_counts
                    .iter()
                    .enumerate()
                    .filter(|(l, _)| lots.contains(l) == inside);
                chosen.fold(Tally::default(), |t, (_, c)| Tally {
                    hits: t.hits + c.hits,
                    exposed: t.exposed + c.exposed,
                })
            };
            Reason::LotsGather {
                lots: lots.iter().map(|&l| dossier.lot_names[l].clone()).collect(),
                inside: sum(true),
                outside: sum(false),
                p_value: *p_value,
            }
        }
    });
    if let Some((lots, log_ratio)) = dossier.lots_by_turning
        && !matches!(dossier.lots, LotEvidence::Cleared { .. })
    {
        out.push(Reason::LotsClearByTurning { lots, log_ratio });
    }
}

fn control_reasons(dossier: &Dossier, out: &mut Vec<Reason>) {
    if let Some(c) = dossier.control {
        let there = Tally {
            hits: c.sums.control_hits,
            exposed: c.sums.control_exposed,
        };
        if c.clears() {
            out.push(Reason::ControlClears {
                lots: c.lots,
                here: Tally {
                    hits: c.sums.hits,
                    exposed: c.sums.exposed,
                },
                there,
                p_value: c.p_value,
            });
        } else if c.shows_it_too() {
            out.push(Reason::ControlShowsItToo { there });
        }
    }
    let parts = &dossier.parts;
    if parts.clears() {
        out.push(Reason::SuppliersAgree {
            parts: parts.parts.clone(),
            suppliers: parts.suppliers.clone(),
        });
    } else if parts.parts.len() >= 2 {
        out.push(Reason::DesignOnlyCleared {
            parts: parts.parts.clone(),
        });
    }
}

fn age_end(z: f64) -> AbrasiveEnd {
    if z > 0.0 {
        AbrasiveEnd::Worn
    } else {
        AbrasiveEnd::Fresh
    }
}

/// Panels that a turn test needs so that a repeat of this rate would show with
/// 99 %: ⌈ln 0.01 / ln(1 − h)⌉.
pub(super) fn panels_to_turn(hit_rate: f64) -> usize {
    if hit_rate >= 1.0 {
        return 1;
    }
    (0.01_f64.ln() / (1.0 - hit_rate.max(0.001)).ln()).ceil() as usize
}

fn next_check(
    sighting: &Sighting,
    dossier: &Dossier,
    facts: &Facts,
    verdict: verdict::Verdict,
) -> NextCheck {
    let live = &dossier.hit[dossier.life.first..dossier.life.past];
    let hits = live.iter().filter(|h| **h).count();
    let panels = panels_to_turn(hits as f64 / live.len().max(1) as f64);
    match verdict.cause {
        Cause::Machine => match (facts.looks, &dossier.fixture, &dossier.fold) {
            (_, Some(f), _) if f.found.explains => NextCheck::CheckFixture {
                fixture: f.level.clone(),
            },
            (Looks::Dwell, ..) => NextCheck::CheckPath,
            (_, _, Some(fold)) => NextCheck::CheckEveryKth { every: fold.every },
            (Looks::Line, ..) => NextCheck::CheckStepOver,
            _ => NextCheck::CheckPlace,
        },
        Cause::Part if verdict.kind == Kind::Lot => NextCheck::CheckLots {
            lots: match &dossier.lots {
                LotEvidence::Gathered { lots, .. } => {
                    lots.iter().map(|&l| dossier.lot_names[l].clone()).collect()
                }
                _ => Vec::new(),
            },
        },
        Cause::Part => NextCheck::CheckUpstream,
        Cause::Recipe => match (&dossier.age, &dossier.recipe) {
            (Some(age), _) if age.explains => NextCheck::CheckAbrasive {
                end: age_end(age.z),
            },
            (_, Some(e)) => NextCheck::CheckRecipe {
                recipe: e.level.clone(),
            },
            _ => NextCheck::None,
        },
        Cause::Inspection => NextCheck::CheckTable,
        Cause::Undecided => {
            if sighting.found.sharpness == Sharpness::Broad {
                NextCheck::CheckIncoming
            } else if let (true, Some(e)) = (facts.one_inspector, &dossier.inspector) {
                NextCheck::SecondInspector {
                    inspector: e.level.clone(),
                }
            } else if let (Recipe::OneStretch, Some(e)) = (facts.recipe, &dossier.recipe) {
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

/// The panel is ruled out, the inspection table is not.
fn table_alone_left(frames: &FrameEvidence) -> bool {
    frames.machine_over_panel >= super::levels::FRAME_CLAIM && frames.machine_over_table.is_some()
}

/// Whether a half turn maps the place onto itself on the panels hit: then the
/// panel's middle is too near.
fn symmetric(dossier: &Dossier) -> bool {
    dossier.frames.half_turn_moves_mm < 2.0 * dossier.frames.reach_mm
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

fn evidence(
    about: About<'_>,
    ground: &Ground<'_>,
    dossier: &Dossier,
    members: Vec<usize>,
) -> Evidence {
    let scene = &ground.scene;
    let records = scene.records;
    let laid = scene.laid(&dossier.frames.chosen);
    let index = |at: usize| scene.panels[dossier.exposed[at]];
    let last = dossier.exposed.len().saturating_sub(1);
    let mut hits = Vec::new();
    for (i, &at) in dossier.exposed.iter().enumerate() {
        let nearest = laid[at]
            .filter(|_| dossier.hit[i])
            .and_then(|p| scene.marks.nearest(scene.panels[at], &p, scene.reach_mm));
        if let Some(mark) = nearest
            && let Some(on_panel) = records.defects[mark.defect].place
        {
            hits.push(Hit {
                panel: scene.panels[at],
                defect: mark.defect,
                machine: records.panels[scene.panels[at]].to_machine(on_panel),
                on_panel,
            });
        }
    }
    let change = |c: super::onset::Change| ChangePoint {
        panel: index(c.at.min(last)),
        earliest: index(c.earliest.min(last)),
        latest: index(c.latest.min(last)),
        log_ratio: c.log_ratio,
        together_with: changed(ground, dossier, c.earliest, c.latest),
    };
    Evidence {
        stream: Some(about.stream),
        hits,
        exposed: (0..dossier.exposed.len()).map(index).collect(),
        members,
        by_lot: dossier
            .lot_names
            .iter()
            .zip(&dossier.lot_counts)
            .map(|(level, c)| LevelCount {
                level: level.clone(),
                exposed: c.exposed,
                hits: c.hits,
            })
            .collect(),
        by_age: by_age(records, ground, dossier),
        frames: dossier.frames.scores.clone(),
        onset: dossier.life.onset.map(change),
        end: dossier.life.end.map(change),
        period: dossier.fold.as_ref().map(|fold| Period::EveryKth {
            every: fold.every,
            phase: fold.phase,
            folded: fold
                .folded
                .iter()
                .enumerate()
                .map(|(phase, &(exposed, hits))| LevelCount {
                    level: (phase + 1).to_string(),
                    exposed,
                    hits,
                })
                .collect(),
        }),
        ..Evidence::default()
    }
}

/// Hits by age of the abrasive, where the hits follow it.
fn by_age(
    records: &crate::records::Records,
    ground: &Ground<'_>,
    dossier: &Dossier,
) -> Vec<LevelCount> {
    if dossier.age.is_none() {
        return Vec::new();
    }
    let aged: Vec<(f64, bool)> = (dossier.exposed.iter().zip(&dossier.hit))
        .filter_map(|(&at, &hit)| {
            Some((records.panels[ground.scene.panels[at]].abrasive_age?, hit))
        })
        .collect();
    abrasive::by_age(&aged)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn panels_to_turn_agree_with_an_independent_slow_reference_implementation() {
        assert_eq!(panels_to_turn(0.3), 13);
        assert_eq!(panels_to_turn(1.0), 1);
    }
}
