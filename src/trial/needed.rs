//! How many panels a contrast needs, by the test that will read it.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Poisson};
use rayon::iter::{IntoParallelIterator, ParallelIterator};

use super::TrialError;
use super::contrast::{Dealt, Given, deal, panels, read};
use crate::duel::Toward;
use crate::stats::distributions::binomial;

/// Simulated sheets that say what chance a size has, and how many of them are dealt
/// before it is asked whether they say enough.
const SHEETS: usize = 1000;
const AT_ONCE: usize = 50;

/// A size is decided before all sheets are dealt where so few or many tell the
/// contrast by chance in so many of 10,000 cases only.
const DECIDED: f64 = 1e-4;

/// The most panels that are planned.
pub(super) const MOST_PANELS: usize = 3000;

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
    /// Whether it is about one place: a panel is hit there or not, and which frame
    /// would lack the marks is known beforehand. Otherwise marks are counted, as many
    /// as such shares of panels have where they come one at a time.
    pub of_place: bool,
}

impl Goal {
    /// The way in which the contrast is read.
    fn toward(&self) -> Toward {
        if self.of_place {
            Toward::Falls
        } else {
            Toward::Either
        }
    }

    /// What a panel shows at a level.
    fn value(&self, level: usize, rng: &mut ChaCha8Rng) -> f64 {
        let share = [self.share, self.without][level];
        if self.of_place {
            return f64::from(u8::from(rng.random_range(0.0..1.0) < share));
        }
        let marks = Poisson::new(-(1.0 - share).ln()).map_or(0.0, |law| law.sample(rng));
        marks.ln_1p()
    }
}

/// A contrast on a sheet: how panels are dealt, and which of the contrasts it is.
#[derive(Debug, Clone, Copy)]
pub(super) struct OnSheet<'a> {
    pub given: &'a [Given],
    pub at: usize,
    /// Of the lays in the cell and at the table the other one, where the sheet changes
    /// both: then a frame has two others to beat.
    pub beside: Option<usize>,
    pub lots: usize,
    pub seed: u64,
}

impl OnSheet<'_> {
    /// The smallest sheet (copies of the cells) by which the contrast is told with the
    /// goal's chance if it makes all the difference: seeded sheets are dealt, marks
    /// drawn, and read by [`read`]; all sizes by the same seeds.
    ///
    /// # Errors
    ///
    /// [`TrialError::TooManyPanels`].
    pub(super) fn size_needed(self, goal: &Goal) -> Result<usize, TrialError> {
        let mut high = 1;
        while !self.is_enough(high, goal) {
            high *= 2;
            if panels(self.given, self.lots, high) > MOST_PANELS {
                return Err(TrialError::TooManyPanels { most: MOST_PANELS });
            }
        }
        let mut low = high / 2;
        while high - low > 1 {
            let middle = usize::midpoint(low, high);
            if self.is_enough(middle, goal) {
                high = middle;
            } else {
                low = middle;
            }
        }
        Ok(high)
    }

    /// Whether the sheets of a size tell it with the goal's chance; few are dealt
    /// where that is plain.
    fn is_enough(self, size: usize, goal: &Goal) -> bool {
        let mut told = 0;
        for from in (0..SHEETS).step_by(AT_ONCE) {
            told += self.told(size, goal, from..from + AT_ONCE);
            let (k, n) = (told as u64, (from + AT_ONCE) as u64);
            if binomial::at_least(k, n, goal.power) < DECIDED {
                return true;
            }
            if binomial::at_most(k, n, goal.power) < DECIDED {
                return false;
            }
        }
        told as f64 >= goal.power * SHEETS as f64
    }

    /// Share of the sheets of a size that tell it.
    pub(super) fn chance(self, size: usize, goal: &Goal) -> f64 {
        self.told(size, goal, 0..SHEETS) as f64 / SHEETS as f64
    }

    fn told(self, size: usize, goal: &Goal, sheets: std::ops::Range<usize>) -> usize {
        let told = sheets.into_par_iter().filter(|sheet| {
            let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
            rng.set_stream(*sheet as u64);
            let dealt = deal(self.given, self.lots, size, &mut rng);
            self.tells(&dealt, goal, &mut rng)
        });
        told.count()
    }

    fn tells(self, dealt: &[Dealt], goal: &Goal, rng: &mut ChaCha8Rng) -> bool {
        let lots: Vec<usize> = dealt.iter().map(|d| d.lot).collect();
        let given = self.given[self.at];
        let beats = |rows: Vec<(usize, f64)>| {
            let levels: Vec<Option<usize>> = rows.iter().map(|r| Some(r.0)).collect();
            let values: Vec<f64> = rows.iter().map(|r| r.1).collect();
            let read = read(
                &values,
                &levels,
                &lots,
                given,
                goal.toward(),
                Some(goal.alpha),
            );
            read.is_some_and(|f| f.p_value <= goal.alpha)
        };
        let own = |d: &Dealt| d.levels[self.at];
        let Some(beside) = self.beside else {
            return beats(
                dealt
                    .iter()
                    .map(|d| (own(d), goal.value(own(d), rng)))
                    .collect(),
            );
        };
        // Where a frame lies as the owner's, its place has the owner's mark.
        let mut rows = [Vec::new(), Vec::new()];
        for panel in dealt {
            let made = goal.value(0, rng);
            let apart = [own(panel), own(panel) ^ panel.levels[beside]];
            for (rows, apart) in rows.iter_mut().zip(apart) {
                let value = if apart == 0 { made } else { goal.value(1, rng) };
                rows.push((apart, value));
            }
        }
        rows.into_iter().all(beats)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of all sizes the smallest by which all of its sheets tell the goal's contrast
    /// often enough, whether or not few of them decided.
    #[test]
    fn the_size_asked_for_has_the_chance_and_the_next_smaller_has_not() {
        let goal = Goal {
            share: 0.3,
            without: 0.02,
            alpha: 0.05,
            power: 0.8,
            of_place: true,
        };
        for seed in 1..=5 {
            let sheet = OnSheet {
                given: &[Given::Singly],
                at: 0,
                beside: None,
                lots: 2,
                seed,
            };
            let size = sheet.size_needed(&goal).unwrap();
            let [enough, fewer] = [size, size - 1].map(|size| sheet.chance(size, &goal));
            assert!(enough >= 0.8 && fewer < 0.8, "{size}: {enough} {fewer}");
        }
    }
}
