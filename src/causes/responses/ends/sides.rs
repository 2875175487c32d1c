//! One side, panel after panel: a tilted head, or a taper that rides the
//! panels.
//!
//! Unit: the panel. It votes for the outer third (of the machine's axis, as it
//! lay) with more marks; marks of found repeats don't vote, because a spot off
//! centre would vote one way on every panel. Exact sign test. Frames, lots,
//! control, inspector and recipe are asked as for a place, votes as hits.

use std::collections::BTreeMap;

use crate::causes::about::About;
use crate::causes::conclude::turned_for;
use crate::causes::levels::{FRAME_CLAIM, LEAST_HITS, OTHER_LOTS, SIDES, adjusted};
use crate::causes::responses::ends::corners::{self, AtCorner};
use crate::causes::responses::ends::votes::{Voter, side_contrast, thirds, within};
use crate::causes::responses::place::Marks;
use crate::causes::rivals::control::{Control, On, Strata, Written};
use crate::causes::rivals::goes_with::GoesWith;
use crate::causes::rivals::lots;
use crate::causes::rivals::onset::Life;
use crate::causes::scan::lengthwise;
use crate::causes::tails::sign_test;
use crate::causes::verdict::{self, Facts, Holds, Looks, Lots, Recipe};
use crate::causes::{
    Cause, Evidence, Finding, Frame, Hit, Kind, LineAxis, NextCheck, Reason, Side,
};
use crate::records::Records;
use crate::site::DefectClass;

/// A stream whose sides are asked about.
#[derive(Debug, Clone)]
pub(crate) struct SideStream<'a> {
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
    /// It.
    pub about: About,
    /// Streams in the report.
    pub streams: usize,
    /// Its kind's class.
    pub class: Option<DefectClass>,
}

/// A side, or one corner, that leads, before its evidence.
pub(crate) struct Lead {
    pub(crate) frame: Frame,
    pub(crate) side: Side,
    /// Where only one corner of the side leads.
    pub(crate) corner: Option<AtCorner>,
    pub(crate) votes: usize,
    pub(crate) against: usize,
    pub(crate) p_adjusted: f64,
    pub(crate) voters: Vec<Voter>,
}

