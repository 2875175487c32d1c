//! A bad spell right before the change: changes are made when things look bad,
//! and after a bad spell things look better by themselves.

use std::collections::BTreeMap;

use super::Side;
use super::items::Item;
use super::ratio::{Kind, stratified};

/// Shortest spell looked for, panels.
const SHORTEST: usize = 5;

/// One-sided p-value up to which a spell counts as one. Liberal on purpose:
/// leaving out an ordinary stretch costs a little precision, keeping the spell
/// that triggered the change makes any change look good.
const CHANCE: f64 = 0.10;

/// The panels right before the change that ran worse than those before them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Spell {
    /// Positions of its panels among the items, in time order; not empty.
    pub members: Vec<usize>,
    /// Its rate over the rate before it, inside strata.
    pub ratio: f64,
}

/// Positions of the before-items of every stream that changed once, in time
/// order; streams where the sides alternate have no panels "before the change".
pub(super) fn before_single_change(items: &[Item]) -> Vec<Vec<usize>> {
    let mut streams: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    let mut changed: BTreeMap<usize, bool> = BTreeMap::new();
    let mut alternating = std::collections::BTreeSet::new();
    for (k, item) in items.iter().enumerate() {
        let after_seen = changed.entry(item.stream).or_default();
        match item.side {
            Side::After => *after_seen = true,
            Side::Before if *after_seen => {
                alternating.insert(item.stream);
            }
            Side::Before => streams.entry(item.stream).or_default().push(k),
        }
    }
    streams
        .into_iter()
        .filter(|(stream, _)| !alternating.contains(stream) && changed.get(stream) == Some(&true))
        .map(|(_, positions)| positions)
        .collect()
}

/// Looks for a bad spell at the end of the before side; `items` in time order.
///
/// Stretches of 5, 7, 10, 14, … panels, up to half of the before side and
/// shared out over the streams by their panels, are compared with the panels
/// before them; the one with the smallest p-value counts if that is at most
/// 0.10 (the trap: Barnett, van der Pols & Dobson 2005, Int. J. Epidemiol. 34,
/// 215–220).
pub(super) fn before_change(items: &[Item], level: f64) -> Option<Spell> {
    let streams = before_single_change(items);
    let all: usize = streams.iter().map(Vec::len).sum();
    let mut best: Option<(f64, Spell)> = None;
    let mut length = SHORTEST as f64;
    while length as usize <= all / 2 {
        let mut late = Vec::new();
        for positions in &streams {
            let own = (length * positions.len() as f64 / all as f64).round() as usize;
            late.extend_from_slice(&positions[positions.len() - own.min(positions.len())..]);
        }
        late.sort_unstable();
        if let Some((ratio, p)) = late_against_early(items, &streams, &late, level) {
            let p = p / 2.0;
            if ratio > 1.0 && p <= CHANCE && best.as_ref().is_none_or(|(q, _)| p < *q) {
                best = Some((
                    p,
                    Spell {
                        members: late,
                        ratio,
                    },
                ));
            }
        }
        length *= std::f64::consts::SQRT_2;
    }
    best.map(|(_, spell)| spell)
}

/// Ratio and two-sided p-value of the `late` positions (sorted) against the
/// other positions of the streams. That days differ is not allowed for: a rate
/// that drifts from day to day is what is looked for.
pub(super) fn late_against_early(
    items: &[Item],
    streams: &[Vec<usize>],
    late: &[usize],
    level: f64,
) -> Option<(f64, f64)> {
    if late.is_empty() {
        return None;
    }
    let mut positions: Vec<usize> = streams.iter().flatten().copied().collect();
    positions.sort_unstable();
    let split: Vec<Item> = positions
        .iter()
        .map(|&k| Item {
            side: if late.binary_search(&k).is_ok() {
                Side::After
            } else {
                Side::Before
            },
            ..items[k]
        })
        .collect();
    let fit = stratified(&split, Kind::Counts, level)?;
    Some((fit.estimate()?, fit.p_of_drift()))
}
