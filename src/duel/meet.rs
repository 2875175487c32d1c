//! Whether two contenders met, and who stands.

use super::contender::{Contender, Given, Suspect};
use super::exchange::Precision;
use super::follow::{Follows, Levels, follows};
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
/// clearly.
pub(crate) fn shown(responses: &[Response], contender: &Contender) -> Option<Shown> {
    match &contender.given {
        Given::Levels(of, count) => shown_level(responses, contender, (of, *count)),
        Given::Scores(_) => {
            let whole = contender.accuse(0);
            let few = contender.by_neighbours && exchanges(&whole) < LEAST_EXCHANGES;
            match contender.as_two_levels().filter(|_| few) {
                Some(two) => Beside::new(responses, &two)?.shown(None, 1),
                None => {
                    let found = follows(responses, &whole, None)?;
                    Some(among_units(whole, None, found, 1))
                }
            }
        }
    }
}

/// The level that stands out most of all that hold panels enough.
fn shown_level(
    responses: &[Response],
    contender: &Contender,
    (of, count): (&[Option<usize>], usize),
) -> Option<Shown> {
    let sizes = Sizes::new(&contender.units, of, count);
    let all = Levels::new(responses, contender, (of, count));
    let mut asked = 0;
    let mut best: Option<(usize, Follows, Option<Beside<'_>>)> = None;
    for level in (0..count).filter(|&l| sizes.panels[l] >= LEAST_PANELS) {
        let few = contender.by_neighbours && sizes.exchanges(level) < LEAST_EXCHANGES;
        let (found, beside) = if few {
            let Some(beside) = Beside::new(responses, &contender.accuse(level)) else {
                continue;
            };
            (beside.follows, Some(beside))
        } else {
            let so_far = best.as_ref().map_or(1.0, |b| b.1.p_value);
            let Some(found) = all.follows(level, Precision::Below(so_far)) else {
                continue;
            };
            (found, None)
        };
        asked += 1;
        if best.as_ref().is_none_or(|b| found.p_value < b.1.p_value) {
            best = Some((level, found, beside));
        }
    }
    let (level, found, beside) = best?;
    match beside {
        Some(beside) => beside.shown(Some(level), asked),
        None => Some(among_units(
            contender.accuse(level),
            Some(level),
            found,
            asked,
        )),
    }
}

/// Shown among units that could have been dealt out otherwise.
fn among_units(suspect: Suspect, level: Option<usize>, follows: Follows, asked: usize) -> Shown {
    Shown {
        level,
        p_value: (follows.p_value * asked as f64).min(1.0),
        asked,
        follows,
        could_show: exchanges(&suspect) >= LEAST_EXCHANGES,
        borders: None,
        suspect,
    }
}

/// A level of too few units, by its panels against their neighbours in time.
struct Beside<'a> {
    responses: &'a [Response],
    both: Suspect,
    sides: [Suspect; 2],
    follows: Follows,
}

impl<'a> Beside<'a> {
    fn new(responses: &'a [Response], level: &Suspect) -> Option<Self> {
        let (both, sides) = level.against_neighbours();
        let follows = follows(responses, &both, None)?;
        Some(Self {
            responses,
            both,
            sides,
            follows,
        })
    }

    fn shown(self, level: Option<usize>, asked: usize) -> Option<Shown> {
        let at_border = |s: &Suspect| {
            follows(self.responses, s, None).is_some_and(|f| f.p_value <= EACH_BORDER)
        };
        Some(Shown {
            level,
            p_value: (self.follows.p_value * asked as f64).min(1.0),
            asked,
            follows: self.follows,
            could_show: true,
            borders: Some(self.sides.iter().all(at_border)),
            suspect: self.both,
        })
    }
}

/// Panels and units of levels.
struct Sizes {
    panels: Vec<usize>,
    /// Units with a panel of the level, and those of them without any other.
    units: Vec<[usize; 2]>,
    all: usize,
}

