//! A stream's rate by lot, supplier and part number: no place needed.
//!
//! A lot is tested panel against panel, within recipe settings. Suppliers and
//! part numbers are tested lot against lot: panels of one lot are not
//! independent, and a supplier with one bad lot is not a bad supplier.

use std::collections::BTreeMap;

use super::RateByLevel;
use super::ranks::{Count, rank_test, rate_ratio};
use super::reason::{Followed, Reason};
use super::repeat::{coded, setting};
use crate::records::{Panel, Records};
use crate::stats::Interval;
use crate::stats::distributions::student_t;

/// A smaller ratio is not worth naming.
const WORTH_NAMING: f64 = 1.5;

/// The neighbours in time of a lot that ran in one stretch must differ at this
/// level: else a slow drift of anything explains the lot.
const NEIGHBOURS: f64 = 0.03;

/// The same for the first or last lot, which has neighbours on one side only.
const ONE_NEIGHBOUR: f64 = 0.002;

/// Panels that a lot, and what it is compared with, need.
const LEAST_PANELS: usize = 5;

/// Lots that a supplier, and its rest, need.
const LEAST_LOTS: usize = 2;

/// The marks of a stream panel by panel, those of its findings taken out.
#[derive(Debug, Clone, Copy)]
pub(super) struct StreamCounts<'a> {
    /// The records.
    pub records: &'a Records,
    /// Inspected panels in time order, indices into `Records::panels`.
    pub panels: &'a [usize],
    /// Marks on each of them.
    pub marks: &'a [f64],
}

/// A level whose rate stands out.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct StandsOut {
    /// Which column.
    pub column: Followed,
    /// Its numbers.
    pub rate: RateByLevel,
    /// Panels of the level (positions in the stream).
    pub inside: Vec<usize>,
    /// Reasons that go with it.
    pub reasons: Vec<Reason>,
    /// Whether a recipe setting that ran with it explains it as well.
    pub moved_with_recipe: bool,
}

impl StreamCounts<'_> {
    /// The panel at a position.
    pub(super) fn panel(&self, at: usize) -> &Panel {
        &self.records.panels[self.panels[at]]
    }

    /// A level per panel.
    pub(super) fn levels(&self, value: impl Fn(&Panel) -> Option<String>) -> Vec<Option<String>> {
        (0..self.panels.len())
            .map(|at| value(self.panel(at)))
            .collect()
    }

    /// Levels as numbers where at least two are recorded, on nine panels of ten
    /// or more; panels without one share a number of their own.
    pub(super) fn codes(&self, value: impl Fn(&Panel) -> Option<String>) -> Option<Vec<usize>> {
        let (codes, names) = coded(&self.levels(value));
        let known = codes.iter().flatten().count();
        (names.len() >= 2 && 10 * known >= 9 * codes.len())
            .then(|| codes.iter().map(|c| c.unwrap_or(names.len())).collect())
    }

    fn count(&self, at: usize, inside: bool, stratum: usize) -> Count {
        Count {
            marks: self.marks[at],
            area_m2: self.panel(at).area_m2(),
            inside,
            stratum,
        }
    }
}

/// Lots whose rate stands out, strongest first. `streams` and `alpha` are the
/// report's; p is adjusted for its lots and streams.
pub(super) fn by_lot(stream: &StreamCounts<'_>, alpha: f64, streams: usize) -> Vec<StandsOut> {
    let (lot_of, names) = coded(&stream.levels(|p| p.lot.as_deref().map(String::from)));
    let (settings, _) = coded(&stream.levels(setting));
    let known: Vec<usize> = (0..stream.panels.len())
        .filter(|&at| lot_of[at].is_some())
        .collect();
    if names.len() < 2 || 2 * known.len() < stream.panels.len() {
        return Vec::new();
    }
    let mut members: Vec<Vec<usize>> = vec![Vec::new(); names.len()];
    for &at in &known {
        if let Some(lot) = lot_of[at] {
            members[lot].push(at);
        }
    }
    // Highest rates first; each lot named is left out of the rest for the next.
    let mut rest: Vec<bool> = vec![true; names.len()];
    let mut out: Vec<(usize, StandsOut)> = Vec::new();
    let tests = names.len() * streams;
    loop {
        let mut best: Option<(f64, usize)> = None;
        for lot in (0..names.len()).filter(|&l| rest[l] && members[l].len() >= LEAST_PANELS) {
            let rate = |at: &[usize]| {
                let area: f64 = at.iter().map(|&a| stream.panel(a).area_m2()).sum();
                at.iter().map(|&a| stream.marks[a]).sum::<f64>() / area
            };
            let own = rate(&members[lot]);
            if best.is_none_or(|(b, _)| own > b) {
                best = Some((own, lot));
            }
        }
        let Some((_, lot)) = best else { break };
        rest[lot] = false;
        let compared: Vec<usize> = known
            .iter()
            .copied()
            .filter(|&at| lot_of[at].is_some_and(|l| l == lot || rest[l]))
            .collect();
        if compared.len() < members[lot].len() + LEAST_PANELS {
            break;
        }
        match judge_lot(stream, lot, &lot_of, &settings, &compared, tests) {
            Some(mut found) if found.rate.p_adjusted <= alpha => {
                found.rate.level.clone_from(&names[lot]);
                if let Some(Reason::RateHigher { level, .. }) = found.reasons.first_mut() {
                    level.clone_from(&names[lot]);
                }
                found.inside.clone_from(&members[lot]);
                out.push((lot, found));
            }
            _ => break,
        }
    }
    let mut named = vec![false; names.len()];
    for (lot, _) in &out {
        named[*lot] = true;
    }
    let high: Vec<bool> = known
        .iter()
        .map(|&at| lot_of[at].is_some_and(|l| named[l]))
        .collect();
    out.retain_mut(|(lot, found)| {
        let own: Vec<bool> = known.iter().map(|&at| lot_of[at] == Some(*lot)).collect();
        match neighbours(stream, &known, &own, &high) {
            Neighbours::Returns => true,
            Neighbours::Differ(ratio) => {
                found.reasons.push(Reason::DiffersFromNeighbours { ratio });
                true
            }
            Neighbours::Alike => false,
        }
    });
    out.into_iter().map(|(_, found)| found).collect()
}

