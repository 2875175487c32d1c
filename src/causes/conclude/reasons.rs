//! Everything for and against a cause of a repeat, in the order in which it was
//! asked.

use super::super::levels::FRAME_CLAIM;
use super::super::reason::{Reason, Rival, Tally};
use super::super::verdict::{Facts, Holds, Recipe};
use super::{age_end, changed, panel_at};
use crate::causes::Frame;
use crate::causes::responses::merge::Sighting;
use crate::causes::responses::repeat::{Dossier, Ground};
use crate::causes::rivals::contrast::FrameEvidence;
use crate::causes::rivals::lots::{LotCount, LotEvidence};

/// Everything for and against, in the order in which it was asked.
pub(super) fn reasons(
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
        // By the marks crowded around it, chance would put as many there.
        expected: facts.sharp.then_some(scene.by_chance * exposed as f64),
    }];
    if !facts.sharp {
        out.push(Reason::Broad {
            ring_ratio: sighting.found.ring_ratio,
        });
    }
    if facts.sharp && !facts.enough {
        out.push(Reason::TooFewToName { hits });
    }
    if let Some(e) = &dossier.inspector {
        out.push(e.reason(Rival::Inspector));
    }
    frame_reasons(ground, &dossier.frames, facts, &mut out);
    lot_reasons(dossier, &mut out);
    control_reasons(dossier, &mut out);
    match (&dossier.recipe, facts.recipe) {
        (Some(e), Recipe::OneStretch) => out.push(Reason::BeganWithRecipe {
            recipe: e.level.clone(),
        }),
        (Some(e), _) => out.push(e.reason(Rival::Recipe)),
        (None, _) => {}
    }
    if let Some(e) = &dossier.fixture {
        out.push(e.reason(Rival::Fixture));
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
            pace: d.pace,
            mm: d.x_mm.hypot(d.y_mm),
        });
    }
    out
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
        Holds::Untold if frames.lay_goes_with_others() => {
            let within = frames.within.as_ref();
            out.push(Reason::LayGoesWithOthers {
                groups: within.map_or(0, |w| w.groups),
                log_ratio: within.map_or(0.0, |w| w.log_ratio),
            });
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
    let table_open = frames.machine_over_table.is_none_or(|r| r < FRAME_CLAIM);
    // What rode the panels at the table as well is not the table's.
    let rode_there =
        facts.holds == Holds::Panel && frames.table_over_panel.is_some_and(|r| r <= -FRAME_CLAIM);
    // Panel or table: told above.
    let told = facts.holds == Holds::Untold && frames.rides();
    if facts.holds != Holds::Inspection && table_open && !rode_there && !told {
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
    out.push(lot_reason(
        &dossier.lots,
        &dossier.lot_counts,
        &dossier.lot_names,
    ));
    if let Some((lots, log_ratio)) = dossier.lots_by_turning
        && !matches!(dossier.lots, LotEvidence::Cleared { .. })
    {
        out.push(Reason::LotsClearByTurning { lots, log_ratio });
    }
}

/// What the lots say; `counts` and `names` in the order of the evidence's lots.
pub(in crate::causes) fn lot_reason(
    lots: &LotEvidence,
    counts: &[LotCount],
    names: &[String],
) -> Reason {
    match lots {
        LotEvidence::NotRecorded => Reason::LotsNotRecorded,
        LotEvidence::OneLot => Reason::OneLot,
        LotEvidence::Cleared { lots_hit, lots, .. } => Reason::LotsClear {
            lots_hit: *lots_hit,
            lots: *lots,
        },
        LotEvidence::Open {
            lots_hit,
            lots,
            lack,
        } => Reason::LotsOpen {
            lots_hit: *lots_hit,
            lots: *lots,
            lack: *lack,
        },
        LotEvidence::Gathered { lots, p_value } => {
            let sum = |inside: bool| {
                let chosen = counts
                    .iter()
                    .enumerate()
                    .filter(|(l, _)| lots.contains(l) == inside);
                chosen.fold(Tally::default(), |t, (_, c)| Tally {
                    hits: t.hits + c.hits,
                    exposed: t.exposed + c.exposed,
                })
            };
            Reason::LotsGather {
                lots: lots.iter().map(|&l| names[l].clone()).collect(),
                inside: sum(true),
                outside: sum(false),
                p_value: *p_value,
            }
        }
    }
}

fn control_reasons(dossier: &Dossier, out: &mut Vec<Reason>) {
    if let Some(c) = dossier.control {
        if c.clears() {
            out.push(c.clearing());
        } else if c.shows_it_too() {
            out.push(Reason::ControlShowsItToo { there: c.there() });
        } else if c.differs() {
            out.push(Reason::ControlWritesLittle { there: c.there() });
        }
    }
    if let Some(e) = &dossier.elsewhere {
        out.push(Reason::ShownElsewhere {
            machine: e.machine.clone(),
            there: e.there,
        });
    }
    if dossier.parts.len() >= 2 {
        out.push(Reason::SeveralParts {
            parts: dossier.parts.clone(),
        });
    }
}
