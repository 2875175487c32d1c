//! The inspector first: do inspectors or stations differ in how much they
//! see, and does a station record mirrored or turned?

use std::collections::BTreeMap;

use crate::causes::finding::{Cause, Finding};
use crate::causes::next_check::NextCheck;
use crate::causes::ranks::{Count, rank_test, rate_ratio};
use crate::causes::reason::Reason;
use crate::causes::responses::place::Marks;
use crate::causes::responses::repeat::coded;
use crate::records::{Panel, Records, Warning, WarningCode};
use crate::stats::distributions::student_t;

/// Level of all questions in this file together.
const LEVEL: f64 = 0.01;

/// A smaller ratio of rates is not worth a warning.
const WORTH_WARNING: f64 = 1.5;

/// Panels that an inspector, and the others, need.
const LEAST_PANELS: usize = 10;

/// Marks that a station needs before its frame is questioned.
const LEAST_MARKS: usize = 30;

/// Cells along each axis of the map that stations are compared on.
const CELLS: usize = 16;

/// Doubts about the inspectors and stations, for a check of the data alone.
#[must_use]
pub fn doubts(records: &Records) -> Vec<Warning> {
    let marks: Vec<Marks> = (0..records.defect_names.len())
        .map(|name| Marks::of(records, name))
        .collect();
    warnings(records, &marks)
}

/// Inspected panels, the number of each one's inspector, and the inspectors.
fn stations(records: &Records) -> (Vec<usize>, Vec<Option<usize>>, Vec<String>) {
    let inspected: Vec<usize> = (0..records.panels.len())
        .filter(|&i| records.panels[i].inspected)
        .collect();
    let text = |i: &usize| records.panels[*i].inspector.as_deref().map(String::from);
    let levels: Vec<Option<String>> = inspected.iter().map(text).collect();
    let (codes, names) = coded(&levels);
    (inspected, codes, names)
}

/// Warnings about inspectors.
pub(in crate::causes) fn warnings(records: &Records, marks: &[Marks]) -> Vec<Warning> {
    let (inspected, codes, names) = stations(records);
    if names.len() < 2 {
        return Vec::new();
    }
    let mut out = differing(records, marks, &inspected, (&codes, &names));
    for (station, flip) in mirrored(records, marks, &inspected, (&codes, &names)) {
        out.push(Warning {
            code: WarningCode::StationMirrored,
            text: format!(
                "Marks of inspector or station {} agree better with the others' when they are \
                 {}: check its origin and axes before anything is concluded from its places.",
                names[station],
                flip.words()
            ),
            file: None,
        });
    }
    out
}

/// Holds the machine back where a station that saw hits records mirrored or
/// turned: a mirrored place of a turned panel is a place of the machine.
pub(in crate::causes) fn hold_back(records: &Records, marks: &[Marks], findings: &mut [Finding]) {
    let (inspected, codes, names) = stations(records);
    if names.len() < 2 {
        return;
    }
    let doubtful = mirrored(records, marks, &inspected, (&codes, &names));
    for finding in findings {
        // what readings show was measured, not seen by a station
        if finding.cause != Cause::Machine || finding.evidence.stream.is_none() {
            continue;
        }
        let saw = |name: &str| {
            finding
                .evidence
                .hits
                .iter()
                .any(|hit| records.panels[hit.panel].inspector.as_deref() == Some(name))
        };
        if let Some((station, _)) = doubtful.iter().find(|(s, _)| saw(&names[*s])) {
            let inspector = names[*station].clone();
            finding.cause = Cause::Undecided;
            finding.reasons.push(Reason::StationInDoubt {
                inspector: inspector.clone(),
            });
            finding.next_check = NextCheck::CheckStation { inspector };
        }
    }
}

fn panels_of(codes: &[Option<usize>], inspector: usize) -> usize {
    codes.iter().filter(|c| **c == Some(inspector)).count()
}

