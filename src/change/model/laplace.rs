//! The log-linear mixed model of panels at given standard deviations: the mode
//! of its effects, and how likely the standard deviations are (Laplace).

use super::family::{Family, Score};

/// Steps to a mode; three or four are usual.
const STEPS: usize = 30;

/// Change of any effect below which a step ends the search.
const CLOSE: f64 = 1e-3;

/// Prior standard deviation of ln rate of the levels of a term: a factor of 4.5
/// either way, which is wide and yet keeps levels without marks finite.
const LEVEL_SD: f64 = 1.5;

/// Prior of ln spread: normal.
const LN_SPREAD_SD: f64 = 1.5;

/// Largest and smallest spread.
const SPREADS: (f64, f64) = (1e-3, 20.0);

/// Panels that are alike in all the model knows of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cell {
    pub panels: f64,
    pub sum: f64,
    pub ln_exposure: f64,
    pub after: bool,
    pub lot: Option<usize>,
    pub day: Option<usize>,
    pub pattern: usize,
    /// Value of what moved the rate: 0 before the change and 1 after it, or what a
    /// rival of the change has in its place.
    pub moved: f64,
    /// Value of a rival beside the change, where the problem has one.
    pub beside: f64,
}

/// ln mean = ln exposure + intercept + side + levels of terms + day + lot on the
/// side + rival beside it. Levels are independent normal, days a first-order autoregression,
/// lots have an effect of their own and one on what the change does to them; side
/// and rival may have any.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Problem {
    pub family: Family,
    pub cells: Vec<Cell>,
    /// Levels of all terms.
    pub levels: usize,
    /// Levels that hold, by pattern.
    pub patterns: Vec<Vec<usize>>,
    pub days: usize,
    pub lots: usize,
    /// Whether a rival has an effect beside the change.
    pub beside: bool,
    /// Distinct values with the number of panels.
    pub values: Vec<(f64, f64)>,
    /// Where the prior of the spread has its middle.
    pub usual_spread: f64,
    /// Columns of effects that panels of a lot touch.
    touched: Vec<Vec<usize>>,
}

/// Standard deviations of ln rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scales {
    pub lot: f64,
    /// Of the change's effect between lots.
    pub lot_change: f64,
    pub day: f64,
    /// Correlation of a day with the day before.
    pub memory: f64,
}

/// Mode of all effects, and the spread of panels that goes with it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mode {
    effects: Vec<f64>,
    lots: Vec<[f64; 2]>,
    pub spread: f64,
}

/// What the model says at given scales.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Evaluation {
    /// ln of the probability of the counts, the effects integrated out.
    pub ln_evidence: f64,
    /// ln ratio, after over before, and its variance.
    pub estimate: f64,
    pub variance: f64,
    pub mode: Mode,
}

/// Columns of the effects that are not lots'.
const INTERCEPT: usize = 0;
const SIDE: usize = 1;
const FIRST_LEVEL: usize = 2;

impl Problem {
    pub(super) fn new(
        family: Family,
        cells: Vec<Cell>,
        patterns: Vec<Vec<usize>>,
        values: Vec<(f64, f64)>,
        usual_spread: f64,
        beside: bool,
    ) -> Self {
        let count =
            |of: fn(&Cell) -> Option<usize>| cells.iter().filter_map(of).max().map_or(0, |k| k + 1);
        let (days, lots) = (count(|c| c.day), count(|c| c.lot));
        let levels = patterns.iter().flatten().max().map_or(0, |k| k + 1);
        let mut problem = Self {
            family,
            cells,
            levels,
            patterns,
            days,
            lots,
            beside,
            values,
            usual_spread,
            touched: Vec::new(),
        };
        let mut touched = vec![Vec::new(); lots];
        for cell in &problem.cells {
            if let Some(lot) = cell.lot {
                touched[lot].extend(problem.columns(cell).map(|(k, _)| k));
            }
        }
        for columns in &mut touched {
            columns.sort_unstable();
            columns.dedup();
        }
        problem.touched = touched;
        problem
    }

    fn size(&self) -> usize {
        self.beside_column() + usize::from(self.beside)
    }

    fn beside_column(&self) -> usize {
        FIRST_LEVEL + self.levels + self.days
    }

    /// Columns of the effects that hold for a cell with their values, lots aside.
    fn columns(&self, cell: &Cell) -> impl Iterator<Item = (usize, f64)> {
        let levels = self.patterns.get(cell.pattern).into_iter().flatten();
        let levels = levels.map(|l| FIRST_LEVEL + l);
        let day = cell.day.map(|d| FIRST_LEVEL + self.levels + d);
        std::iter::once((INTERCEPT, 1.0))
            .chain((cell.moved != 0.0).then_some((SIDE, cell.moved)))
            .chain(levels.chain(day).map(|k| (k, 1.0)))
            .chain(self.beside.then(|| (self.beside_column(), cell.beside)))
    }

