//! Lots whose rate of a kind of defect stands out: no place needed.
//!
//! Panel against panel, within a machine and a recipe setting. A lot is no
//! matter of the machine that sanded it, so a kind of defect is asked about on
//! every machine alone and on all together.

use std::collections::{BTreeMap, BTreeSet};

use super::RateByLevel;
use super::ranks::{Count, rank_scores, rank_test, rate_ratio};
use super::rates::{StandsOut, StreamCounts, WORTH_NAMING};
use super::reason::{Reason, Rival};
use super::repeat::coded;
use crate::records::Panel;

/// The neighbours in time of a lot that ran in one stretch must differ at this
/// level: else a slow drift of anything explains the lot.
const NEIGHBOURS: f64 = 0.03;

/// The same for the first or last lot, which has neighbours on one side only.
const ONE_NEIGHBOUR: f64 = 0.002;

/// Among panels with abrasive of about the same age the lot must still differ
/// at this level.
const SAME_AGE: f64 = 0.05;

/// Classes of about as many panels by the abrasive's age.
const AGE_CLASSES: usize = 10;

/// Panels that a lot, and what it is compared with, need.
const LEAST_PANELS: usize = 5;

/// Most lots named in one stream: with more of them it is no longer one lot
/// against the others.
const MOST_NAMED: usize = 20;

/// A number that takes more values than this is compared by thirds.
const MOST_VALUES: usize = 8;

/// A lot found on all machines together is told of a machine only where its own
/// panels lean the same way.
const OWN_RATIO: f64 = 1.1;

