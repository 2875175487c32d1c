//! The whole room: streams, scans of all frames, attribution, verdicts.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::conclude::{About, conclude, leave_open};
use super::held::{hold_findings, hold_results};
use super::levels::{BARS, PATH_PLACES, machine_places};
use super::responses::{Remainder, accounts, conclude_stream, rate_findings};
use super::verdict::certainty;
use super::{
    Anchor, BarsBy, Cause, Causes, Certainty, Clock, Finding, Kind, Limit, LineAxis, NextCheck,
    Pace, RateByLevel, Reason, ScanSettings, Settings, Shape, Sharpness, Stream, StreamData, Tests,
    View, film_left, find_bars, find_places, follow_drift, smallest_repeat, streams, surfaces,
};
use crate::causes::responses::bars::{BarSighting, bar_findings, without_bars};
use crate::causes::responses::ends::diagonal;
use crate::causes::responses::ends::end_bands::ends_stand_out;
use crate::causes::responses::ends::opposite::{KindMarks, both_ends, signs_change};
use crate::causes::responses::ends::sides::{SideStream, sides};
use crate::causes::responses::ends::votes::axis_of;
use crate::causes::responses::merge::{LEAST_BACKGROUND, Sighting, merge};
use crate::causes::responses::one_cause::carry_slopes;
use crate::causes::responses::place::{Holder, Marks, day_of};
use crate::causes::responses::repeat::{Ground, investigate, leader};
use crate::causes::responses::surface::findings as surface_findings;
use crate::causes::responses::thin_film;
use crate::causes::rivals::frames::{Scene, several_sizes};
use crate::causes::rivals::inspector;
use crate::records::{Lay, Records};
use crate::site::DefectClass;

/// Finds what repeats, says who makes it, and what could have been missed.
///
/// `settings.alpha` is the level of the whole report; how it is shared out is
/// decided in one place. The result depends on the records and settings alone,
/// not on threads.
#[must_use]
pub fn find(records: &Records, settings: &Settings) -> Causes {
    let streams = streams(records);
    let plant = Plant::new(records);
    let outcomes: Vec<Outcome> = streams
        .par_iter()
        .enumerate()
        .map(|(index, data)| look_at(records, settings, &plant, (index, streams.len()), data))
        .collect();
    let mut taken = vec![false; records.defects.len()];
    for &defect in outcomes.iter().flat_map(|o| &o.taken) {
        taken[defect] = true;
    }
    let mut of_spots = vec![false; records.defects.len()];
    for &defect in outcomes.iter().flat_map(|o| &o.of_spots) {
        of_spots[defect] = true;
    }
    let mut sharp = vec![false; records.defects.len()];
    for &defect in outcomes.iter().flat_map(|o| &o.sharp) {
        sharp[defect] = true;
    }
    let zones = Zones {
        all: &taken,
        spots: &of_spots,
        sharp: &sharp,
    };
    let mut findings: Vec<Finding> = Vec::new();
    for outcome in &outcomes {
        findings.extend(outcome.findings.iter().cloned());
    }
    let sides = all_sides(records, settings, &plant, &streams, zones);
    findings.retain(|finding| !sides.iter().any(|side| covers(side, finding)));
    findings.extend(sides);

    inspector::hold_back(records, &plant.marks, &mut findings);

    let remainders: Vec<Remainder<'_>> = streams
        .iter()
        .map(|data| Remainder::new(records, data, &taken))
        .collect();
    let rates = accounts(records, &remainders, settings.alpha);
    let mut by_level: Vec<Vec<RateByLevel>> = vec![Vec::new(); streams.len()];
    let mut account_of: Vec<usize> = vec![0; streams.len()];
    for (at, account) in rates.iter().enumerate() {
        for &stream in &account.streams {
            account_of[stream] = at;
        }
        for (stream, finding, levels) in rate_findings(records, &remainders, account) {
            findings.push(finding);
            by_level[stream].extend(levels);
        }
    }
    let film = thin_film::mean_readings(records);
    findings.extend(thin_film::findings(
        records,
        &remainders,
        &film,
        settings.alpha,
    ));
    let surface = surfaces(records, settings.alpha);
    findings.extend(surface_findings(&surface, records));
    hold_findings(records, &mut findings);
    for finding in &mut findings {
        leave_open(finding);
        let doubtful = |r: &Reason| matches!(r, Reason::InspectorNotRecorded);
        let lowered = !finding.open.is_empty() || finding.reasons.iter().any(doubtful);
        finding.certainty = certainty(finding.cause, finding.p_adjusted, settings.alpha, lowered);
    }
    carry_slopes(&mut findings, &surface, records, settings.alpha);
    number(&mut findings);

    let mut causes = Causes {
        warnings: inspector::warnings(records, &plant.marks),
        surface,
        film_left: film_left(records, settings.film_left_min_um),
        ..Causes::default()
    };
    for (index, outcome) in outcomes.into_iter().enumerate() {
        let mut stream = outcome.stream;
        let own: Vec<&Finding> = findings
            .iter()
            .filter(|f| f.evidence.stream == Some(index) || f.evidence.pooled.contains(&index))
            .collect();
        let places = !streams[index].marks.is_empty();
        conclude_stream(
            &mut stream,
            &outcome.limit,
            &own,
            &rates[account_of[index]],
            places,
        );
        stream.rate_by_level.clone_from(&by_level[index]);
        causes.streams.push(stream);
    }
    causes.findings = findings;
    hold_results(records, &mut causes);
    causes
}

