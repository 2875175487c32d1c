//! Log-linear quasi-likelihood with one random effect.
//!
//! E(yᵢ | lot) = exp(offsetᵢ + xᵢ'β + u_lot), with variance on the log scale
//! φ·vᵢ for a panel and φ·λ for a lot. Readings: vᵢ = (1 − r) + r·aᵢ with
//! aᵢ ∝ 1/(nᵢμᵢ²), so the number of readings weighs as far as the data say it
//! does. Counts: vᵢ = 1/μᵢ + κ, the negative binomial's variance times φ.
//! Nothing takes the logarithm of an observation, so zero and negative panel
//! means are data like any other.
//!
//! The fit iterates a weighted linear mixed model on the working response
//! η + (y − μ)/μ with variances by restricted maximum likelihood: Schall (1991),
//! Biometrika 78, 719; Breslow & Clayton (1993), JASA 88, 9. Counts carry the
//! bias-reducing penalty of Firth (1993), Biometrika 80, 27, in the form of
//! Kosmidis & Firth (2009), Biometrika 96, 793, which keeps coefficients finite
//! where all or no panels of a level are hit; the intercept is then moved so
//! that fitted and observed totals agree (Puhr et al. 2017, Stat. Med. 36, 2302).

use faer::linalg::solvers::{DenseSolveCore, Solve};
use faer::{Mat, Side};

/// What is observed.
#[derive(Debug, Clone, Copy)]
pub(super) enum Noise<'a> {
    /// Panel means of so many readings.
    Readings(&'a [f64]),
    /// Counts, fitted with the penalty.
    Counts,
}

/// A model to fit; row i of `x` is `x[i * p..(i + 1) * p]`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Problem<'a> {
    pub(super) x: &'a [f64],
    pub(super) p: usize,
    pub(super) y: &'a [f64],
    pub(super) offset: &'a [f64],
    pub(super) noise: Noise<'a>,
    /// The lot of each row, 0..lots.
    pub(super) lot: &'a [usize],
    /// Number of lots; 0 or 1 fits no lot effect.
    pub(super) lots: usize,
}

/// A fitted model.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub(super) p: usize,
    /// Coefficients.
    pub(super) beta: Vec<f64>,
    /// (X'V⁻¹X)⁻¹ for V relative to φ.
    pub(super) unscaled: Mat<f64>,
    /// φ.
    pub(super) scale: f64,
    /// −2 ln likelihood of the working response, up to a constant.
    pub(super) deviance: f64,
    /// λ: lot variance over φ.
    pub(super) lot_ratio: f64,
    /// The lot of each row.
    pub(super) lot: Vec<usize>,
    /// κ for counts, r for readings.
    pub(super) mix: f64,
    /// Lot effects on the log scale.
    pub(super) lot_effects: Vec<f64>,
    /// μ, lot effects included.
    pub(super) fitted: Vec<f64>,
    /// vᵢ.
    pub(super) variance: Vec<f64>,
    /// Rows of V^(−1/2) X.
    pub(super) white_x: Vec<f64>,
    /// V^(−1/2)(z − Xβ).
    pub(super) white_residual: Vec<f64>,
}

const ITERATIONS: usize = 100;
/// Variances are searched for in the first iterations and held from then on,
/// so that the rest converges.
const VARIANCE_ITERATIONS: usize = 8;
const CONVERGED: f64 = 1e-9;
/// Longest move of a linear predictor in one iteration.
const LONGEST_STEP: f64 = 2.0;
/// Largest κ searched.
const MOST_EXTRA: f64 = 20.0;
/// Largest share of a lot in the variance that is searched.
const MOST_LOT: f64 = 0.98;

/// Sums over rows for a given variance; a lot ratio costs only sums over lots.
struct Sums {
    n: usize,
    p: usize,
    xx: Mat<f64>,
    xz: Vec<f64>,
    zz: f64,
    log_v: f64,
    /// Σ 1/v per lot, Σ x/v, Σ z/v.
    lot_weight: Vec<f64>,
    lot_x: Vec<f64>,
    lot_z: Vec<f64>,
}

