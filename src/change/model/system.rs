//! Newton's equations of the effects at given standard deviations.

use super::family::Score;
use super::problem::{FIRST_LEVEL, MOVED, Mode, Problem, Scales, TREND};
use crate::stats::cholesky;

/// Prior standard deviation of ln rate of the levels of a term: a factor of 4.5
/// either way, which is wide and yet keeps levels without marks finite.
const LEVEL_SD: f64 = 1.5;

/// Where the weights of the cells come from.
pub(super) enum Weights<'a> {
    Observed,
    Expected(&'a [f64]),
}

/// Newton's equations. Lots are eliminated, two by two numbers each, so that
/// what is left is as large as days and levels (Schur complement).
pub(super) struct System {
    n: usize,
    /// Lower triangle by rows; after [`Self::factor`] its Cholesky factor.
    matrix: Vec<f64>,
    slope: Vec<f64>,
    /// By lot: between its two effects, upper triangle.
    own: Vec<[f64; 3]>,
    lot_slope: Vec<[f64; 2]>,
    /// By lot and side: with the other effects.
    across: Vec<f64>,
}

impl System {
    pub(super) fn new(problem: &Problem) -> Self {
        let n = problem.size();
        Self {
            n,
            matrix: vec![0.0; n * n],
            slope: vec![0.0; n],
            own: vec![[0.0; 3]; problem.lots],
            lot_slope: vec![[0.0; 2]; problem.lots],
            across: vec![0.0; 2 * problem.lots * n],
        }
    }

    /// Fills the equations; ln likelihood plus ln prior, constants aside.
    pub(super) fn assemble(
        &mut self,
        problem: &Problem,
        scales: &Scales,
        mode: &Mode,
        weights: Weights<'_>,
    ) -> f64 {
        let n = self.n;
        self.matrix.fill(0.0);
        self.slope.fill(0.0);
        self.across.fill(0.0);
        let mut objective = self.priors(problem, scales, mode);
        let mut columns = Vec::with_capacity(16);
        for (k, cell) in problem.cells.iter().enumerate() {
            let score = match weights {
                Weights::Observed => {
                    let ln_mean = problem.ln_mean(mode, cell);
                    problem
                        .family
                        .score(mode.spread, cell.panels, cell.sum, ln_mean)
                }
                Weights::Expected(ln_means) => Score {
                    ln_likelihood: 0.0,
                    slope: 0.0,
                    weight: cell.panels * problem.family.information(mode.spread, ln_means[k]),
                },
            };
            objective += score.ln_likelihood;
            columns.clear();
            columns.extend(problem.columns(cell));
            for (k, &(a, x)) in columns.iter().enumerate() {
                self.slope[a] += x * score.slope;
                for &(b, z) in &columns[..=k] {
                    self.matrix[a.max(b) * n + a.min(b)] += x * z * score.weight;
                }
            }
            if let Some(lot) = cell.lot {
                let side = usize::from(cell.after);
                self.own[lot][2 * side] += score.weight;
                self.lot_slope[lot][side] += score.slope;
                let row = (2 * lot + side) * n;
                for &(a, x) in &columns {
                    self.across[row + a] += x * score.weight;
                }
            }
        }
        objective
    }

