//! Everything for and against a cause of a repeat, in the order in which it was
//! asked.

use super::super::levels::FRAME_CLAIM;
use super::super::verdict::{Facts, Holds};
use crate::causes::responses::merge::Sighting;
use crate::causes::responses::repeat::{Dossier, Ground};
use crate::causes::rivals::contrast::FrameEvidence;
use crate::causes::{Frame, Reason, Tally};

/// Everything for and against, in the order in which it was asked.
pub(super) fn reasons(
    ground: &Ground<'_>,
    sighting: &Sighting,
    dossier: &Dossier,
    facts: &Facts,
) -> Vec<Reason> {
    let scene = &ground.scene;
    let with = &dossier.with;
    let Tally { hits, exposed } = with.all();
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
    out.extend(with.inspector_reason());
    frame_reasons(ground, &dossier.frames, facts, &mut out);
    out.extend(with.lot_reasons());
    control_reasons(dossier, &mut out);
    out.extend(with.setting_reasons());
    out.extend(dossier.fold.as_ref().map(|fold| Reason::EveryKth {
        every: fold.every,
        slips: fold.phase.is_none(),
        p_value: fold.p_value,
    }));
    out.extend(with.time_reasons(scene.records));
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
        _ if facts.holds == Holds::Panel || frames.panel_or_table => {
            out.push(Reason::HoldsInFrame {
                frame: Frame::Panel,
                rival: machine_frame,
                held: duel.second,
                failed: duel.first,
                log_ratio: -frames.machine_over_panel,
            });
        }
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
        Holds::Untold | Holds::Panel => out.push(Reason::FramesNotSeparated {
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

fn control_reasons(dossier: &Dossier, out: &mut Vec<Reason>) {
    if let Some(c) = dossier.control {
        if c.clears() {
            out.push(c.clearing());
        } else if c.shows_it_too() {
            out.push(Reason::ControlShowsItToo { there: c.there });
        } else if c.differs() {
            out.push(Reason::ControlWritesLittle { there: c.there });
        }
    }
    if let Some((machine, there)) = dossier.elsewhere.clone() {
        out.push(Reason::ShownElsewhere { machine, there });
    }
    if dossier.parts.len() >= 2 {
        out.push(Reason::SeveralParts {
            parts: dossier.parts.clone(),
        });
    }
}