fn judge_lot(
    stream: &StreamCounts<'_>,
    lot: usize,
    lot_of: &[Option<usize>],
    settings: &[Option<usize>],
    compared: &[usize],
    tests: usize,
) -> Option<StandsOut> {
    let inside = |at: usize| lot_of[at] == Some(lot);
    let counts = |stratum: &dyn Fn(usize) -> usize| -> Vec<Count> {
        compared
            .iter()
            .map(|&at| stream.count(at, inside(at), stratum(at)))
            .collect()
    };
    let within_settings = rank_test(&counts(&|at| settings[at].map_or(0, |s| s + 1)));
    let moved_with_recipe = within_settings.is_none();
    let p = within_settings.or_else(|| rank_test(&counts(&|_| 0)))?;
    let (ratio, ratio_ci) = rate_ratio(&counts(&|_| 0))?;
    let own: Vec<usize> = compared.iter().copied().filter(|&at| inside(at)).collect();
    let mut reasons = vec![Reason::RateHigher {
        column: Followed::Lot,
        level: String::new(),
        panels: own.len(),
        ratio,
        ratio_ci: (ratio_ci.low, ratio_ci.high),
        units: Followed::Part,
    }];
    if moved_with_recipe {
        reasons.push(Reason::MovedWith {
            columns: vec![Followed::Recipe],
        });
    }
    (ratio >= WORTH_NAMING && ratio_ci.low > 1.0).then(|| StandsOut {
        column: Followed::Lot,
        rate: RateByLevel {
            column: "lot".into(),
            level: String::new(),
            panels: own.len(),
            defects: own.iter().map(|&at| stream.marks[at]).sum::<f64>() as usize,
            ratio,
            ratio_ci,
            p_adjusted: (p * tests as f64).min(1.0),
        },
        inside: Vec::new(),
        reasons,
        moved_with_recipe,
    })
}

/// How a lot compares with what ran just before and after it.
enum Neighbours {
    /// It came back after other lots: no drift explains it.
    Returns,
    /// One stretch, and its neighbours have so many times fewer marks.
    Differ(f64),
    /// One stretch, and its neighbours don't differ enough: a drift may.
    Alike,
}

