//! Streams without a place: what their rate follows, and what is left to say
//! when it follows nothing.

use std::collections::BTreeMap;

use super::abrasive::{AgeEvidence, age_evidence, by_age};
use super::lot_rates::lots_of_streams;
use super::rate_follows::{FactorEffect, factor_effects, pooled_effects, strengthened};
use super::rates::{StandsOut, StreamCounts, by_group};
use super::repeat::coded;
use super::verdict::{self, Nothing};
use super::{
    Cause, Certainty, Evidence, Finding, Kind, LevelCount, Limit, NextCheck, Reason, Rival, Stream,
    StreamData,
};
use crate::records::Records;
use crate::site::DefectClass;
use crate::stats::proportion;

/// From this share of panels on a kind of defect counts as being everywhere.
const EVERYWHERE: f64 = 0.5;

/// Ages count for a single stream only where its own panels lean the same way.
const OWN_RATIO: f64 = 1.1;

/// A stream and its marks outside the places found.
pub(super) struct Remainder<'a> {
    /// The stream.
    pub data: &'a StreamData,
    /// Marks on each of its panels, those of places found left out.
    pub marks: Vec<f64>,
}

impl<'a> Remainder<'a> {
    /// Counts the stream's defects that are not `taken`.
    pub(super) fn new(records: &Records, data: &'a StreamData, taken: &[bool]) -> Self {
        let mut marks = vec![0.0; data.panels.len()];
        for &d in data.defects.iter().filter(|&&d| !taken[d]) {
            let panel = records.defects[d].panel;
            if let Ok(at) = data.panels.binary_search(&panel) {
                marks[at] += 1.0;
            }
        }
        Self { data, marks }
    }

    fn counts(&'a self, records: &'a Records) -> StreamCounts<'a> {
        StreamCounts {
            records,
            panels: &self.data.panels,
            marks: &self.marks,
        }
    }
}

/// What the rates of all streams follow.
pub(super) struct RateEvidence {
    /// By stream: lots, suppliers, part numbers that stand out.
    pub levels: Vec<Vec<StandsOut>>,
    /// By stream: effects of recipe factors.
    pub factors: Vec<Vec<FactorEffect>>,
    /// By stream: effect of the abrasive's age, pooled over its kind's streams
    /// and alone, p adjusted for the report.
    pub ages: Vec<Option<(AgeEvidence, f64)>>,
}

