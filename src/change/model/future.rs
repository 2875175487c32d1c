//! How well a comparison that goes on would tell the ratio: the information that
//! the fitted model expects from more lots and days of the same kind.

use super::Fit;
use super::grid::Point;
use super::laplace::{Cell, Problem, Scales};

/// Multiples of the present panels for which the information is worked out;
/// between and beyond them it is carried on.
const TIMES: [usize; 3] = [1, 2, 4];

/// Largest number of days for which it is: more cost more than they tell.
const MOST_DAYS: usize = 160;

/// Sets of scales that stand for all that the records leave possible.
const SETS: usize = 5;

/// Steepest and flattest fall of the variance with the number of panels, on
/// logarithmic scales.
const FALL: (f64, f64) = (-1.0, -0.4);

/// How the panels to come are shared between the sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::change) enum Course {
    /// As they were.
    Same,
    /// Old and new by turns inside every lot and day.
    Alternating,
}

/// Variance of ln ratio over panels to come, for one set of scales.
#[derive(Debug, Clone, PartialEq)]
struct Expected {
    share: f64,
    /// ln variance at `TIMES`, as far as worked out; not empty.
    ln_variance: Vec<f64>,
}

impl Expected {
    fn variance(&self, times: f64) -> f64 {
        let ln = times.ln();
        let known = &self.ln_variance;
        let at = |k: usize| (TIMES[k] as f64).ln();
        let slope =
            |k: usize| ((known[k + 1] - known[k]) / (at(k + 1) - at(k))).clamp(FALL.0, FALL.1);
        let last = known.len() - 1;
        if last == 0 {
            return (known[0] - ln).exp();
        }
        let k = (0..last).rev().find(|k| ln >= at(*k)).unwrap_or(0);
        (known[k] + slope(k) * (ln - at(k))).exp()
    }
}

/// A comparison that goes on.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::change) struct Future {
    sets: Vec<Expected>,
    /// Shares of the variance that would go if days, or lots, were all alike.
    pub days_share: f64,
    pub lots_share: f64,
}

impl Future {
    /// Variances of ln ratio with `times` as many panels, lots and days, each with
    /// the share in which it is expected.
    pub(in crate::change) fn variances(&self, times: f64) -> Vec<(f64, f64)> {
        self.sets
            .iter()
            .map(|s| (s.share, s.variance(times)))
            .collect()
    }
}

impl Fit {
    /// What `course` would tell if ln ratio were `ln_ratio` in truth; none where
    /// the equations fail.
    pub(in crate::change) fn future(&self, course: Course, ln_ratio: f64) -> Option<Future> {
        let seen = self.law.mean();
        let sets = representative(&self.points);
        let single = single_change(&self.problem.cells);
        let expected = |point: &Point, times: usize, scales: &Scales| {
            let mode = &point.evaluation.mode;
            let (cells, means): (Vec<Cell>, Vec<f64>) =
                repeated(&self.problem, course, times, single)
                    .map(|(cell, from)| {
                        let own = self.problem.ln_mean(mode, &from);
                        // as it would be on the side it will be on
                        let moved = match (from.after, cell.after) {
                            (false, true) => ln_ratio,
                            (true, true) => ln_ratio - seen,
                            (true, false) => -seen,
                            (false, false) => 0.0,
                        };
                        (cell, own + moved)
                    })
                    .unzip();
            let problem = Problem::new(
                self.problem.family,
                cells,
                self.problem.patterns.clone(),
                Vec::new(),
                self.problem.usual_spread,
                self.problem.beside,
            );
            problem.expected_variance(scales, mode.spread, &means)
        };
        let mut out = Vec::with_capacity(sets.len());
        for (share, point) in &sets {
            let mut ln_variance = Vec::with_capacity(TIMES.len());
            for times in TIMES {
                if times > 1 && times * self.problem.days > MOST_DAYS {
                    break;
                }
                ln_variance.push(expected(point, times, &point.scales)?.ln());
            }
            out.push(Expected {
                share: *share,
                ln_variance,
            });
        }
        let (_, middle) = sets.get(sets.len() / 2)?;
        let all = expected(middle, 1, &middle.scales)?;
        let without = |lot: f64, day: f64| {
            let scales = Scales {
                lot: middle.scales.lot * lot,
                lot_change: middle.scales.lot_change * lot,
                day: middle.scales.day * day,
                ..middle.scales
            };
            expected(middle, 1, &scales).map_or(0.0, |v| 1.0 - v / all)
        };
        const NONE: f64 = 1e-3;
        Some(Future {
            sets: out,
            days_share: without(1.0, NONE),
            lots_share: without(NONE, 1.0),
        })
    }