/// Generalised least squares for given variances.
struct Least {
    beta: Vec<f64>,
    unscaled: Mat<f64>,
    rss: f64,
    /// −2 log restricted likelihood, profiled over φ.
    deviance: f64,
    /// −2 log likelihood, profiled over φ.
    full_deviance: f64,
}

impl Sums {
    fn new(problem: &Problem<'_>, z: &[f64], v: &[f64]) -> Self {
        let (n, p) = (z.len(), problem.p);
        let lots = if problem.lots > 1 { problem.lots } else { 0 };
        let mut sums = Sums {
            n,
            p,
            xx: Mat::zeros(p, p),
            xz: vec![0.0; p],
            zz: 0.0,
            log_v: 0.0,
            lot_weight: vec![0.0; lots],
            lot_x: vec![0.0; lots * p],
            lot_z: vec![0.0; lots],
        };
        for i in 0..n {
            let row = &problem.x[i * p..(i + 1) * p];
            let w = 1.0 / v[i];
            for a in 0..p {
                let scaled = row[a] * w;
                sums.xz[a] += scaled * z[i];
                for b in 0..=a {
                    sums.xx[(a, b)] += scaled * row[b];
                }
            }
            sums.zz += w * z[i] * z[i];
            sums.log_v += v[i].ln();
            if lots > 0 {
                let g = problem.lot[i];
                sums.lot_weight[g] += w;
                sums.lot_z[g] += w * z[i];
                for a in 0..p {
                    sums.lot_x[g * p + a] += w * row[a];
                }
            }
        }
        sums
    }

    fn solve(&self, lot_ratio: f64) -> Option<Least> {
        let p = self.p;
        let mut xx = self.xx.clone();
        let mut xz = self.xz.clone();
        let mut zz = self.zz;
        let mut log_v = self.log_v;
        if lot_ratio > 0.0 {
            for (g, &weight) in self.lot_weight.iter().enumerate() {
                let shrink = lot_ratio / (1.0 + lot_ratio * weight);
                let row = &self.lot_x[g * p..(g + 1) * p];
                for a in 0..p {
                    xz[a] -= shrink * row[a] * self.lot_z[g];
                    for b in 0..=a {
                        xx[(a, b)] -= shrink * row[a] * row[b];
                    }
                }
                zz -= shrink * self.lot_z[g] * self.lot_z[g];
                log_v += (lot_ratio * weight).ln_1p();
            }
        }
        let factor = xx.llt(Side::Lower).ok()?;
        let right = Mat::from_fn(p, 1, |i, _| xz[i]);
        let solution = factor.solve(&right);
        let beta: Vec<f64> = (0..p).map(|i| solution[(i, 0)]).collect();
        let explained: f64 = beta.iter().zip(&xz).map(|(b, z)| b * z).sum();
        let rss = (zz - explained).max(1e-12 * self.zz.max(f64::MIN_POSITIVE));
        let lower = factor.L();
        let log_xx: f64 = (0..p).map(|i| 2.0 * lower[(i, i)].ln()).sum();
        let free = self.n.saturating_sub(p).max(1) as f64;
        let deviance = log_v + log_xx + free * (rss / free).ln();
        let least = Least {
            beta,
            unscaled: factor.inverse(),
            rss,
            deviance,
            full_deviance: log_v + self.n as f64 * (rss / self.n as f64).ln(),
        };
        (deviance.is_finite() && least.beta.iter().all(|b| b.is_finite())).then_some(least)
    }

    /// The lot ratio of least restricted deviance, for variances of mean 1/`typical`.
    fn best_lot_ratio(&self, typical: f64) -> f64 {
        if self.lot_weight.is_empty() {
            return 0.0;
        }
        let ratio = |share: f64| share / (1.0 - share) * typical;
        let deviance = |share: f64| {
            self.solve(ratio(share))
                .map_or(f64::INFINITY, |l| l.deviance)
        };
        ratio(lowest(deviance, MOST_LOT, 10, 24))
    }
}

