//! The level that every single test may have, so that all together keep theirs.
//!
//! A count comes in steps: where three panels are too few to be significant
//! and four suffice, the chance of four is what the test takes from the level,
//! and that is often a tenth of what it was offered. So the tests' level c is
//! the largest for which the chances that they really take,
//!
//! Σ P(count ≥ smallest count with a tail of at most c),
//!
//! sum up to the level of all; Bonferroni's level ÷ tests is the least it can
//! be. The sum at a p-value is that p-value adjusted.
//!
//! Source: Westfall & Wolfinger (1997), Multiple tests with discrete
//! distributions, The American Statistician 51, 3–8; after Tarone (1990), A
//! modified Bonferroni method for discrete data, Biometrics 46, 515–522.

use rayon::prelude::*;

use super::families::Family;
use super::spots::PANELS_NEEDED;
use super::spots::at_marks::{self, RADII_MM};
use super::spots::discs::DiscScratch;
use super::spots::nodes::{self, MESHES};
use super::spots::screen::spot_centres;
use super::tail::poisson_tail;
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::lines;
use crate::causes::scan::lines::background::BandScratch;
use crate::causes::scan::lines::{Expected, LINES, LineNode};
use crate::stats::poisson_binomial_tails;

/// About so many tests of each size stand for all of them.
const SAMPLE: usize = 200;

/// Tails are followed from this many times the equal share down to this many.
pub(super) const HIGHEST: f64 = 100.0;
const LOWEST: f64 = 1e-2;

/// What a family of tests takes from its level.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Attained {
    tests: f64,
    /// Tails in rising order, each with the sum attained at it.
    steps: Vec<(f64, f64)>,
    /// The sum attained just below the first step.
    least: f64,
}

/// Tails of one count, falling, and how many tests it stands for.
struct Ladder {
    stands_for: f64,
    tails: Vec<f64>,
}

impl Attained {
    /// Of a family of tests in `field`, when `alpha` is the level of all of it.
    pub(super) fn of(family: Family, field: &Field, tests: f64, alpha: f64) -> Self {
        let floor = LOWEST * alpha / tests;
        let ladders = match family {
            Family::Nodes => of_nodes(field, floor),
            Family::Marks => of_marks(field, floor),
            Family::Lines => of_lines(field, floor),
        };
        Self::new(tests, &ladders, alpha)
    }

    /// Of so many tests that each get their equal share.
    pub(super) fn equal(tests: f64) -> Self {
        Self {
            tests: tests.max(1.0),
            steps: Vec::new(),
            least: f64::INFINITY,
        }
    }

    fn new(tests: f64, ladders: &[Ladder], alpha: f64) -> Self {
        // below the floor every test takes the first tail under it
        let taken = |l: &Ladder| l.tails.last().map(|p| p * l.stands_for);
        let least = ladders.iter().filter_map(taken).sum();
        let mut steps: Vec<(f64, f64)> = ladders
            .iter()
            .flat_map(|l| {
                let rise = |w: &[f64]| (w[0], l.stands_for * (w[0] - w[1]));
                l.tails.windows(2).map(rise)
            })
            .filter(|step| step.0 <= HIGHEST * alpha / tests)
            .collect();
        steps.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let mut sum = least;
        for step in &mut steps {
            sum += step.1;
            step.1 = sum;
        }
        Self {
            tests,
            steps,
            least,
        }
    }

    /// The largest p-value that keeps the level `alpha` of all tests.
    pub(super) fn level(&self, alpha: f64) -> f64 {
        let kept = self.steps.partition_point(|step| step.1 <= alpha);
        let largest = kept.checked_sub(1).map_or(0.0, |i| self.steps[i].0);
        largest.max(alpha / self.tests)
    }

    /// A p-value adjusted for all tests.
    pub(super) fn adjusted(&self, p_value: f64) -> f64 {
        let below = self.steps.partition_point(|step| step.0 <= p_value);
        let sum = below.checked_sub(1).map_or(self.least, |i| self.steps[i].1);
        let known = self.steps.last().is_some_and(|step| p_value <= step.0);
        let equal = self.tests * p_value;
        if known { sum.min(equal) } else { equal }.min(1.0)
    }
}

/// The ladders of a sample of tests, each with a scratch of its thread.
fn ladders<T: Sync, S>(
    sample: &[T],
    scratch: impl Fn() -> S + Sync + Send,
    of: impl Fn(&mut S, &T) -> Vec<Ladder> + Sync + Send,
) -> Vec<Ladder> {
    let sample = sample.par_iter().with_min_len(32);
    let all: Vec<Vec<Ladder>> = sample.map_init(scratch, of).collect();
    all.into_iter().flatten().collect()
}

