//! From bars of one pitch to a finding.

use crate::causes::about::About;
use crate::causes::conclude::panels_to_turn;
use crate::causes::levels::{FRAME_CLAIM, LEAST_HITS};
use crate::causes::responses::bars::control;
use crate::causes::responses::bars::evidence::{BarEvidence, Frames, weigh};
use crate::causes::responses::place::Holder;
use crate::causes::rivals::control::Control;
use crate::causes::rivals::goes_with::GoesWith;
use crate::causes::rivals::{lots, onset};
use crate::causes::verdict::{self, Facts, Holds, Looks, Recipe, Verdict};
use crate::causes::{
    BarPitch, Bars, Cause, Evidence, Finding, FoldedDistance, Frame, Hit, Kind, NextCheck, Reason,
    StreamData, Tally,
};
use crate::records::Records;

/// Classes of the folded distances.
const CLASSES: usize = 20;

/// Bars as one scan found them.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct BarSighting {
    /// The frame scanned: machine or panel.
    pub(crate) holder: Holder,
    pub(crate) bars: Bars,
    /// For the whole report.
    pub(crate) p_adjusted: f64,
}

/// What all bars of a stream share.
#[derive(Debug, Clone, Copy)]
pub(crate) struct BarGround<'a> {
    pub(crate) records: &'a Records,
    pub(crate) stream: &'a StreamData,
    pub(crate) frames: Frames<'a>,
    pub(crate) feeds: &'a [Option<f64>],
    /// Panels of other machines and heads, indices into `Records::panels`.
    pub(crate) others: &'a [usize],
}

impl BarGround<'_> {
    /// Whether panels lay across each other, so that directions can be told.
    fn turned_across(&self) -> bool {
        let mut lays = self
            .stream
            .panels
            .iter()
            .map(|&i| self.records.panels[i].lay.swaps_axes());
        let first = lays.next();
        lays.any(|lay| Some(lay) != first)
    }
}

/// Everything known about one pitch.
struct Dossier<'a> {
    bars: &'a Bars,
    holder: Holder,
    evidence: BarEvidence,
    with: GoesWith,
    control: Option<Control>,
}

/// The finding of bars, and all marks that lie on them, as indices into
/// `Records::defects`; none if no panel's marks can be laid against them.
pub(crate) fn conclude_bars(
    about: About,
    ground: &BarGround<'_>,
    sighting: &BarSighting,
) -> Option<(Finding, Vec<usize>)> {
    let records = ground.records;
    let dossier = investigate(ground, sighting)?;
    let Dossier {
        bars,
        evidence,
        with,
        ..
    } = &dossier;
    let panels = &evidence.panels;
    let on_bars = panels.iter().flat_map(|p| p.on_bars.iter().copied());
    let facts = facts(&dossier);
    let verdict = verdict::of_repeat(&facts);
    let follows = follows_feed(evidence);
    let at_feed = evidence.middle_feed.filter(|_| follows == Some(true));
    let showing = || panels.iter().filter(|p| p.shows);
    let mut members: Vec<usize> = showing().flat_map(|p| p.on_bars.iter().copied()).collect();
    members.sort_unstable();
    let base = with.finding(records, about);
    let finding = Finding {
        cause: verdict.cause,
        kind: verdict.kind,
        frame: facts.holds.frame(),
        line_axis: Some(bars.along),
        expected_hits: Some(with.background * base.panels_exposed as f64),
        p_adjusted: Some(sighting.p_adjusted),
        bars: Some(BarPitch {
            pitch_mm: bars.pitch_mm,
            pitch_ci: bars.pitch_ci,
            pitch_follows_feed: follows,
            frequency_hz: at_feed.map(|feed| feed / bars.pitch_mm),
        }),
        reasons: reasons(ground, &dossier, &facts, sighting.p_adjusted),
        next_check: next_check(&dossier, &facts, verdict),
        evidence: Evidence {
            hits: showing()
                .filter_map(|p| Hit::of(records, *p.on_bars.first()?))
                .collect(),
            members,
            folded_distances: folded(ground, &dossier),
            ..base.evidence
        },
        ..base
    };
    Some((finding, on_bars.collect()))
}

fn investigate<'a>(ground: &BarGround<'_>, sighting: &'a BarSighting) -> Option<Dossier<'a>> {
    let bars = &sighting.bars;
    let evidence = weigh(&ground.frames, sighting, ground.feeds)?;
    let n = ground.stream.panels.len();
    let mut hit = vec![false; n];
    for p in evidence.panels.iter().filter(|p| p.shows) {
        hit[p.panel] = true;
    }
    // A panel with too few marks to show bars says nothing about when they began.
    let could_show: Vec<usize> = evidence.panels.iter().map(|p| p.panel).collect();
    let shown: Vec<bool> = evidence.panels.iter().map(|p| p.shows).collect();
    let with = GoesWith::of(
        ground.records,
        (ground.stream.panels.clone(), hit),
        evidence.by_chance * evidence.could_show as f64 / n as f64,
        onset::life(&shown).among(&could_show, n),
        None,
        lots::hits_clear,
    );
    Some(Dossier {
        bars,
        holder: sighting.holder,
        // nobody has asked yet whether bars go with the abrasive's age
        with: GoesWith { age: None, ..with },
        control: match sighting.holder {
            Holder::Panel => None,
            _ => control::compare(ground, bars),
        },
        evidence,
    })
}

/// Whether the pitch follows the feed, where a hundredfold likelihood tells.
fn follows_feed(evidence: &BarEvidence) -> Option<bool> {
    let log_ratio = evidence.with_feed?;
    (log_ratio.abs() >= FRAME_CLAIM).then_some(log_ratio > 0.0)
}

