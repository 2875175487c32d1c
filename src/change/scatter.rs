//! What leaving out a panel, a run, a day or a lot does to a stratified ratio.

use std::collections::BTreeMap;

use super::days::DayCount;
use super::items::Item;
use super::strata::{Cell, information, parts};
use super::{Side, Unit};

/// Fewest lots or runs on both sides together, and on each side, before their
/// scatter can be taken from the records. Two days are enough: what they don't
/// tell of days, the usual spread of days stands for.
const FEWEST_UNITS: usize = 4;
const FEWEST_UNITS_A_SIDE: usize = 2;

/// What the scatter of a unit is taken from; see [`super::ratio::StratifiedRatio`].
pub(super) struct Fit<'a> {
    /// Panels of strata that carry both sides.
    pub items: &'a [Item],
    /// Cells of all strata.
    pub cells: &'a [Cell],
    /// Their weights.
    pub weights: &'a [f64],
    /// A, B and C of the ratio.
    pub a: f64,
    pub b: f64,
    pub c: f64,
}

/// Scatter between units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scatter {
    /// φ: variance relative to single independent marks.
    pub factor: f64,
    /// Its degrees of freedom.
    pub degrees: f64,
    /// Variance that a standard deviation of 1 in ln rate between the units
    /// would add, relative to single independent marks.
    pub leverage: f64,
}

/// What leaving out a unit does.
struct LeftOut {
    /// −D/(1−h).
    change: f64,
    /// Expected size of its contribution on each side.
    expected: [f64; 2],
    /// Panels before and after.
    panels: [usize; 2],
}

