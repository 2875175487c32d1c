//! The inspector first: do inspectors or stations differ in how much they see?

use super::mirrored::mirrored;
use super::text;
use crate::causes::ranks::{Count, rank_test, rate_ratio};
use crate::causes::responses::place::Marks;
use crate::causes::streams::cell_of;
use crate::causes::{Cause, Finding, NextCheck, Reason};
use crate::duel::{codes, in_order};
use crate::records::{Records, Warning, WarningCode};

/// Level of all questions about stations together.
pub(super) const LEVEL: f64 = 0.01;

/// A smaller ratio of rates is not worth a warning.
const WORTH_WARNING: f64 = 1.5;

/// Panels that an inspector, and the others, need.
pub(super) const LEAST_PANELS: usize = 10;

/// Doubts about the inspectors and stations, for a check of the data alone.
#[must_use]
pub fn doubts(records: &Records) -> Vec<Warning> {
    let marks: Vec<Marks> = (0..records.defect_names.len())
        .map(|name| Marks::of(records, name))
        .collect();
    warnings(records, &marks)
}

/// Inspected panels and who saw them.
pub(super) struct Stations {
    /// Indices into `Records::panels`.
    pub inspected: Vec<usize>,
    /// The number of each one's inspector, where recorded.
    pub codes: Vec<Option<usize>>,
    /// The inspectors.
    pub names: Vec<String>,
}

impl Stations {
    /// None where there are fewer than two.
    fn of(records: &Records) -> Option<Self> {
        let inspected: Vec<usize> = (0..records.panels.len())
            .filter(|&i| records.panels[i].inspected)
            .collect();
        let seen_by = |i: &usize| text(&records.panels[*i].inspector);
        let (codes, names) = codes(&inspected.iter().map(seen_by).collect::<Vec<_>>());
        (names.len() > 1).then_some(Self {
            inspected,
            codes,
            names,
        })
    }

    /// The panels that any but one saw, or that one.
    pub(super) fn seen_by(&self, station: usize, others: bool) -> impl Iterator<Item = usize> {
        let pairs = self.inspected.iter().zip(&self.codes);
        let of = move |code: &Option<usize>| code.is_some_and(|c| (c != station) == others);
        pairs.filter(move |(_, code)| of(code)).map(|(&i, _)| i)
    }
}

/// Warnings about inspectors.
pub(crate) fn warnings(records: &Records, marks: &[Marks]) -> Vec<Warning> {
    let Some(stations) = Stations::of(records) else {
        return Vec::new();
    };
    let mut out = differing(records, marks, &stations);
    for (station, flip) in mirrored(records, marks, &stations) {
        out.push(Warning {
            code: WarningCode::StationMirrored,
            text: format!(
                "Marks of inspector or station {} agree better with the others' when they are \
                 {}: check its origin and axes before anything is concluded from its places.",
                stations.names[station],
                flip.words()
            ),
            file: None,
        });
    }
    out
}

/// Holds the machine back where a station that saw hits records mirrored or
/// turned: a mirrored place of a turned panel is a place of the machine.
pub(crate) fn hold_back(records: &Records, marks: &[Marks], findings: &mut [Finding]) {
    let Some(stations) = Stations::of(records) else {
        return;
    };
    let doubtful = mirrored(records, marks, &stations);
    for finding in findings {
        // what readings show was measured, not seen by a station
        if finding.cause != Cause::Machine || finding.evidence.stream.is_none() {
            continue;
        }
        let by = |panel: usize| records.panels[panel].inspector.as_deref();
        let saw =
            |name: &str| (finding.evidence.hits.iter()).any(|hit| by(hit.panel) == Some(name));
        if let Some((station, _)) = doubtful.iter().find(|(s, _)| saw(&stations.names[*s])) {
            let inspector = stations.names[*station].clone();
            finding.cause = Cause::Undecided;
            finding.reasons.push(Reason::StationInDoubt {
                inspector: inspector.clone(),
            });
            finding.next_check = NextCheck::CheckStation { inspector };
        }
    }
}

/// Inspectors who record more than the others on the same machines and lots,
/// all kinds together and kind by kind.
fn differing(records: &Records, marks: &[Marks], stations: &Stations) -> Vec<Warning> {
    let Stations {
        inspected,
        codes,
        names,
    } = stations;
    let panel = |i: &usize| &records.panels[*i];
    let strata = in_order(inspected.iter().map(|i| (cell_of(panel(i)), &panel(i).lot)));
    let kinds: Vec<Option<usize>> = std::iter::once(None)
        .chain((0..marks.len()).filter(|_| marks.len() > 1).map(Some))
        .collect();
    let tests = (names.len() * kinds.len()) as f64;
    let mut out: Vec<Warning> = Vec::new();
    for inspector in 0..names.len() {
        let own = codes.iter().filter(|c| **c == Some(inspector)).count();
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made;
    use crate::records::{Panel, Point};
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// 200 panels, two stations in turn; marks: 3 anywhere, one in four near a
    /// fixed place; `flip` mirrors station B along x, `eyes` multiplies what
    /// station B sees.
    fn records(seed: u64, flip: bool, eyes: usize) -> Records {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut records = made::records(&[("nib", None)]);
        for i in 0..200 {
            let b = i % 2 == 1;
            records.panels.push(Panel {
                lot: Some(format!("L{}", i / 20).into()),
                inspector: Some(if b { "B" } else { "A" }.into()),
                ..made::panel(i, 600.0, 400.0)
            });
            let count = rng.random_range(0..4) * if b { eyes } else { 1 };
            for j in 0..=count {
                let fixed = j == 0 && rng.random::<f64>() < 0.5;
                let mut p = if fixed {
                    Point::new(
                        150.0 + 10.0 * rng.random::<f64>(),
                        90.0 + 10.0 * rng.random::<f64>(),
                    )
                } else {
                    Point::new(600.0 * rng.random::<f64>(), 400.0 * rng.random::<f64>())
                };
                if b && flip {
                    p.x = 600.0 - p.x;
                }
                records.defects.push(made::mark(i, 0, Some(p)));
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
