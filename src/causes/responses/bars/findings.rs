//! From bars of one pitch to a finding.

use crate::causes::conclude::{About, lot_reason, panels_to_turn};
use crate::causes::levels::{FRAME_CLAIM, LEAST_HITS};
use crate::causes::responses::bars::control;
use crate::causes::responses::bars::evidence::{BarEvidence, Frames, PanelBars, weigh};
use crate::causes::responses::place::Holder;
use crate::causes::responses::repeat::{Explained, by_level, coded, explain, setting};
use crate::causes::rivals::control::Control;
use crate::causes::rivals::day_of;
use crate::causes::rivals::lots;
use crate::causes::rivals::lots::LotEvidence;
use crate::causes::rivals::onset;
use crate::causes::rivals::onset::Life;
use crate::causes::rivals::together;
use crate::causes::verdict;
use crate::causes::verdict::{Facts, Holds, Looks, Recipe};
use crate::causes::{
    BarPitch, Bars, Cause, Certainty, ChangePoint, Evidence, Finding, FoldedDistance, Frame, Hit,
    Kind, LevelCount, NextCheck, Reason, Rival, StreamData,
};
use crate::records::{Panel, Records};
use crate::stats::proportion;

/// Classes of the folded distances.
const CLASSES: usize = 20;

/// Bars as one scan found them.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::causes) struct BarSighting {
    /// The frame scanned: machine or panel.
    pub(in crate::causes) holder: Holder,
    pub(in crate::causes) bars: Bars,
    /// For the whole report.
    pub(in crate::causes) p_adjusted: f64,
}

/// What all bars of a stream share.
#[derive(Debug, Clone, Copy)]
pub(in crate::causes) struct BarGround<'a> {
    pub(in crate::causes) records: &'a Records,
    pub(in crate::causes) stream: &'a StreamData,
    pub(in crate::causes) frames: Frames<'a>,
    pub(in crate::causes) feeds: &'a [Option<f64>],
    /// Panels of other machines and heads, indices into `Records::panels`.
    pub(in crate::causes) others: &'a [usize],
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
    hit: Vec<bool>,
    life: Life,
    background: f64,
    lots: LotEvidence,
    lot_counts: Vec<lots::LotCount>,
    lot_names: Vec<String>,
    inspector: Option<Explained>,
    recipe: Option<Explained>,
    fixture: Option<Explained>,
    control: Option<Control>,
}