/// Which defects lie in the zones of what the scans found.
#[derive(Debug, Clone, Copy)]
struct Zones<'a> {
    /// In any.
    all: &'a [bool],
    /// In those of places.
    spots: &'a [bool],
    /// In those of places and lines that are sharp.
    sharp: &'a [bool],
}

/// Whether a broad concentration or a line is what a side, a corner or both ends
/// tell already: a broad one of the same stream always, a line where half of its
/// marks are theirs.
fn covers(side: &Finding, finding: &Finding) -> bool {
    let own = &side.evidence.members;
    let of = &finding.evidence.members;
    let inside = of.iter().filter(|d| own.binary_search(d).is_ok()).count();
    let stream = finding.evidence.stream;
    let pooled = stream.is_some_and(|s| side.evidence.pooled.contains(&s));
    let half = 2 * inside > of.len();
    (side.evidence.stream == stream || pooled)
        && match finding.kind {
            Kind::Wandering => half || side.kind == Kind::Side,
            Kind::Line => half,
            _ => false,
        }
        && finding.radius_mm.is_some()
}

/// Sides of every stream, and opposite sides of the panels.
fn all_sides(
    records: &Records,
    settings: &Settings,
    plant: &Plant,
    streams: &[StreamData],
    zones: Zones<'_>,
) -> Vec<Finding> {
    let mut out = Vec::new();
    let mut sided: Vec<(Cell, LineAxis)> = Vec::new();
    for (index, data) in streams.iter().enumerate() {
        let others = plant.others(data);
        let name = &records.defect_names[data.name];
        let stream = SideStream {
            records,
            panels: &data.panels,
            others: &others,
            marks: &plant.marks[data.name],
            taken: zones.all,
            of_spots: zones.spots,
            index,
            streams: streams.len(),
            class: name.class,
        };
        for mut finding in sides(&stream, settings.alpha) {
            finding.machine = data.machine.as_deref().map(String::from);
            finding.head = data.head.as_deref().map(String::from);
            finding.defect.clone_from(&name.name);
            let cell = (data.machine.clone(), data.head.clone());
            match finding.reasons.first() {
                Some(Reason::SideVotes { side, .. }) => sided.push((cell, axis_of(*side))),
                Some(Reason::OneEndOfAnEdge { .. } | Reason::OneCorner { .. }) => {
                    sided.extend([LineAxis::X, LineAxis::Y].map(|axis| (cell.clone(), axis)));
                }
                _ => {}
            }
            out.push(finding);
        }
    }
    diagonal::tilts(&mut out, records);
    let mut opposite = opposite_sides(records, settings, plant, zones, &sided);
    for (finding, kinds) in &mut opposite {
        finding.evidence.pooled = (0..streams.len())
            .filter(|&s| kinds.contains(&streams[s].name) && shares_panels(&streams[s], finding))
            .collect();
    }
    out.extend(opposite.into_iter().map(|(finding, _)| finding));
    out
}

/// Whether a panel that shows the finding was sanded in the stream.
fn shares_panels(stream: &StreamData, finding: &Finding) -> bool {
    let panels = &finding.evidence.exposed;
    panels
        .iter()
        .any(|i| stream.panels.binary_search(i).is_ok())
}

