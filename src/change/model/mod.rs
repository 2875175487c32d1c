//! One model for counts (or removal) before and after a change.
//!
//! ln of a panel's expected count is ln of its area, plus the side, plus the
//! levels of what else varies (machine, part, inspector, abrasive age), plus its
//! lot and its day, both random: lots independent, days all alike or resembling
//! the day before. Panels scatter as a negative binomial (removal: a gamma). The
//! effects are integrated out by Laplace's approximation and the standard
//! deviations over a grid of all values that the records leave possible, so that
//! few lots or few days widen the interval by what they leave unknown (Rue, Martino
//! & Chopin 2009, J. R. Stat. Soc. B 71, 319–392). Interval and test are of the
//! same mixture of normal laws and never disagree.

mod family;
mod future;
mod grid;
mod laplace;
mod mixture;

use std::collections::BTreeMap;

pub(super) use family::Family;
pub(super) use future::{Course, Future};
pub(super) use grid::Usual;
pub(super) use mixture::{Mixture, Part};

use super::items::Item;
use super::{Scatter, Side};
use laplace::{Cell, Problem};

/// More days than this are taken together, neighbours with neighbours.
const MOST_DAYS: usize = 120;

/// Smallest removal, as a share of the mean: panels without any still have a
/// logarithm.
const LEAST_REMOVAL: f64 = 1e-3;

/// A fitted model.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fit {
    /// What is known of ln ratio, after over before.
    pub law: Mixture,
    /// ln of the probability of the values, scatter and effects integrated out; of
    /// use against other fits of the same items.
    pub ln_evidence: f64,
    /// Expected values of how far units differ.
    pub scatter: Scatter,
    problem: Problem,
    points: Vec<grid::Point>,
}