impl Sizes {
    fn new(units: &[usize], of: &[Option<usize>], count: usize) -> Self {
        let mut panels = vec![0; count];
        let mut pairs: Vec<(usize, usize)> = Vec::new();
        for (unit, level) in units.iter().zip(of) {
            if let Some(level) = level {
                panels[*level] += 1;
                pairs.push((*unit, *level));
            }
        }
        pairs.sort_unstable();
        pairs.dedup();
        let mut sizes = Self {
            panels,
            units: vec![[0; 2]; count],
            all: 0,
        };
        for unit in pairs.chunk_by(|a, b| a.0 == b.0) {
            sizes.all += 1;
            for (_, level) in unit {
                sizes.units[*level][0] += 1;
                sizes.units[*level][1] += usize::from(unit.len() == 1);
            }
        }
        sizes
    }

    /// [`exchanges`] of a level against all others.
    fn exchanges(&self, level: usize) -> f64 {
        let [with, alone] = self.units[level];
        choices(self.all - alone + with, with)
    }
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
    choices(units.len(), units.iter().filter(|u| u.1).count())
}

/// In how many ways `k` of `n` can be chosen.
fn choices(n: usize, k: usize) -> f64 {
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
        units: joined(suspect, classes).into(),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::duel::Toward;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// Levels asked together, from panels gathered once, are what each gives by itself:
    /// units over several levels and blocks, panels without a level, two responses.
    #[test]
    fn levels_asked_together_are_as_asked_alone() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        for _ in 0..20 {
            let n = 120;
            let mut draw = |below: usize| -> Vec<usize> {
                (0..n).map(|_| rng.random_range(0..below)).collect()
            };
            let (of, units, blocks) = (draw(6), draw(30), draw(2));
            let marks: Vec<f64> = draw(4).into_iter().map(|m| m as f64).collect();
            let areas: Vec<f64> = draw(2).into_iter().map(|a| 1.0 + a as f64).collect();
            let responses = Response::rates(&marks, &areas);
            assert_eq!(responses.len(), 2);
            let levels: Vec<Option<usize>> = of.iter().map(|l| (*l < 5).then_some(*l)).collect();
            let contender = Contender {
                given: Given::Levels(levels.as_slice().into(), 5),
                units: units.into(),
                blocks: blocks.into(),
                toward: Toward::Rises,
                by_neighbours: false,
            };
            let together = Levels::new(&responses, &contender, (&levels, 5));
            let sizes = Sizes::new(&contender.units, &levels, 5);
            for level in 0..5 {
                let alone = contender.accuse(level);
                assert_eq!(
                    together.follows(level, Precision::Full),
                    follows(&responses, &alone, None)
                );
                assert_eq!(sizes.exchanges(level), exchanges(&alone));
                assert_eq!(sizes.panels[level], alone.inside().len());
            }
        }
    }

    /// Five levels asked: the p-value of the clearest is that of one, five times. Units
    /// are panels, so that none is judged beside its neighbours.
    #[test]
    fn the_clearest_of_several_levels_pays_for_all_that_were_asked() {
        let levels: Vec<Option<usize>> = (0..100).map(|i| Some(i % 5)).collect();
        let value: Vec<f64> = (0..100)
            .map(|i| f64::from(u8::from(i % 5 == 2 && i % 3 > 0 || i % 7 == 0)))
            .collect();
        let responses = [Response {
            expected: vec![1.0; 100],
            value,
        }];
        let contender = Contender {
            given: Given::Levels(levels.into(), 5),
            units: (0..100).collect(),
            blocks: vec![0; 100].into(),
            toward: Toward::Rises,
            by_neighbours: false,
        };
        let found = shown(&responses, &contender).unwrap();
        assert_eq!((found.level, found.asked), (Some(2), 5));
        let alone = follows(&responses, &contender.accuse(2), None)
            .unwrap()
            .p_value;
        assert!(alone > 0.0 && alone < 0.01, "{alone}");
        assert_eq!(found.p_value, 5.0 * alone);
    }
}
