//! The whole room: streams, scans of all frames, attribution, verdicts.

use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};

use rayon::prelude::*;

use super::about::About;
use super::conclude::{conclude, leave_open, shift_pairs};
use super::held::{doubt_times, hold_findings, hold_results};
use super::levels::machine_places;
use super::plant::Plant;
use super::responses::bars::{bar_findings, without_bars};
use super::responses::ends::{Zones, covers, ends};
use super::responses::merge::{LEAST_BACKGROUND, Sighting, merge};
use super::responses::one_cause::{carry_slopes, one_breadth};
use super::responses::place::Holder;
use super::responses::repeat::{Ground, investigate};
use super::responses::surface::findings as surface_findings;
use super::responses::{Remainder, accounts, conclude_stream, rate_findings, thin_film};
use super::rivals::frames::Scene;
use super::rivals::inspector;
use super::scanned::{Scanned, scan};
use super::verdict::certainty;
use super::{
    Cause, Causes, Certainty, Finding, Limit, NextCheck, RateByLevel, Reason, ScanSettings,
    Settings, Shape, Sharpness, Stream, StreamData, Tests, View, film_left, smallest_repeat,
    streams, surfaces,
};
use crate::records::Records;

/// Finds what repeats, says who makes it, and what could have been missed.
///
/// `settings.alpha` is the level of the whole report; how it is shared out is
/// decided in one place. The result depends on the records and settings alone,
/// not on threads.
#[must_use]
pub fn find(records: &Records, settings: &Settings) -> Causes {
    find_telling(records, settings, &|_, _| ())
}

/// [`find`]; `told` how many of how many streams are scanned, first of none, from
/// several threads.
#[must_use]
pub fn find_telling(
    records: &Records,
    settings: &Settings,
    told: &(dyn Fn(usize, usize) + Sync),
) -> Causes {
    let streams = streams(records);
    let plant = Plant::new(records);
    let through = AtomicUsize::new(0);
    told(0, streams.len());
    let outcomes: Vec<Outcome> = streams
        .par_iter()
        .enumerate()
        .map(|(index, data)| {
            let outcome = look_at(records, settings, &plant, (index, streams.len()), data);
            told(through.fetch_add(1, Relaxed) + 1, streams.len());
            outcome
        })
        .collect();
    let mut zones = Zones::none(records.defects.len());
    for outcome in &outcomes {
        zones.add(&outcome.zones);
    }
    let mut findings: Vec<Finding> = Vec::new();
    for outcome in &outcomes {
        findings.extend(outcome.findings.iter().cloned());
    }
    one_breadth(&mut findings);
    let sides = ends(records, settings, &plant, &streams, &zones);
    findings.retain(|finding| !sides.iter().any(|side| covers(side, finding)));
    findings.extend(sides);

    inspector::hold_back(records, &plant.marks, &mut findings);

    let remainders: Vec<Remainder<'_>> = streams
        .iter()
        .map(|data| Remainder::new(records, data, &zones.all))
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
    doubt_times(records, &mut findings);
    for finding in &mut findings {
        leave_open(finding);
        let doubtful = |r: &Reason| {
            matches!(
                r,
                Reason::InspectorNotRecorded | Reason::TimesLost | Reason::Broad { .. }
            )
        };
        let lowered = !finding.open.is_empty() || finding.reasons.iter().any(doubtful);
        finding.certainty = certainty(finding.cause, finding.p_adjusted, settings.alpha, lowered);
    }
    shift_pairs(&mut findings, records);
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

/// A stream and what was found in it.
struct Outcome {
    stream: Stream,
    limit: Limit,
    findings: Vec<Finding>,
    zones: Zones<Vec<usize>>,
}

fn look_at(
    records: &Records,
    settings: &Settings,
    plant: &Plant,
    (index, streams): (usize, usize),
    data: &StreamData,
) -> Outcome {
    let machine = View::of(records, data, Holder::Machine);
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
    let zone = |keep: &dyn Fn(&Sighting) -> bool| -> Vec<usize> {
        (sightings.iter().filter(|s| keep(s)))
            .flat_map(|s| s.found.zone.iter().map(|&m| views[s.view].marks[m].defect))
            .collect()
    };
    let is_sharp = |s: &Sighting| s.found.sharpness == Sharpness::Sharp;
    let mut zones = Zones {
        all: zone(&|_| true),
        spots: zone(&|s| matches!(s.found.shape, Shape::Spot { .. }) && is_sharp(s)),
        sharp: zone(&is_sharp),
    };
    let others = plant.others(data);
    let about = About::stream(records, data, index);
    let (bars, on_bars) = bar_findings(
        records,
        data,
        &about,
        (&holders, &views, &sightings),
        bars,
        &others,
    );
    zones
        .all
        .extend(bars.iter().flat_map(|f| f.evidence.members.iter().copied()));
    let leaders = merge(without_bars(sightings, &views, &on_bars), &views);
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
            let dossier = investigate(&ground, sighting);
            let members = sighting.defects(&views);
            conclude(about.clone(), &ground, sighting, &dossier, members)
        })
        .collect();
    findings.extend(bars);
    Outcome {
        stream: stream_of(records, data, &limit),
        limit,
        findings,
        zones,
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
