//! One side, panel after panel: a tilted head, or a taper that rides the
//! panels.
//!
//! Unit: the panel. It votes for the outer third (of the machine's axis, as it
//! lay) with more marks; marks of found repeats don't vote, because a spot off
//! centre would vote one way on every panel. Exact sign test. Frames, lots,
//! control, inspector and recipe are asked as for a place, votes as hits.

use std::collections::BTreeMap;

use crate::causes::levels::{FRAME_CLAIM, LEAST_HITS, OTHER_LOTS, SIDES, adjusted};
use crate::causes::responses::ends::corners;
use crate::causes::responses::ends::corners::AtCorner;
use crate::causes::responses::ends::side_lots::{lot_evidence, lots_in_order, within};
use crate::causes::responses::ends::votes::{
    SideContrast, SideFrame, Voter, axis_of, side_contrast, sides_of, thirds,
};
use crate::causes::responses::place::Marks;
use crate::causes::responses::repeat::{coded, setting};
use crate::causes::rivals::control::{Control, On, Strata, Written};
use crate::causes::rivals::follows;
use crate::causes::rivals::lots::LotEvidence;
use crate::causes::tails::sign_test;
use crate::causes::verdict;
use crate::causes::verdict::{Facts, Holds, Looks, Lots, Recipe};
use crate::causes::{
    Cause, Certainty, Evidence, Finding, Frame, Hit, LevelCount, LineAxis, NextCheck, Reason, Side,
};
use crate::records::{Panel, Records};
use crate::site::DefectClass;
use crate::stats::proportion;

/// A stream whose sides are asked about.
#[derive(Debug, Clone, Copy)]
pub(in crate::causes) struct SideStream<'a> {
    /// The records.
    pub records: &'a Records,
    /// Its inspected panels.
    pub panels: &'a [usize],
    /// Inspected panels of other machines and heads.
    pub others: &'a [usize],
    /// Marks of its kind.
    pub marks: &'a Marks,
    /// Marks that belong to found repeats, by defect.
    pub taken: &'a [bool],
    /// Of these, those of repeats at one place, by defect.
    pub of_spots: &'a [bool],
    /// Index into `Causes::streams`.
    pub index: usize,
    /// Streams in the report.
    pub streams: usize,
    /// Its kind's class.
    pub class: Option<DefectClass>,
}

/// A side, or one corner, that leads, before its evidence.
pub(in crate::causes) struct Lead {
    pub(in crate::causes) frame: SideFrame,
    pub(in crate::causes) side: Side,
    /// Where only one corner of the side leads.
    pub(in crate::causes) corner: Option<AtCorner>,
    pub(in crate::causes) votes: usize,
    pub(in crate::causes) against: usize,
    pub(in crate::causes) p_adjusted: f64,
    pub(in crate::causes) voters: Vec<Voter>,
}

/// Findings of sides of a stream; machine, head and defect are filled in by
/// the caller.
pub(in crate::causes) fn sides(stream: &SideStream<'_>, alpha: f64) -> Vec<Finding> {
    let mut leads: Vec<Lead> = Vec::new();
    let turned = !never_turned(stream);
    for frame in [SideFrame::Machine, SideFrame::Panel] {
        if frame == SideFrame::Panel && !turned {
            continue;
        }
        let tests = stream.streams * if turned { 2 } else { 1 };
        leads.extend(corners::lead(stream, frame, tests, alpha));
        for axis in [LineAxis::X, LineAxis::Y] {
            leads.extend(lead(stream, frame, axis, 2 * tests).filter(|l| l.p_adjusted <= alpha));
        }
    }
    // A corner first: its two sides lead because it does.
    leads.sort_by(|a, b| {
        (a.corner.is_none().cmp(&b.corner.is_none())).then(a.p_adjusted.total_cmp(&b.p_adjusted))
    });
    let mut taken: Vec<Lead> = Vec::new();
    for lead in leads {
        let same = taken.iter().any(|t| {
            (t.frame != lead.frame || t.corner.is_some())
                && shared_votes(t, &lead) * 2 >= lead.votes
        });
        if !same {
            taken.push(lead);
        }
    }
    taken.iter().map(|lead| conclude(stream, lead)).collect()
}

