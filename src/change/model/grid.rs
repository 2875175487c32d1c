//! The standard deviations that the records leave possible, with their shares.

use super::laplace::Evaluation;
use super::problem::{Mode, Moved, Problem, Scales};

/// How far lots, days and the change's effect on lots usually differ, as
/// standard deviations of ln rate. Lots have a half-t prior of this scale (Gelman
/// 2006, Bayesian Analysis 1, 515–533). Days are all alike or differ, and then by
/// about this. The change's effect on lots is taken as it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::change) struct Usual {
    pub lot: f64,
    pub day: f64,
    /// Chance that days are all alike. Where a prior of how far they differ rose from
    /// zero without such a share, intervals of calm shops of 480 panels held the truth
    /// in 998 of 1000 and were a third wider.
    pub alike: f64,
    pub lot_change: f64,
    /// Spread of panels; see [`super::family::Family`].
    pub spread: f64,
    /// Of a trend over the whole run, where there is one.
    pub trend: f64,
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

/// Correlations of neighbouring days where they differ, equally likely beforehand.
/// Where whole stretches of days are on one side, what neighbours share does not
/// cancel: few days hardly show it, so it counts as there. Where the side mostly
/// changes from one day to the next it does cancel, and hardly counts as there.
const IN_TURN: &[f64] = &[0.5, 0.75, 0.9];
const BY_TURNS: &[f64] = &[0.0, 0.4];

/// Largest chance, beforehand, that days are all alike where the side changes from
/// one to the next, so that days that differ are what it is judged by.
const ALIKE_BY_TURNS: f64 = 0.3;

/// What days differ by where they are alike, as a multiple of the usual: the
/// equations need more than zero.
const NEXT_TO_NOTHING: f64 = 0.05;

/// Steps of the trend's standard deviation as multiples of the usual one: next to
/// none, or about that; and the chance, beforehand, that there is one.
const TRENDS: [f64; 2] = [0.02, 1.0];
const TREND_CHANCE: f64 = 0.35;

/// Chances, beforehand, that a change was made after a bad spell, and that the rate
/// stepped some time beside the change, each shared by the stretches looked at.
const SPELL_CHANCE: f64 = 0.2;
const STEP_CHANCE: f64 = 0.06;

/// ln of the share, relative to the largest, below which a point is left out.
const LEAST: f64 = -6.0;

/// ln odds from which what moved is followed over all scales and not looked at beside
/// the likeliest alone.
const LIKELY: f64 = -1.5;

/// ln of the share, relative to the largest, below which a point is not
/// followed further.
const FAINT: f64 = -3.5;

/// Positions on the ladders: lot, day, memory, trend.
type At = [usize; 4];

/// A point of the grid with its share; shares need not add up to 1.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Point {
    pub share: f64,
    pub scales: Scales,
    /// What moved beside the change.
    pub moved: Moved,
    pub evaluation: Evaluation,
}

/// Ladders of one problem, with days that are all alike or that differ: what its
/// records cannot show has one rung.
struct Ladders {
    usual: Usual,
    lots: &'static [f64],
    days: &'static [f64],
    memories: &'static [f64],
    trends: &'static [f64],
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
        let (all_alike, memories) = if by_turns(problem) {
            (usual.alike.min(ALIKE_BY_TURNS), BY_TURNS)
        } else {
            (usual.alike, IN_TURN)
        };
        let alike = Self {
            usual,
            lots,
            days: &[NEXT_TO_NOTHING],
            memories: &[0.0],
            trends: if problem.cells.iter().any(|c| c.run != 0.0) {
                &TRENDS
            } else {
                &TRENDS[..1]
            },
            chance: all_alike,
        };
        if problem.days < 2 {
            return vec![alike];
        }
        let differ = Self {
            days: &DAYS,
            memories,
            chance: 1.0 - all_alike,
            ..alike
        };
        vec![alike, differ]
    }

    fn sizes(&self) -> At {
        [
            self.lots.len(),
            self.days.len(),
            self.memories.len(),
            self.trends.len(),
        ]
    }

    fn scales(&self, at: At) -> Scales {
        Scales {
            lot: self.usual.lot * self.lots[at[0]],
            day: self.usual.day * knob("DAY", 1.0) * self.days[at[1]],
            memory: self.memories[at[2]],
            lot_change: self.usual.lot_change,
            trend: self.usual.trend * knob("TREND_SD", 1.0) * self.trends[at[3]],
        }
    }

    /// ln prior on the ladders: densities, times the width of a rung, which grows
    /// with the rung.
    fn ln_prior(&self, at: At) -> f64 {
        let lot = |multiple: f64| {
            let tail = (multiple * multiple / LOT_DEGREES).ln_1p();
            multiple.ln() - 0.5 * (LOT_DEGREES + 1.0) * tail
        };
        let day = |multiple: f64| {
            -knob("DAY_DEGREES", DAY_DEGREES) * (multiple.ln() + 0.5 / (multiple * multiple))
        };
        let days: f64 = self.days.iter().map(|m| day(*m).exp()).sum();
        lot(self.lots[at[0]]) + day(self.days[at[1]]) - days.ln()
            + (self.chance / self.memories.len() as f64).ln()
            + self.ln_chance_of_trend(at[3])
    }

    fn ln_chance_of_trend(&self, at: usize) -> f64 {
        match (self.trends.len(), at) {
            (1, _) => 0.0,
            (_, 0) => (1.0 - knob("TREND_CHANCE", TREND_CHANCE)).ln(),
            _ => knob("TREND_CHANCE", TREND_CHANCE).ln(),
        }
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
        let [lot, day, memory, _] = self.sizes().map(|n| n / 2);
        [lot, day, memory, 0]
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
                    moved: problem.moved,
                    evaluation,
                })
            })
            .collect()
    }
}