    /// Lots and days that the fit rests on; no lots where not recorded.
    pub(in crate::change) fn rests_on(&self) -> (Option<usize>, usize) {
        let lots = self.problem.lots;
        ((lots > 0).then_some(lots), self.problem.days)
    }
}

/// Points at equal steps of the share, in the order of their variance.
fn representative(points: &[Point]) -> Vec<(f64, &Point)> {
    let mut order: Vec<&Point> = points.iter().collect();
    order.sort_by(|a, b| a.evaluation.variance.total_cmp(&b.evaluation.variance));
    let all: f64 = order.iter().map(|p| p.share).sum();
    let mut sum = 0.0;
    let mut next = 0;
    let mut out = Vec::with_capacity(SETS);
    for point in order {
        sum += point.share / all;
        while next < SETS && sum >= (next as f64 + 0.5) / SETS as f64 {
            out.push((1.0 / SETS as f64, point));
            next += 1;
        }
    }
    out
}

/// Whether every day before the change lies before every day after it, a shared
/// day of the change aside.
fn single_change(cells: &[Cell]) -> bool {
    let last_before = cells
        .iter()
        .filter(|c| !c.after)
        .filter_map(|c| c.day)
        .max();
    let first_after = cells.iter().filter(|c| c.after).filter_map(|c| c.day).min();
    match (last_before, first_after) {
        (Some(before), Some(after)) => before <= after,
        _ => false,
    }
}

/// The cells `times` over with lots and days of their own, and the cell that each
/// comes from. A single change stays one: all days before, then all days after.
fn repeated(
    problem: &Problem,
    course: Course,
    times: usize,
    single: bool,
) -> impl Iterator<Item = (Cell, Cell)> {
    let (days, lots) = (problem.days, problem.lots);
    let first_after = problem
        .cells
        .iter()
        .filter(|c| c.after)
        .filter_map(|c| c.day)
        .min()
        .unwrap_or(days);
    let day_of = move |day: usize, copy: usize| {
        if !single || course == Course::Alternating {
            copy * days + day
        } else if day < first_after {
            copy * first_after + day
        } else {
            times * first_after + copy * (days - first_after) + day - first_after
        }
    };
    let sides = move |cell: &Cell| match course {
        Course::Same => vec![*cell],
        Course::Alternating => [false, true]
            .map(|after| Cell {
                panels: cell.panels / 2.0,
                after,
                moved: f64::from(u8::from(after)),
                ..*cell
            })
            .to_vec(),
    };
    (0..times).flat_map(move |copy| {
        problem.cells.iter().flat_map(move |from| {
            sides(from).into_iter().map(move |cell| {
                let moved = Cell {
                    lot: cell.lot.map(|l| copy * lots + l),
                    day: cell.day.map(|d| day_of(d, copy)),
                    ..cell
                };
                (moved, *from)
            })
        })
    })
}

#[cfg(test)]
mod tests {
    use super::super::{Family, Moved, Usual, fit};
    use super::*;
    use crate::change::Side;
    use crate::change::items::Item;

    /// Ten days, the change half-way: whatever the course, twice as many panels come
    /// from twice as many days.
    #[test]
    fn a_comparison_that_goes_on_has_the_panels_that_it_is_asked_for() {
        let item = |k: usize| Item {
            alike: None,
            stream: 0,
            pattern: 0,
            lot: None,
            day: Some(k / 8),
            side: if k < 40 { Side::Before } else { Side::After },
            value: [1.0, 3.0][k % 2],
            exposure: 1.0,
        };
        let items: Vec<Item> = (0..80).map(item).collect();
        let usual = Usual {
            lot: 1.0,
            day: 0.4,
            lot_change: 0.05,
            spread: 0.4,
        };
        let fit = fit(&items, &[Vec::new()], Family::Counts, usual, Moved::Change).unwrap();
        for course in [Course::Same, Course::Alternating] {
            let all: Vec<Cell> = repeated(&fit.problem, course, 2, true)
                .map(|c| c.0)
                .collect();
            let panels: f64 = all.iter().map(|c| c.panels).sum();
            assert!((panels - 160.0).abs() < 1e-9, "{course:?}: {panels}");
            let after: f64 = all.iter().filter(|c| c.after).map(|c| c.panels).sum();
            assert!((after - 80.0).abs() < 1e-9, "{course:?}: {after}");
            let days: std::collections::BTreeSet<_> = all.iter().map(|c| c.day).collect();
            assert_eq!(days.len(), 20);
        }
    }
}
