//! What the hits of a place follow: a level (fixture, recipe, inspector, lot
//! column) or the abrasive's age.

use crate::causes::Tally;
use crate::stats::distributions::normal;

/// Level of each test, adjusted for the levels of its column.
const LEVEL: f64 = 0.01;

/// The level of a column in which the hits gather.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LevelFound {
    /// The level's number.
    pub level: usize,
    /// On it.
    pub inside: Tally,
    /// On all other levels.
    pub outside: Tally,
    /// Smallest hypergeometric tail × levels.
    pub p_value: f64,
    /// Whether the other levels show no more than the background.
    pub explains: bool,
}

/// The level in which hits gather beyond exposure. `levels[i]` is panel i's
/// level; panels without one are left out. None with fewer than two levels or
/// no level that passes.
pub(crate) fn level(
    levels: &[Option<usize>],
    hits: &[bool],
    background: f64,
) -> Option<LevelFound> {
    let count = levels.iter().flatten().max()? + 1;
    let by_level = Tally::by_level(count, levels.iter().copied().zip(hits.iter().copied()));
    let seen = by_level.iter().filter(|c| c.exposed > 0).count();
    if seen < 2 {
        return None;
    }
    let all: Tally = by_level.iter().copied().sum();
    let (level, tail) = by_level
        .iter()
        .enumerate()
        .filter(|(_, c)| c.hits > 0)
        .map(|(level, c)| (level, c.at_least_of(all)))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let p_value = (tail * seen as f64).min(1.0);
    let (inside, outside) = (by_level[level], all - by_level[level]);
    (p_value <= LEVEL).then(|| LevelFound {
        level,
        inside,
        outside,
        p_value,
        explains: outside.at_least(background) > LEVEL,
    })
}

/// Which end of an abrasive's life.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AbrasiveEnd {
    /// The first panels on it.
    Fresh,
    /// The last panels on it.
    Worn,
}

/// How the hits follow an age.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct AgeFound {
    /// Mean age of the hits over the mean of all, in standard errors.
    pub z: f64,
    /// Mean age of hits.
    pub mean_of_hits: f64,
    /// Mean age of all exposed panels.
    pub mean_of_all: f64,
    /// Two-sided p.
    pub p_value: f64,
    /// Whether the half of the ages with fewer hits shows no more than the
    /// background.
    pub explains: bool,
}

impl AgeFound {
    /// The end of its life that has more hits.
    pub(crate) fn end(&self) -> AbrasiveEnd {
        if self.z > 0.0 {
            AbrasiveEnd::Worn
        } else {
            AbrasiveEnd::Fresh
        }
    }
}

/// z = (mean age of hits − mean) / (S √((1/K)(1 − K/n))), the mean of K drawn
/// without replacement from n; asked from eight hits on.
pub(crate) fn age(ages: &[Option<f64>], hits: &[bool], background: f64) -> Option<AgeFound> {
    let known: Vec<(f64, bool)> = ages
        .iter()
        .zip(hits)
        .filter_map(|(a, h)| Some(((*a)?, *h)))
        .collect();
    let n = known.len() as f64;
    let k = known.iter().filter(|(_, h)| *h).count();
    if k < 8 || k == known.len() {
        return None;
    }
    let mean = known.iter().map(|(a, _)| a).sum::<f64>() / n;
    let spread = (known.iter().map(|(a, _)| (a - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    if spread <= 0.0 {
        return None;
    }
    let hit_ages = known.iter().filter(|(_, h)| *h).map(|(a, _)| *a);
    let mean_of_hits = hit_ages.sum::<f64>() / k as f64;
    let z = (mean_of_hits - mean) / (spread * ((1.0 - k as f64 / n) / k as f64).sqrt());
    let p_value = normal::two_sided_p(z);
    if p_value > LEVEL {
        return None;
    }
    let mut sorted: Vec<f64> = known.iter().map(|(a, _)| *a).collect();
    sorted.sort_by(f64::total_cmp);
    let median = sorted[sorted.len() / 2];
    let fewer = known.iter().filter(|(a, _)| (*a < median) == (z > 0.0));
    let rest = Tally::of(fewer.map(|(_, hit)| *hit));
    Some(AgeFound {
        z,
        mean_of_hits,
        mean_of_all: mean,
        p_value,
        explains: rest.at_least(background) > LEVEL,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_level_that_holds_all_hits_explains_them() {
        // 4 levels of 10; 6 hits, all on level 2: tail C(10,6)/C(40,6) × 4.
        let levels: Vec<Option<usize>> = (0..40).map(|i| Some(i % 4)).collect();
        let hits: Vec<bool> = (0..40).map(|i| i % 4 == 2 && i < 24).collect();
        let found = level(&levels, &hits, 0.01).unwrap();
        assert_eq!(
            (found.level, found.inside.hits, found.outside.hits),
            (2, 6, 0)
        );
        assert_relative_eq!(
            found.p_value,
            4.0 * 210.0 / 3_838_380.0,
            max_relative = 1e-10
        );
        assert!(found.explains);
    }

    #[test]
    fn hits_on_all_levels_follow_none() {
        let levels: Vec<Option<usize>> = (0..40).map(|i| Some(i % 4)).collect();
        let hits: Vec<bool> = (0..40).map(|i| i % 3 == 0).collect();
        assert_eq!(level(&levels, &hits, 0.01), None);
        assert_eq!(level(&vec![Some(0); 40], &hits, 0.01), None);
        assert_eq!(level(&vec![None; 40], &hits, 0.01), None);
    }

    #[test]
    fn hits_on_worn_abrasive_follow_the_age() {
        // Ages 0…19 twice, hits on 15…19: mean 17 against 9.5 with S = 5.8394.
        let ages: Vec<Option<f64>> = (0..40).map(|i| Some(f64::from(i % 20))).collect();
        let hits: Vec<bool> = (0..40).map(|i| i % 20 >= 15).collect();
        let found = age(&ages, &hits, 0.01).unwrap();
        let s = (2.0 * 665.0 / 39.0_f64).sqrt();
        assert_relative_eq!(
            found.z,
            7.5 / (s * (0.1 * 0.75_f64).sqrt()),
            max_relative = 1e-12
        );
        assert!(found.explains);
        assert_eq!(age(&ages[..20], &hits[..20], 0.01), None, "five hits only");
    }
}