/// Compares a lot that ran in one stretch with twice as many panels on either
/// side of the stretch of lots named with it.
fn neighbours(
    stream: &StreamCounts<'_>,
    known: &[usize],
    own: &[bool],
    high: &[bool],
) -> Neighbours {
    let n = known.len();
    let starts = (0..n)
        .filter(|&i| own[i] && (i == 0 || !own[i - 1]))
        .count();
    let (Some(first), Some(last)) = (own.iter().position(|o| *o), own.iter().rposition(|o| *o))
    else {
        return Neighbours::Alike;
    };
    if starts > 1 {
        return Neighbours::Returns;
    }
    let length = last + 1 - first;
    let low_before = (0..first).rev().find(|&i| !high[i]);
    let low_after = (last + 1..n).find(|&i| !high[i]);
    // At each border of the stretch: as many of its panels as the lot has,
    // against twice as many beyond. A drift has no sharp border.
    let before = low_before.map(|i| {
        (
            i + 1..i + 1 + length,
            (i + 1).saturating_sub(2 * length)..i + 1,
        )
    });
    let after = low_after.map(|i| (i - length..i, i..(i + 2 * length).min(n)));
    type Border = (std::ops::Range<usize>, std::ops::Range<usize>);
    let counts = |borders: &[&Border]| -> Vec<Count> {
        let within = borders.iter().flat_map(|b| b.0.clone()).map(|i| (i, true));
        let beyond = borders
            .iter()
            .flat_map(|b| b.1.clone())
            .filter(|&i| !high[i]);
        (within.chain(beyond.map(|i| (i, false))))
            .map(|(i, inside)| stream.count(known[i], inside, 0))
            .collect()
    };
    // A drift that ends with the lot has one neighbour to differ from.
    let side = |border: &Option<Border>| border.as_ref().and_then(|b| rank_test(&counts(&[b])));
    let differ = match (side(&before), side(&after)) {
        (Some(a), Some(b)) => a.max(b) <= NEIGHBOURS,
        (Some(one), None) | (None, Some(one)) => one <= ONE_NEIGHBOUR,
        (None, None) => false,
    };
    if !differ {
        return Neighbours::Alike;
    }
    let both: Vec<&Border> = [&before, &after].into_iter().flatten().collect();
    rate_ratio(&counts(&both)).map_or(Neighbours::Alike, |(ratio, _)| Neighbours::Differ(ratio))
}

/// Suppliers or part numbers whose lots carry more marks than other lots:
/// Welch's test on the lots' log rates.
pub(super) fn by_group(
    stream: &StreamCounts<'_>,
    column: Followed,
    alpha: f64,
    streams: usize,
) -> Vec<StandsOut> {
    let value = |p: &Panel| match column {
        Followed::Supplier => p.supplier.as_deref().map(String::from),
        _ => p.part.as_deref().map(String::from),
    };
    let (group_of, names) = coded(&stream.levels(value));
    let (lot_of, _) = coded(&stream.levels(|p| p.lot.as_deref().map(String::from)));
    let mut lots: BTreeMap<(usize, usize), (f64, f64)> = BTreeMap::new();
    for at in 0..stream.panels.len() {
        if let (Some(group), Some(lot)) = (group_of[at], lot_of[at]) {
            let cell = lots.entry((group, lot)).or_default();
            cell.0 += stream.marks[at];
            cell.1 += stream.panel(at).area_m2();
        }
    }
    let tests = names.len() * streams;
    let mut out: Vec<StandsOut> = (0..names.len())
        .filter_map(|group| {
            let rates = |inside: bool| -> Vec<f64> {
                lots.iter()
                    .filter(|((g, _), _)| (*g == group) == inside)
                    .map(|(_, (marks, area))| ((marks + 0.5) / area).ln())
                    .collect()
            };
            let test = welch(&rates(true), &rates(false))?;
            let ratio = test.difference.exp();
            let p_adjusted = (test.p_value * tests as f64).min(1.0);
            let found = p_adjusted <= alpha && ratio >= WORTH_NAMING;
            let inside: Vec<usize> = (0..stream.panels.len())
                .filter(|&at| group_of[at] == Some(group))
                .collect();
            found.then(|| StandsOut {
                column: column.clone(),
                reasons: vec![Reason::RateHigher {
                    column: column.clone(),
                    level: names[group].clone(),
                    panels: inside.len(),
                    ratio,
                    ratio_ci: (test.ci.low.exp(), test.ci.high.exp()),
                    units: Followed::Lot,
                }],
                rate: RateByLevel {
                    column: match column {
                        Followed::Supplier => "supplier".into(),
                        _ => "part".into(),
                    },
                    level: names[group].clone(),
                    panels: inside.len(),
                    defects: inside.iter().map(|&at| stream.marks[at]).sum::<f64>() as usize,
                    ratio,
                    ratio_ci: Interval {
                        low: test.ci.low.exp(),
                        high: test.ci.high.exp(),
                        level: test.ci.level,
                    },
                    p_adjusted,
                },
                inside,
                moved_with_recipe: false,
            })
        })
        .collect();
    out.sort_by(|a, b| a.rate.p_adjusted.total_cmp(&b.rate.p_adjusted));
    out
}

struct Welch {
    difference: f64,
    ci: Interval,
    /// One-sided: the first group is higher.
    p_value: f64,
}