/// The finding of bars, and all marks that lie on them, as indices into
/// `Records::defects`; none if no panel's marks can be laid against them.
pub(in crate::causes) fn conclude_bars(
    about: About<'_>,
    ground: &BarGround<'_>,
    sighting: &BarSighting,
) -> Option<(Finding, Vec<usize>)> {
    let BarSighting {
        bars, p_adjusted, ..
    } = sighting;
    let p_adjusted = *p_adjusted;
    let dossier = investigate(ground, sighting)?;
    let panels = &dossier.evidence.panels;
    let on_bars = panels
        .iter()
        .flat_map(|p| p.on_bars.iter().copied())
        .collect();
    let facts = facts(&dossier);
    let verdict = verdict::of_repeat(&facts);
    let live = dossier.life.first..dossier.life.past;
    let panels_hit = dossier.hit[live.clone()].iter().filter(|h| **h).count();
    let exposed = live.len();
    let id = |at: usize| panel(ground, at).id.clone();
    let hits: Vec<usize> = (0..dossier.hit.len()).filter(|&i| dossier.hit[i]).collect();
    let follows = follows_feed(&dossier.evidence);
    let at_feed = dossier
        .evidence
        .middle_feed
        .filter(|_| follows == Some(true));
    let mut lots: Vec<String> = Vec::new();
    for &i in &hits {
        if let Some(lot) = &panel(ground, i).lot
            && !lots.iter().any(|l| **l == **lot)
        {
            lots.push(lot.to_string());
        }
    }
    let finding = Finding {
        id: String::new(),
        machine: about.machine.map(String::from),
        head: about.head.map(String::from),
        defect: about.defect.to_string(),
        cause: verdict.cause,
        certainty: Certainty::CannotTell,
        rival: None,
        levels: Vec::new(),
        open: Vec::new(),
        kind: verdict.kind,
        frame: match facts.holds {
            Holds::Machine => Some(Frame::Machine),
            Holds::Panel => Some(Frame::Panel),
            Holds::Inspection => Some(Frame::Inspection),
            Holds::Untold => None,
        },
        x_mm: None,
        y_mm: None,
        radius_mm: None,
        line_axis: Some(bars.along),
        panels_hit,
        panels_exposed: exposed,
        hit_rate: (exposed > 0).then(|| panels_hit as f64 / exposed as f64),
        hit_rate_ci: proportion::clopper_pearson(panels_hit as u64, exposed as u64, 0.95).ok(),
        reach_mm: None,
        expected_hits: Some(dossier.background * exposed as f64),
        p_adjusted: Some(p_adjusted),
        first_panel: hits.first().map(|&i| id(i)),
        last_panel: hits.last().map(|&i| id(i)),
        onset_panel: dossier.life.onset.map(|c| id(c.at)),
        end_panel: dossier.life.end.map(|c| id(c.at)),
        drift_mm_per_day: None,
        bars: Some(BarPitch {
            pitch_mm: bars.pitch_mm,
            pitch_ci: bars.pitch_ci,
            pitch_follows_feed: follows,
            frequency_hz: at_feed.map(|feed| feed / bars.pitch_mm),
        }),
        lots,
        reasons: reasons(ground, &dossier, &facts, p_adjusted),
        next_check: next_check(&dossier, &facts, verdict),
        evidence: evidence(about, ground, &dossier),
    };
    Some((finding, on_bars))
}

fn panel<'a>(ground: &BarGround<'a>, at: usize) -> &'a Panel {
    &ground.records.panels[ground.stream.panels[at]]
}

fn investigate<'a>(ground: &BarGround<'_>, sighting: &'a BarSighting) -> Option<Dossier<'a>> {
    let bars = &sighting.bars;
    let evidence = weigh(&ground.frames, sighting, ground.feeds)?;
    let n = ground.stream.panels.len();
    let mut hit = vec![false; n];
    for p in evidence.panels.iter().filter(|p| p.shows) {
        hit[p.panel] = true;
    }
    let background = evidence.by_chance * evidence.could_show as f64 / n as f64;
    let text = |value: &dyn Fn(&Panel) -> Option<String>| -> Vec<Option<String>> {
        (0..n).map(|i| value(panel(ground, i))).collect()
    };
    let lot_of = text(&|p| p.lot.as_deref().map(String::from));
    let (codes, lot_names) = coded(&lot_of);
    let lot_counts = by_level(&codes, &hit, lot_names.len(), 0..n);
    // A panel with too few marks to show bars says nothing about when they began.
    let could_show: Vec<usize> = evidence.panels.iter().map(|p| p.panel).collect();
    let shown: Vec<bool> = evidence.panels.iter().map(|p| p.shows).collect();
    let mut life = onset::life(&shown).among(&could_show, n);
    let live_counts = by_level(&codes, &hit, lot_names.len(), life.first..life.past);
    let recorded: usize = lot_counts.iter().map(|c| c.exposed).sum();
    let lots = if 2 * recorded < n {
        LotEvidence::NotRecorded
    } else {
        let days: Vec<Option<i64>> = (0..n).map(|i| day_of(panel(ground, i))).collect();
        lots::judge(&lot_counts, &live_counts, background).against_time(&codes, &hit, &days)
    };
    if matches!(lots, LotEvidence::Gathered { .. }) {
        life = Life::whole(n);
    }
    let alive = life.first..life.past;
    let explained = |value: &dyn Fn(&Panel) -> Option<String>| {
        explain(&text(value)[alive.clone()], &hit[alive.clone()], background)
    };
    Some(Dossier {
        bars,
        holder: sighting.holder,
        inspector: explained(&|p| p.inspector.as_deref().map(String::from)),
        recipe: explained(&setting),
        fixture: explained(&|p| p.fixture.as_deref().map(String::from)),
        control: match sighting.holder {
            Holder::Panel => None,
            _ => control::compare(ground, bars),
        },
        evidence,
        hit,
        life,
        background,
        lots,
        lot_counts,
        lot_names,
    })
}