/// Lots that stand out in every stream. `kinds`: for every kind of defect the
/// streams of it, positions in `streams`.
pub(super) fn lots_of_streams(
    streams: &[StreamCounts<'_>],
    kinds: &BTreeMap<usize, Vec<usize>>,
    alpha: f64,
) -> Vec<Vec<StandsOut>> {
    let mut out: Vec<Vec<StandsOut>> = vec![Vec::new(); streams.len()];
    for members in kinds.values() {
        if let [one] = members.as_slice() {
            out[*one] = by_lot(&streams[*one], alpha, streams.len());
            continue;
        }
        // Both ways are asked, so both pay twice.
        for &m in members {
            out[m] = by_lot(&streams[m], alpha, 2 * streams.len());
        }
        let own: Vec<&StreamCounts<'_>> = members.iter().map(|&m| &streams[m]).collect();
        let (panels, marks) = pooled(&own);
        let pool = StreamCounts {
            records: own[0].records,
            panels: &panels,
            marks: &marks,
        };
        let found = by_lot(&pool, alpha, 2 * kinds.len());
        let named: BTreeSet<&str> = found.iter().map(|f| f.rate.level.as_str()).collect();
        for &m in members {
            for lot in &found {
                add(&streams[m], &mut out[m], lot, &named, members.len());
            }
            out[m].sort_by(|a, b| a.rate.p_adjusted.total_cmp(&b.rate.p_adjusted));
        }
    }
    out
}

/// Panels of several streams in time order, with their marks.
fn pooled(streams: &[&StreamCounts<'_>]) -> (Vec<usize>, Vec<f64>) {
    let mut rows: Vec<(usize, f64)> = streams
        .iter()
        .flat_map(|s| s.panels.iter().copied().zip(s.marks.iter().copied()))
        .collect();
    rows.sort_by_key(|r| r.0);
    rows.into_iter().unzip()
}

/// Adds a lot found on all machines together to what one stream has, or
/// strengthens it there.
fn add(
    stream: &StreamCounts<'_>,
    own: &mut Vec<StandsOut>,
    lot: &StandsOut,
    named: &BTreeSet<&str>,
    machines: usize,
) {
    if let Some(known) = own.iter_mut().find(|f| f.rate.level == lot.rate.level) {
        known.rate.p_adjusted = known.rate.p_adjusted.min(lot.rate.p_adjusted);
        return;
    }
    let (mut inside, mut sums) = (Vec::new(), [(0.5, 0.0), (0.5, 0.0)]);
    for at in 0..stream.panels.len() {
        let Some(of) = stream.panel(at).lot.as_deref() else {
            continue;
        };
        let within = of == lot.rate.level;
        if within {
            inside.push(at);
        } else if named.contains(of) {
            continue;
        }
        let sum = &mut sums[usize::from(within)];
        sum.0 += stream.marks[at];
        sum.1 += stream.panel(at).area_m2();
    }
    let rate = |(marks, area): (f64, f64)| (area > 0.0).then(|| marks / area);
    let leans = rate(sums[1])
        .zip(rate(sums[0]))
        .is_some_and(|(a, b)| a > OWN_RATIO * b);
    if leans {
        let mut found = lot.clone();
        found.inside = inside;
        for reason in &mut found.reasons {
            if let Reason::RateHigher { machines: over, .. } = reason {
                *over = machines;
            }
        }
        own.push(found);
    }
}

/// Groups of panels that are compared with each other.
struct Strata {
    /// One machine, head and recipe setting.
    settings: Vec<usize>,
    /// One machine and head.
    cells: Vec<usize>,
    /// One machine, head and class of the abrasive's age; none where an age is
    /// not recorded.
    ages: Option<Vec<usize>>,
}

impl Strata {
    fn of(stream: &StreamCounts<'_>) -> Self {
        type Number = fn(&Panel) -> Option<f64>;
        let numbers: [Number; 3] = [|p| p.feed_mm_s, |p| p.passes, |p| p.force_n];
        let coarse = numbers.map(|of| coarse(stream, of));
        let setting = |at: usize| match &stream.panel(at).recipe {
            Some(recipe) => recipe.to_string(),
            None => format!("{:?}", [0, 1, 2].map(|k: usize| coarse[k][at])),
        };
        let cell = |at: usize| format!("{:?}", (&stream.panel(at).machine, &stream.panel(at).head));
        let n = stream.panels.len();
        let codes = |name: &dyn Fn(usize) -> String| -> Vec<usize> {
            let names: Vec<Option<String>> = (0..n).map(|at| Some(name(at))).collect();
            coded(&names).0.into_iter().flatten().collect()
        };
        let ages = shares(stream, |p| p.abrasive_age, AGE_CLASSES);
        let aged = ages.iter().all(Option::is_some);
        Self {
            settings: codes(&|at| format!("{} {}", cell(at), setting(at))),
            cells: codes(&cell),
            ages: aged.then(|| codes(&|at| format!("{} {:?}", cell(at), ages[at]))),
        }
    }
}

/// A number's values, by thirds where there are many.
fn coarse(stream: &StreamCounts<'_>, of: fn(&Panel) -> Option<f64>) -> Vec<Option<u64>> {
    let values: Vec<Option<u64>> = (0..stream.panels.len())
        .map(|at| of(stream.panel(at)).map(f64::to_bits))
        .collect();
    let different: BTreeSet<u64> = values.iter().flatten().copied().collect();
    if different.len() <= MOST_VALUES {
        values
    } else {
        shares(stream, of, 3)
    }
}

/// The `parts`-th of all panels to which each belongs by a number.
fn shares(
    stream: &StreamCounts<'_>,
    of: fn(&Panel) -> Option<f64>,
    parts: usize,
) -> Vec<Option<u64>> {
    let value = |at: usize| of(stream.panel(at));
    let mut sorted: Vec<f64> = (0..stream.panels.len()).filter_map(value).collect();
    sorted.sort_by(f64::total_cmp);
    let bounds: Vec<f64> = (1..parts)
        .filter_map(|k| sorted.get(k * sorted.len() / parts).copied())
        .collect();
    let part = |v: f64| bounds.partition_point(|b| *b <= v) as u64;
    (0..stream.panels.len())
        .map(|at| value(at).map(part))
        .collect()
}

/// Lots whose rate stands out, strongest first. `looks`: by how many looks of
/// the report p is multiplied, beside its lots.
fn by_lot(stream: &StreamCounts<'_>, alpha: f64, looks: usize) -> Vec<StandsOut> {
    let (lot_of, names) = coded(&stream.levels(|p| p.lot.as_deref().map(String::from)));
    let known: Vec<usize> = (0..stream.panels.len())
        .filter(|&at| lot_of[at].is_some())
        .collect();
    if names.len() < 2 || 2 * known.len() < stream.panels.len() {
        return Vec::new();
    }
    let strata = Strata::of(stream);
    let mut members = vec![0_usize; names.len()];
    for lot in known.iter().filter_map(|&at| lot_of[at]) {
        members[lot] += 1;
    }
    // The most improbable first; each lot named is left out of the rest for the
    // next.
    let mut rest: Vec<bool> = vec![true; names.len()];
    let mut out: Vec<(usize, StandsOut)> = Vec::new();
    while out.len() < MOST_NAMED {
        let compared: Vec<usize> = (known.iter().copied())
            .filter(|&at| lot_of[at].is_some_and(|l| rest[l]))
            .collect();
        let enough = |lot: usize| {
            members[lot] >= LEAST_PANELS && compared.len() >= members[lot] + LEAST_PANELS
        };
        let Some(lot) = most_improbable(stream, &compared, &lot_of, &strata, enough) else {
            break;
        };
        let about = Lot {
            name: &names[lot],
            number: lot,
            lot_of: &lot_of,
            tests: names.len() * looks,
        };
        match judge_lot(stream, &about, &strata, &compared) {
            Some(found) if found.rate.p_adjusted <= alpha => out.push((lot, found)),
            _ => break,
        }
        rest[lot] = false;
    }
    let high: Vec<bool> = known
        .iter()
        .map(|&at| lot_of[at].is_some_and(|l| !rest[l]))
        .collect();
    out.retain_mut(|(lot, found)| {
        let own: Vec<bool> = known.iter().map(|&at| lot_of[at] == Some(*lot)).collect();
        match neighbours(stream, &strata.cells, &known, &own, &high) {
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

/// The lot whose panels rank highest against all others compared.
fn most_improbable(
    stream: &StreamCounts<'_>,
    compared: &[usize],
    lot_of: &[Option<usize>],
    strata: &Strata,
    enough: impl Fn(usize) -> bool,
) -> Option<usize> {
    let lots: Vec<usize> = compared.iter().filter_map(|&at| lot_of[at]).collect();
    let count = lots.iter().max()? + 1;
    let scores = |stratum: &[usize]| {
        let counts: Vec<Count> = (compared.iter())
            .map(|&at| stream.count(at, false, stratum[at]))
            .collect();
        rank_scores(&counts, &lots, count)
    };
    let (within, over) = (scores(&strata.settings), scores(&strata.cells));
    (0..count)
        .filter(|&lot| enough(lot))
        .filter_map(|lot| within[lot].or(over[lot]).map(|score| (score, lot)))
        .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))
        .map(|best| best.1)
}

/// A lot about to be judged.
struct Lot<'a> {
    name: &'a str,
    number: usize,
    lot_of: &'a [Option<usize>],
    tests: usize,
}

fn judge_lot(
    stream: &StreamCounts<'_>,
    lot: &Lot<'_>,
    strata: &Strata,
    compared: &[usize],
) -> Option<StandsOut> {
    let inside = |at: usize| lot.lot_of[at] == Some(lot.number);
    let counts = |stratum: &[usize]| -> Vec<Count> {
        (compared.iter())
            .map(|&at| stream.count(at, inside(at), stratum[at]))
            .collect()
    };
    let within_settings = rank_test(&counts(&strata.settings));
    let mut moved_with = Vec::new();
    if within_settings.is_none() {
        moved_with.push(Rival::Recipe);
    }
    let same_age = strata.ages.as_ref().map(|ages| rank_test(&counts(ages)));
    if same_age.is_some_and(|p| p.is_none_or(|p| p > SAME_AGE)) {
        moved_with.push(Rival::AbrasiveAge);
    }
    let all = counts(&strata.cells);
    let p = within_settings.or_else(|| rank_test(&all))?;
    let (ratio, ratio_ci) = rate_ratio(&all)?;
    if ratio < WORTH_NAMING || ratio_ci.low <= 1.0 {
        return None;
    }
    let own: Vec<usize> = compared.iter().copied().filter(|&at| inside(at)).collect();
    let mut reasons = vec![Reason::RateHigher {
        column: Rival::Lot,
        level: lot.name.to_owned(),
        panels: own.len(),
        ratio,
        ratio_ci: (ratio_ci.low, ratio_ci.high),
        units: Rival::Part,
        machines: 1,
    }];
    let moved_with_others = !moved_with.is_empty();
    if moved_with_others {
        reasons.push(Reason::MovedWith {
            columns: moved_with,
        });
    }
    Some(StandsOut {
        column: Rival::Lot,
        rate: RateByLevel {
            column: "lot".into(),
            level: lot.name.to_owned(),
            panels: own.len(),
            defects: own.iter().map(|&at| stream.marks[at]).sum::<f64>() as usize,
            ratio,
            ratio_ci,
            p_adjusted: (p * lot.tests as f64).min(1.0),
        },
        inside: own,
        reasons,
        moved_with_others,
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
    cells: &[usize],
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
            .map(|(i, inside)| stream.count(known[i], inside, cells[known[i]]))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made_counts::{poisson, records_of_twelve_lots as records};
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;

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
}