impl Fit<'_> {
    fn ratio(&self) -> f64 {
        self.a / self.b
    }

    /// Scatter between units; none with too few of them.
    ///
    /// Leaving out unit u changes A − ρ̂B by −D_u; with h_u the unit's share of
    /// C, φ = (G−1)/G·Σ (D_u/(1−h_u))² / (ρ̂C). Degrees of freedom: effective
    /// number of units (Σe²)²/Σe⁴ less 1, e_u the unit's expected share.
    pub(super) fn scatter(&self, unit: Unit) -> Option<Scatter> {
        let mut order: Vec<(usize, usize, usize)> = Vec::with_capacity(self.items.len());
        for (k, item) in self.items.iter().enumerate() {
            let u = match unit {
                Unit::Panels => k,
                Unit::Runs => item.run,
                Unit::Days => item.day,
                Unit::Lots => item.lot?,
            };
            order.push((u, item.stratum, k));
        }
        order.sort_unstable();
        let units: Vec<LeftOut> = order
            .chunk_by(|x, y| x.0 == y.0)
            .map(|members| self.leave_out(members))
            .collect();
        if !enough(&units, unit) || (unit == Unit::Runs && !self.alternates(units.len())) {
            return None;
        }
        let sum = |f: &dyn Fn(&LeftOut) -> f64| units.iter().map(f).sum::<f64>();
        let size = |u: &LeftOut| u.expected[0] + u.expected[1];
        let (count, spread) = (units.len() as f64, self.ratio() * self.c);
        let effective = sum(&|u| size(u).powi(2)).powi(2) / sum(&|u| size(u).powi(4));
        // what moves a whole unit cancels as far as it ran both ways; a lot on
        // which the change does more than on another moves one side alone
        let moved = sum(&|u| {
            let [before, after] = u.expected;
            let own = if unit == Unit::Lots {
                before.min(after)
            } else {
                0.0
            };
            (after - before).powi(2) + own.powi(2)
        });
        Some(Scatter {
            factor: (count - 1.0) / count * sum(&|u| u.change.powi(2)) / spread,
            degrees: (effective - 1.0).max(0.5),
            leverage: self.ratio().powi(2) * moved / spread,
        })
    }

    /// Whether there are at least three runs a stream: a single change leaves
    /// two, which say nothing of how runs differ.
    fn alternates(&self, runs: usize) -> bool {
        let streams: std::collections::BTreeSet<usize> =
            self.items.iter().map(|i| i.stream).collect();
        runs >= 3 * streams.len()
    }

    /// Whether lots are compared inside themselves.
    pub(super) fn inside_lots(&self) -> bool {
        let mut lot_of = BTreeMap::new();
        self.items
            .iter()
            .all(|i| *lot_of.entry(i.stratum).or_insert(i.lot) == i.lot)
    }

    /// Marks by day and side, seen against expected.
    ///
    /// A stratum's rate is fitted to its own days as well, which hides part h of
    /// a day's excess: the excess is divided by 1 − h, the number of marks it
    /// rests on multiplied by it.
    pub(super) fn by_day(&self) -> Vec<DayCount> {
        #[derive(Default)]
        struct Sums {
            expected: f64,
            seen: f64,
            variance: f64,
            /// Expected marks and share of the stratum's exposure, by stratum.
            own: BTreeMap<usize, (f64, f64)>,
        }
        let mut days: BTreeMap<(usize, usize), Sums> = BTreeMap::new();
        for item in self.items {
            let (cell, w) = (&self.cells[item.stratum], self.weights[item.stratum]);
            let (side, other, scale) = match item.side {
                Side::Before => (0, cell.after.exposure, 1.0),
                Side::After => (1, cell.before.exposure, self.ratio()),
            };
            let exposure = cell.before.exposure + self.ratio() * cell.after.exposure;
            let share = item.exposure * scale / exposure;
            let weight = w * other / cell.exposure();
            let expected = share * cell.total();
            let sums = days.entry((item.day, side)).or_default();
            sums.expected += weight * expected;
            sums.seen += weight * item.value;
            sums.variance += weight * weight * expected;
            let own = sums.own.entry(item.stratum).or_default();
            own.0 += weight * expected;
            own.1 += share;
        }
        days.into_iter()
            .filter(|(_, sums)| sums.expected > 0.0)
            .map(|((day, side), sums)| {
                let hidden: f64 = sums.own.values().map(|(e, share)| e * share).sum();
                let shown = (1.0 - hidden / sums.expected).max(0.1);
                DayCount {
                    day,
                    side,
                    expected: sums.expected.powi(2) / sums.variance * shown,
                    excess: (sums.seen / sums.expected - 1.0) / shown,
                }
            })
            .collect()
    }

    fn leave_out(&self, members: &[(usize, usize, usize)]) -> LeftOut {
        let (mut a, mut b, mut c) = (0.0, 0.0, 0.0);
        let (mut expected, mut panels) = ([0.0; 2], [0; 2]);
        let ratio = self.ratio();
        for stratum in members.chunk_by(|x, y| x.1 == y.1) {
            let s = stratum[0].1;
            let mut own = Cell::default();
            for &(_, _, k) in stratum {
                own.add(&self.items[k]);
            }
            let (cell, w) = (&self.cells[s], self.weights[s]);
            let rest = cell.without(&own);
            let (r, q) = parts(cell);
            let (rest_r, rest_q) = parts(&rest);
            a += w * (rest_r - r);
            b += w * (rest_q - q);
            c += w * w * (information(cell) - information(&rest));
            let rate = cell.total() / (cell.before.exposure + ratio * cell.after.exposure);
            let each = w * rate / cell.exposure();
            expected[0] += each * own.before.exposure * cell.after.exposure;
            expected[1] += each * own.after.exposure * cell.before.exposure;
            panels[0] += own.before.panels;
            panels[1] += own.after.panels;
        }
        let share = (c / self.c).clamp(0.0, 0.95);
        LeftOut {
            change: (a - ratio * b) / (1.0 - share),
            expected,
            panels,
        }
    }

    /// Variance over mean of the panels' counts, and its degrees of freedom, on
    /// the side that has marks.
    pub(super) fn one_sided_scatter(&self) -> (f64, f64) {
        let side = if self.a > 0.0 {
            Side::After
        } else {
            Side::Before
        };
        let (mut squares, mut sum, mut lost) = (0.0, 0.0, 0usize);
        let mut panels = 0usize;
        for item in self.items.iter().filter(|i| i.side == side) {
            let sums = self.cells[item.stratum].side(side);
            let expected = item.exposure * sums.sum / sums.exposure;
            squares += (item.value - expected).powi(2);
            sum += item.value;
            panels += 1;
        }
        for cell in self.cells.iter().filter(|c| c.compares()) {
            lost += usize::from(cell.side(side).panels > 0);
        }
        let degrees = panels.saturating_sub(lost).max(1) as f64;
        let factor = squares / sum * panels as f64 / degrees;
        (factor, degrees)
    }
}

/// Whether a unit's scatter enters: lots and runs with several on each side.
fn enough(units: &[LeftOut], unit: Unit) -> bool {
    if matches!(unit, Unit::Panels | Unit::Days) {
        return units.len() >= 2;
    }
    let on = |k: usize| units.iter().filter(|u| u.panels[k] > 0).count();
    units.len() >= FEWEST_UNITS && on(0).min(on(1)) >= FEWEST_UNITS_A_SIDE
}