/// Inspectors who record more than the others on the same machines and lots,
/// all kinds together and kind by kind.
fn differing(
    records: &Records,
    marks: &[Marks],
    inspected: &[usize],
    (codes, names): (&[Option<usize>], &[String]),
) -> Vec<Warning> {
    let stratum = |p: &Panel| (p.machine.clone(), p.head.clone(), p.lot.clone());
    let mut numbers = BTreeMap::new();
    let strata: Vec<usize> = inspected
        .iter()
        .map(|&i| {
            let next = numbers.len();
            *numbers.entry(stratum(&records.panels[i])).or_insert(next)
        })
        .collect();
    let kinds: Vec<Option<usize>> = std::iter::once(None)
        .chain((0..marks.len()).filter(|_| marks.len() > 1).map(Some))
        .collect();
    let tests = (names.len() * kinds.len()) as f64;
    let mut out: Vec<Warning> = Vec::new();
    for inspector in 0..names.len() {
        let own = panels_of(codes, inspector);
        let known = codes.iter().flatten().count();
        if own < LEAST_PANELS || known - own < LEAST_PANELS {
            continue;
        }
        for kind in &kinds {
            let counts = |strata: &dyn Fn(usize) -> usize| -> Vec<Count> {
                (0..inspected.len())
                    .filter(|&at| codes[at].is_some())
                    .map(|at| Count {
                        marks: seen(marks, inspected[at], *kind),
                        area_m2: records.panels[inspected[at]].area_m2(),
                        inside: codes[at] == Some(inspector),
                        stratum: strata(at),
                    })
                    .collect()
            };
            let alike = rank_test(&counts(&|at| strata[at]));
            let same_lots = alike.is_some();
            let p = alike.or_else(|| rank_test(&counts(&|_| 0)));
            let ratio = rate_ratio(&counts(&|_| 0));
            if let (Some(p), Some((ratio, ci))) = (p, ratio)
                && p * tests <= LEVEL
                && ratio >= WORTH_WARNING
                && ci.low > 1.0
            {
                let what = kind.map_or("marks of all kinds", |k| &records.defect_names[k].name);
                let where_seen = if same_lots {
                    "on panels of the same machines and lots"
                } else {
                    "but never saw the same lots, so the lots may differ instead"
                };
                out.push(Warning {
                    code: WarningCode::InspectorsDiffer,
                    text: format!(
                        "Inspector {} records {what} at {ratio:.1} times the rate of the others \
                         (95 % {:.1} to {:.1}), {where_seen}; rates of different inspectors don't compare.",
                        names[inspector], ci.low, ci.high
                    ),
                    file: None,
                });
                break;
            }
        }
    }
    out
}

fn seen(marks: &[Marks], panel: usize, kind: Option<usize>) -> f64 {
    match kind {
        Some(k) => marks[k].recorded(panel) as f64,
        None => marks.iter().map(|m| m.recorded(panel)).sum::<usize>() as f64,
    }
}

/// How a station may have flipped the panel frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Flip {
    X,
    Y,
    Half,
}

impl Flip {
    fn apply(self, u: f64, v: f64) -> (f64, f64) {
        match self {
            Flip::X => (1.0 - u, v),
            Flip::Y => (u, 1.0 - v),
            Flip::Half => (1.0 - u, 1.0 - v),
        }
    }

    fn words(self) -> &'static str {
        match self {
            Flip::X => "mirrored along the panel's length",
            Flip::Y => "mirrored across the panel's width",
            Flip::Half => "turned by half a turn",
        }
    }
}

/// Stations whose marks fit the others' map better when mirrored or turned.
///
/// Map: the other stations' marks of the same kind in panel coordinates
/// 0..1, smoothed. Per panel of the station, the difference of mean
/// log densities with and without the flip; t-test over panels. Without a
/// flip the expected difference is negative, so false alarms are rarer than
/// the level says.
fn mirrored(
    records: &Records,
    marks: &[Marks],
    inspected: &[usize],
    (codes, names): (&[Option<usize>], &[String]),
) -> Vec<(usize, Flip)> {
    let tests = (3 * names.len()) as f64;
    let mut out = Vec::new();
    for station in 0..names.len() {
        let mut best: Option<(f64, Flip)> = None;
        let maps: Vec<Map> = marks
            .iter()
            .map(|kind| {
                let mut map = Map::new();
                for (at, &i) in inspected.iter().enumerate() {
                    if codes[at].is_some_and(|c| c != station) {
                        for (u, v) in shares(records, kind, i) {
                            map.add(u, v);
                        }
                    }
                }
                map.smooth();
                map
            })
            .collect();
        for flip in [Flip::X, Flip::Y, Flip::Half] {
            let mut differences = Vec::new();
            let mut count = 0;
            for (at, &i) in inspected.iter().enumerate() {
                if codes[at] != Some(station) {
                    continue;
                }
                let mut sum = 0.0;
                let mut own = 0;
                for (kind, map) in marks.iter().zip(&maps) {
                    for (u, v) in shares(records, kind, i) {
                        let (fu, fv) = flip.apply(u, v);
                        sum += (map.density(fu, fv) / map.density(u, v)).ln();
                        own += 1;
                    }
                }
                if own > 0 {
                    differences.push(sum / f64::from(own));
                    count += own;
                }
            }
            if (count as usize) < LEAST_MARKS || differences.len() < LEAST_PANELS {
                continue;
            }
            if let Some(p) = positive_mean(&differences)
                && p * tests <= LEVEL
                && best.is_none_or(|(b, _)| p < b)
            {
                best = Some((p, flip));
            }
        }
        if let Some((_, flip)) = best {
            out.push((station, flip));
        }
    }
    out
}