fn never_turned(stream: &SideStream<'_>) -> bool {
    let lay = |i: usize| stream.records.panels[i].lay;
    let mut lays = stream.panels.iter().map(|&i| lay(i));
    let first = lays.next();
    lays.all(|l| Some(l) == first)
}

/// Panels that voted for both leads' sides.
fn shared_votes(a: &Lead, b: &Lead) -> usize {
    let mut own: Vec<usize> = (a.voters.iter())
        .filter(|v| v.vote == a.side)
        .map(|v| v.panel)
        .collect();
    own.sort_unstable();
    (b.voters.iter())
        .filter(|v| v.vote == b.side && own.binary_search(&v.panel).is_ok())
        .count()
}

/// Votes of panels along an axis of a frame.
fn voters(
    stream: &SideStream<'_>,
    panels: &[usize],
    frame: SideFrame,
    axis: LineAxis,
) -> Vec<Voter> {
    panels
        .iter()
        .filter_map(|&panel| {
            let counts = thirds(
                stream.records,
                stream.marks,
                panel,
                (frame, axis),
                stream.taken,
                0.0,
            );
            counts.vote(axis).map(|vote| Voter { panel, vote })
        })
        .collect()
}

fn lead(stream: &SideStream<'_>, frame: SideFrame, axis: LineAxis, tests: usize) -> Option<Lead> {
    let voters = voters(stream, stream.panels, frame, axis);
    let (low, high) = sides_of(axis);
    let for_low = voters.iter().filter(|v| v.vote == low).count();
    let for_high = voters.len() - for_low;
    if voters.is_empty() {
        return None;
    }
    let (side, votes, against) = if for_low >= for_high {
        (low, for_low, for_high)
    } else {
        (high, for_high, for_low)
    };
    Some(Lead {
        frame,
        side,
        corner: None,
        votes,
        against,
        p_adjusted: adjusted(sign_test(votes, against), tests, SIDES),
        voters,
    })
}

