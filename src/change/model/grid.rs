//! The standard deviations that the records leave possible, with their shares.

use super::laplace::{Evaluation, Mode, Problem, Scales};

/// How far lots, days and the change's effect on lots usually differ, as
/// standard deviations of ln rate. Lots have a half-t prior of this scale (Gelman
/// 2006, Bayesian Analysis 1, 515–533). Days are all alike or differ, and then by
/// about this. The change's effect on lots is taken as it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::change) struct Usual {
    pub lot: f64,
    pub day: f64,
    pub lot_change: f64,
    /// Spread of panels; see [`super::family::Family`].
    pub spread: f64,
}

/// Steps of the lots' standard deviation as multiples of the usual one: a factor
/// of 1.9 each.
const LOTS: [f64; 7] = [0.08, 0.15, 0.28, 0.53, 1.0, 1.9, 3.6];

/// Degrees of freedom of the lots' prior: tails that let the records speak where
/// lots differ more than usual.
const LOT_DEGREES: f64 = 4.0;

/// Steps of the days' standard deviation where days differ, as multiples of the
/// usual one: a factor of 1.6 each.
const DAYS: [f64; 5] = [0.5, 0.8, 1.28, 2.05, 3.3];

/// As if so many days had been seen to differ by the usual standard deviation: a
/// scaled inverse chi-squared law of the variance. It leaves next to nothing near
/// zero, so that days which look alike soon count as alike (Johnson & Rossell
/// 2010, J. R. Stat. Soc. B 72, 143–170).
const DAY_DEGREES: f64 = 3.0;

/// Chance, beforehand, that days are all alike. Where a prior rose from zero
/// without such a share, intervals of calm shops of 480 panels held the truth in
/// 998 of 1000 and were a third wider.
const ALIKE: f64 = 0.4;

/// What days differ by where they are alike, as a multiple of the usual: the
/// equations need more than zero.
const NEXT_TO_NOTHING: f64 = 0.05;

/// Correlations of neighbouring days where days differ, equally likely beforehand.
const MEMORIES: [f64; 3] = [0.5, 0.75, 0.9];

/// Where old and new take turns by whole days, days that resemble their neighbours
/// would speak for the change's being well known: there they are taken as independent,
/// which is the cautious side of it as memory is elsewhere. With memory, alternating
/// days that differ by 70 % were called helped or hurt in one run of five where
/// nothing was changed.
const NO_MEMORY: [f64; 1] = [0.0];
/// Share of a day's panels from which it counts as wholly on one side.
const WHOLE: f64 = 0.9;
/// Share of neighbouring days on different sides from which they take turns.
const IN_TURNS: f64 = 1.0 / 3.0;

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

/// Ladders of one problem, with days that are all alike or that differ: what its
/// records cannot show has one rung.
struct Ladders {
    usual: Usual,
    lots: &'static [f64],
    days: &'static [f64],
    memories: &'static [f64],
    /// Chance of such days beforehand.
    chance: f64,
}

impl Ladders {
    fn new(problem: &Problem, usual: Usual) -> Vec<Self> {
        let lots = if problem.lots > 0 {
            &LOTS[..]
        } else {
            &LOTS[..1]
        };
        let alike = Self {
            usual,
            lots,
            days: &[NEXT_TO_NOTHING],
            memories: &[0.0],
            chance: ALIKE,
        };
        if problem.days < 2 {
            return vec![alike];
        }
        let differ = Self {
            days: &DAYS,
            memories: if days_in_turns(problem) {
                &NO_MEMORY
            } else {
                &MEMORIES
            },
            chance: 1.0 - ALIKE,
            ..alike
        };
        vec![alike, differ]
    }

    fn sizes(&self) -> At {
        [self.lots.len(), self.days.len(), self.memories.len()]
    }

    fn scales(&self, at: At) -> Scales {
        Scales {
            lot: self.usual.lot * self.lots[at[0]],
            day: self.usual.day * self.days[at[1]],
            memory: self.memories[at[2]],
            lot_change: self.usual.lot_change,
        }
    }

