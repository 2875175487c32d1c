//! What went on before the change: a bad spell that may have triggered it, a
//! trend already under way. Changes are made when things look bad, and after a
//! bad spell things look better by themselves.

use std::collections::{BTreeMap, BTreeSet};

use super::Side;
use super::items::Item;
use super::model::{self, Family, Moved, Usual};

/// Shortest spell looked for, panels.
const SHORTEST: usize = 5;

/// Chance that a steady shop loses an ordinary stretch, shared by the lengths
/// looked at.
const CHANCE: f64 = 0.05;

/// p-value up to which the rate counts as already moving: steady shops' rates do
/// in less than one of twenty, days that resemble each other allowed for.
const MOVING: f64 = 0.02;

/// Days of a steady shop differ little; with how far they usually differ a spell
/// of a day would be called a day.
const STEADY: Usual = Usual {
    lot: 1.0,
    day: 0.15,
    lot_change: 0.05,
    spread: 0.4,
};

/// The panels right before the change that ran worse than those before them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Spell {
    /// Positions of its panels among the items, in time order; not empty.
    pub members: Vec<usize>,
    /// Its rate over the rate before it.
    pub ratio: f64,
}

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

/// Positions of the before-items of every stream that changed once, in time
/// order. Streams where the sides alternate have no panels "before the change",
/// and panels without a time no order.
fn before_single_change(items: &[Item]) -> Vec<Vec<usize>> {
    let mut streams: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    let mut changed: BTreeSet<usize> = BTreeSet::new();
    let mut unfit: BTreeSet<usize> = BTreeSet::new();
    for (k, item) in items.iter().enumerate() {
        match item.side {
            _ if item.day.is_none() => {
                unfit.insert(item.stream);
            }
            Side::After => {
                changed.insert(item.stream);
            }
            Side::Before if changed.contains(&item.stream) => {
                unfit.insert(item.stream);
            }
            Side::Before => streams.entry(item.stream).or_default().push(k),
        }
    }
    streams
        .into_iter()
        .filter(|(stream, _)| changed.contains(stream) && !unfit.contains(stream))
        .map(|(_, positions)| positions)
        .collect()
}

/// Looks for a bad spell at the end of the before side; `items` in time order.
///
/// Stretches of 5, 7, 10, 14, … panels, up to half of the before side and
/// shared out over the streams by their panels, are compared with the panels
/// before them (the trap: Barnett, van der Pols & Dobson 2005, Int. J. Epidemiol.
/// 34, 215–220).
pub(super) fn spell(items: &[Item], patterns: &[Vec<usize>]) -> Option<Spell> {
    let streams = before_single_change(items);
    let all: usize = streams.iter().map(Vec::len).sum();
    let lengths: Vec<f64> = std::iter::successors(Some(SHORTEST as f64), |l| {
        Some(l * std::f64::consts::SQRT_2)
    })
    .take_while(|l| *l as usize <= all / 2)
    .collect();
    let mut best: Option<(f64, Spell)> = None;
    for length in &lengths {
        let mut late = BTreeSet::new();
        for positions in &streams {
            let own = (length * positions.len() as f64 / all as f64).round() as usize;
            late.extend(&positions[positions.len() - own.min(positions.len())..]);
        }
        let both = || streams.iter().flatten().copied();
        if !worse(items, both(), &late) {
            continue;
        }
        let Some((ratio, p)) = late_against_early(items, patterns, both(), &late) else {
            continue;
        };
        let p = p / 2.0;
        let bar = CHANCE / lengths.len() as f64;
        if ratio > 1.0 && p <= bar && best.as_ref().is_none_or(|(q, _)| p < *q) {
            let members = late.into_iter().collect();
            best = Some((p, Spell { members, ratio }));
        }
    }
    best.map(|(_, spell)| spell)
}

/// Whether the late panels have more marks for their area than the early ones by
/// twice the scatter of single marks: else no fit can show a spell.
fn worse(items: &[Item], both: impl Iterator<Item = usize>, late: &BTreeSet<usize>) -> bool {
    let (mut marks, mut area) = ([0.0; 2], [0.0; 2]);
    for k in both {
        let side = usize::from(late.contains(&k));
        marks[side] += items[k].value;
        area[side] += items[k].exposure;
    }
    let all = area[0] + area[1];
    let expected = (marks[0] + marks[1]) * area[1] / all;
    marks[1] - expected > 2.0 * (expected * area[0] / all).sqrt()
}

/// Compares the last third of the panels before the change with the first
/// third; none where the sides alternate, too little is there, or it did not
/// move.
pub(super) fn trend(items: &[Item], patterns: &[Vec<usize>]) -> Option<Trend> {
    let streams = before_single_change(items);
    let mut thirds = Vec::new();
    let mut late = BTreeSet::new();
    for positions in &streams {
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
    let before: usize = streams.iter().map(Vec::len).sum();
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
    let fit = model::fit(&split, patterns, Family::Counts, STEADY, Moved::Change)?;
    Some((fit.law.mean().exp(), fit.law.two_sided_p(0.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_of_the_ratio_explains_it() {
        let carried = |carried_on| Trend {
            ratio: carried_on,
            p: 0.01,
            carried_on,
        };
        // On the log scale 0.84 is just above a quarter of the way to a half, 0.85 below.
        assert!(carried(0.84).explains(0.5) && !carried(0.85).explains(0.5));
        assert!(!carried(1.2).explains(0.5), "the other way");
        assert!(!carried(0.5).explains(0.0), "no mark after");
    }

    /// Ninety panels before and thirty after, on ten days a third; the first third has
    /// six marks a panel and the last third two.
    fn before(thirds: [f64; 3]) -> Vec<Item> {
        (0..120)
            .map(|k| Item {
                alike: None,
                stream: 0,
                pattern: 0,
                lot: None,
                day: Some(k / 3),
                side: if k < 90 { Side::Before } else { Side::After },
                value: thirds[(k / 30).min(2)] + [1.0, -1.0][k % 2],
                exposure: 1.0,
            })
            .collect()
    }

    #[test]
    fn a_rate_that_was_falling_before_the_change_is_a_trend() {
        let found = trend(&before([6.0, 4.0, 2.0]), &[Vec::new()]).unwrap();
        assert!((found.ratio - 1.0 / 3.0).abs() < 0.02, "{found:?}");
        // Centres of the outer thirds lie 60 panels apart, those of the sides 60.
        assert!((found.carried_on - found.ratio).abs() < 1e-12, "{found:?}");
        assert_eq!(trend(&before([4.0; 3]), &[Vec::new()]), None);
    }
}