fn conclude(stream: &SideStream<'_>, lead: &Lead) -> Finding {
    let records = stream.records;
    let contrast = |frame, rival| {
        let c = side_contrast(records, &lead.voters, (frame, lead.side), rival);
        (c.informative > 0 || c.log_ratio != 0.0).then_some(c)
    };
    let other = match lead.frame {
        SideFrame::Machine => SideFrame::Panel,
        _ => SideFrame::Machine,
    };
    let over_rival = contrast(lead.frame, other);
    let table_recorded = stream
        .panels
        .iter()
        .any(|&i| records.panels[i].inspect_lay.is_some());
    let over_table = side_contrast(
        records,
        &lead.voters,
        (lead.frame, lead.side),
        SideFrame::Inspection,
    );
    let claims =
        |c: &Option<SideContrast>, sign: f64| c.is_some_and(|c| sign * c.log_ratio >= FRAME_CLAIM);
    let table_wins = table_recorded && -over_table.log_ratio >= FRAME_CLAIM;
    let table_beaten = !table_recorded || over_table.log_ratio >= FRAME_CLAIM;
    let machine_leads = lead.frame == SideFrame::Machine;
    let (inside, other_lots) = within(records, lead, other);
    let stands = inside >= FRAME_CLAIM;
    let by_turning = other_lots
        .filter(|(_, log_ratio)| machine_leads && stands && *log_ratio >= OTHER_LOTS.ln());
    let holds = if table_wins {
        Holds::Inspection
    } else if machine_leads && claims(&over_rival, 1.0) && stands && table_beaten
        || !machine_leads && claims(&over_rival, -1.0)
    {
        // A side that leads on the panel but holds in the machine is left
        // undecided below: the machine's own test did not find it.
        if machine_leads {
            Holds::Machine
        } else {
            Holds::Untold
        }
    } else if machine_leads && claims(&over_rival, -1.0) && !table_recorded
        || !machine_leads && claims(&over_rival, 1.0) && stands && table_beaten
    {
        Holds::Panel
    } else {
        Holds::Untold
    };
    // Where the panel beat the machine and not the table, turning there settles it.
    let panel_or_table = holds == Holds::Untold
        && !machine_leads
        && claims(&over_rival, 1.0)
        && stands
        && !table_beaten;
    let for_side: Vec<bool> = lead.voters.iter().map(|v| v.vote == lead.side).collect();
    let panel = |v: &Voter| &records.panels[v.panel];
    let level = |value: &dyn Fn(&Panel) -> Option<String>| {
        let levels: Vec<Option<String>> = lead.voters.iter().map(|v| value(panel(v))).collect();
        let (codes, names) = coded(&levels);
        follows::level(&codes, &for_side, 0.5).map(|f| (f, names[f.level].clone()))
    };
    let inspector = level(&|p| p.inspector.as_deref().map(String::from));
    let recipe = level(&setting);
    let ages: Vec<Option<f64>> = lead.voters.iter().map(|v| panel(v).abrasive_age).collect();
    let age = follows::age(&ages, &for_side, 0.5);
    let (lot_names, lot_counts, lots) = lot_evidence(records, lead, &for_side);
    let control = control_evidence(stream, lead);
    let facts = Facts {
        looks: Looks::Side,
        sharp: true,
        enough: lead.votes >= LEAST_HITS,
        one_inspector: inspector.as_ref().is_some_and(|(f, _)| f.explains),
        holds,
        control_clears: machine_leads && control.is_some_and(|c| c.clears()),
        elsewhere: machine_leads && control.is_some_and(|c| c.shows_it_too()),
        lots: lots.fact(by_turning.is_some()),
        recipe: if age.is_some_and(|a| a.explains) {
            Recipe::AbrasiveAge
        } else if recipe.as_ref().is_some_and(|(f, _)| f.explains) {
            Recipe::OneStretch
        } else {
            Recipe::Nothing
        },
    };
    let verdict = verdict::of_repeat(&facts);
    let kind = match verdict.kind {
        crate::causes::Kind::RidesPanel => crate::causes::Kind::Side,
        other => other,
    };
    let frame = match (holds, lead.frame) {
        (Holds::Inspection, _) => Some(Frame::Inspection),
        (Holds::Panel, _) => Some(Frame::Panel),
        (Holds::Machine, _) => Some(Frame::Machine),
        _ if verdict.cause == Cause::Machine => Some(Frame::Machine),
        _ => None,
    };
    let led_in = match lead.frame {
        SideFrame::Machine => Frame::Machine,
        SideFrame::Panel => Frame::Panel,
        SideFrame::Inspection => Frame::Inspection,
    };
    let mut reasons = vec![match lead.corner {
        None => Reason::SideVotes {
            side: lead.side,
            frame: led_in,
            votes: lead.votes,
            against: lead.against,
            p_adjusted: lead.p_adjusted,
        },
        Some(AtCorner::EdgeEnd { edge, end }) => Reason::OneEndOfAnEdge {
            edge,
            end,
            frame: led_in,
            votes: lead.votes,
            against: lead.against,
            p_adjusted: lead.p_adjusted,
        },
        Some(AtCorner::Corner { x, y }) => Reason::OneCorner {
            sides: (x, y),
            frame: led_in,
            votes: lead.votes,
            against: lead.against,
            p_adjusted: lead.p_adjusted,
        },
    }];
    match over_rival {
        Some(c) if holds != Holds::Untold && holds != Holds::Inspection => {
            reasons.push(Reason::SideHolds {
                frame: frame.unwrap_or(led_in),
                votes: if (holds == Holds::Panel) == machine_leads {
                    c.informative - c.votes
                } else {
                    c.votes
                },
                against: if (holds == Holds::Panel) == machine_leads {
                    c.votes
                } else {
                    c.informative - c.votes
                },
                log_ratio: c.log_ratio.abs(),
            });
        }
        Some(c) if holds == Holds::Untold => reasons.push(Reason::FramesNotSeparated {
            left: if panel_or_table {
                vec![Frame::Panel, Frame::Inspection]
            } else {
                vec![Frame::Machine, Frame::Panel]
            },
            informative: c.informative,
            log_ratio: c.log_ratio,
        }),
        _ if holds == Holds::Untold => reasons.push(Reason::NeverTurned),
        _ => {}
    }
    if holds != Holds::Inspection {
        if !table_recorded {
            reasons.push(Reason::TableNotRecorded);
        } else if !table_beaten {
            reasons.push(Reason::TableNotCleared {
                informative: over_table.informative,
            });
        }
    }
    reasons.push(crate::causes::conclude::lot_reason(
        &lots,
        &lot_counts,
        &lot_names,
    ));
    if let (Some((lots, log_ratio)), false) =
        (by_turning, matches!(lots, LotEvidence::Cleared { .. }))
    {
        reasons.push(Reason::LotsClearByTurning { lots, log_ratio });
    }
    if let Some(c) = control.filter(Control::clears) {
        reasons.push(c.clearing());
    }
    let hits: Vec<usize> = (lead.voters.iter())
        .filter(|v| v.vote == lead.side)
        .map(|v| v.panel)
        .collect();
    let n = lead.voters.len();
    Finding {
        id: String::new(),
        machine: None,
        head: None,
        defect: String::new(),
        cause: verdict.cause,
        certainty: Certainty::CannotTell,
        rival: None,
        levels: Vec::new(),
        open: Vec::new(),
        kind,
        frame,
        x_mm: None,
        y_mm: None,
        radius_mm: None,
        line_axis: None,
        panels_hit: lead.votes,
        panels_exposed: n,
        hit_rate: (n > 0).then(|| lead.votes as f64 / n as f64),
        hit_rate_ci: proportion::clopper_pearson(lead.votes as u64, n as u64, 0.95).ok(),
        reach_mm: None,
        expected_hits: Some(n as f64 / 2.0),
        p_adjusted: Some(lead.p_adjusted),
        first_panel: hits.first().map(|&i| records.panels[i].id.clone()),
        last_panel: hits.last().map(|&i| records.panels[i].id.clone()),
        onset_panel: None,
        end_panel: None,
        drift_mm_per_day: None,
        bars: None,
        lots: lots_in_order(records, &hits),
        next_check: if panel_or_table && verdict.cause == Cause::Undecided {
            NextCheck::TurnAtTable {
                panels: panels_to_turn(lead),
            }
        } else {
            next_check(stream, lead, &facts, verdict.cause)
        },
        reasons,
        evidence: Evidence {
            stream: Some(stream.index),
            hits: hits_of(stream, &hits, lead),
            members: members(stream, &hits, lead),
            exposed: lead.voters.iter().map(|v| v.panel).collect(),
            by_lot: lot_names
                .into_iter()
                .zip(lot_counts)
                .map(|(level, c)| LevelCount {
                    level,
                    exposed: c.exposed,
                    hits: c.hits,
                })
                .collect(),
            ..Evidence::default()
        },
    }
}