/// Of the discs around all nodes.
fn of_nodes(field: &Field, floor: f64) -> Vec<Ladder> {
    let discs = nodes::discs(field);
    let of_mesh = |mesh| {
        let sample = nodes::sample(field, mesh, SAMPLE as f64);
        let stands_for = nodes::number_of(field, mesh) / sample.len().max(1) as f64;
        let of = |scratch: &mut DiscScratch, node: &nodes::Node| {
            let at = node.at(field);
            discs.move_to(at, scratch);
            discs.chances(at, mesh, None, scratch);
            vec![Ladder {
                stands_for,
                tails: tails(&scratch.chances, PANELS_NEEDED, floor),
            }]
        };
        ladders(&sample, || DiscScratch::new(field), of)
    };
    (0..MESHES.len()).flat_map(of_mesh).collect()
}

/// Of the discs around the marks.
fn of_marks(field: &Field, floor: f64) -> Vec<Ladder> {
    let discs = at_marks::discs(field);
    let (sample, stands_for) = sampled(spot_centres(field));
    let of = |scratch: &mut DiscScratch, point: &usize| {
        let own = &field.points[*point];
        discs.move_to(own.at, scratch);
        let ladder = |radius| {
            discs.chances(own.at, radius, Some(own.panel), scratch);
            Ladder {
                stands_for,
                tails: tails(&scratch.chances, PANELS_NEEDED - 1, floor),
            }
        };
        (0..RADII_MM.len()).map(ladder).collect()
    };
    ladders(&sample, || DiscScratch::new(field), of)
}

/// Of the bands around all nodes.
fn of_lines(field: &Field, floor: f64) -> Vec<Ladder> {
    let of_axis = |along| {
        let bands = lines::bands(field, along);
        let (sample, stands_for) = sampled(lines::nodes(field, along));
        let of = |scratch: &mut BandScratch, node: &LineNode| {
            let tails = match lines::expected(&bands, *node, scratch) {
                Expected::Beside(pooled) => pooled.tails(lines::PANELS_NEEDED, floor),
                Expected::ByPanel => tails(&scratch.chances, lines::PANELS_NEEDED, floor),
            };
            vec![Ladder { stands_for, tails }]
        };
        ladders(&sample, || BandScratch::new(field), of)
    };
    LINES.into_iter().flat_map(of_axis).collect()
}

/// About [`SAMPLE`] of all, evenly, and how many each stands for.
fn sampled<T>(all: Vec<T>) -> (Vec<T>, f64) {
    let every = all.len().div_ceil(SAMPLE).max(1);
    (all.into_iter().step_by(every).collect(), every as f64)
}

/// P(at least k of the panels) for k = `fewest`, …, down to the first tail of at
/// most `floor`.
fn tails(chances: &[f64], fewest: usize, floor: f64) -> Vec<f64> {
    let expected: f64 = chances.iter().sum();
    // from one above the mean on, a Poisson count's tail is the larger (Hoeffding
    // 1956)
    let mut most = fewest.max(expected.ceil() as usize + 1);
    while most < chances.len() && poisson_tail(expected, most) > floor {
        most += 1;
    }
    let mut tails = poisson_binomial_tails(chances, most);
    tails.drain(..fewest);
    let end = tails.iter().position(|p| *p <= floor);
    tails.truncate(end.map_or(tails.len(), |i| i + 1));
    tails
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twenty ladders that stand for three tests each.
    fn twenty() -> (Vec<Ladder>, f64) {
        let ladder = |i: u32| Ladder {
            stands_for: 3.0,
            tails: tails(&[0.001 + 0.0007 * f64::from(i); 40], 3, 1e-9),
        };
        ((0..20).map(ladder).collect(), 60.0)
    }

    #[test]
    fn the_level_is_what_a_plain_sum_over_all_tests_allows() {
        let (ladders, tests) = twenty();
        let attained = Attained::new(tests, &ladders, 0.01);
        let sum_at = |p: f64| -> f64 {
            let taken = |l: &Ladder| Some(l.stands_for * l.tails.iter().find(|t| **t <= p)?);
            ladders.iter().filter_map(taken).sum()
        };
        let level = attained.level(0.01);
        assert!(level > 0.01 / tests, "{level}");
        assert!(sum_at(level) <= 0.01);
        assert!((attained.adjusted(level) / sum_at(level) - 1.0).abs() < 1e-9);
        let next = attained.steps.iter().find(|s| s.0 > level);
        assert!(next.is_some_and(|next| sum_at(next.0) > 0.01));
    }

    #[test]
    fn adjusted_values_rise_with_the_p_value_and_never_exceed_bonferroni() {
        let (ladders, tests) = twenty();
        let attained = Attained::new(tests, &ladders, 0.01);
        let mut last = 0.0;
        for i in 0..400 {
            let p = 1e-12 * 1.08_f64.powi(i);
            let adjusted = attained.adjusted(p);
            assert!(adjusted >= last && adjusted <= (tests * p).min(1.0));
            last = adjusted;
        }
        assert_eq!(Attained::equal(7.0).adjusted(0.01), 0.07);
        assert_eq!(Attained::equal(7.0).level(0.07), 0.01);
    }
}