/// Where a function on [0, `high`] is lowest: the best of `grid` + 1 even steps,
/// refined by golden section between its neighbours. An end is returned exactly.
fn lowest(f: impl Fn(f64) -> f64, high: f64, grid: usize, refine: usize) -> f64 {
    let at = |i: usize| high * i as f64 / grid as f64;
    let values: Vec<f64> = (0..=grid).map(|i| f(at(i))).collect();
    let best = (0..=grid).fold(0, |best, i| if values[i] < values[best] { i } else { best });
    let mut low = at(best.saturating_sub(1));
    let mut top = at((best + 1).min(grid));
    let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut a, mut b) = (top - golden * (top - low), low + golden * (top - low));
    let (mut fa, mut fb) = (f(a), f(b));
    for _ in 0..refine {
        if fa <= fb {
            top = b;
            (b, fb) = (a, fa);
            a = top - golden * (top - low);
            fa = f(a);
        } else {
            low = a;
            (a, fa) = (b, fb);
            b = low + golden * (top - low);
            fb = f(b);
        }
    }
    let inner = if fa <= fb { (a, fa) } else { (b, fb) };
    if values[best] <= inner.1 {
        at(best)
    } else {
        inner.0
    }
}

impl Problem<'_> {
    fn rows(&self) -> usize {
        self.y.len()
    }

    fn linear(&self, beta: &[f64], i: usize) -> f64 {
        let row = &self.x[i * self.p..(i + 1) * self.p];
        row.iter().zip(beta).map(|(x, b)| x * b).sum()
    }

    /// aᵢ: what the number of readings, or the count's own noise, contributes.
    fn own_noise(&self, mu: &[f64]) -> Vec<f64> {
        match self.noise {
            Noise::Counts => mu.iter().map(|m| 1.0 / m).collect(),
            Noise::Readings(readings) => {
                let raw: Vec<f64> = mu
                    .iter()
                    .zip(readings)
                    .map(|(m, n)| 1.0 / (n.max(1.0) * m * m))
                    .collect();
                let mean = raw.iter().sum::<f64>() / raw.len().max(1) as f64;
                raw.iter().map(|a| a / mean).collect()
            }
        }
    }

    fn variances(&self, own: &[f64], mix: f64) -> Vec<f64> {
        match self.noise {
            Noise::Counts => own.iter().map(|a| a + mix).collect(),
            Noise::Readings(_) => own.iter().map(|a| (1.0 - mix) + mix * a).collect(),
        }
    }

    /// Share of the readings' noise of least restricted deviance at a given lot
    /// ratio.
    fn best_mix(&self, z: &[f64], own: &[f64], lot_ratio: f64) -> f64 {
        let deviance = |share: f64| {
            Sums::new(self, z, &self.variances(own, share))
                .solve(lot_ratio)
                .map_or(f64::INFINITY, |l| l.deviance)
        };
        lowest(deviance, 1.0, 5, 8)
    }

    /// κ of the counts by moments: Σ(y − μ)²/(μ + κμ²) = n − p (Breslow 1984,
    /// Appl. Stat. 33, 38); 0 where counts scatter less than Poisson.
    fn extra_variance(&self, mu: &[f64]) -> f64 {
        let free = (self.rows() - self.p) as f64;
        let excess = |extra: f64| {
            let sum: f64 = self
                .y
                .iter()
                .zip(mu)
                .map(|(y, m)| (y - m).powi(2) / (m + extra * m * m))
                .sum();
            sum - free
        };
        let (mut low, mut high) = (0.0, MOST_EXTRA);
        if excess(low) <= 0.0 {
            return low;
        }
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if excess(middle) > 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }

    fn start(&self) -> Vec<f64> {
        let total: f64 = self.y.iter().sum();
        let exposure: f64 = self.offset.iter().map(|o| o.exp()).sum();
        let level = (total / exposure).max(f64::MIN_POSITIVE).ln();
        match self.noise {
            Noise::Counts => self.offset.iter().map(|o| o + level).collect(),
            Noise::Readings(_) => self
                .y
                .iter()
                .zip(self.offset)
                .map(|(y, o)| y.max(0.1 * (o + level).exp()).ln())
                .collect(),
        }
    }

    /// Fits the model; none where it has no positive total, too few rows, or
    /// does not settle.
    pub(super) fn fit(&self) -> Option<Fit> {
        let (n, p) = (self.rows(), self.p);
        if n <= p || self.y.iter().sum::<f64>() <= 0.0 {
            return None;
        }
        let mut eta = self.start();
        let (mut mix, mut lot_ratio, mut scale) = (0.0, 0.0, 1.0);
        let mut previous: Option<Mat<f64>> = None;
        for iteration in 0..ITERATIONS {
            let mu: Vec<f64> = eta.iter().map(|e| e.exp()).collect();
            let own = self.own_noise(&mu);
            let mut z: Vec<f64> = (0..n)
                .map(|i| eta[i] - self.offset[i] + (self.y[i] - mu[i]) / mu[i])
                .collect();
            let mut v = self.variances(&own, mix);
            if let (Noise::Counts, Some(unscaled)) = (self.noise, &previous) {
                for i in 0..n {
                    let row = &self.x[i * p..(i + 1) * p];
                    // h·v/2: the leverage times the variance, halved.
                    z[i] += f64::max(scale, 1.0) * quadratic(unscaled, row) / 2.0;
                }
            }
            if iteration < VARIANCE_ITERATIONS {
                mix = match self.noise {
                    Noise::Counts => self.extra_variance(&mu),
                    Noise::Readings(_) => self.best_mix(&z, &own, lot_ratio),
                };
                v = self.variances(&own, mix);
                let typical = n as f64 / v.iter().map(|v| 1.0 / v).sum::<f64>();
                lot_ratio = Sums::new(self, &z, &v).best_lot_ratio(typical);
            }
            let sums = Sums::new(self, &z, &v);
            let least = sums.solve(lot_ratio)?;
            scale = least.rss / (n - p) as f64;
            let effects = lot_effects(&sums, &least.beta, lot_ratio);
            let mut next: Vec<f64> = (0..n)
                .map(|i| self.offset[i] + self.linear(&least.beta, i) + self.effect(&effects, i))
                .collect();
            let step = eta
                .iter()
                .zip(&next)
                .fold(0.0_f64, |m, (a, b)| m.max((a - b).abs()));
            if !step.is_finite() {
                return None;
            }
            if step > LONGEST_STEP {
                let share = LONGEST_STEP / step;
                for (new, old) in next.iter_mut().zip(&eta) {
                    *new = old + share * (*new - old);
                }
            }
            previous = Some(match self.noise {
                Noise::Counts => sums.solve(0.0)?.unscaled,
                Noise::Readings(_) => least.unscaled.clone(),
            });
            eta = next;
            if step < CONVERGED && iteration >= VARIANCE_ITERATIONS {
                return Some(self.package(least, &z, v, effects, &eta, (mix, lot_ratio, scale)));
            }
        }
        None
    }

    fn effect(&self, effects: &[f64], i: usize) -> f64 {
        if effects.is_empty() {
            0.0
        } else {
            effects[self.lot[i]]
        }
    }

    fn package(
        &self,
        least: Least,
        z: &[f64],
        v: Vec<f64>,
        effects: Vec<f64>,
        eta: &[f64],
        (mix, lot_ratio, scale): (f64, f64, f64),
    ) -> Fit {
        let (n, p) = (self.rows(), self.p);
        let residual: Vec<f64> = (0..n).map(|i| z[i] - self.linear(&least.beta, i)).collect();
        let mut white_x: Vec<f64> = (0..n * p).map(|k| self.x[k] / v[k / p].sqrt()).collect();
        let mut white_residual: Vec<f64> = (0..n).map(|i| residual[i] / v[i].sqrt()).collect();
        whiten_lots(&mut white_x, p, &v, self.lot, lot_ratio);
        whiten_lots(&mut white_residual, 1, &v, self.lot, lot_ratio);
        let mut beta = least.beta;
        let mut fitted: Vec<f64> = eta.iter().map(|e| e.exp()).collect();
        if let Noise::Counts = self.noise {
            let ratio = self.y.iter().sum::<f64>() / fitted.iter().sum::<f64>();
            beta[0] += ratio.ln();
            for m in &mut fitted {
                *m *= ratio;
            }
        }
        Fit {
            p,
            beta,
            unscaled: least.unscaled,
            scale,
            deviance: least.full_deviance,
            lot_ratio,
            lot: self.lot.to_vec(),
            mix,
            lot_effects: effects,
            fitted,
            variance: v,
            white_x,
            white_residual,
        }
    }
}