    /// Where the search for a first mode starts: the rate over all panels.
    pub(super) fn start(&self) -> Mode {
        let mut effects = vec![0.0; self.size()];
        let sum: f64 = self.cells.iter().map(|c| c.sum).sum();
        let exposure: f64 = self
            .cells
            .iter()
            .map(|c| c.panels * c.ln_exposure.exp())
            .sum();
        effects[INTERCEPT] = (sum / exposure).ln();
        Mode {
            effects,
            lots: vec![[0.0; 2]; self.lots],
            spread: self.usual_spread,
        }
    }

    pub(super) fn ln_mean(&self, mode: &Mode, cell: &Cell) -> f64 {
        let own: f64 = self.columns(cell).map(|(k, x)| mode.effects[k] * x).sum();
        let lot = cell
            .lot
            .map_or(0.0, |l| mode.lots[l][usize::from(cell.after)]);
        cell.ln_exposure + own + lot
    }

    /// ln likelihood and prior of a spread where the effects are as in `mode`.
    fn ln_of_spread(&self, mode: &Mode, spread: f64) -> f64 {
        let cells: f64 = self
            .cells
            .iter()
            .map(|c| {
                let ln_mean = self.ln_mean(mode, c);
                self.family
                    .score(spread, c.panels, c.sum, ln_mean)
                    .ln_likelihood
            })
            .sum();
        cells + self.ln_prior_of_spread(spread)
    }

    fn ln_prior_of_spread(&self, spread: f64) -> f64 {
        let z = (spread / self.usual_spread).ln() / LN_SPREAD_SD;
        self.family.of_spread(spread, &self.values) - 0.5 * z * z
    }

    /// The most likely spread at the effects of `mode`, one Newton step from its
    /// own, and the standard deviation of its logarithm.
    pub(super) fn better_spread(&self, mode: &Mode) -> (f64, f64) {
        const STEP: f64 = 0.1;
        const FARTHEST: f64 = 1.0;
        let at = |shift: f64| self.ln_of_spread(mode, mode.spread * shift.exp());
        let (below, here, above) = (at(-STEP), at(0.0), at(STEP));
        let slope = (above - below) / (2.0 * STEP);
        // the prior alone curves as much
        let curved = ((2.0 * here - above - below) / (STEP * STEP)).max(1.0 / LN_SPREAD_SD.powi(2));
        let step = (slope / curved).clamp(-FARTHEST, FARTHEST);
        let better = (mode.spread * step.exp()).clamp(SPREADS.0, SPREADS.1);
        (better, 1.0 / curved.sqrt())
    }

    /// Mode, evidence and the ratio's law at `scales`, searched from `from` with
    /// its spread; none where the search fails.
    pub(super) fn evaluate(&self, scales: &Scales, from: &Mode) -> Option<Evaluation> {
        let mut mode = from.clone();
        let mut system = System::new(self);
        let mut before = f64::NEG_INFINITY;
        let mut last: Option<(Vec<f64>, Vec<[f64; 2]>)> = None;
        for _ in 0..STEPS {
            let objective = system.assemble(self, scales, &mode, Weights::Observed);
            if objective.is_nan() || objective < before - 1e-7 {
                // too far: half the step back
                let (step, lots) = last.as_mut()?;
                for (x, s) in mode.effects.iter_mut().zip(step.iter_mut()) {
                    *s *= 0.5;
                    *x -= *s;
                }
                for (x, s) in mode.lots.iter_mut().zip(lots.iter_mut()) {
                    for k in 0..2 {
                        s[k] *= 0.5;
                        x[k] -= s[k];
                    }
                }
                continue;
            }
            before = objective;
            let ln_determinant = system.factor(self)?;
            let (step, lots) = system.step(self);
            let largest = step
                .iter()
                .chain(lots.iter().flatten())
                .fold(0.0_f64, |m, s| m.max(s.abs()));
            for (x, s) in mode.effects.iter_mut().zip(&step) {
                *x += s;
            }
            for (x, s) in mode.lots.iter_mut().zip(&lots) {
                x[0] += s[0];
                x[1] += s[1];
            }
            if largest < CLOSE {
                let ln_evidence = objective
                    + self.ln_prior_of_spread(mode.spread)
                    + 0.5 * self.ln_prior_precision(scales)
                    - 0.5 * ln_determinant;
                return Some(Evaluation {
                    ln_evidence,
                    estimate: mode.effects[SIDE],
                    variance: system.variance(SIDE),
                    mode,
                });
            }
            last = Some((step, lots));
        }
        None
    }

