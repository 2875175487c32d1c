//! Log-linear quasi-likelihood with random effects of groupings that may cross.
//!
//! E(yᵢ | u) = exp(offsetᵢ + xᵢ'β + Σ uₖ), with variance on the log scale φ·vᵢ
//! for a panel and φ·λₖ for a group (lot, day, stretch of one setting). Readings: vᵢ = (1 − r) + r·aᵢ with
//! aᵢ ∝ 1/(nᵢμᵢ²), so the number of readings weighs as far as the data say it
//! does. Counts: vᵢ = 1/μᵢ + κ, the negative binomial's variance times φ ≥ 1.
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

use faer::Mat;

use super::components::{self, Known, lowest};
use super::crossed::{Sums, Whitener};
use super::inference::Grouping;

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
    /// Groupings whose groups share an effect.
    pub(super) shared: &'a [&'a Grouping],
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
    /// λ of every grouping: the variance of its effects over φ.
    pub(super) ratios: Vec<f64>,
    /// How well φ and the λ are known; none where their likelihood is not to be
    /// followed.
    pub(super) known: Option<Known>,
    /// κ for counts, r for readings.
    pub(super) mix: f64,
    /// Sum of every row's effects of its groups, on the log scale.
    pub(super) effects: Vec<f64>,
    /// μ, effects included.
    pub(super) fitted: Vec<f64>,
    /// vᵢ.
    pub(super) variance: Vec<f64>,
    /// Rows of V^(−1/2) X.
    pub(super) white_x: Vec<f64>,
    /// V^(−1/2)(z − Xβ).
    pub(super) white_residual: Vec<f64>,
    /// Panels hit, of counts: what their coefficients rest on.
    pub(super) hit: Option<usize>,
    /// Multiplies columns by V^(−1/2).
    whitener: Whitener,
}