/// Asks all streams.
pub(super) fn rate_evidence(
    records: &Records,
    streams: &[Remainder<'_>],
    alpha: f64,
) -> RateEvidence {
    let n = streams.len();
    let counts: Vec<StreamCounts<'_>> = streams.iter().map(|s| s.counts(records)).collect();
    let mut kinds: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (at, stream) in streams.iter().enumerate() {
        kinds.entry(stream.data.name).or_default().push(at);
    }
    let levels = lots_of_streams(&counts, &kinds, alpha)
        .into_iter()
        .zip(&counts)
        .map(|(mut found, stream)| {
            found.extend(by_group(stream, Rival::Supplier, alpha, n));
            found.extend(by_group(stream, Rival::Part, alpha, n));
            found
        })
        .collect();
    let pooled: BTreeMap<usize, Option<AgeEvidence>> = kinds
        .iter()
        .map(|(name, members)| {
            let own: Vec<StreamCounts<'_>> = members.iter().map(|&m| counts[m]).collect();
            (*name, age_evidence(&own))
        })
        .collect();
    let ages = (0..n)
        .map(|at| {
            let alone = age_evidence(&counts[at..=at])?;
            let pooled = pooled.get(&streams[at].data.name).copied().flatten()?;
            Some(combine(alone, pooled, n, kinds.len()))
        })
        .collect();
    let mut factors: Vec<Vec<FactorEffect>> = counts.iter().map(factor_effects).collect();
    for members in kinds.values().filter(|m| m.len() > 1) {
        let own: Vec<StreamCounts<'_>> = members.iter().map(|&m| counts[m]).collect();
        let pooled = pooled_effects(&own);
        for &m in members {
            let alone = std::mem::take(&mut factors[m]);
            factors[m] = strengthened(alone, &pooled, (n, kinds.len()));
        }
    }
    RateEvidence {
        levels,
        factors,
        ages,
    }
}

/// Of a stream alone and its kind pooled over machines, the stronger; both
/// were asked, so both pay twice. Pooled, the stream must lean the same way.
fn combine(
    alone: AgeEvidence,
    pooled: AgeEvidence,
    streams: usize,
    kinds: usize,
) -> (AgeEvidence, f64) {
    let p = |e: &AgeEvidence, tests: usize| {
        e.effect
            .map_or(1.0, |e| (2.0 * e.p_value * tests as f64).min(1.0))
    };
    let (own, all) = (p(&alone, streams), p(&pooled, kinds));
    let leans = match (alone.effect, pooled.effect) {
        (Some(a), Some(b)) => a.end == b.end && a.ratio.is_some_and(|r| r > OWN_RATIO),
        (None, Some(_)) => true,
        _ => false,
    };
    if all < own && leans {
        (pooled, all)
    } else {
        let twofold_open = alone.twofold_open && pooled.twofold_open;
        (
            AgeEvidence {
                twofold_open,
                ..alone
            },
            own,
        )
    }
}

/// Findings about the rate of one stream.
pub(super) fn rate_findings(
    records: &Records,
    (index, streams): (usize, usize),
    remainder: &Remainder<'_>,
    evidence: &RateEvidence,
    alpha: f64,
) -> Vec<Finding> {
    let mut out = Vec::new();
    if let Some((age, p_adjusted)) = &evidence.ages[index]
        && *p_adjusted <= alpha
        && let Some(effect) = age.effect
    {
        let reason = Reason::RateFollowsAge {
            end: effect.end,
            lives: effect.lives,
            machines: effect.machines,
            ratio: effect.ratio,
            p_adjusted: *p_adjusted,
        };
        let check = NextCheck::CheckAbrasive { end: effect.end };
        let all: Vec<usize> = (0..remainder.marks.len()).collect();
        out.push(finding(
            records,
            index,
            remainder,
            &all,
            (Kind::Abrasive, Cause::Recipe),
            (*p_adjusted, vec![reason], check),
        ));
    }
    let factors = &evidence.factors[index];
    let tests = factors.len() * streams;
    let named: Vec<&FactorEffect> = factors
        .iter()
        .filter(|f| f.p_value * tests as f64 <= alpha)
        .collect();
    if let Some(first) = named.first() {
        let p_adjusted = (first.p_value * tests as f64).min(1.0);
        let mut names: Vec<Rival> = Vec::new();
        for f in &named {
            if !names.contains(&f.factor) {
                names.push(f.factor.clone());
            }
        }
        let check = NextCheck::TryFactor {
            factor: first.factor.clone(),
        };
        let reason = Reason::RateFollowsFactors {
            factors: names,
            runs: first.units,
            p_adjusted,
        };
        let all: Vec<usize> = (0..remainder.marks.len()).collect();
        out.push(finding(
            records,
            index,
            remainder,
            &all,
            (Kind::Wandering, Cause::Recipe),
            (p_adjusted, vec![reason], check),
        ));
    }
    out.extend(level_findings(
        records,
        index,
        remainder,
        &evidence.levels[index],
    ));
    out
}

/// One finding per column, all its levels together.
fn level_findings(
    records: &Records,
    index: usize,
    remainder: &Remainder<'_>,
    found: &[StandsOut],
) -> Vec<Finding> {
    let mut out = Vec::new();
    for column in [Rival::Lot, Rival::Supplier, Rival::Part] {
        let own: Vec<&StandsOut> = found.iter().filter(|f| f.column == column).collect();
        let Some(first) = own.first() else { continue };
        let mut inside: Vec<usize> = own.iter().flat_map(|f| f.inside.iter().copied()).collect();
        inside.sort_unstable();
        let reasons = own.iter().flat_map(|f| f.reasons.iter().cloned()).collect();
        let cause = if own.iter().all(|f| f.moved_with_others) {
            Cause::Undecided
        } else {
            Cause::Part
        };
        let check = match column {
            Rival::Lot => NextCheck::CheckLots {
                lots: own.iter().map(|f| f.rate.level.clone()).collect(),
            },
            Rival::Supplier => NextCheck::CheckSupplier {
                supplier: first.rate.level.clone(),
            },
            _ => NextCheck::CheckUpstream,
        };
        out.push(finding(
            records,
            index,
            remainder,
            &inside,
            (Kind::Lot, cause),
            (first.rate.p_adjusted, reasons, check),
        ));
    }
    out
}

/// A finding on the rate of one stream; `inside` are positions among its panels.
pub(super) fn finding(
    records: &Records,
    index: usize,
    remainder: &Remainder<'_>,
    inside: &[usize],
    (kind, cause): (Kind, Cause),
    (p_adjusted, reasons, next_check): (f64, Vec<Reason>, NextCheck),
) -> Finding {
    let data = remainder.data;
    let panel = |at: usize| &records.panels[data.panels[at]];
    let hit: Vec<usize> = (inside.iter().copied())
        .filter(|&at| remainder.marks[at] > 0.0)
        .collect();
    let mut seen = std::collections::BTreeSet::new();
    let lots = (hit.iter())
        .filter_map(|&at| panel(at).lot.as_deref())
        .filter(|lot| kind == Kind::Lot && seen.insert(*lot))
        .map(String::from)
        .collect();
    let (k, n) = (hit.len(), inside.len());
    Finding {
        id: String::new(),
        machine: data.machine.as_deref().map(String::from),
        head: data.head.as_deref().map(String::from),
        defect: records.defect_names[data.name].name.clone(),
        cause,
        certainty: Certainty::CannotTell,
        rival: None,
        levels: Vec::new(),
        open: Vec::new(),
        kind,
        frame: None,
        x_mm: None,
        y_mm: None,
        radius_mm: None,
        line_axis: None,
        panels_hit: k,
        panels_exposed: n,
        hit_rate: (n > 0).then(|| k as f64 / n as f64),
        hit_rate_ci: proportion::clopper_pearson(k as u64, n as u64, 0.95).ok(),
        expected_hits: None,
        p_adjusted: Some(p_adjusted),
        first_panel: hit.first().map(|&at| panel(at).id.clone()),
        last_panel: hit.last().map(|&at| panel(at).id.clone()),
        onset_panel: None,
        end_panel: None,
        drift_mm_per_day: None,
        bars: None,
        lots,
        reasons,
        next_check,
        evidence: Evidence {
            stream: Some(index),
            by_age: if kind == Kind::Abrasive {
                let aged: Vec<(f64, bool)> = (inside.iter())
                    .filter_map(|&at| Some((panel(at).abrasive_age?, remainder.marks[at] > 0.0)))
                    .collect();
                by_age(&aged)
            } else {
                Vec::new()
            },
            by_lot: if kind == Kind::Lot {
                by_lot_counts(remainder, records)
            } else {
                Vec::new()
            },
            exposed: inside.iter().map(|&at| data.panels[at]).collect(),
            ..Evidence::default()
        },
    }
}

/// Panels with a mark and all panels by lot, in order of first panel.
fn by_lot_counts(remainder: &Remainder<'_>, records: &Records) -> Vec<LevelCount> {
    let panels = &remainder.data.panels;
    let lots: Vec<Option<String>> = panels
        .iter()
        .map(|&i| records.panels[i].lot.as_deref().map(String::from))
        .collect();
    let (codes, names) = coded(&lots);
    let mut out: Vec<LevelCount> = names
        .into_iter()
        .map(|level| LevelCount {
            level,
            exposed: 0,
            hits: 0,
        })
        .collect();
    for (code, marks) in codes.iter().zip(&remainder.marks) {
        if let Some(lot) = code {
            out[*lot].exposed += 1;
            out[*lot].hits += usize::from(*marks > 0.0);
        }
    }
    out
}

/// Fills in a stream's cause, reasons and next check. `findings` are its own,
/// strongest first.
pub(super) fn conclude_stream(
    stream: &mut Stream,
    limit: &Limit,
    findings: &[&Finding],
    index: usize,
    evidence: &RateEvidence,
    places: bool,
) {
    stream.rate_by_level = evidence.levels[index]
        .iter()
        .map(|f| f.rate.clone())
        .collect();
    if let Some(first) = findings.first() {
        // Thin film explains a stream only where no machine place does.
        let machine = findings.iter().any(|f| f.cause == Cause::Machine);
        let mut decided = findings
            .iter()
            .filter(|f| f.cause != Cause::Undecided)
            .find(|f| !machine || f.kind != Kind::ThinFilm);
        // Lots differ in most shops: what the recipe does beyond them comes first.
        let rate = |f: &&&Finding| matches!(f.kind, Kind::Lot | Kind::Wandering | Kind::Abrasive);
        if findings.iter().all(|f| rate(&f)) {
            decided = (findings.iter().find(|f| f.cause == Cause::Recipe)).or(decided);
        }
        // What explains some of the marks must not hide a place that the machine
        // may have made.
        if !machine {
            decided = findings.iter().find(|f| may_be_the_machines(f)).or(decided);
        }
        stream.cause = decided.unwrap_or(first).cause;
        stream.next_check = decided.unwrap_or(first).next_check.clone();
        return;
    }
    let open = open_factors(index, evidence);
    let facts = Nothing {
        follows_lots: false,
        follows_recipe: false,
        twofold_open: !open.is_empty(),
        smallest_repeat_seen: limit.smallest_repeat_seen,
    };
    stream.cause = verdict::of_stream(&facts);
    let seen = limit
        .smallest_repeat_seen
        .filter(|s| *s <= verdict::SEEN_SHARE);
    stream.reasons = match seen {
        _ if !places => vec![Reason::NoPlaces],
        Some(smallest_seen) => vec![Reason::NothingRepeats { smallest_seen }],
        None => vec![Reason::TooFewToSee {
            smallest_seen: limit.smallest_repeat_seen,
            panels_needed: limit.panels_needed,
        }],
    };
    if stream.panels_hit <= 2 {
        stream.reasons.push(Reason::SeenOnFewPanels {
            panels: stream.panels_hit,
        });
    }
    let factors = open.iter().map(|factor| Reason::FactorNotExcluded {
        factor: factor.clone(),
    });
    stream.reasons.extend(factors);
    stream.next_check = next_check(stream, &open);
}

/// Whether it is open who makes a place, the machine among those left.
fn may_be_the_machines(finding: &Finding) -> bool {
    let place = matches!(
        finding.kind,
        Kind::Spot | Kind::Line | Kind::Side | Kind::Dwell | Kind::Periodic
    );
    place && finding.cause == Cause::Undecided
}

fn open_factors(index: usize, evidence: &RateEvidence) -> Vec<Rival> {
    let mut open: Vec<Rival> = Vec::new();
    for f in evidence.factors[index].iter().filter(|f| f.twofold_open) {
        if !open.contains(&f.factor) {
            open.push(f.factor.clone());
        }
    }
    if evidence.ages[index].is_some_and(|(age, _)| age.twofold_open) {
        open.push(Rival::AbrasiveAge);
    }
    open
}

/// What a practitioner would do first with a kind of defect without a place.
fn next_check(stream: &Stream, open: &[Rival]) -> NextCheck {
    let everywhere =
        stream.panels >= 5 && stream.panels_hit as f64 >= EVERYWHERE * stream.panels as f64;
    if stream.panels_hit <= 2 {
        return NextCheck::DontAdjust {
            panels: stream.panels_hit,
        };
    }
    match (stream.class, stream.cause) {
        (Some(DefectClass::Over), _) if everywhere => NextCheck::CheckForceThenSpeedUp,
        (Some(DefectClass::Under), _) if everywhere => NextCheck::SlowDownFirst,
        (_, Cause::Part) => NextCheck::CheckIncoming,
        _ => match (open.first(), stream.panels_needed) {
            (_, Some(panels)) => NextCheck::MorePanels { panels },
            (Some(factor), None) => NextCheck::TryFactor {
                factor: factor.clone(),
            },
            (None, None) => NextCheck::CheckIncoming,
        },
    }
}