/// Takes rows of D^(−1/2) X, `width` wide, to (D + λ11')^(−1/2) X within lots:
/// every row gives up a share of its lot's sum.
fn whiten_lots(white: &mut [f64], width: usize, v: &[f64], lot: &[usize], lot_ratio: f64) {
    if lot_ratio <= 0.0 {
        return;
    }
    let lots = lot.iter().max().map_or(0, |m| m + 1);
    let mut weight = vec![0.0; lots];
    let mut sum = vec![0.0; lots * width];
    for (i, &g) in lot.iter().enumerate() {
        weight[g] += 1.0 / v[i];
        for a in 0..width {
            sum[g * width + a] += white[i * width + a] / v[i].sqrt();
        }
    }
    for (i, &g) in lot.iter().enumerate() {
        let share = (1.0 - 1.0 / (1.0 + lot_ratio * weight[g]).sqrt()) / weight[g] / v[i].sqrt();
        for a in 0..width {
            white[i * width + a] -= share * sum[g * width + a];
        }
    }
}

/// Predicted lot effects: the lot's mean residual, drawn towards zero.
fn lot_effects(sums: &Sums, beta: &[f64], lot_ratio: f64) -> Vec<f64> {
    let p = sums.p;
    (0..sums.lot_weight.len())
        .map(|g| {
            let row = &sums.lot_x[g * p..(g + 1) * p];
            let fitted: f64 = row.iter().zip(beta).map(|(x, b)| x * b).sum();
            lot_ratio / (1.0 + lot_ratio * sums.lot_weight[g]) * (sums.lot_z[g] - fitted)
        })
        .collect()
}

