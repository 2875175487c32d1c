//! Do the levels of a contender differ at all?

use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

use super::{Contender, Response, in_order};

/// Exchanges drawn.
const DRAWS: usize = 999;

/// p of "no level differs": what units show is dealt out anew among the units of
/// their block, and Σ (what a level shows)² / (its panels) compared. A unit has the
/// level of its first panel. None where there are not two levels.
///
/// p = (1 + as many) / (1 + draws) (Fisher's analysis of variance by randomisation;
/// Edgington and Onghena 2007, Randomization Tests, chapter 4; from memory).
pub(crate) fn levels_differ(response: &Response, contender: &Contender) -> Option<f64> {
    let classes = contender.classes();
    let blocks = in_order(contender.blocks.iter().copied());
    let units = in_order(blocks.iter().zip(contender.units.iter()));
    let mut mean = vec![(0.0, 0.0); blocks.iter().max()? + 1];
    for (at, block) in blocks.iter().enumerate() {
        mean[*block].0 += response.value[at];
        mean[*block].1 += response.expected[at];
    }
    // Block, level, what it shows beyond its block, and panels of every unit.
    let mut all: Vec<(usize, usize, f64, f64)> = Vec::new();
    for (at, unit) in units.iter().enumerate() {
        let (value, expected) = mean[blocks[at]];
        let usual = response.expected[at] * value / expected.max(f64::MIN_POSITIVE);
        if *unit == all.len() {
            all.push((blocks[at], classes[at], 0.0, 0.0));
        }
        all[*unit].2 += response.value[at] - usual;
        all[*unit].3 += 1.0;
    }
    all.sort_by_key(|u| u.0);
    let levels: Vec<usize> = all.iter().map(|u| u.1).collect();
    let count = levels.iter().max()? + 1;
    if levels.iter().all(|l| *l == levels[0]) {
        return None;
    }
    let statistic = |all: &[(usize, usize, f64, f64)]| -> f64 {
        let mut sums = vec![(0.0, 0.0); count];
        for (level, unit) in levels.iter().zip(all) {
            sums[*level].0 += unit.2;
            sums[*level].1 += unit.3;
        }
        let of = |s: &(f64, f64)| s.0 * s.0 / f64::max(s.1, 1.0);
        sums.iter().map(of).sum()
    };
    let observed = statistic(&all) * (1.0 - 1e-12);
    let mut rng = ChaCha8Rng::seed_from_u64(0);
    let as_many = (0..DRAWS).filter(|_| {
        for block in all.chunk_by_mut(|a, b| a.0 == b.0) {
            block.shuffle(&mut rng);
        }
        statistic(&all) >= observed
    });
    Some((1 + as_many.count()) as f64 / (1 + DRAWS) as f64)
}

#[cfg(test)]
mod tests {
    use super::super::{Given, Toward};
    use super::*;

    fn of(levels: &[usize], value: &[f64]) -> f64 {
        let response = Response {
            value: value.to_vec(),
            expected: vec![1.0; value.len()],
        };
        let contender = Contender {
            given: Given::Levels(levels.iter().map(|l| Some(*l)).collect(), 3),
            units: (0..levels.len()).collect(),
            blocks: vec![0; levels.len()].into(),
            toward: Toward::Rises,
            by_neighbours: false,
        };
        levels_differ(&response, &contender).unwrap()
    }

    /// Three levels of two units, each its own value: 6 of the 90 ways of dealing
    /// pairs give each level equal ones, counted by hand: 3! / (6! / 2³) = 1/15.
    #[test]
    fn levels_that_each_show_their_own_are_as_rare_as_counted_by_hand() {
        let p = of(&[0, 0, 1, 1, 2, 2], &[0.0, 0.0, 3.0, 3.0, 9.0, 9.0]);
        assert!(
            (p - 1.0 / 15.0).abs() < 4.0 * (1.0 / 15.0 / 999.0_f64).sqrt(),
            "{p}"
        );
        assert!(of(&[0, 1, 2, 0, 1, 2], &[1.0; 6]) > 0.99);
    }

    /// What units show beyond the mean of 10: 3, −3, 1, 1, −1, −1, a level of one unit
    /// each and one of four. Σ S²/n is 18, and only 3 and −3 alone reach it: 2 of 30.
    #[test]
    fn a_level_of_many_units_counts_by_what_each_shows() {
        let p = of(&[0, 1, 2, 2, 2, 2], &[13.0, 7.0, 11.0, 11.0, 9.0, 9.0]);
        let expected = 2.0 / 30.0;
        assert!(
            (p - expected).abs() < 4.0 * (expected / 999.0_f64).sqrt(),
            "{p}"
        );
    }
}
