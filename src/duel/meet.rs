//! Whether two contenders met, and who stands.

use super::contender::{Contender, Given, Suspect};
use super::follow::{Follows, follows};
use super::{Response, in_order};

/// A rival is met inside its strata where they leave so much of the differences.
const LEAST_LEFT: f64 = 0.1;

/// Units at least that a comparison needs, and on either side of the middle.
const LEAST_UNITS: usize = 4;
const LEAST_ON_A_SIDE: usize = 2;

/// Whole groups of a rival at least on either side.
const LEAST_GROUPS: usize = 3;

/// A level with fewer exchanges of its units than this is judged by its panels
/// against their neighbours in time.
const LEAST_EXCHANGES: f64 = 2000.0;

/// A level needs so many panels to stand accused.
const LEAST_PANELS: usize = 3;

/// Both borders of a stretch must show it at this level.
const EACH_BORDER: f64 = 0.05;

/// Where a suspect met a rival.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Meeting {
    /// Among panels alike in the rival.
    Inside(Follows),
    /// The rival's levels lie each inside one of the suspect's: they were units.
    Nested(Follows),
    /// Nowhere: what one was given goes with the other.
    Never,
}

/// A contender that a response follows.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Shown {
    /// The level that stands out; none for numbers.
    pub level: Option<usize>,
    /// As it stands accused.
    pub suspect: Suspect,
    /// Adjusted for the levels that were asked.
    pub p_value: f64,
    /// Levels that were asked.
    pub asked: usize,
    /// The comparison.
    pub follows: Follows,
    /// Judged by its panels against their neighbours: whether on both sides.
    pub borders: Option<bool>,
    /// Whether it has units enough to have shown itself.
    pub could_show: bool,
}

/// The level of a contender (or its numbers) that all responses follow most
/// clearly, among panels alike in `strata`.
pub(crate) fn shown(
    responses: &[Response],
    contender: &Contender,
    strata: Option<&[usize]>,
) -> Option<Shown> {
    let mut asked = 0;
    let mut best: Option<Shown> = None;
    for level in 0..contender.accusable() {
        let whole = contender.accuse(level);
        let level = matches!(contender.given, Given::Levels(..)).then_some(level);
        if level.is_some() && whole.inside().len() < LEAST_PANELS {
            continue;
        }
        let few = contender.by_neighbours && exchanges(&whole) < LEAST_EXCHANGES;
        let alone = match level {
            Some(_) => Some(whole.clone()),
            None => contender.as_two_levels(),
        };
        let (suspect, sides) = match alone.filter(|_| few) {
            Some(alone) => {
                let (both, sides) = alone.against_neighbours();
                (both, Some(sides))
            }
            None => (whole, None),
        };
        let Some(found) = follows(responses, &suspect, strata) else {
            continue;
        };
        asked += 1;
        if best.as_ref().is_none_or(|b| found.p_value < b.p_value) {
            let at_border = |s: &Suspect| {
                follows(responses, s, strata).is_some_and(|f| f.p_value <= EACH_BORDER)
            };
            best = Some(Shown {
                level,
                p_value: found.p_value,
                asked: 0,
                follows: found,
                could_show: sides.is_some() || exchanges(&suspect) >= LEAST_EXCHANGES,
                borders: sides.map(|[a, b]| at_border(&a) && at_border(&b)),
                suspect,
            });
        }
    }
    let mut best = best?;
    best.asked = asked;
    best.p_value = (best.p_value * asked as f64).min(1.0);
    Some(best)
}

/// In how many ways the units could have been dealt out: those of a level, or
/// those that were given more than the middle.
fn exchanges(suspect: &Suspect) -> f64 {
    let known = || suspect.given.iter().flatten().copied();
    let low = known().fold(f64::INFINITY, f64::min);
    let high = known().fold(f64::NEG_INFINITY, f64::max);
    let middle = f64::midpoint(low, high);
    let mut units: Vec<(usize, bool)> = (0..suspect.given.len())
        .filter_map(|at| Some((suspect.units[at], suspect.given[at]? > middle)))
        .collect();
    units.sort_unstable();
    units.dedup();
    let n = units.len();
    let k = units.iter().filter(|u| u.1).count().min(n);
    (0..k).map(|i| (n - i) as f64 / (k - i) as f64).product()
}

/// How a suspect meets a rival whose classes are given.
pub(crate) fn meet(responses: &[Response], suspect: &Suspect, classes: &[usize]) -> Meeting {
    let inside = follows(responses, suspect, Some(classes));
    if let Some(found) = inside
        && found.left >= LEAST_LEFT
        && found.units >= LEAST_UNITS
        && sides(suspect, Some(classes)) >= LEAST_ON_A_SIDE
    {
        return Meeting::Inside(found);
    }
    // The rival's levels each inside one of the suspect's: they are the units.
    let whole = Suspect {
        units: joined(suspect, classes),
        ..suspect.clone()
    };
    if sides(&whole, None) < LEAST_GROUPS {
        return Meeting::Never;
    }
    match follows(responses, &whole, None) {
        Some(found) => Meeting::Nested(found),
        None => Meeting::Never,
    }
}

/// Units that were given more and less than the middle, the fewer of the two;
/// of strata that hold both, where strata are given.
fn sides(suspect: &Suspect, strata: Option<&[usize]>) -> usize {
    let rows: Vec<(usize, usize, f64)> = (0..suspect.given.len())
        .filter_map(|at| {
            let stratum = strata.map_or(0, |s| s[at] + 1);
            let key = if strata.is_some() {
                (suspect.blocks[at] << 32) | stratum
            } else {
                0
            };
            Some((key, suspect.units[at], suspect.given[at]?))
        })
        .collect();
    let mut sorted = rows;
    sorted.sort_by_key(|r| (r.0, r.1));
    let (mut more, mut less) = (0, 0);
    for group in sorted.chunk_by(|a, b| a.0 == b.0) {
        let units: Vec<f64> = group
            .chunk_by(|a, b| a.1 == b.1)
            .map(|u| u.iter().map(|r| r.2).sum::<f64>() / u.len() as f64)
            .collect();
        let low = units.iter().copied().fold(f64::INFINITY, f64::min);
        let high = units.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if high > low {
            let middle = f64::midpoint(low, high);
            more += units.iter().filter(|u| **u > middle).count();
            less += units.iter().filter(|u| **u <= middle).count();
        }
    }
    more.min(less)
}

/// Units joined wherever a class of the rival holds panels of both.
fn joined(suspect: &Suspect, classes: &[usize]) -> Vec<usize> {
    let n = suspect.units.len();
    let units = in_order(suspect.units.iter().copied());
    let classes = in_order(classes.iter().copied());
    let count = units.iter().max().map_or(0, |m| m + 1);
    let all = count + classes.iter().max().map_or(0, |m| m + 1);
    let mut parent: Vec<usize> = (0..all).collect();
    fn root(parent: &mut [usize], mut of: usize) -> usize {
        while parent[of] != of {
            parent[of] = parent[parent[of]];
            of = parent[of];
        }
        of
    }
    for at in (0..n).filter(|&at| suspect.given[at].is_some()) {
        let a = root(&mut parent, units[at]);
        let b = root(&mut parent, count + classes[at]);
        parent[a] = b;
    }
    units.iter().map(|u| root(&mut parent, *u)).collect()
}
