//! How many panels a contrast needs, by the test that will read it.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::iter::{IntoParallelIterator, ParallelIterator};

use super::TrialError;
use super::contrast::{Dealt, Given, deal, panels, read};
use crate::duel::Toward;

/// Simulated sheets for a size that is weighed, and for a first look at one.
const SHEETS: usize = 200;
const FIRST_SHEETS: usize = 50;

/// The most panels that are planned.
const MOST_PANELS: usize = 3000;

/// What is to be told apart.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Goal {
    /// Share of panels with a mark at the contrast's first level, 0..1.
    pub share: f64,
    /// The same at its second level if the first one makes it.
    pub without: f64,
    /// Level of the test.
    pub alpha: f64,
    /// Chance to tell them apart.
    pub power: f64,
    /// Whether it is known beforehand at which level marks would be missing: those
    /// of a panel's place where panels are turned.
    pub one_sided: bool,
}

impl Goal {
    /// The way in which the contrast is read.
    pub(super) fn toward(&self) -> Toward {
        if self.one_sided {
            Toward::Falls
        } else {
            Toward::Either
        }
    }
}

/// The smallest sheet (copies of the cells) by which a contrast that makes all the
/// difference is told with the goal's chance: seeded sheets are dealt, marks drawn, and
/// read by [`read`].
///
/// # Errors
///
/// [`TrialError::TooManyPanels`].
pub(super) fn size_needed(
    given: &[Given],
    at: usize,
    lots: usize,
    goal: &Goal,
    seed: u64,
) -> Result<usize, TrialError> {
    let too_many = |size: usize| panels(given, lots, size) > MOST_PANELS;
    let enough =
        |size: usize, sheets: usize| told(given, at, lots, size, goal, seed, sheets) >= goal.power;
    let mut high = 1;
    while !(enough(high, FIRST_SHEETS) && enough(high, SHEETS)) {
        high *= 2;
        if too_many(high) {
            return Err(TrialError::TooManyPanels { most: MOST_PANELS });
        }
    }
    let mut low = high / 2;
    while high - low > 1 {
        let middle = usize::midpoint(low, high);
        if enough(middle, SHEETS) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(high)
}

/// Share of simulated sheets that tell the contrast.
pub(super) fn chance(
    given: &[Given],
    at: usize,
    lots: usize,
    size: usize,
    goal: &Goal,
    seed: u64,
) -> f64 {
    told(given, at, lots, size, goal, seed, SHEETS)
}

fn told(
    given: &[Given],
    at: usize,
    lots: usize,
    size: usize,
    goal: &Goal,
    seed: u64,
    sheets: usize,
) -> f64 {
    let told = (0..sheets).into_par_iter().filter(|sheet| {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(*sheet as u64);
        let dealt = deal(given, lots, size, &mut rng);
        tells(&dealt, at, given[at], goal, &mut rng)
    });
    told.count() as f64 / sheets as f64
}

fn tells(dealt: &[Dealt], at: usize, given: Given, goal: &Goal, rng: &mut ChaCha8Rng) -> bool {
    let levels: Vec<Option<usize>> = dealt.iter().map(|d| Some(d.levels[at])).collect();
    let lots: Vec<usize> = dealt.iter().map(|d| d.lot).collect();
    let share = [goal.share, goal.without];
    let values: Vec<f64> = dealt
        .iter()
        .map(|d| f64::from(u8::from(rng.random_range(0.0..1.0) < share[d.levels[at]])))
        .collect();
    read(&values, &levels, &lots, given, goal.toward()).is_some_and(|f| f.p_value <= goal.alpha)
}