/// Welch's test (1947, Biometrika 34, 28–35) of two means.
fn welch(a: &[f64], b: &[f64]) -> Option<Welch> {
    if a.len() < LEAST_LOTS || b.len() < LEAST_LOTS {
        return None;
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let variance_of_mean = |v: &[f64]| {
        let m = mean(v);
        let n = v.len() as f64;
        v.iter().map(|x| (x - m).powi(2)).sum::<f64>() / ((n - 1.0) * n)
    };
    let (va, vb) = (variance_of_mean(a), variance_of_mean(b));
    let error = (va + vb).sqrt();
    if error <= 0.0 {
        return None;
    }
    let dof = (va + vb).powi(2) / (va * va / (a.len() - 1) as f64 + vb * vb / (b.len() - 1) as f64);
    let difference = mean(a) - mean(b);
    let half = student_t::two_sided_quantile(0.95, dof) * error;
    Some(Welch {
        difference,
        ci: Interval {
            low: difference - half,
            high: difference + half,
            level: 0.95,
        },
        p_value: student_t::tails(difference / error, dof).upper(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// 120 panels in 12 lots of ten; lots of supplier S2 are the last four.
    fn records(lots_return: bool) -> Records {
        let panels = (0..120)
            .map(|i| {
                let lot = if lots_return { i % 12 } else { i / 10 };
                Panel {
                    id: format!("{i}"),
                    length_mm: 1000.0,
                    width_mm: 1000.0,
                    lot: Some(format!("L{lot}").into()),
                    supplier: Some(if lot >= 8 { "S2" } else { "S1" }.into()),
                    inspected: true,
                    ..Panel::default()
                }
            })
            .collect();
        Records {
            panels,
            ..Records::default()
        }
    }

    fn poisson(mean: f64, rng: &mut ChaCha8Rng) -> f64 {
        let (mut k, mut product) = (0.0, rng.random::<f64>());
        while product > (-mean).exp() {
            product *= rng.random::<f64>();
            k += 1.0;
        }
        k
    }

    #[test]
    fn a_lot_with_four_times_the_rate_is_named() {
        for lots_return in [true, false] {
            let records = records(lots_return);
            let panels: Vec<usize> = (0..120).collect();
            let mut rng = ChaCha8Rng::seed_from_u64(5);
            let marks: Vec<f64> = panels
                .iter()
                .map(|&i| {
                    let bad = records.panels[i].lot.as_deref() == Some("L3");
                    poisson(if bad { 8.0 } else { 2.0 }, &mut rng)
                })
                .collect();
            let stream = StreamCounts {
                records: &records,
                panels: &panels,
                marks: &marks,
            };
            let found = by_lot(&stream, 0.01, 3);
            assert_eq!(found.len(), 1);
            assert_eq!(found[0].rate.level, "L3");
            assert!((2.5..6.0).contains(&found[0].rate.ratio), "{found:?}");
        }
    }

    #[test]
    fn a_slow_drift_names_no_lot() {
        let records = records(false);
        let panels: Vec<usize> = (0..120).collect();
        let mut rng = ChaCha8Rng::seed_from_u64(6);
        let mut named = 0;
        for _ in 0..40 {
            let marks: Vec<f64> = (0..120)
                .map(|i| poisson(1.0 + 4.0 * f64::from(i) / 120.0, &mut rng))
                .collect();
            let stream = StreamCounts {
                records: &records,
                panels: &panels,
                marks: &marks,
            };
            named += usize::from(!by_lot(&stream, 0.01, 1).is_empty());
        }
        assert!(named <= 4, "{named}");
    }

    #[test]
    fn suppliers_are_compared_lot_by_lot() {
        let records = records(true);
        let panels: Vec<usize> = (0..120).collect();
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let mut named = [0, 0];
        for (case, count) in named.iter_mut().enumerate() {
            for _ in 0..40 {
                // Lots differ by themselves; in the second case S2 is five times worse.
                let lots: Vec<f64> = (0..12)
                    .map(|l| {
                        let own = 2.0 * (0.5 * (rng.random::<f64>() - 0.5)).exp();
                        own * if case == 1 && l >= 8 { 5.0 } else { 1.0 }
                    })
                    .collect();
                let marks: Vec<f64> = (0..120).map(|i| poisson(lots[i % 12], &mut rng)).collect();
                let stream = StreamCounts {
                    records: &records,
                    panels: &panels,
                    marks: &marks,
                };
                let found = by_group(&stream, Followed::Supplier, 0.01, 1);
                *count += usize::from(found.first().is_some_and(|f| f.rate.level == "S2"));
            }
        }
        // P(Bin(40, 0.01) > 3) < 0.001.
        assert!(named[0] <= 3 && named[1] >= 38, "{named:?}");
    }

    #[test]
    fn welch_agrees_with_a_case_by_hand() {
        // Means 2 and 5, variances 1/3 and 4/3 of the means: t = -3/√(5/3).
        let test = welch(&[1.0, 2.0, 3.0], &[3.0, 5.0, 7.0]).unwrap();
        let dof = (5.0_f64 / 3.0).powi(2) / ((1.0_f64 / 9.0) / 2.0 + (16.0 / 9.0) / 2.0);
        let t = -3.0 / (5.0_f64 / 3.0).sqrt();
        assert_relative_eq!(
            test.p_value,
            student_t::tails(t, dof).upper(),
            max_relative = 1e-12
        );
    }
}