/// Whether the side mostly changes from one day to the next.
fn by_turns(problem: &Problem) -> bool {
    let mut panels = vec![[0.0; 2]; problem.days];
    for cell in &problem.cells {
        if let Some(day) = cell.day {
            panels[day][usize::from(cell.after)] += cell.panels;
        }
    }
    let after: Vec<f64> = panels.iter().map(|[b, a]| a / (a + b)).collect();
    let changes: f64 = after.windows(2).map(|w| (w[1] - w[0]).abs()).sum();
    changes > 1.0 && 2.0 * changes > after.len() as f64 - 1.0
}

/// What the records leave possible.
pub(super) struct Possible {
    /// Points of the grid that carry a share worth having, relative to the largest.
    pub points: Vec<Point>,
    /// ln ratio at the likeliest point at which nothing moved beside the change.
    pub plain: f64,
}

/// All that the records leave possible: that nothing moved beside the change, that a
/// bad spell went before, or that the rate stepped some time before or after; none
/// where the equations fail.
pub(super) fn possible(problem: &Problem, usual: Usual) -> Option<Possible> {
    let moves = moves(problem);
    let unmoved = 1.0 - moves.iter().map(|(_, chance)| chance).sum::<f64>();
    let mut points = followed(problem, usual);
    for point in &mut points {
        point.share += unmoved.ln();
    }
    let near = points.iter().max_by(|a, b| a.share.total_cmp(&b.share))?;
    let near = near.clone();
    let mut best = near.share;
    for (moved, chance) in moves {
        let moved = problem.with(moved);
        let Some(quick) = moved.evaluate(&near.scales, &near.evaluation.mode) else {
            continue;
        };
        let odds = quick.ln_evidence - near.evaluation.ln_evidence + (chance / unmoved).ln();
        if near.share + odds < best + LEAST {
            continue;
        }
        if odds < LIKELY {
            // as likely beside every point as beside the likeliest
            let beside = points.iter().filter(|p| p.moved == Moved::Nothing);
            let share = beside.map(|p| (p.share - near.share).exp()).sum::<f64>();
            points.push(Point {
                share: near.share + odds + share.ln(),
                moved: moved.moved,
                evaluation: quick,
                ..near
            });
            continue;
        }
        for mut point in followed(&moved, usual) {
            point.share += chance.ln();
            best = best.max(point.share);
            points.push(point);
        }
    }
    points.retain(|p| p.share > best + LEAST);
    for point in &mut points {
        point.share = (point.share - best).exp();
    }
    Some(Possible {
        points,
        plain: near.evaluation.estimate,
    })
}

/// What may have moved beside the change, each with its chance beforehand.
fn moves(problem: &Problem) -> Vec<(Moved, f64)> {
    let stretches = || problem.cells.iter().map(|c| c.stretch);
    let before = stretches().max().unwrap_or(0).max(0);
    let after = -stretches().min().unwrap_or(0).min(0);
    let share = |all: f64, among: i32| all / f64::from(among);
    let spells = (1..=before).map(|k| {
        (
            Moved::Spell(k),
            share(knob("SPELL_CHANCE", SPELL_CHANCE), before),
        )
    });
    let step = share(knob("STEP_CHANCE", STEP_CHANCE), before + after);
    let early = (1..=before).map(|k| (Moved::Before(k), step));
    let late = (1..=after).map(|k| (Moved::After(k), step));
    spells.chain(early).chain(late).collect()
}

/// Points of all ladders.
fn followed(problem: &Problem, usual: Usual) -> Vec<Point> {
    let ladders = Ladders::new(problem, usual);
    ladders.iter().flat_map(|l| l.points(problem)).collect()
}

/// TUNING
pub(super) fn knob(name: &str, default: f64) -> f64 {
    use std::collections::HashMap;
    use std::sync::{Mutex, OnceLock};
    static KNOWN: OnceLock<Mutex<HashMap<String, f64>>> = OnceLock::new();
    let mut known = KNOWN.get_or_init(Default::default).lock().unwrap();
    *known
        .entry(name.to_owned())
        .or_insert_with(|| std::env::var(name).map_or(default, |v| v.parse().unwrap()))
}