    /// Variance of ln ratio that is to be expected where panels come as in
    /// `self.cells`, whatever their sums, with these means.
    pub(super) fn expected_variance(
        &self,
        scales: &Scales,
        spread: f64,
        ln_means: &[f64],
    ) -> Option<f64> {
        let mut system = System::new(self);
        let mode = Mode {
            effects: vec![0.0; self.size()],
            lots: vec![[0.0; 2]; self.lots],
            spread,
        };
        system.assemble(self, scales, &mode, Weights::Expected(ln_means));
        system.factor(self)?;
        Some(system.variance(SIDE))
    }

    /// ln determinant of the priors' precision.
    fn ln_prior_precision(&self, scales: &Scales) -> f64 {
        let days = self.days as f64;
        let lots = -2.0 * self.lots as f64 * (scales.lot * scales.lot_change).ln();
        let fresh = 1.0 - scales.memory * scales.memory;
        lots - 2.0 * days * scales.day.ln() - (days - 1.0).max(0.0) * fresh.ln()
    }
}

/// Where the weights of the cells come from.
enum Weights<'a> {
    Observed,
    Expected(&'a [f64]),
}

/// Newton's equations. Lots are eliminated, two by two numbers each, so that
/// what is left is as large as days and levels (Schur complement).
struct System {
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
    fn new(problem: &Problem) -> Self {
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
    fn assemble(
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
                self.slope[a] += score.slope * x;
                for &(b, y) in &columns[..=k] {
                    self.matrix[a.max(b) * n + a.min(b)] += score.weight * x * y;
                }
            }
            if let Some(lot) = cell.lot {
                let side = usize::from(cell.after);
                self.own[lot][2 * side] += score.weight;
                self.lot_slope[lot][side] += score.slope;
                let row = (2 * lot + side) * n;
                for &(a, x) in &columns {
                    self.across[row + a] += score.weight * x;
                }
            }
        }
        objective
    }

    /// Starts from the priors' precision; minus half their quadratic form.
    fn priors(&mut self, problem: &Problem, scales: &Scales, mode: &Mode) -> f64 {
        let n = self.n;
        let mut quadratic = 0.0;
        for level in FIRST_LEVEL..FIRST_LEVEL + problem.levels {
            let precision = LEVEL_SD.powi(-2);
            self.matrix[level * n + level] = precision;
            self.slope[level] = -precision * mode.effects[level];
            quadratic += precision * mode.effects[level].powi(2);
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
    fn factor(&mut self, problem: &Problem) -> Option<f64> {
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
        for i in 0..n {
            for j in 0..=i {
                let (ri, rj) = (i * n, j * n);
                let dot: f64 = self.matrix[ri..ri + j]
                    .iter()
                    .zip(&self.matrix[rj..rj + j])
                    .map(|(x, y)| x * y)
                    .sum();
                let left = self.matrix[ri + j] - dot;
                if i == j {
                    if left <= 0.0 || !left.is_finite() {
                        return None;
                    }
                    self.matrix[ri + i] = left.sqrt();
                    ln_determinant += left.ln();
                } else {
                    self.matrix[ri + j] = left / self.matrix[rj + j];
                }
            }
        }
        Some(ln_determinant)
    }

    /// L⁻¹v, then L⁻ᵀ of that.
    fn solve(&self, mut v: Vec<f64>) -> Vec<f64> {
        let n = self.n;
        for i in 0..n {
            let row = &self.matrix[i * n..i * n + i];
            let dot: f64 = row.iter().zip(&v).map(|(x, y)| x * y).sum();
            v[i] = (v[i] - dot) / self.matrix[i * n + i];
        }
        for i in (0..n).rev() {
            v[i] /= self.matrix[i * n + i];
            let here = v[i];
            for (x, m) in v[..i].iter_mut().zip(&self.matrix[i * n..i * n + i]) {
                *x -= m * here;
            }
        }
        v
    }

    /// Newton's step for the effects and the lots.
    fn step(&self, problem: &Problem) -> (Vec<f64>, Vec<[f64; 2]>) {
        let n = self.n;
        let effects = self.solve(self.slope.clone());
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
    fn variance(&self, column: usize) -> f64 {
        let mut unit = vec![0.0; self.n];
        unit[column] = 1.0;
        self.solve(unit)[column]
    }
}
