//! Panels hit out of panels exposed, in all and by level.

use super::tails::{binomial_at_least, hypergeometric_at_least};

/// Panels hit out of panels exposed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Panels hit.
    pub hits: usize,
    /// Panels exposed.
    pub exposed: usize,
}

impl Tally {
    /// One panel more.
    pub(crate) fn count(&mut self, hit: bool) {
        self.exposed += 1;
        self.hits += usize::from(hit);
    }

    /// Of these panels, hit or not.
    pub(crate) fn of(panels: impl IntoIterator<Item = bool>) -> Self {
        let mut tally = Self::default();
        panels.into_iter().for_each(|hit| tally.count(hit));
        tally
    }

    /// Of so many levels each; panels without a level count for none.
    pub(crate) fn by_level(
        levels: usize,
        panels: impl IntoIterator<Item = (Option<usize>, bool)>,
    ) -> Vec<Self> {
        let mut tallies = vec![Self::default(); levels];
        for (level, hit) in panels {
            if let Some(level) = level {
                tallies[level].count(hit);
            }
        }
        tallies
    }

    /// Hits per panel; not a number where there is none.
    pub(crate) fn rate(self) -> f64 {
        self.hits as f64 / self.exposed as f64
    }

    /// P(so many hits or more) where each panel has this chance.
    pub(crate) fn at_least(self, chance: f64) -> f64 {
        binomial_at_least(self.hits, self.exposed, chance)
    }

    /// P(so many hits or more among its panels) if the hits of `all` fell on any.
    pub(crate) fn at_least_of(self, all: Self) -> f64 {
        hypergeometric_at_least(self.hits, all.exposed, all.hits, self.exposed)
    }
}

impl std::ops::Add for Tally {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self {
            hits: self.hits + other.hits,
            exposed: self.exposed + other.exposed,
        }
    }
}

impl std::ops::Sub for Tally {
    type Output = Self;

    fn sub(self, part: Self) -> Self {
        Self {
            hits: self.hits - part.hits,
            exposed: self.exposed - part.exposed,
        }
    }
}

impl std::iter::Sum for Tally {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        all.fold(Self::default(), |sum, next| sum + next)
    }
}

/// Hits and exposure of one level (lot, age class, fixture …).
#[derive(Debug, Clone, PartialEq)]
pub struct LevelCount {
    /// The level.
    pub level: String,
    /// Panels exposed.
    pub exposed: usize,
    /// Panels hit.
    pub hits: usize,
}

impl LevelCount {
    /// Levels with their tallies.
    pub(crate) fn each(
        levels: impl IntoIterator<Item = String>,
        tallies: impl IntoIterator<Item = Tally>,
    ) -> Vec<Self> {
        let of = |(level, Tally { hits, exposed })| Self {
            level,
            exposed,
            hits,
        };
        levels.into_iter().zip(tallies).map(of).collect()
    }
}