/// Opposite sides, with the kinds of defect that they are made of, machines pooled; panels of a machine with a side of its own
/// are left out.
fn opposite_sides(
    records: &Records,
    settings: &Settings,
    plant: &Plant,
    zones: Zones<'_>,
    sided: &[(Cell, LineAxis)],
) -> Vec<(Finding, Vec<usize>)> {
    let of_class = |class: DefectClass| -> Vec<KindMarks<'_>> {
        (0..records.defect_names.len())
            .filter(|&n| records.defect_names[n].class == Some(class))
            .map(|name| KindMarks {
                name,
                marks: &plant.marks[name],
            })
            .collect()
    };
    let (over, under) = (of_class(DefectClass::Over), of_class(DefectClass::Under));
    // A sided axis lies along either panel axis where panels were turned across.
    let panels = |axis: LineAxis| -> Vec<usize> {
        let free = |i: &usize| {
            let panel = &records.panels[*i];
            let cell = (panel.machine.clone(), panel.head.clone());
            !sided
                .iter()
                .any(|(c, a)| *c == cell && (*a == axis) != panel.lay.swaps_axes())
        };
        let inspected = (0..records.panels.len()).filter(|&i| records.panels[i].inspected);
        inspected.filter(free).collect()
    };
    let axes = [LineAxis::X, LineAxis::Y].map(|axis| (axis, panels(axis)));
    let mut out = Vec::new();
    let pairs = over.len() * under.len();
    for o in &over {
        for u in &under {
            let level = (settings.alpha, 2 * pairs);
            let best = axes
                .iter()
                .filter_map(|(axis, panels)| {
                    signs_change(records, (*o, *u), zones.all, panels, *axis, level)
                })
                .min_by(by_p);
            out.extend(best.map(|finding| (finding, vec![o.name, u.name])));
        }
    }
    let kinds: Vec<KindMarks<'_>> = over.iter().chain(&under).copied().collect();
    for kind in &kinds {
        // half of the level is theirs, and each asks along two axes
        let level = (settings.alpha, 8 * kinds.len());
        let best = axes
            .iter()
            .flat_map(|(axis, panels)| {
                [
                    both_ends(records, *kind, zones.all, panels, *axis, level),
                    ends_stand_out(records, *kind, zones.sharp, panels, *axis, level),
                ]
            })
            .flatten()
            .min_by(by_p);
        out.extend(best.map(|finding| (finding, vec![kind.name])));
    }
    out
}

fn by_p(a: &Finding, b: &Finding) -> std::cmp::Ordering {
    let p = |f: &Finding| f.p_adjusted.unwrap_or(1.0);
    p(a).total_cmp(&p(b))
}

/// Strongest first, then F1, F2, …
fn number(findings: &mut [Finding]) {
    let p = |f: &Finding| f.p_adjusted.unwrap_or(1.0);
    findings.sort_by(|a, b| {
        (p(a).total_cmp(&p(b)))
            .then(b.panels_hit.cmp(&a.panels_hit))
            .then(a.evidence.stream.cmp(&b.evidence.stream))
    });
    for (i, finding) in findings.iter_mut().enumerate() {
        finding.id = format!("F{}", i + 1);
    }
}

/// What all streams share.
pub(super) struct Plant {
    /// Marks of each kind of defect, by index into `Records::defect_names`.
    pub(super) marks: Vec<Marks>,
    /// Number of every panel in the order of its machine and head.
    pub(super) numbers: Vec<usize>,
    /// Inspected panels of each machine and head.
    pub(super) cells: BTreeMap<Cell, Vec<usize>>,
}

/// A machine and a head.
pub(super) type Cell = (Option<Arc<str>>, Option<Arc<str>>);

impl Plant {
    fn new(records: &Records) -> Self {
        let mut numbers = Vec::with_capacity(records.panels.len());
        let mut cells: BTreeMap<Cell, Vec<usize>> = BTreeMap::new();
        let mut next: BTreeMap<Cell, usize> = BTreeMap::new();
        for (i, panel) in records.panels.iter().enumerate() {
            let cell = (panel.machine.clone(), panel.head.clone());
            if panel.inspected {
                cells.entry(cell.clone()).or_default().push(i);
            }
            let number = next.entry(cell).or_default();
            numbers.push(*number);
            *number += 1;
        }
        Self {
            marks: (0..records.defect_names.len())
                .map(|name| Marks::of(records, name))
                .collect(),
            numbers,
            cells,
        }
    }

    /// Inspected panels of all other machines and heads.
    fn others(&self, data: &StreamData) -> Vec<usize> {
        let own = (data.machine.clone(), data.head.clone());
        self.cells
            .iter()
            .filter(|(cell, _)| **cell != own)
            .flat_map(|(_, panels)| panels.iter().copied())
            .collect()
    }
}

