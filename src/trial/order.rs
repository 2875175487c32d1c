//! The order of the runs: lots, stretches of one abrasive, chance, centre runs.

use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

/// A run before it has its place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Point {
    /// Coded settings.
    pub coded: Vec<f64>,
    /// Lot, from 0.
    pub lot: usize,
    /// Whether it is a centre run.
    pub centre: bool,
}

/// Runs of a level at least before its stretch is parted in two.
const PART_FROM: usize = 4;

/// Puts the runs in order: lot by lot, within a lot in stretches of one setting
/// of the factor that is hard to change (`hard`), within these by chance; so many
/// centre runs a lot spread evenly, the first and the last of the lot among them,
/// each at the setting of the stretch it falls in. Also says how often the hard
/// factor changes.
pub(super) fn order(
    points: &[Point],
    lots: usize,
    hard: Option<usize>,
    centre: Option<(&[f64], usize)>,
    rng: &mut ChaCha8Rng,
) -> (Vec<Point>, usize) {
    let mut out: Vec<Point> = Vec::new();
    for lot in 0..lots {
        let mut own: Vec<Point> = points.iter().filter(|p| p.lot == lot).cloned().collect();
        own.shuffle(rng);
        if let Some(at) = hard {
            own = stretches(own, at, lots == 1, rng);
        }
        if let Some((settings, count)) = centre {
            own = with_centres(&own, settings, count, hard, lot);
        }
        out.extend(own);
    }
    let changes = hard.map_or(0, |at| {
        out.windows(2)
            .filter(|w| w[0].coded[at] != w[1].coded[at])
            .count()
    });
    (out, changes)
}

/// Runs of one level of a factor together; each level twice where there is one
/// lot only and runs enough, so that stretches can be compared with each other.
fn stretches(own: Vec<Point>, at: usize, only_lot: bool, rng: &mut ChaCha8Rng) -> Vec<Point> {
    let mut levels: Vec<f64> = own.iter().map(|p| p.coded[at]).collect();
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    levels.shuffle(rng);
    let of = |level: f64| -> Vec<Point> {
        own.iter()
            .filter(|p| p.coded[at] == level)
            .cloned()
            .collect()
    };
    let twice = only_lot && levels.iter().all(|level| of(*level).len() >= PART_FROM);
    if !twice {
        return levels.into_iter().flat_map(of).collect();
    }
    let (mut first, mut second) = (Vec::new(), Vec::new());
    for level in levels {
        let mut runs = of(level);
        let rest = runs.split_off(runs.len() / 2);
        first.extend(runs);
        second.extend(rest);
    }
    first.extend(second);
    first
}

fn with_centres(
    own: &[Point],
    settings: &[f64],
    count: usize,
    hard: Option<usize>,
    lot: usize,
) -> Vec<Point> {
    let mut out = Vec::with_capacity(own.len() + count);
    let mut placed = 0;
    // The k-th centre run comes before the run number …
    let place = |k: usize| match count {
        1 => own.len() / 2,
        _ => k * own.len() / (count - 1),
    };
    for at in 0..=own.len() {
        while placed < count && place(placed) == at {
            let mut coded = settings.to_vec();
            let beside = own.get(at.min(own.len().saturating_sub(1)));
            if let (Some(hard), Some(beside)) = (hard, beside) {
                coded[hard] = beside.coded[hard];
            }
            out.push(Point {
                coded,
                lot,
                centre: true,
            });
            placed += 1;
        }
        out.extend(own.get(at).cloned());
    }
    out
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;

    use super::*;

    fn points(lots: usize) -> Vec<Point> {
        (0..16)
            .map(|i| Point {
                coded: vec![if i % 2 == 0 { -1.0 } else { 1.0 }, f64::from(i)],
                lot: i as usize / 2 % lots,
                centre: false,
            })
            .collect()
    }

    #[test]
    fn centre_runs_are_first_last_and_evenly_between_at_the_setting_of_their_stretch() {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let middle = [0.0, 0.0];
        let (ordered, changes) = order(&points(1), 1, Some(0), Some((&middle, 3)), &mut rng);
        let centres: Vec<usize> = (0..ordered.len()).filter(|i| ordered[*i].centre).collect();
        assert_eq!(centres, [0, 9, 18]);
        assert_eq!(changes, 3, "two stretches of each level, by turns");
        assert!(ordered.iter().all(|p| p.coded[0] != 0.0));
    }

    #[test]
    fn every_lot_has_its_own_runs_together() {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let (ordered, changes) = order(&points(2), 2, Some(0), None, &mut rng);
        let lots: Vec<usize> = ordered.iter().map(|p| p.lot).collect();
        assert!(lots.is_sorted());
        assert!(changes <= 3, "once a lot, and perhaps between lots");
    }
}