/// The side that takes more: where too much is the defect that side, where too
/// little is, the other.
fn takes_more(stream: &SideStream<'_>, side: Side) -> Option<Side> {
    match stream.class? {
        DefectClass::Over => Some(side),
        DefectClass::Under => Some(side.opposite()),
        DefectClass::Surface | DefectClass::Incoming => None,
    }
}

/// Panels to turn so that votes so one-sided would show.
fn panels_to_turn(lead: &Lead) -> usize {
    let share = lead.votes as f64 / lead.voters.len().max(1) as f64;
    crate::causes::conclude::panels_to_turn((2.0 * share - 1.0).max(0.1))
}

fn next_check(stream: &SideStream<'_>, lead: &Lead, facts: &Facts, cause: Cause) -> NextCheck {
    let look = match lead.corner {
        Some(place) => place.next_check(stream.class),
        None => NextCheck::CheckHeadTilt {
            takes_more: takes_more(stream, lead.side),
        },
    };
    match cause {
        Cause::Machine => look,
        Cause::Inspection => NextCheck::CheckTable,
        Cause::Part if facts.lots == Lots::Gathered => NextCheck::CheckLots { lots: Vec::new() },
        Cause::Part => NextCheck::CheckUpstream,
        Cause::Recipe => NextCheck::None,
        Cause::Undecided if facts.holds == Holds::Machine || facts.control_clears => {
            NextCheck::MoreLots { lots: 3 }
        }
        // One-sided on panel after panel: turning tells head from taper.
        Cause::Undecided if lead.frame == SideFrame::Machine => look,
        Cause::Undecided => NextCheck::TurnPanels {
            panels: panels_to_turn(lead),
        },
    }
}