/// A stream and what was found in it.
struct Outcome {
    stream: Stream,
    limit: Limit,
    findings: Vec<Finding>,
    /// Defects in the zones of what the scans found.
    taken: Vec<usize>,
    /// Of these, those in the zones of places.
    of_spots: Vec<usize>,
    /// Of these, those in the zones of what is sharp.
    sharp: Vec<usize>,
}

fn look_at(
    records: &Records,
    settings: &Settings,
    plant: &Plant,
    (index, streams): (usize, usize),
    data: &StreamData,
) -> Outcome {
    let machine = View::machine(records, data);
    let of_machine = ScanSettings {
        alpha: settings.alpha * machine_places(records),
        streams,
    };
    let tests = Tests::of(&machine, &of_machine);
    let limit = smallest_repeat(&machine, &of_machine, &tests);
    let Scanned {
        holders,
        views,
        sightings,
        bars,
    } = scan(records, settings, streams, data, (machine, tests));
    let zones = |keep: &dyn Fn(&&Sighting) -> bool| -> Vec<usize> {
        (sightings.iter().filter(keep))
            .flat_map(|s| s.found.zone.iter().map(|&m| views[s.view].marks[m].defect))
            .collect()
    };
    let mut taken = zones(&|_| true);
    let of_spots = zones(&|s| {
        matches!(s.found.shape, Shape::Spot { .. }) && s.found.sharpness == Sharpness::Sharp
    });
    let sharp = zones(&|s| s.found.sharpness == Sharpness::Sharp);
    let others = plant.others(data);
    let (bars, on_bars) = bar_findings(
        records,
        data,
        index,
        (&holders, &views, &sightings),
        bars,
        &others,
    );
    taken.extend(bars.iter().flat_map(|f| f.evidence.members.iter().copied()));
    let leaders = merge(without_bars(sightings, &views, &on_bars), &views);
    let name = &records.defect_names[data.name];
    let about = About {
        machine: data.machine.as_deref(),
        head: data.head.as_deref(),
        defect: &name.name,
        stream: index,
    };
    let mut findings: Vec<Finding> = leaders
        .iter()
        .map(|sighting| {
            let drift = sighting.found.drift;
            let marks = &plant.marks[data.name];
            let stilled = drift.map(|d| marks.stilled(records, &data.panels, sighting.holder, &d));
            let by_chance = sighting.background(&views[sighting.view]);
            let ground = Ground {
                scene: Scene {
                    records,
                    panels: &data.panels,
                    marks: stilled.as_ref().unwrap_or(marks),
                    reach_mm: sighting.reach_mm(),
                    by_chance,
                    background: by_chance.max(LEAST_BACKGROUND),
                },
                others: &others,
                numbers: &plant.numbers,
            };
            let dossier = investigate(&ground, leader(sighting));
            let members = sighting.defects(&views);
            conclude(about, &ground, sighting, &dossier, members)
        })
        .collect();
    findings.extend(bars);
    Outcome {
        stream: stream_of(records, data, &limit),
        limit,
        findings,
        taken,
        of_spots,
        sharp,
    }
}

fn stream_of(records: &Records, data: &StreamData, limit: &Limit) -> Stream {
    let mut hit: Vec<usize> = data
        .defects
        .iter()
        .map(|&d| records.defects[d].panel)
        .collect();
    hit.dedup();
    let name = &records.defect_names[data.name];
    Stream {
        machine: data.machine.as_deref().map(String::from),
        head: data.head.as_deref().map(String::from),
        defect: name.name.clone(),
        class: name.class,
        panels: data.panels.len(),
        panels_hit: hit.len(),
        defects: data.defects.len(),
        cause: Cause::Undecided,
        certainty: Certainty::CannotTell,
        causes: Vec::new(),
        open: Vec::new(),
        smallest_repeat_seen: limit.smallest_repeat_seen,
        panels_needed: limit.panels_needed,
        reasons: Vec::new(),
        next_check: NextCheck::None,
        rate_by_level: Vec::new(),
    }
}

/// What the scans of a stream found.
struct Scanned {
    /// What holds each of the views.
    holders: Vec<Holder>,
    views: Vec<View>,
    sightings: Vec<Sighting>,
    bars: Vec<BarSighting>,
}