/// Marks of a panel as shares of its length and width.
fn shares<'a>(
    records: &'a Records,
    kind: &'a Marks,
    panel: usize,
) -> impl Iterator<Item = (f64, f64)> + 'a {
    let about = &records.panels[panel];
    kind.on(panel).iter().filter_map(move |m| {
        let p = records.defects[m.defect].place?;
        Some((p.x / about.length_mm, p.y / about.width_mm))
    })
}

/// One-sided t-test of a mean above zero.
fn positive_mean(values: &[f64]) -> Option<f64> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (variance > 0.0).then(|| student_t::tails(mean / (variance / n).sqrt(), n - 1.0).upper())
}

/// A smoothed map of marks over the panel.
struct Map {
    cells: Vec<f64>,
}

impl Map {
    fn new() -> Self {
        Self {
            cells: vec![0.0; CELLS * CELLS],
        }
    }

    fn cell(u: f64, v: f64) -> usize {
        let at = |s: f64| ((s * CELLS as f64) as usize).min(CELLS - 1);
        at(v) * CELLS + at(u)
    }

    fn add(&mut self, u: f64, v: f64) {
        self.cells[Self::cell(u, v)] += 1.0;
    }

    /// Binomial weights 1 2 1 along both axes, then one mark in all spread
    /// evenly over the cells so that no density is 0.
    fn smooth(&mut self) {
        let pass = |cells: &[f64], step: usize| -> Vec<f64> {
            (0..cells.len())
                .map(|i| {
                    let at = (i / step) % CELLS;
                    let low = if at > 0 { cells[i - step] } else { cells[i] };
                    let high = if at + 1 < CELLS {
                        cells[i + step]
                    } else {
                        cells[i]
                    };
                    0.25 * low + 0.5 * cells[i] + 0.25 * high
                })
                .collect()
        };
        self.cells = pass(&pass(&self.cells, 1), CELLS);
        let total: f64 = self.cells.iter().sum();
        // At least a tenth of the marks evenly: single clumps must not decide.
        let even = (total * 0.1).max(1.0) / self.cells.len() as f64;
        for c in &mut self.cells {
            *c += even;
        }
    }

    fn density(&self, u: f64, v: f64) -> f64 {
        self.cells[Self::cell(u, v)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::{Defect, DefectName, Point};
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// 200 panels, two stations in turn; marks: 3 anywhere, one in four near a
    /// fixed place; `flip` mirrors station B along x, `eyes` multiplies what
    /// station B sees.
    fn records(seed: u64, flip: bool, eyes: usize) -> Records {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut records = Records {
            defect_names: vec![DefectName {
                name: "nib".into(),
                class: None,
            }],
            ..Records::default()
        };
        for i in 0..200 {
            let b = i % 2 == 1;
            records.panels.push(Panel {
                id: format!("{i}"),
                lot: Some(format!("L{}", i / 20).into()),
                inspector: Some(if b { "B" } else { "A" }.into()),
                length_mm: 600.0,
                width_mm: 400.0,
                inspected: true,
                ..Panel::default()
            });
            let count = rng.random_range(0..4) * if b { eyes } else { 1 };
            for j in 0..=count {
                let fixed = j == 0 && rng.random::<f64>() < 0.5;
                let mut p = if fixed {
                    Point {
                        x: 150.0 + 10.0 * rng.random::<f64>(),
                        y: 90.0 + 10.0 * rng.random::<f64>(),
                    }
                } else {
                    Point {
                        x: 600.0 * rng.random::<f64>(),
                        y: 400.0 * rng.random::<f64>(),
                    }
                };
                if b && flip {
                    p.x = 600.0 - p.x;
                }
                records.defects.push(Defect {
                    panel: i,
                    name: 0,
                    place: Some(p),
                    written: Some(p),
                    area_mm2: None,
                    severity: None,
                });
            }
        }
        records
    }

    fn codes(records: &Records) -> Vec<WarningCode> {
        let marks = [Marks::of(records, 0)];
        warnings(records, &marks).iter().map(|w| w.code).collect()
    }

    #[test]
    fn a_mirrored_station_and_a_keen_eye_are_warned_of() {
        let (mut clean, mut mirrored, mut keen) = (0, 0, 0);
        for seed in 0..30 {
            clean += usize::from(!codes(&records(seed, false, 1)).is_empty());
            mirrored +=
                usize::from(codes(&records(seed, true, 1)).contains(&WarningCode::StationMirrored));
            keen += usize::from(
                codes(&records(seed, false, 3)).contains(&WarningCode::InspectorsDiffer),
            );
        }
        // Two families at 1 %: P(Bin(30, 0.02) > 3) = 0.003.
        assert!(clean <= 3, "{clean}");
        assert!(mirrored >= 27 && keen >= 27, "{mirrored} {keen}");
    }
}