    /// Starts from the priors' precision; minus half their quadratic form.
    fn priors(&mut self, problem: &Problem, scales: &Scales, mode: &Mode) -> f64 {
        let n = self.n;
        let mut quadratic = 0.0;
        let levels = FIRST_LEVEL..FIRST_LEVEL + problem.levels;
        let (middle, sd) = problem.moved.law();
        let priors = [(TREND, 0.0, scales.trend), (MOVED, middle, sd)];
        let all = levels.map(|k| (k, 0.0, LEVEL_SD)).chain(priors);
        for (k, middle, sd) in all {
            let precision = sd.powi(-2);
            let off = mode.effects[k] - middle;
            self.matrix[k * n + k] = precision;
            self.slope[k] = -precision * off;
            quadratic += precision * off * off;
        }
        let first = FIRST_LEVEL + problem.levels;
        let memory = scales.memory;
        let unit = 1.0 / (scales.day * scales.day * (1.0 - memory * memory));
        let last = problem.days.wrapping_sub(1);
        for day in 0..problem.days {
            let k = first + day;
            let inner = day > 0 && day < last;
            let alone = problem.days == 1;
            let own = match (alone, inner) {
                (true, _) => scales.day.powi(-2),
                (false, true) => unit * (1.0 + memory * memory),
                (false, false) => unit,
            };
            let here = mode.effects[k];
            self.matrix[k * n + k] = own;
            self.slope[k] -= own * here;
            quadratic += own * here * here;
            if day > 0 {
                let before = mode.effects[k - 1];
                self.matrix[k * n + k - 1] = -unit * memory;
                self.slope[k] += unit * memory * before;
                self.slope[k - 1] += unit * memory * here;
                quadratic -= 2.0 * unit * memory * here * before;
            }
        }
        let (lot, change) = (scales.lot.powi(2), scales.lot_change.powi(2));
        // covariance of the effects on the two sides: lot ± change/4
        let own = (lot + change / 4.0) / (lot * change);
        let between = -(lot - change / 4.0) / (lot * change);
        for l in 0..problem.lots {
            let [b, a] = mode.lots[l];
            self.own[l] = [own, between, own];
            self.lot_slope[l] = [-(own * b + between * a), -(own * a + between * b)];
            quadratic += own * (a * a + b * b) + 2.0 * between * a * b;
        }
        -0.5 * quadratic
    }

    /// Eliminates the lots and factors the rest; ln determinant of the whole.
    pub(super) fn factor(&mut self, problem: &Problem) -> Option<f64> {
        let n = self.n;
        let mut ln_determinant = 0.0;
        let mut before_row = Vec::new();
        let mut after_row = Vec::new();
        for (l, columns) in problem.touched.iter().enumerate() {
            let [b, c, a] = self.own[l];
            let determinant = b * a - c * c;
            ln_determinant += determinant.ln();
            let (ib, ic, ia) = (a / determinant, -c / determinant, b / determinant);
            let (rb, ra) = (2 * l * n, (2 * l + 1) * n);
            before_row.clear();
            after_row.clear();
            for &k in columns {
                let (xb, xa) = (self.across[rb + k], self.across[ra + k]);
                before_row.push(ib * xb + ic * xa);
                after_row.push(ic * xb + ia * xa);
            }
            let [sb, sa] = self.lot_slope[l];
            for (i, &row) in columns.iter().enumerate() {
                let (tb, ta) = (before_row[i], after_row[i]);
                self.slope[row] -= tb * sb + ta * sa;
                for &column in &columns[..=i] {
                    self.matrix[row * n + column] -=
                        tb * self.across[rb + column] + ta * self.across[ra + column];
                }
            }
        }
        ln_determinant += cholesky::factor(&mut self.matrix, n)?;
        Some(ln_determinant)
    }

    /// Newton's step for the effects and the lots.
    pub(super) fn step(&self, problem: &Problem) -> (Vec<f64>, Vec<[f64; 2]>) {
        let n = self.n;
        let effects = cholesky::solve(&self.matrix, self.slope.clone());
        let lots = (0..problem.lots)
            .map(|l| {
                let [b, c, a] = self.own[l];
                let determinant = b * a - c * c;
                let left = |side: usize| {
                    let row = (2 * l + side) * n;
                    let moved: f64 = problem.touched[l]
                        .iter()
                        .map(|&k| self.across[row + k] * effects[k])
                        .sum();
                    self.lot_slope[l][side] - moved
                };
                let (lb, la) = (left(0), left(1));
                [
                    (a * lb - c * la) / determinant,
                    (b * la - c * lb) / determinant,
                ]
            })
            .collect();
        (effects, lots)
    }

    /// Variance of one effect.
    pub(super) fn variance(&self, column: usize) -> f64 {
        let mut unit = vec![0.0; self.n];
        unit[column] = 1.0;
        cholesky::solve(&self.matrix, unit)[column]
    }
}