/// Whether the pitch follows the feed, where a hundredfold likelihood tells.
fn follows_feed(evidence: &BarEvidence) -> Option<bool> {
    let log_ratio = evidence.with_feed?;
    (log_ratio.abs() >= FRAME_CLAIM).then_some(log_ratio > 0.0)
}

fn facts(dossier: &Dossier<'_>) -> Facts {
    let explains = |e: &Option<Explained>| e.as_ref().is_some_and(|e| e.found.explains);
    Facts {
        looks: Looks::Periodic,
        sharp: true,
        enough: dossier.hit.iter().filter(|h| **h).count() >= LEAST_HITS,
        one_inspector: explains(&dossier.inspector),
        holds: dossier.evidence.holds,
        control_clears: dossier.control.is_some_and(|c| c.clears()),
        elsewhere: dossier.control.is_some_and(|c| c.shows_it_too()),
        lots: dossier.lots.fact(false),
        recipe: match &dossier.recipe {
            Some(e) if e.found.explains && e.stretches > 1 => Recipe::Name,
            Some(e) if e.found.explains => Recipe::OneStretch,
            _ => Recipe::Nothing,
        },
    }
}

fn reasons(
    ground: &BarGround<'_>,
    dossier: &Dossier<'_>,
    facts: &Facts,
    p_adjusted: f64,
) -> Vec<Reason> {
    let evidence = &dossier.evidence;
    let mut out = vec![Reason::Bars {
        pitch_mm: dossier.bars.pitch_mm,
        pitch_ci: dossier.bars.pitch_ci,
        along: dossier.bars.along,
        frame: match dossier.holder {
            Holder::Panel => Frame::Panel,
            _ => Frame::Machine,
        },
        hits: dossier.hit.iter().filter(|h| **h).count(),
        could_show: evidence.could_show,
        expected: dossier.background * dossier.hit.len() as f64,
        same_places: evidence.fixed_phase,
        p_adjusted,
    }];
    if let Some(e) = &dossier.inspector {
        out.push(e.reason(Rival::Inspector));
    }
    out.push(match (evidence.with_feed, evidence.middle_feed) {
        (Some(log_ratio), Some(feed)) if log_ratio >= FRAME_CLAIM => Reason::PitchFollowsFeed {
            hertz: feed / dossier.bars.pitch_mm,
            at_feed_mm_s: feed,
            log_ratio,
        },
        (Some(log_ratio), _) if log_ratio <= -FRAME_CLAIM => Reason::PitchStaysAtAllFeeds {
            log_ratio: -log_ratio,
        },
        (Some(_), _) => Reason::PitchAndFeedUntold { feed_varied: true },
        (None, _) => Reason::PitchAndFeedUntold { feed_varied: false },
    });
    match facts.holds {
        Holds::Machine if follows_feed(evidence) != Some(true) => out.push(Reason::BarsHold {
            frame: Frame::Machine,
            rival: Frame::Panel,
            log_ratio: evidence.machine_over_panel,
        }),
        Holds::Panel => out.push(Reason::BarsHold {
            frame: Frame::Panel,
            rival: Frame::Machine,
            log_ratio: -evidence.machine_over_panel,
        }),
        Holds::Inspection => out.push(Reason::BarsHold {
            frame: Frame::Inspection,
            rival: Frame::Machine,
            log_ratio: -evidence.machine_over_table.unwrap_or(0.0),
        }),
        Holds::Untold if ground.frames.panel.is_none() => out.push(Reason::NeverTurned),
        Holds::Untold if !ground.turned_across() => out.push(Reason::TurnsKeepDirection),
        Holds::Machine | Holds::Untold => {}
    }
    out.push(lot_reason(
        &dossier.lots,
        &dossier.lot_counts,
        &dossier.lot_names,
    ));
    if let Some(c) = dossier.control {
        if c.clears() {
            out.push(c.clearing());
        } else if c.shows_it_too() {
            out.push(Reason::ControlShowsBarsToo { there: c.there() });
        }
    }
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
    let id = |at: usize| panel(ground, at.min(dossier.hit.len() - 1)).id.clone();
    if let Some(c) = dossier.life.onset {
        out.push(Reason::SetIn {
            panel: id(c.at),
            between: (id(c.earliest), id(c.latest)),
            together_with: changed(ground, c),
        });
    }
    if let Some(c) = dossier.life.end {
        out.push(Reason::Ended {
            panel: id(c.at),
            between: (id(c.earliest), id(c.latest)),
            together_with: changed(ground, c),
        });
    }
    out
}