/// Scans every frame that can differ from the machine's.
fn scan(
    records: &Records,
    settings: &Settings,
    streams: usize,
    data: &StreamData,
    (machine, of_machine): (View, Tests),
) -> Scanned {
    let mut views = vec![(Holder::Machine, machine, machine_places(records), 1)];
    if !fixed_in_machine(records, data, |_| Some(Lay::Deg0)) {
        let view = View::panel(records, data);
        views.push((Holder::Panel, view, 1.0, 1));
    }
    if !data
        .panels
        .iter()
        .all(|&i| records.panels[i].inspect_lay.is_none_or(|l| l == Lay::Deg0))
        && !fixed_in_machine(records, data, |i| records.panels[i].inspect_lay)
        && let Some(view) = View::inspection(records, data)
    {
        views.push((Holder::Inspection, view, 1.0, 1));
    }
    if several_sizes(records, &data.panels) {
        for anchor in Anchor::ALL {
            let view = View::path(records, data, anchor);
            let share = PATH_PLACES;
            views.push((Holder::Path(anchor), view, share, Anchor::ALL.len()));
        }
    }
    let clock = clock(records, data);
    let feeds: Vec<Option<f64>> = data
        .panels
        .iter()
        .map(|&i| records.panels[i].feed_mm_s)
        .collect();
    let mut sightings = Vec::new();
    let mut bars: Vec<BarSighting> = Vec::new();
    let swapped = |i: &usize| records.panels[*i].lay.swaps_axes();
    let across = data.panels.iter().any(swapped) && !data.panels.iter().all(swapped);
    for (at, (holder, view, share, split)) in views.iter().enumerate() {
        let scan = ScanSettings {
            alpha: settings.alpha * share,
            streams: streams * split,
        };
        let places = match holder {
            Holder::Machine => find_places(view, &scan, &of_machine),
            _ => find_places(view, &scan, &Tests::of(view, &scan)),
        };
        let found = follow_drift(view, places, &clock, &scan);
        let mut on_bars = vec![false; found.len()];
        let bar_share = match holder {
            Holder::Machine => Some(BARS),
            // bars of the panel show in the machine too unless panels lay across
            Holder::Panel if across => Some(1.0),
            _ => None,
        };
        if let Some(bar_share) = bar_share {
            let scan = ScanSettings {
                alpha: settings.alpha * bar_share,
                streams,
            };
            for b in find_bars(view, &found, &feeds, &scan) {
                for &line in &b.lines {
                    on_bars[line] = true;
                }
                let of = match b.by {
                    BarsBy::Distances => bar_share,
                    BarsBy::Lines => *share,
                };
                let p_adjusted = (b.p_adjusted / of).min(1.0);
                bars.push(BarSighting {
                    holder: *holder,
                    bars: b,
                    p_adjusted,
                });
            }
        }
        for (found, on_bars) in found.into_iter().zip(on_bars) {
            if on_bars {
                continue;
            }
            sightings.push(Sighting {
                holder: *holder,
                view: at,
                p_adjusted: (found.p_adjusted / share).min(1.0),
                found,
            });
        }
    }
    Scanned {
        holders: views.iter().map(|v| v.0).collect(),
        views: views.into_iter().map(|(_, view, _, _)| view).collect(),
        sightings,
        bars,
    }
}

/// When the stream's panels were sanded, or their order where no time is recorded,
/// and their lots as numbers.
fn clock(records: &Records, data: &StreamData) -> Clock {
    let mut numbers: BTreeMap<&str, usize> = BTreeMap::new();
    let panels = data.panels.iter().map(|&i| &records.panels[i]);
    let lots = panels.clone().map(|panel| {
        let next = numbers.len();
        Some(*numbers.entry(panel.lot.as_deref()?).or_insert(next))
    });
    let lots = lots.collect();
    let days: Vec<Option<f64>> = panels.map(day_of).collect();
    if days.iter().any(Option::is_some) {
        let pace = Pace::Days;
        return Clock { pace, days, lots };
    }
    Clock {
        pace: Pace::Panels,
        days: (0..days.len()).map(|at| Some(at as f64)).collect(),
        lots,
    }
}

/// Whether a frame in which panels lie as `lay` says, at the origin, is the
/// machine frame but for a shift that is the same on every panel.
fn fixed_in_machine(
    records: &Records,
    data: &StreamData,
    lay: impl Fn(usize) -> Option<Lay>,
) -> bool {
    let shift = |i: usize| {
        let panel = &records.panels[i];
        (lay(i)? == panel.lay).then_some((panel.lay_x_mm.to_bits(), panel.lay_y_mm.to_bits()))
    };
    let mut shifts = data.panels.iter().map(|&i| shift(i));
    match shifts.next() {
        Some(Some(first)) => shifts.all(|s| s == Some(first)),
        _ => false,
    }
}