/// Findings of sides of a stream.
pub(crate) fn sides(stream: &SideStream<'_>, alpha: f64) -> Vec<Finding> {
    let mut leads: Vec<Lead> = Vec::new();
    let turned = !never_turned(stream);
    for frame in [Frame::Machine, Frame::Panel] {
        if frame == Frame::Panel && !turned {
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
fn voters(stream: &SideStream<'_>, panels: &[usize], frame: Frame, axis: LineAxis) -> Vec<Voter> {
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

fn lead(stream: &SideStream<'_>, frame: Frame, axis: LineAxis, tests: usize) -> Option<Lead> {
    let voters = voters(stream, stream.panels, frame, axis);
    let (low, high) = Side::of(axis);
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
    let machine_leads = lead.frame == Frame::Machine;
    let other = if machine_leads {
        Frame::Panel
    } else {
        Frame::Machine
    };
    let against = |rival| side_contrast(records, &lead.voters, (lead.frame, lead.side), rival);
    let over_rival = Some(against(other)).filter(|c| c.informative > 0 || c.log_ratio != 0.0);
    let over_table = against(Frame::Inspection);
    let lay_there = |&i: &usize| records.panels[i].inspect_lay.is_some();
    let table_recorded = stream.panels.iter().any(lay_there);
    let table_beaten = !table_recorded || over_table.log_ratio >= FRAME_CLAIM;
    let (inside, other_lots) = within(records, lead, other);
    let stands = inside >= FRAME_CLAIM;
    let ratio = over_rival.map_or(0.0, |c| c.log_ratio);
    let (wins, loses) = (ratio >= FRAME_CLAIM && stands, -ratio >= FRAME_CLAIM);
    // A side that leads on the panel but holds in the machine is left undecided:
    // the machine's own test did not find it.
    let holds = if table_recorded && -over_table.log_ratio >= FRAME_CLAIM {
        Holds::Inspection
    } else if machine_leads && wins && table_beaten {
        Holds::Machine
    } else if machine_leads && loses && !table_recorded || !machine_leads && wins && table_beaten {
        Holds::Panel
    } else {
        Holds::Untold
    };
    // Where the panel beat the machine and not the table, turning there settles it.
    let panel_or_table = holds == Holds::Untold && !machine_leads && wins && !table_beaten;
    let for_side: Vec<bool> = lead.voters.iter().map(|v| v.vote == lead.side).collect();
    let n = for_side.len();
    let with = GoesWith::of(
        records,
        (lead.voters.iter().map(|v| v.panel).collect(), for_side),
        0.5,
        Life::whole(n),
        other_lots.filter(|(_, ratio)| machine_leads && stands && *ratio >= OTHER_LOTS.ln()),
        lots::votes_clear,
    );
    let control = control_evidence(stream, lead);
    let facts = Facts {
        looks: Looks::Side,
        sharp: true,
        enough: lead.votes >= LEAST_HITS,
        one_inspector: with.one_inspector(),
        holds,
        control_clears: machine_leads && control.is_some_and(|c| c.clears()),
        elsewhere: machine_leads && control.is_some_and(|c| c.shows_it_too()),
        lots: with.lots.fact(with.by_turning.is_some()),
        recipe: match with.recipe_fact() {
            Recipe::Name => Recipe::OneStretch,
            other => other,
        },
    };
    let verdict = verdict::of_repeat(&facts);
    let machine = (verdict.cause == Cause::Machine).then_some(Frame::Machine);
    let frame = holds.frame().or(machine);
    let mut reasons = vec![lead.reason()];
    match (over_rival, holds) {
        (Some(c), Holds::Machine | Holds::Panel) => {
            let (with_it, against) = (c.votes, c.informative - c.votes);
            let (votes, against) = if holds == Holds::Panel && machine_leads {
                (against, with_it)
            } else {
                (with_it, against)
            };
            reasons.push(Reason::SideHolds {
                frame: frame.unwrap_or(lead.frame),
                votes,
                against,
                log_ratio: c.log_ratio.abs(),
            });
        }
        (Some(c), Holds::Untold) => reasons.push(Reason::FramesNotSeparated {
            left: if panel_or_table {
                vec![Frame::Panel, Frame::Inspection]
            } else {
                vec![Frame::Machine, Frame::Panel]
            },
            informative: c.informative,
            log_ratio: c.log_ratio,
        }),
        (None, Holds::Untold) => reasons.push(Reason::NeverTurned),
        _ => {}
    }
    if holds != Holds::Inspection && !table_recorded {
        reasons.push(Reason::TableNotRecorded);
    } else if holds != Holds::Inspection && !table_beaten {
        reasons.push(Reason::TableNotCleared {
            informative: over_table.informative,
        });
    }
    reasons.extend(with.lot_reasons());
    reasons.extend(control.filter(Control::clears).map(|c| c.clearing()));
    let hits = with.hits();
    let base = with.finding(records, stream.about.clone());
    Finding {
        cause: verdict.cause,
        kind: match verdict.kind {
            Kind::RidesPanel => Kind::Side,
            other => other,
        },
        frame,
        expected_hits: Some(n as f64 / 2.0),
        p_adjusted: Some(lead.p_adjusted),
        next_check: if panel_or_table && verdict.cause == Cause::Undecided {
            NextCheck::TurnAtTable {
                panels: panels_to_turn(lead),
            }
        } else {
            next_check(stream, lead, &facts, verdict.cause)
        },
        reasons,
        evidence: Evidence {
            hits: hits_of(stream, &hits, lead),
            members: members(stream, &hits, lead),
            ..base.evidence
        },
        ..base
    }
}

impl Lead {
    /// That it leads.
    fn reason(&self) -> Reason {
        let Self {
            side,
            frame,
            votes,
            against,
            p_adjusted,
            ..
        } = *self;
        match self.corner {
            None => Reason::SideVotes {
                side,
                frame,
                votes,
                against,
                p_adjusted,
            },
            Some(AtCorner::EdgeEnd { edge, end }) => Reason::OneEndOfAnEdge {
                edge,
                end,
                frame,
                votes,
                against,
                p_adjusted,
            },
            Some(AtCorner::Corner { x, y }) => Reason::OneCorner {
                sides: (x, y),
                frame,
                votes,
                against,
                p_adjusted,
            },
        }
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
    turned_for((2.0 * share - 1.0).max(0.1))
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
        Cause::Undecided if lead.frame == Frame::Machine => look,
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
            let frame = Frame::Panel;
            corners::corner_voters(stream, stream.others, frame, (panel_side, other))
        }
        None => voters(stream, stream.others, Frame::Panel, panel_side.axis()),
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
        return marks
            .into_iter()
            .filter_map(|defect| Hit::of(records, defect))
            .collect();
    }
    let (low, _) = Side::of(lead.side.axis());
    panels
        .iter()
        .filter_map(|&panel| {
            let along = |d: usize| {
                let p = records.defects[d].place?;
                let q = match lead.frame {
                    Frame::Machine => records.panels[panel].to_machine(p),
                    _ => p,
                };
                Some(lengthwise(lead.side.axis(), q))
            };
            let sign = if lead.side == low { 1.0 } else { -1.0 };
            let mark = (stream.marks.on(panel).iter())
                .filter(|m| !stream.taken[m.defect])
                .min_by(|a, b| {
                    let key = |d| along(d).map_or(f64::INFINITY, |v| sign * v);
                    key(a.defect).total_cmp(&key(b.defect))
                })?;
            Hit::of(records, mark.defect)
        })
        .collect()
}