fn changed(ground: &BarGround<'_>, c: onset::Change) -> Vec<(String, String)> {
    let panels = &ground.stream.panels;
    let last = panels.len().saturating_sub(1);
    together::changed(ground.records, panels, c.earliest, c.latest.min(last))
}

fn next_check(dossier: &Dossier<'_>, facts: &Facts, verdict: verdict::Verdict) -> NextCheck {
    let evidence = &dossier.evidence;
    let follows = follows_feed(evidence);
    let pitch_mm = dossier.bars.pitch_mm;
    let hits = dossier.hit.iter().filter(|h| **h).count();
    let panels = panels_to_turn(hits as f64 / dossier.hit.len().max(1) as f64);
    match verdict.cause {
        Cause::Machine => match (follows, evidence.middle_feed) {
            (Some(true), Some(feed)) => NextCheck::CheckTurning {
                hertz: feed / pitch_mm,
            },
            (Some(false), _) => NextCheck::CheckSpacing { pitch_mm },
            _ => NextCheck::VaryFeed { panels },
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
        Cause::Inspection => NextCheck::CheckTable,
        Cause::Recipe | Cause::Undecided => {
            if let (true, Some(e)) = (facts.one_inspector, &dossier.inspector) {
                NextCheck::SecondInspector {
                    inspector: e.level.clone(),
                }
            } else if let (true, Some(e)) = (facts.recipe != Recipe::Nothing, &dossier.recipe) {
                NextCheck::CheckRecipe {
                    recipe: e.level.clone(),
                }
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

fn evidence(about: About<'_>, ground: &BarGround<'_>, dossier: &Dossier<'_>) -> Evidence {
    let records = ground.records;
    let showing = || dossier.evidence.panels.iter().filter(|p| p.shows);
    let hit = |p: &PanelBars| {
        let defect = *p.on_bars.first()?;
        let on_panel = records.defects[defect].place?;
        let index = ground.stream.panels[p.panel];
        Some(Hit {
            panel: index,
            defect,
            machine: records.panels[index].to_machine(on_panel),
            on_panel,
        })
    };
    let mut members: Vec<usize> = showing().flat_map(|p| p.on_bars.iter().copied()).collect();
    members.sort_unstable();
    let index = |at: usize| ground.stream.panels[at.min(dossier.hit.len() - 1)];
    let change = |c: onset::Change| ChangePoint {
        panel: index(c.at),
        earliest: index(c.earliest),
        latest: index(c.latest),
        log_ratio: c.log_ratio,
        together_with: changed(ground, c),
    };
    Evidence {
        stream: Some(about.stream),
        hits: showing().filter_map(hit).collect(),
        exposed: ground.stream.panels.clone(),
        members,
        by_lot: (dossier.lot_names.iter().zip(&dossier.lot_counts))
            .map(|(level, c)| LevelCount {
                level: level.clone(),
                exposed: c.exposed,
                hits: c.hits,
            })
            .collect(),
        onset: dossier.life.onset.map(change),
        end: dossier.life.end.map(change),
        folded_distances: folded(ground, dossier),
        ..Evidence::default()
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