/// c' M c.
pub(super) fn quadratic(m: &Mat<f64>, c: &[f64]) -> f64 {
    let mut sum = 0.0;
    for (a, &left) in c.iter().enumerate() {
        if left != 0.0 {
            for (b, &right) in c.iter().enumerate() {
                sum += left * m[(a, b)] * right;
            }
        }
    }
    sum
}

impl Fit {
    /// Lot-to-lot variance on the log scale.
    pub(super) fn lot_variance(&self) -> f64 {
        self.scale * self.lot_ratio
    }

    /// p-value of the product of two columns as one column more, variances
    /// held: regresses the whitened residual on what of the whitened product
    /// the columns do not explain.
    pub(super) fn added(&self, (a, b): (usize, usize), raw: &[f64]) -> f64 {
        let (n, p) = (self.white_residual.len(), self.p);
        let column: Vec<f64> = (0..n).map(|i| raw[i * p + a] * raw[i * p + b]).collect();
        let white = self.whiten(&column);
        let mut cross = vec![0.0; p];
        let (mut square, mut product) = (0.0, 0.0);
        for i in 0..n {
            for (c, x) in cross.iter_mut().zip(&self.white_x[i * p..(i + 1) * p]) {
                *c += x * white[i];
            }
            square += white[i] * white[i];
            product += white[i] * self.white_residual[i];
        }
        let free = square - quadratic(&self.unscaled, &cross);
        if free <= 1e-9 * square {
            return 1.0;
        }
        let estimate = product / free;
        let rss = (self.scale * (n - p) as f64 - product * product / free).max(0.0);
        let dof = (n - p - 1) as f64;
        super::inference::two_sided(estimate, (rss / dof / free).sqrt(), dof)
    }

    /// V^(−1/2) times a column.
    fn whiten(&self, column: &[f64]) -> Vec<f64> {
        let mut white: Vec<f64> = column
            .iter()
            .zip(&self.variance)
            .map(|(x, v)| x / v.sqrt())
            .collect();
        whiten_lots(&mut white, 1, &self.variance, &self.lot, self.lot_ratio);
        white
    }

    /// Leverage of row i, 0..1.
    pub(super) fn leverage(&self, i: usize) -> f64 {
        quadratic(&self.unscaled, &self.white_x[i * self.p..(i + 1) * self.p])
    }
}
