//! What went on before the change: a bad spell that may have triggered it, a
//! trend already under way. Changes are made when things look bad, and after a
//! bad spell things look better by themselves.

use std::collections::{BTreeMap, BTreeSet};

use super::Side;
use super::items::Item;
use super::model::{self, Family, Usual};

/// Shortest stretch looked at, panels.
const SHORTEST: f64 = 5.0;

/// How many times longer the next stretch is.
const LONGER: f64 = std::f64::consts::SQRT_2;

/// p-value up to which the rate counts as already moving: steady shops' rates do
/// in less than one of twenty, days that resemble each other allowed for.
const MOVING: f64 = 0.02;

/// Days of a steady shop differ little; with how far they usually differ a spell
/// of a day would be called a day.
const STEADY: Usual = Usual {
    lot: 1.0,
    day: 0.15,
    alike: 0.4,
    lot_change: 0.05,
    spread: 0.4,
    trend: 0.01,
};

/// How the rate moved before the change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Trend {
    /// Last third over first third of the before panels.
    pub ratio: f64,
    /// Two-sided p-value of no movement.
    pub p: f64,
    /// What the change's ratio would be if it had only gone on like that.
    pub carried_on: f64,
}

/// Positions of the items before and after of every stream that changed once, in time
/// order. Streams where the sides alternate have no panels "before the change", and
/// panels without a time no order.
fn single_changes(items: &[Item]) -> Vec<[Vec<usize>; 2]> {
    let mut streams: BTreeMap<usize, [Vec<usize>; 2]> = BTreeMap::new();
    let mut unfit: BTreeSet<usize> = BTreeSet::new();
    for (k, item) in items.iter().enumerate() {
        let [before, after] = streams.entry(item.stream).or_default();
        match item.side {
            _ if item.day.is_none() => {
                unfit.insert(item.stream);
            }
            Side::After => after.push(k),
            Side::Before if !after.is_empty() => {
                unfit.insert(item.stream);
            }
            Side::Before => before.push(k),
        }
    }
    let changed = |sides: &[Vec<usize>; 2]| sides.iter().all(|s| !s.is_empty());
    streams
        .into_iter()
        .filter(|(stream, sides)| changed(sides) && !unfit.contains(stream))
        .map(|(_, sides)| sides)
        .collect()
}

/// Marks the stretches next to a single change: the last 5, 7, 10, 14, … panels before
/// and the first after, up to half of the side and shared out over the streams by
/// their panels; `items` in time order. Changes are made when things look bad, and
/// then things look better by themselves (Barnett, van der Pols & Dobson 2005, Int. J.
/// Epidemiol. 34, 215–220); and what moved some days off is not the change's doing.
pub(super) fn mark_stretches(items: &mut [Item]) {
    let streams = single_changes(items);
    for (side, sign) in [(0, 1), (1, -1)] {
        let all: usize = streams.iter().map(|s| s[side].len()).sum();
        let lengths = std::iter::successors(Some(SHORTEST), |l| Some(l * LONGER))
            .take_while(|l| 2.0 * l <= all as f64);
        for (number, length) in (1..).zip(lengths) {
            for sides in &streams {
                let mut positions = sides[side].clone();
                if side == 0 {
                    positions.reverse();
                }
                let own = (length * positions.len() as f64 / all as f64).round() as usize;
                for at in positions.into_iter().take(own) {
                    if items[at].stretch == 0 {
                        items[at].stretch = sign * number;
                    }
                }
            }
        }
    }
}

/// Compares the last third of the panels before the change with the first
/// third; none where the sides alternate, too little is there, or it did not
/// move.
pub(super) fn trend(items: &[Item], patterns: &[Vec<usize>]) -> Option<Trend> {
    let streams = single_changes(items);
    let mut thirds = Vec::new();
    let mut late = BTreeSet::new();
    for [positions, _] in &streams {
        let third = positions.len() / 3;
        let last = &positions[positions.len() - third..];
        late.extend(last);
        thirds.extend_from_slice(&positions[..third]);
        thirds.extend_from_slice(last);
    }
    let (ratio, p) = late_against_early(items, patterns, thirds.into_iter(), &late)?;
    if p > MOVING || ratio <= 0.0 {
        return None;
    }
    let before: usize = streams.iter().map(|[b, _]| b.len()).sum();
    let after = items.iter().filter(|i| i.side == Side::After).count();
    // centres of the outer thirds are 2/3 of the before side apart, centres of
    // the two sides half of everything
    let stretch = 0.75 * (before + after) as f64 / before as f64;
    Some(Trend {
        ratio,
        p,
        carried_on: ratio.powf(stretch),
    })
}

impl Trend {
    /// Whether a quarter or more of the seen ratio (in logarithms) would have
    /// come without the change.
    pub(super) fn explains(&self, ratio: f64) -> bool {
        ratio > 0.0 && self.carried_on.ln() / ratio.ln() >= 0.25
    }
}

/// Ratio and two-sided p-value of the `late` positions against the others.
fn late_against_early(
    items: &[Item],
    patterns: &[Vec<usize>],
    both: impl Iterator<Item = usize>,
    late: &BTreeSet<usize>,
) -> Option<(f64, f64)> {
    let split: Vec<Item> = both
        .map(|k| Item {
            side: if late.contains(&k) {
                Side::After
            } else {
                Side::Before
            },
            ..items[k]
        })
        .collect();
    let fit = model::fit(&split, patterns, Family::Counts, STEADY)?;
    Some((fit.law.mean().exp(), fit.law.two_sided_p(0.0)))
}