/// What is taken to have moved the rate. A rival has a value for every item.
#[derive(Debug, Clone, Copy)]
pub(super) enum Moved<'a> {
    /// The change.
    Change,
    /// A rival in the change's place: the law is the rival's.
    Rival(&'a [f64]),
    /// The change, with what a rival did allowed for.
    ChangeBeside(&'a [f64]),
    /// A rival, with what the change did allowed for: the law is the rival's.
    RivalBeside(&'a [f64]),
}

/// Fits the model; none where a side is missing or nothing was counted at all.
/// `patterns` are the levels that hold for an item's pattern. A side without a
/// mark is taken to have half of one, spread over its panels.
pub(super) fn fit(
    items: &[Item],
    patterns: &[Vec<usize>],
    family: Family,
    usual: Usual,
    moved: Moved<'_>,
) -> Option<Fit> {
    let sums = |side: Side| {
        let own = items.iter().filter(|i| i.side == side);
        own.fold((0.0, 0.0), |(sum, exposure), i| {
            (sum + i.value, exposure + i.exposure)
        })
    };
    let sides = [sums(Side::Before), sums(Side::After)];
    if sides.iter().any(|s| s.1 <= 0.0) || sides[0].0 + sides[1].0 <= 0.0 {
        return None;
    }
    let problem = problem(items, patterns, family, usual, sides, moved);
    let (points, ln_evidence) = grid::points(&problem, usual);
    let best = points.iter().max_by(|a, b| a.share.total_cmp(&b.share))?;
    // what the uncertain spread of panels adds, at three equally placed values
    let (_, sd) = problem.better_spread(&best.evaluation.mode);
    let spreads: Vec<(f64, f64)> = [(-1.0, 1.0 / 6.0), (0.0, 2.0 / 3.0), (1.0, 1.0 / 6.0)]
        .into_iter()
        .filter_map(|(k, share)| {
            let mut mode = best.evaluation.mode.clone();
            mode.spread *= (k * 3.0_f64.sqrt() * sd.min(1.0)).exp();
            let at = problem.evaluate(&best.scales, &mode)?;
            Some((share, (at.variance / best.evaluation.variance).sqrt()))
        })
        .collect();
    let law = Mixture::new(
        points
            .iter()
            .flat_map(|p| {
                spreads.iter().map(|(share, wider)| Part {
                    share: p.share * share,
                    mean: p.evaluation.estimate,
                    sd: p.evaluation.variance.sqrt() * wider,
                })
            })
            .collect(),
    );
    let scatter = scatter(&problem, &points);
    Some(Fit {
        law,
        ln_evidence,
        scatter,
        problem,
        points,
    })
}

fn scatter(problem: &Problem, points: &[grid::Point]) -> Scatter {
    let all: f64 = points.iter().map(|p| p.share).sum();
    let mean = |of: &dyn Fn(&grid::Point) -> f64| {
        points.iter().map(|p| p.share * of(p)).sum::<f64>() / all
    };
    Scatter {
        panels: mean(&|p| p.evaluation.mode.spread),
        days: (problem.days > 0).then(|| mean(&|p| p.scales.day)),
        lots: (problem.lots > 0).then(|| mean(&|p| p.scales.lot)),
        day_memory: memory(points),
    }
}

/// Expected memory of days where they differ.
fn memory(points: &[grid::Point]) -> Option<f64> {
    let differ: f64 = points
        .iter()
        .filter(|p| p.scales.memory > 0.0)
        .map(|p| p.share)
        .sum();
    let sum: f64 = points.iter().map(|p| p.share * p.scales.memory).sum();
    (differ > 0.0).then(|| sum / differ)
}

/// What the items of a cell share: lot, day, side, covariates, area and rival.
type Key = (Option<usize>, Option<usize>, bool, usize, u64, u64);

/// Panels alike gathered, lots and days numbered densely.
fn problem(
    items: &[Item],
    patterns: &[Vec<usize>],
    family: Family,
    usual: Usual,
    sides: [(f64, f64); 2],
    moved: Moved<'_>,
) -> Problem {
    let dense = |of: fn(&Item) -> Option<usize>| -> BTreeMap<usize, usize> {
        let mut codes: BTreeMap<usize, usize> =
            items.iter().filter_map(of).map(|k| (k, 0)).collect();
        for (k, code) in codes.values_mut().enumerate() {
            *code = k;
        }
        codes
    };
    let lots = dense(|i| i.lot);
    let days = dense(|i| i.day);
    let together = days.len().div_ceil(MOST_DAYS).max(1);
    let least = LEAST_REMOVAL * (sides[0].0 + sides[1].0) / items.len() as f64;
    let mut cells: BTreeMap<Key, Cell> = BTreeMap::new();
    let mut values: BTreeMap<u64, (f64, f64)> = BTreeMap::new();
    for (k, item) in items.iter().enumerate() {
        let after = item.side == Side::After;
        let (sum, exposure) = sides[usize::from(after)];
        let mut value = item.value;
        if family == Family::Measures {
            value = value.max(least);
        }
        values.entry(value.to_bits()).or_insert((value, 0.0)).1 += 1.0;
        if sum <= 0.0 {
            value += 0.5 * item.exposure / exposure;
        }
        let lot = item.lot.and_then(|l| lots.get(&l).copied());
        let day = item.day.and_then(|d| days.get(&d).map(|d| d / together));
        let side = f64::from(u8::from(after));
        let (moved, beside) = match moved {
            Moved::Change => (side, 0.0),
            Moved::Rival(of) => (of[k], 0.0),
            Moved::ChangeBeside(of) => (side, of[k]),
            Moved::RivalBeside(of) => (of[k], side),
        };
        let key = (
            lot,
            day,
            after,
            item.pattern,
            item.exposure.to_bits(),
            moved.to_bits() ^ beside.to_bits(),
        );
        let cell = cells.entry(key).or_insert(Cell {
            panels: 0.0,
            sum: 0.0,
            ln_exposure: item.exposure.ln(),
            after,
            lot,
            day,
            pattern: item.pattern,
            moved,
            beside,
        });
        cell.panels += 1.0;
        cell.sum += value;
    }
    Problem::new(
        family,
        cells.into_values().collect(),
        patterns.to_vec(),
        values.into_values().collect(),
        usual.spread,
        matches!(moved, Moved::ChangeBeside(_) | Moved::RivalBeside(_)),
    )
}

#[cfg(test)]
mod tests {
    use super::laplace::Scales;
    use super::*;
    use approx::assert_relative_eq;

    const USUAL: Usual = Usual {
        lot: 1.0,
        day: 0.35,
        lot_change: 0.2,
        spread: 0.4,
    };

    /// Made-up counts of six lots on eight days, four of them after.
    fn counts() -> Vec<Item> {
        let text = include_str!("../../../fixtures/published/mixed_counts.csv");
        let rows = text.lines().filter(|l| !l.starts_with('#')).skip(1);
        rows.map(|line| {
            let cell: Vec<f64> = line.split(',').map(|c| c.parse().unwrap()).collect();
            Item {
                alike: None,
                stream: 0,
                pattern: 0,
                lot: Some(cell[1] as usize),
                day: Some(cell[2] as usize),
                side: if cell[0] > 0.0 {
                    Side::After
                } else {
                    Side::Before
                },
                value: cell[4],
                exposure: cell[3],
            }
        })
        .collect()
    }

    /// At R's standard deviations of lots and days, Poisson counts and days
    /// without memory: estimate and standard error by R's lme4 (the header of
    /// `mixed_counts.csv`).
    #[test]
    fn mode_and_error_agree_with_lme4() {
        // the reference stops its own search at about this
        const REFERENCE: f64 = 2e-5;
        let items = counts();
        let sums = [Side::Before, Side::After].map(|side| {
            let own = items.iter().filter(|i| i.side == side);
            own.fold((0.0, 0.0), |s, i| (s.0 + i.value, s.1 + i.exposure))
        });
        let problem = problem(
            &items,
            &[Vec::new()],
            Family::Counts,
            USUAL,
            sums,
            Moved::Change,
        );
        let scales = Scales {
            lot: 0.565_556_713_218,
            lot_change: 1e-4,
            day: 0.090_094_339_767_4,
            memory: 0.0,
        };
        let mut start = problem.start();
        start.spread = 1e-7;
        let near = problem.evaluate(&scales, &start).unwrap();
        // the error is that of one step before the end: start at the end
        let found = problem.evaluate(&scales, &near.mode).unwrap();
        assert_relative_eq!(found.estimate, -0.218_860_493_378, max_relative = REFERENCE);
        let error = found.variance.sqrt();
        assert_relative_eq!(error, 0.202_145_252_482, max_relative = REFERENCE);
    }

    #[test]
    fn swapping_the_sides_inverts_the_ratio() {
        let items = counts();
        let swapped: Vec<Item> = items
            .iter()
            .map(|i| Item {
                side: match i.side {
                    Side::Before => Side::After,
                    Side::After => Side::Before,
                },
                ..*i
            })
            .collect();
        let law = |items: &[Item]| {
            fit(items, &[Vec::new()], Family::Counts, USUAL, Moved::Change)
                .unwrap()
                .law
        };
        let (one, two) = (law(&items), law(&swapped));
        assert_relative_eq!(one.mean(), -two.mean(), max_relative = 1e-3);
        assert_relative_eq!(one.quantile(0.1), -two.quantile(0.9), max_relative = 1e-3);
    }

    /// Without lots and days the law of many evenly spread marks is that of two
    /// Poisson counts: ln ratio ± √(1/a + 1/b).
    #[test]
    fn many_even_marks_are_two_poisson_counts() {
        let items: Vec<Item> = (0..400)
            .map(|k| Item {
                alike: None,
                stream: 0,
                pattern: 0,
                lot: None,
                day: None,
                side: if k < 200 { Side::Before } else { Side::After },
                value: if k < 200 {
                    [2.0, 3.0, 4.0][k % 3]
                } else {
                    [1.0, 2.0][k % 2]
                },
                exposure: 1.0,
            })
            .collect();
        let sum = |side: Side| -> f64 {
            let own = items.iter().filter(|i| i.side == side);
            own.map(|i| i.value).sum()
        };
        let (b, a) = (sum(Side::Before), sum(Side::After));
        let law = fit(&items, &[Vec::new()], Family::Counts, USUAL, Moved::Change)
            .unwrap()
            .law;
        assert_relative_eq!(law.mean(), (a / b).ln(), max_relative = 1e-3);
        let half = (law.quantile(0.975) - law.quantile(0.025)) / 2.0;
        // the smallest spread of panels that the model knows adds a per cent
        let expected = 1.959_964 * (1.0 / a + 1.0 / b).sqrt();
        assert_relative_eq!(half, expected, max_relative = 0.02);
    }

    fn moved(items: &[Item], moved: Moved<'_>) -> Fit {
        fit(items, &[Vec::new()], Family::Counts, USUAL, moved).unwrap()
    }

    #[test]
    fn a_rival_that_is_the_change_is_as_likely() {
        let items = counts();
        let side = |i: &Item| f64::from(u8::from(i.side == Side::After));
        let values: Vec<f64> = items.iter().map(side).collect();
        let (change, rival) = (
            moved(&items, Moved::Change),
            moved(&items, Moved::Rival(&values)),
        );
        assert_relative_eq!(change.ln_evidence, rival.ln_evidence, max_relative = 1e-9);
        assert_relative_eq!(change.law.mean(), rival.law.mean(), max_relative = 1e-9);
    }

    /// Four groups whose rates are products: 4, 8, 2, 4 marks a panel. The change
    /// halves, the rival doubles; unevenly mixed, the change alone would not.
    #[test]
    fn a_change_beside_a_rival_is_what_it_is_inside_its_groups() {
        let group = |after: bool, rival: bool, panels: usize| {
            (0..panels).map(move |k| {
                let item = Item {
                    alike: None,
                    stream: 0,
                    pattern: 0,
                    lot: None,
                    day: None,
                    side: if after { Side::After } else { Side::Before },
                    value: (if after { 2.0 } else { 4.0 }) * if rival { 2.0 } else { 1.0 }
                        + [1.0, -1.0][k % 2],
                    exposure: 1.0,
                };
                (item, f64::from(u8::from(rival)))
            })
        };
        let (items, values): (Vec<Item>, Vec<f64>) = group(false, false, 60)
            .chain(group(false, true, 20))
            .chain(group(true, false, 20))
            .chain(group(true, true, 60))
            .unzip();
        let alone = moved(&items, Moved::Change).law.mean().exp();
        let beside = moved(&items, Moved::ChangeBeside(&values)).law.mean().exp();
        assert_relative_eq!(alone, 0.7, max_relative = 0.01);
        assert_relative_eq!(beside, 0.5, max_relative = 0.01);
    }

    #[test]
    fn interval_and_test_are_of_one_law() {
        let law = fit(
            &counts(),
            &[Vec::new()],
            Family::Counts,
            USUAL,
            Moved::Change,
        )
        .unwrap()
        .law;
        for level in [0.5, 0.9, 0.95, 0.99] {
            let high = law.quantile(0.5 + level / 2.0);
            assert_relative_eq!(law.two_sided_p(high), 1.0 - level, max_relative = 1e-9);
        }
    }

    /// Groups as above, the rival recorded as a term: inside its levels the change
    /// halves, and a level may differ twofold as it likes.
    #[test]
    fn levels_of_terms_may_differ() {
        let group = |after: bool, level: usize, panels: usize| {
            (0..panels).map(move |k| Item {
                alike: None,
                stream: 0,
                pattern: level,
                lot: None,
                day: None,
                side: if after { Side::After } else { Side::Before },
                value: (if after { 2.0 } else { 4.0 }) * [1.0, 2.0][level] + [1.0, -1.0][k % 2],
                exposure: 1.0,
            })
        };
        let items: Vec<Item> = group(false, 0, 60)
            .chain(group(false, 1, 20))
            .chain(group(true, 0, 20))
            .chain(group(true, 1, 60))
            .collect();
        let patterns = [Vec::new(), vec![0]];
        let found = fit(&items, &patterns, Family::Counts, USUAL, Moved::Change).unwrap();
        assert_relative_eq!(found.law.mean().exp(), 0.5, max_relative = 0.01);
    }
}