/// Other machines on the same lots (and inspectors): votes for the same side
/// of the panel, on panels that lay as most of those that voted for it here.
fn control_evidence(stream: &SideStream<'_>, lead: &Lead) -> Option<Control> {
    let records = stream.records;
    let other = lead.corner.map(|place| place.sides().1);
    // The side, and for a corner its other side, as named on the panel.
    let own_side = |i: usize| {
        let named = |side| lead.frame.on_panel(&records.panels[i], side);
        Some((named(lead.side)?, other.and_then(named)))
    };
    let mut counts: BTreeMap<(Side, Option<Side>), usize> = BTreeMap::new();
    for v in lead.voters.iter().filter(|v| v.vote == lead.side) {
        if let Some(sides) = own_side(v.panel) {
            *counts.entry(sides).or_default() += 1;
        }
    }
    let (&sides, _) = counts.iter().rev().max_by_key(|c| c.1)?;
    let panel_side = sides.0;
    let mut strata = Strata::default();
    let mut add = |i: usize, hit: bool, on: On| {
        let written = Written {
            hit,
            elsewhere: stream.marks.recorded(i),
            other_kinds: stream.marks.other_kinds(i),
        };
        strata.count(&records.panels[i], on, written);
    };
    for v in &lead.voters {
        if own_side(v.panel) == Some(sides) {
            add(v.panel, v.vote == lead.side, On::This);
        }
    }
    let there = match sides.1 {
        Some(other) => {
            let frame = SideFrame::Panel;
            corners::corner_voters(stream, stream.others, frame, (panel_side, other))
        }
        None => voters(stream, stream.others, SideFrame::Panel, axis_of(panel_side)),
    };
    for v in there {
        add(v.panel, v.vote == panel_side, On::Control);
    }
    strata.compare(0.5)
}

/// The marks at a corner, indices into `Records::defects`; none for a side.
fn members(stream: &SideStream<'_>, panels: &[usize], lead: &Lead) -> Vec<usize> {
    let Some((a, b)) = lead.corner.map(AtCorner::sides) else {
        return Vec::new();
    };
    let corner = corners::corner_of(a, b);
    let mut defects: Vec<usize> = corners::marks_at(stream, panels, lead.frame, corner)
        .into_iter()
        .map(|(_, defect)| defect)
        .collect();
    defects.sort_unstable();
    defects
}

/// One mark per panel that voted for the side or corner.
fn hits_of(stream: &SideStream<'_>, panels: &[usize], lead: &Lead) -> Vec<Hit> {
    let records = stream.records;
    if lead.corner.is_some() {
        let mut marks = members(stream, panels, lead);
        marks.dedup_by_key(|d| records.defects[*d].panel);
        let hit = |defect: usize| {
            let (panel, on_panel) = (
                records.defects[defect].panel,
                records.defects[defect].place?,
            );
            Some(Hit {
                panel,
                defect,
                machine: records.panels[panel].to_machine(on_panel),
                on_panel,
            })
        };
        return marks.into_iter().filter_map(hit).collect();
    }
    let (low, _) = sides_of(axis_of(lead.side));
    panels
        .iter()
        .filter_map(|&panel| {
            let along = |d: usize| {
                let p = records.defects[d].place?;
                let q = match lead.frame {
                    SideFrame::Machine => records.panels[panel].to_machine(p),
                    _ => p,
                };
                Some(match axis_of(lead.side) {
                    LineAxis::X => q.x,
                    LineAxis::Y => q.y,
                })
            };
            let sign = if lead.side == low { 1.0 } else { -1.0 };
            let mark = (stream.marks.on(panel).iter())
                .filter(|m| !stream.taken[m.defect])
                .min_by(|a, b| {
                    let key = |d| along(d).map_or(f64::INFINITY, |v| sign * v);
                    key(a.defect).total_cmp(&key(b.defect))
                })?;
            Some(Hit {
                panel,
                defect: mark.defect,
                machine: mark.at,
                on_panel: records.defects[mark.defect].place?,
            })
        })
        .collect()
}
