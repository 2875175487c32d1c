//! One model for counts (or removal) before and after a change.
//!
//! ln of a panel's expected count is ln of its area, plus the side, plus the
//! levels of what else varies (machine, part, inspector, abrasive age), plus its
//! lot and its day, both random: lots independent, days resembling the day
//! before. Panels scatter as a negative binomial (removal: a gamma). The effects
//! are integrated out by Laplace's approximation and the standard deviations
//! over a grid of all values that the records leave possible, so that few lots
//! or few days widen the interval by what they leave unknown (Rue, Martino &
//! Chopin 2009, J. R. Stat. Soc. B 71, 319–392). Interval and test are of the
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
pub(super) use mixture::Mixture;
use mixture::Part;

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
    /// Expected values of how far units differ.
    pub scatter: Scatter,
    problem: Problem,
    points: Vec<grid::Point>,
}

/// Fits the model; none where a side is missing or nothing was counted at all.
/// `patterns` are the levels that hold for an item's pattern. A side without a
/// mark is taken to have half of one, spread over its panels.
pub(super) fn fit(
    items: &[Item],
    patterns: &[Vec<usize>],
    family: Family,
    usual: Usual,
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
    let problem = problem(items, patterns, family, usual, sides);
    let points = grid::points(&problem, usual);
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
        day_memory: (problem.days > 1).then(|| mean(&|p| p.scales.memory)),
    }
}

/// Panels alike gathered, lots and days numbered densely.
fn problem(
    items: &[Item],
    patterns: &[Vec<usize>],
    family: Family,
    usual: Usual,
    sides: [(f64, f64); 2],
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
    let mut cells: BTreeMap<(Option<usize>, Option<usize>, bool, usize, u64), Cell> =
        BTreeMap::new();
    let mut values: BTreeMap<u64, (f64, f64)> = BTreeMap::new();
    for item in items {
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
        let key = (lot, day, after, item.pattern, item.exposure.to_bits());
        let cell = cells.entry(key).or_insert(Cell {
            panels: 0.0,
            sum: 0.0,
            ln_exposure: item.exposure.ln(),
            after,
            lot,
            day,
            pattern: item.pattern,
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
    )
}