const ITERATIONS: usize = 100;
/// Variances are searched for until they move less than this (on the log scale,
/// shares as they are), at most in the first iterations, and held from then on,
/// so that the rest converges.
const VARIANCES_SETTLED: f64 = 0.02;
const VARIANCE_ITERATIONS: usize = 8;
const CONVERGED: f64 = 1e-9;
/// From this iteration on counts move half of every step: where a level or an end
/// of a range is never hit, the penalty answers whole steps with a swing.
const HALVED_FROM: usize = 10;
/// Longest move of a linear predictor in one iteration.
const LONGEST_STEP: f64 = 2.0;
/// Largest κ searched.
const MOST_EXTRA: f64 = 20.0;

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

    fn sums(&self, z: &[f64], v: &[f64]) -> Sums<'_> {
        Sums::new(self.x, self.p, self.shared, z, v)
    }

    /// Share of the readings' noise of least restricted deviance at given
    /// ratios of the groupings.
    fn best_mix(&self, z: &[f64], own: &[f64], ratios: &[f64]) -> f64 {
        let deviance = |share: f64| {
            self.sums(z, &self.variances(own, share))
                .solve(ratios)
                .map_or(f64::INFINITY, |l| l.deviance)
        };
        lowest(deviance, 0.0, 1.0, 5, 8)
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
        let (mut mix, mut scale) = (0.0, 1.0);
        let mut ratios = vec![0.0; self.shared.len()];
        let mut found: Option<(Vec<f64>, f64)> = None;
        let mut previous: Option<Mat<f64>> = None;
        let mut held = false;
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
            if !held {
                let mut moved: f64 = if iteration == 0 { 1.0 } else { 0.0 };
                let new_mix = match self.noise {
                    Noise::Counts => self.extra_variance(&mu),
                    Noise::Readings(_) => self.best_mix(&z, &own, &ratios),
                };
                moved = moved.max((new_mix - mix).abs());
                mix = new_mix;
                v = self.variances(&own, mix);
                if !self.shared.is_empty() {
                    let typical = n as f64 / v.iter().map(|v| 1.0 / v).sum::<f64>();
                    let last = found.as_ref().map(|(logs, _)| logs.as_slice());
                    let sums = self.sums(&z, &v);
                    let logs = components::search(&sums, ratios.len(), typical, last);
                    ratios = components::ratios(&logs, typical);
                    if let Some((last, _)) = &found {
                        let steps = logs.iter().zip(last).map(|(a, b)| (a - b).abs());
                        moved = moved.max(steps.fold(0.0, f64::max));
                    }
                    found = Some((logs, typical));
                }
                held = moved < VARIANCES_SETTLED || iteration + 1 >= VARIANCE_ITERATIONS;
            }
            let sums = self.sums(&z, &v);
            let least = sums.solve(&ratios)?;
            scale = least.rss / (n - p) as f64;
            let effects = self.effects(&sums.effects(&least.beta, &ratios)?);
            let mut next: Vec<f64> = (0..n)
                .map(|i| self.offset[i] + self.linear(&least.beta, i) + effects[i])
                .collect();
            let step = eta
                .iter()
                .zip(&next)
                .fold(0.0_f64, |m, (a, b)| m.max((a - b).abs()));
            if !step.is_finite() {
                return None;
            }
            let counts = matches!(self.noise, Noise::Counts);
            let halved = if counts && iteration >= HALVED_FROM {
                0.5
            } else {
                1.0
            };
            let share = (LONGEST_STEP / step).min(halved);
            if share < 1.0 && step > CONVERGED {
                for (new, old) in next.iter_mut().zip(&eta) {
                    *new = old + share * (*new - old);
                }
            }
            previous = Some(match self.noise {
                Noise::Counts => sums.solve(&vec![0.0; ratios.len()])?.unscaled,
                Noise::Readings(_) => least.unscaled.clone(),
            });
            eta = next;
            if step < CONVERGED && held {
                if let Noise::Counts = self.noise {
                    // No count scatters less than chance makes it.
                    scale = scale.max(1.0);
                }
                let (logs, typical) = found.unwrap_or_default();
                let known = Known::at(&sums, &logs, typical, scale, (n - p) as f64);
                let whitener = sums.whitener(&ratios, &v)?;
                let residual: Vec<f64> =
                    (0..n).map(|i| z[i] - self.linear(&least.beta, i)).collect();
                let (beta, fitted) = self.levelled(least.beta, &eta);
                return Some(Fit {
                    p,
                    beta,
                    fitted,
                    ratios,
                    variance: v,
                    unscaled: least.unscaled,
                    scale,
                    deviance: least.full_deviance,
                    known,
                    mix,
                    effects,
                    white_x: whitener.apply(self.x, p),
                    white_residual: whitener.apply(&residual, 1),
                    hit: matches!(self.noise, Noise::Counts)
                        .then(|| self.y.iter().filter(|y| **y > 0.0).count()),
                    whitener,
                });
            }
        }
        None
    }

    /// Coefficients and means; those of counts are moved so that fitted and
    /// observed totals agree.
    fn levelled(&self, mut beta: Vec<f64>, eta: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let mut fitted: Vec<f64> = eta.iter().map(|e| e.exp()).collect();
        if let Noise::Counts = self.noise {
            let ratio = self.y.iter().sum::<f64>() / fitted.iter().sum::<f64>();
            beta[0] += ratio.ln();
            for m in &mut fitted {
                *m *= ratio;
            }
        }
        (beta, fitted)
    }

    /// Every row's effects of its groups, summed.
    fn effects(&self, of_groups: &[Vec<f64>]) -> Vec<f64> {
        (0..self.rows())
            .map(|i| {
                let own = self.shared.iter().zip(of_groups);
                own.map(|(grouping, effects)| effects[grouping.of[i]]).sum()
            })
            .collect()
    }
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
    /// Variance of all groups' effects together, on the log scale.
    pub(super) fn shared_variance(&self) -> f64 {
        self.scale * self.ratios.iter().sum::<f64>()
    }

    /// p-value of the product of two columns as one column more, variances
    /// held: regresses the whitened residual on what of the whitened product
    /// the columns do not explain.
    pub(super) fn added(&self, (a, b): (usize, usize), raw: &[f64]) -> f64 {
        let (n, p) = (self.white_residual.len(), self.p);
        let column: Vec<f64> = (0..n).map(|i| raw[i * p + a] * raw[i * p + b]).collect();
        let white = self.whitener.apply(&column, 1);
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

    /// Leverage of row i, 0..1.
    pub(super) fn leverage(&self, i: usize) -> f64 {
        quadratic(&self.unscaled, &self.white_x[i * self.p..(i + 1) * self.p])
    }
}