    /// ln prior on the ladders: densities, times the width of a rung, which grows
    /// with the rung.
    fn ln_prior(&self, at: At) -> f64 {
        let lot = |multiple: f64| {
            let tail = (multiple * multiple / LOT_DEGREES).ln_1p();
            multiple.ln() - 0.5 * (LOT_DEGREES + 1.0) * tail
        };
        let day = |multiple: f64| -DAY_DEGREES * (multiple.ln() + 0.5 / (multiple * multiple));
        let days: f64 = self.days.iter().map(|m| day(*m).exp()).sum();
        lot(self.lots[at[0]]) + day(self.days[at[1]]) - days.ln()
            + (self.chance / self.memories.len() as f64).ln()
    }

    fn neighbours(&self, at: At) -> impl Iterator<Item = At> {
        let sizes = self.sizes();
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
            .zip(self.sizes())
            .fold(0, |sum, (a, n)| sum * n + a)
    }

    fn middle(&self) -> At {
        self.sizes().map(|n| n / 2)
    }

    /// Points with the ln of their share: climbed to the likeliest, then followed
    /// from neighbour to neighbour.
    fn points(&self, problem: &Problem) -> Vec<Point> {
        let count: usize = self.sizes().iter().product();
        let mut known: Vec<Option<Option<(f64, Evaluation)>>> = vec![None; count];
        let mut search = |at: At, from: &Mode| -> Option<(f64, Mode)> {
            let slot = &mut known[self.index(at)];
            let found = slot.get_or_insert_with(|| {
                let scales = self.scales(at);
                let found = problem.evaluate(&scales, from)?;
                let value = found.ln_evidence + self.ln_prior(at);
                Some((value, found))
            });
            found.as_ref().map(|(value, e)| {
                let mut mode = e.mode.clone();
                mode.spread = problem.better_spread(&mode).0;
                (*value, mode)
            })
        };
        let mut at = self.middle();
        let mut start = problem.start();
        // the spread first, at usual scales
        for _ in 0..4 {
            if let Some(found) = problem.evaluate(&self.scales(at), &start) {
                start = found.mode;
                start.spread = problem.better_spread(&start).0;
            }
        }
        let Some((mut best, mut mode)) = search(at, &start) else {
            return Vec::new();
        };
        while let Some((value, next, next_mode)) = self
            .neighbours(at)
            .filter_map(|n| search(n, &mode).map(|(v, m)| (v, n, m)))
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .filter(|(v, ..)| *v > best)
        {
            (best, at, mode) = (value, next, next_mode);
        }
        let mut queue = vec![(at, mode)];
        let mut seen = vec![false; count];
        seen[self.index(at)] = true;
        let mut kept = Vec::new();
        while let Some((at, mode)) = queue.pop() {
            kept.push(at);
            for next in self.neighbours(at) {
                if std::mem::replace(&mut seen[self.index(next)], true) {
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
                let (value, evaluation) = known[self.index(at)].take()??;
                Some(Point {
                    share: value,
                    scales: self.scales(at),
                    evaluation,
                })
            })
            .collect()
    }
}

/// Whether old and new take turns by whole days.
fn days_in_turns(problem: &Problem) -> bool {
    let mut panels = vec![[0.0; 2]; problem.days];
    for cell in &problem.cells {
        if let Some(day) = cell.day {
            panels[day][usize::from(cell.after)] += cell.panels;
        }
    }
    let side = |[before, after]: &[f64; 2]| {
        let all = before + after;
        (before.max(*after) >= WHOLE * all).then_some(after > before)
    };
    let sides: Vec<Option<bool>> = (panels.iter())
        .filter(|p| p[0] + p[1] > 0.0)
        .map(side)
        .collect();
    let apart = |w: &&[Option<bool>]| w[0].is_some() && w[1].is_some() && w[0] != w[1];
    let turns = sides.windows(2).filter(apart).count();
    turns >= 2 && turns as f64 >= IN_TURNS * (sides.len() - 1) as f64
}

/// All points of the grid that carry a share worth having, relative to the largest,
/// and ln of the evidence of all of them.
pub(super) fn points(problem: &Problem, usual: Usual) -> (Vec<Point>, f64) {
    let ladders = Ladders::new(problem, usual);
    let mut points: Vec<Point> = ladders.iter().flat_map(|l| l.points(problem)).collect();
    let best = points
        .iter()
        .map(|p| p.share)
        .fold(f64::NEG_INFINITY, f64::max);
    for point in &mut points {
        point.share = (point.share - best).exp();
    }
    let all: f64 = points.iter().map(|p| p.share).sum();
    (points, best + all.ln())
}