fn facts(dossier: &Dossier<'_>) -> Facts {
    Facts {
        looks: Looks::Periodic,
        sharp: true,
        enough: dossier.with.all().hits >= LEAST_HITS,
        one_inspector: dossier.with.one_inspector(),
        holds: dossier.evidence.holds,
        control_clears: dossier.control.is_some_and(|c| c.clears()),
        elsewhere: dossier.control.is_some_and(|c| c.shows_it_too()),
        lots: dossier.with.lots.fact(false),
        recipe: dossier.with.recipe_fact(),
    }
}

fn reasons(
    ground: &BarGround<'_>,
    dossier: &Dossier<'_>,
    facts: &Facts,
    p_adjusted: f64,
) -> Vec<Reason> {
    let evidence = &dossier.evidence;
    let with = &dossier.with;
    let Tally { hits, exposed } = with.all();
    let mut out = vec![Reason::Bars {
        pitch_mm: dossier.bars.pitch_mm,
        pitch_ci: dossier.bars.pitch_ci,
        along: dossier.bars.along,
        frame: match dossier.holder {
            Holder::Panel => Frame::Panel,
            _ => Frame::Machine,
        },
        hits,
        could_show: evidence.could_show,
        expected: with.background * exposed as f64,
        same_places: evidence.fixed_phase,
        p_adjusted,
    }];
    out.extend(with.inspector_reason());
    out.push(match (evidence.with_feed, evidence.middle_feed) {
        (Some(log_ratio), Some(feed)) if log_ratio >= FRAME_CLAIM => Reason::PitchFollowsFeed {
            hertz: feed / dossier.bars.pitch_mm,
            at_feed_mm_s: feed,
            log_ratio,
        },
        (Some(log_ratio), _) if log_ratio <= -FRAME_CLAIM => Reason::PitchStaysAtAllFeeds {
            log_ratio: -log_ratio,
        },
        (with_feed, _) => Reason::PitchAndFeedUntold {
            feed_varied: with_feed.is_some(),
        },
    });
    let hold = |frame, rival, log_ratio| Reason::BarsHold {
        frame,
        rival,
        log_ratio,
    };
    let (over_panel, over_table) = (evidence.machine_over_panel, evidence.machine_over_table);
    out.extend(match facts.holds {
        Holds::Machine if follows_feed(evidence) != Some(true) => {
            Some(hold(Frame::Machine, Frame::Panel, over_panel))
        }
        Holds::Panel => Some(hold(Frame::Panel, Frame::Machine, -over_panel)),
        Holds::Inspection => {
            let over_machine = -over_table.unwrap_or(0.0);
            Some(hold(Frame::Inspection, Frame::Machine, over_machine))
        }
        Holds::Untold if ground.frames.panel.is_none() => Some(Reason::NeverTurned),
        Holds::Untold if !ground.turned_across() => Some(Reason::TurnsKeepDirection),
        Holds::Machine | Holds::Untold => None,
    });
    out.extend(with.lot_reasons());
    out.extend(
        dossier
            .control
            .and_then(|c| match (c.clears(), c.shows_it_too()) {
                (true, _) => Some(c.clearing()),
                (false, true) => Some(Reason::ControlShowsBarsToo { there: c.there }),
                (false, false) => None,
            }),
    );
    out.extend(with.setting_reasons());
    out.extend(with.time_reasons(ground.records));
    out
}

fn next_check(dossier: &Dossier<'_>, facts: &Facts, verdict: Verdict) -> NextCheck {
    let with = &dossier.with;
    let evidence = &dossier.evidence;
    let follows = follows_feed(evidence);
    let pitch_mm = dossier.bars.pitch_mm;
    let panels = panels_to_turn(with.all());
    match verdict.cause {
        Cause::Machine => match (follows, evidence.middle_feed) {
            (Some(true), Some(feed)) => NextCheck::CheckTurning {
                hertz: feed / pitch_mm,
            },
            (Some(false), _) => NextCheck::CheckSpacing { pitch_mm },
            _ => NextCheck::VaryFeed { panels },
        },
        Cause::Part if verdict.kind == Kind::Lot => NextCheck::CheckLots {
            lots: with.gathered_lots(),
        },
        Cause::Part => NextCheck::CheckUpstream,
        Cause::Inspection => NextCheck::CheckTable,
        Cause::Recipe | Cause::Undecided => {
            if let (true, Some(e)) = (facts.one_inspector, &with.inspector) {
                NextCheck::SecondInspector {
                    inspector: e.level.clone(),
                }
            } else if facts.recipe != Recipe::Nothing {
                with.check_recipe()
            } else if facts.holds == Holds::Machine || facts.control_clears {
                NextCheck::MoreLots { lots: 3 }
            } else if follows.is_none() {
                NextCheck::VaryFeed { panels }
            } else {
                NextCheck::TurnAcross { panels }
            }
        }
    }
}

/// Distances between marks of one panel, from half a pitch on, by the part of the
/// pitch by which they exceed a multiple.
fn folded(ground: &BarGround<'_>, dossier: &Dossier<'_>) -> Vec<FoldedDistance> {
    let view = match (dossier.holder, ground.frames.panel) {
        (Holder::Panel, Some(panel)) => panel,
        _ => ground.frames.machine,
    };
    let pairs = dossier.bars.folded_pairs(
        view,
        ground.frames.used,
        if follows_feed(&dossier.evidence) == Some(true) {
            Some(ground.feeds)
        } else {
            None
        },
        CLASSES,
    );
    (pairs.into_iter().enumerate())
        .map(|(k, pairs)| FoldedDistance {
            part: (k as f64 + 0.5) / CLASSES as f64 - 0.5,
            pairs,
        })
        .collect()
}
