//! The standard deviations that the records leave possible, with their shares.

use super::laplace::{Evaluation, Mode, Problem, Scales};

/// How far lots, days and the change's effect on lots usually differ, as
/// standard deviations of ln rate: scales of half-t priors for lots and days
/// (Gelman 2006, Bayesian Analysis 1, 515–533); the last is taken as it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::change) struct Usual {
    pub lot: f64,
    pub day: f64,
    pub lot_change: f64,
    /// Spread of panels; see [`super::family::Family`].
    pub spread: f64,
}

/// Steps of the standard deviations as multiples of the usual one: a factor of
/// 1.9 each.
const LADDER: [f64; 7] = [0.08, 0.15, 0.28, 0.53, 1.0, 1.9, 3.6];

/// Correlations of neighbouring days, equally likely beforehand.
const MEMORIES: [f64; 3] = [0.2, 0.6, 0.9];

/// Degrees of freedom of the priors: tails that let the records speak where units
/// differ more than usual.
const PRIOR_DEGREES: f64 = 4.0;

/// ln of the share, relative to the largest, below which a point is not
/// followed further.
const FAINT: f64 = -3.5;

/// Positions on the ladders: lot, day, memory.
type At = [usize; 3];

/// A point of the grid with its share; shares need not add up to 1.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Point {
    pub share: f64,
    pub scales: Scales,
    pub evaluation: Evaluation,
}

/// Ladders of one problem: what its records cannot show has one rung.
struct Ladders {
    sizes: At,
    usual: Usual,
}

impl Ladders {
    fn new(problem: &Problem, usual: Usual) -> Self {
        let rungs = |there: bool, n: usize| if there { n } else { 1 };
        let days = problem.days > 0;
        Self {
            sizes: [
                rungs(problem.lots > 0, LADDER.len()),
                rungs(days, LADDER.len()),
                rungs(problem.days > 1, MEMORIES.len()),
            ],
            usual,
        }
    }

    fn scales(&self, at: At) -> Scales {
        Scales {
            lot: self.usual.lot * LADDER[at[0]],
            day: self.usual.day * LADDER[at[1]],
            memory: MEMORIES[at[2]],
            lot_change: self.usual.lot_change,
        }
    }

    /// ln prior on the ladders: half-t densities, times the width of a rung, which
    /// grows with the rung.
    fn ln_prior(&self, at: At) -> f64 {
        let one = |k: usize| {
            if self.sizes[k] == 1 {
                return 0.0;
            }
            let multiple = LADDER[at[k]];
            let tail = (multiple * multiple / PRIOR_DEGREES).ln_1p();
            multiple.ln() - 0.5 * (PRIOR_DEGREES + 1.0) * tail
        };
        one(0) + one(1)
    }

    fn neighbours(&self, at: At) -> impl Iterator<Item = At> {
        let sizes = self.sizes;
        (0..at.len()).flat_map(move |k| {
            let mut both = Vec::with_capacity(2);
            for up in [false, true] {
                let mut next = at;
                if up && at[k] + 1 < sizes[k] {
                    next[k] += 1;
                    both.push(next);
                } else if !up && at[k] > 0 {
                    next[k] -= 1;
                    both.push(next);
                }
            }
            both
        })
    }

    fn index(&self, at: At) -> usize {
        at.iter()
            .zip(&self.sizes)
            .fold(0, |sum, (a, n)| sum * n + a)
    }

    fn middle(&self) -> At {
        self.sizes.map(|n| n / 2)
    }
}

/// All points of the grid that carry a share worth having: climbed to the
/// likeliest, then followed from neighbour to neighbour.
pub(super) fn points(problem: &Problem, usual: Usual) -> Vec<Point> {
    let ladders = Ladders::new(problem, usual);
    let count: usize = ladders.sizes.iter().product();
    let mut known: Vec<Option<Option<(f64, Evaluation)>>> = vec![None; count];
    let mut search = |at: At, from: &Mode| -> Option<(f64, Mode)> {
        let slot = &mut known[ladders.index(at)];
        let found = slot.get_or_insert_with(|| {
            let scales = ladders.scales(at);
            let found = problem.evaluate(&scales, from)?;
            let value = found.ln_evidence + ladders.ln_prior(at);
            Some((value, found))
        });
        found.as_ref().map(|(value, e)| {
            let mut mode = e.mode.clone();
            mode.spread = problem.better_spread(&mode).0;
            (*value, mode)
        })
    };
    let mut at = ladders.middle();
    let mut start = problem.start();
    // the spread first, at usual scales
    for _ in 0..4 {
        if let Some(found) = problem.evaluate(&ladders.scales(at), &start) {
            start = found.mode;
            start.spread = problem.better_spread(&start).0;
        }
    }
    let Some((mut best, mut mode)) = search(at, &start) else {
        return Vec::new();
    };
    while let Some((value, next, next_mode)) = ladders
        .neighbours(at)
        .filter_map(|n| search(n, &mode).map(|(v, m)| (v, n, m)))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .filter(|(v, ..)| *v > best)
    {
        (best, at, mode) = (value, next, next_mode);
    }
    let mut queue = vec![(at, mode)];
    let mut seen = vec![false; count];
    seen[ladders.index(at)] = true;
    let mut kept = Vec::new();
    while let Some((at, mode)) = queue.pop() {
        kept.push(at);
        for next in ladders.neighbours(at) {
            if std::mem::replace(&mut seen[ladders.index(next)], true) {
                continue;
            }
            if let Some((value, mode)) = search(next, &mode)
                && value > best + FAINT
            {
                best = best.max(value);
                queue.push((next, mode));
            }
        }
    }
    kept.sort_unstable();
    kept.into_iter()
        .filter_map(|at| {
            let (value, evaluation) = known[ladders.index(at)].take()??;
            Some(Point {
                share: (value - best).exp(),
                scales: ladders.scales(at),
                evaluation,
            })
        })
        .collect()
}
