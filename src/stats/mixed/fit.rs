//! Linear and log-linear models with random effects of groupings.
//!
//! Linear: yᵢ = offsetᵢ + xᵢ'β + Σ uₖ + eᵢ, Var e = φ/wᵢ. Log-linear:
//! E(yᵢ | u) = exp(offsetᵢ + xᵢ'β + Σ uₖ), with variance on the log scale φ·vᵢ
//! for a row and φ·λₖ for a group. Means of readings: vᵢ = (1 − r) + r·aᵢ with
//! aᵢ ∝ 1/(nᵢμᵢ²), so the number of readings weighs as far as the data say it
//! does. Counts: vᵢ = 1/μᵢ + κ, the negative binomial's variance times φ ≥ 1.
//! Nothing takes the logarithm of an observation, so zero and negative means are
//! data like any other.
//!
//! The log-linear fit iterates the linear one on the working response
//! η + (y − μ)/μ: Schall (1991), Biometrika 78, 719; Breslow & Clayton (1993),
//! JASA 88, 9. Counts carry the bias-reducing penalty of Firth (1993), Biometrika
//! 80, 27, in the form of Kosmidis & Firth (2009), Biometrika 96, 793, which keeps
//! coefficients finite where all or no rows of a level have a count; the intercept
//! is then moved so that fitted and observed totals agree (Puhr et al. 2017, Stat.
//! Med. 36, 2302).

use faer::Mat;

use super::Grouping;
use super::components::{Variances, search};
use super::kenward_roger::KenwardRoger;
use super::sums::{Least, Sums};
use super::whitener::Whitener;
use crate::stats::contrast::Contrast;
use crate::stats::matrix::quadratic;
use crate::stats::minimise::lowest;
use crate::stats::root;

/// What is observed.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Response<'a> {
    /// Values, with weights if they differ in precision; identity link.
    #[cfg_attr(
        not(test),
        expect(
            dead_code,
            reason = "the published values of linear models go through it"
        )
    )]
    Linear { weights: Option<&'a [f64]> },
    /// Means of so many readings; log link.
    Means { readings: &'a [f64] },
    /// Counts, fitted with the penalty; log link.
    Counts,
}

/// A model to fit; row i of `x` is `x[i * p..(i + 1) * p]`. Counts need the
/// intercept in column 0.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Problem<'a> {
    pub(crate) x: &'a [f64],
    pub(crate) p: usize,
    pub(crate) y: &'a [f64],
    /// Added to the linear predictor: ln exposure of counts.
    pub(crate) offset: &'a [f64],
    pub(crate) response: Response<'a>,
    /// Groupings whose groups share an effect.
    pub(crate) groupings: &'a [&'a Grouping],
    pub(crate) variances: Variances,
}

/// A fitted model.
#[derive(Debug, Clone)]
pub(crate) struct Fit {
    pub(crate) p: usize,
    /// Coefficients.
    pub(crate) beta: Vec<f64>,
    /// (X'V⁻¹X)⁻¹ for V relative to φ.
    pub(crate) unscaled: Mat<f64>,
    /// φ.
    pub(crate) scale: f64,
    /// −2 ln likelihood of the (working) response, up to a constant.
    pub(crate) deviance: f64,
    /// λ of every grouping: the variance of its effects over φ.
    pub(crate) ratios: Vec<f64>,
    /// κ of counts, r of means, 0 of values.
    pub(crate) mix: f64,
    /// Sum of every row's effects of its groups.
    pub(crate) effects: Vec<f64>,
    /// μ, effects included.
    pub(crate) fitted: Vec<f64>,
    /// vᵢ.
    pub(crate) variance: Vec<f64>,
    /// Rows of V^(−1/2) X.
    pub(crate) white_x: Vec<f64>,
    /// V^(−1/2)(z − Xβ).
    pub(crate) white_residual: Vec<f64>,
    /// Rows with a count, of counts: what their coefficients rest on.
    pub(crate) hit: Option<usize>,
    judge: KenwardRoger,
    /// Multiplies columns by V^(−1/2).
    whitener: Whitener,
}

const ITERATIONS: usize = 100;
/// Variances are searched for until they move less than this (standard deviations
/// against the rows' own, shares as they are), at most in the first iterations,
/// and held from then on, so that the rest converges.
const VARIANCES_SETTLED: f64 = 1e-4;
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

    fn counts(&self) -> bool {
        matches!(self.response, Response::Counts)
    }

    /// aᵢ: what the number of readings, or the count's own noise, contributes.
    fn own_noise(&self, mu: &[f64]) -> Vec<f64> {
        match self.response {
            Response::Linear { weights: None } => vec![1.0; mu.len()],
            Response::Linear { weights: Some(w) } => w.iter().map(|w| 1.0 / w).collect(),
            Response::Counts => mu.iter().map(|m| 1.0 / m).collect(),
            Response::Means { readings } => {
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

    fn row_variances(&self, own: &[f64], mix: f64) -> Vec<f64> {
        match self.response {
            Response::Linear { .. } => own.to_vec(),
            Response::Counts => own.iter().map(|a| a + mix).collect(),
            Response::Means { .. } => own.iter().map(|a| (1.0 - mix) + mix * a).collect(),
        }
    }

    fn sums(&self, z: &[f64], v: &[f64]) -> Sums<'_> {
        Sums::new(self.x, self.p, self.groupings, z, v)
    }

    /// κ of counts by moments, Σ(y − μ)²/(μ + κμ²) = n − p (Breslow 1984, Appl.
    /// Stat. 33, 38), 0 where they scatter less than Poisson; of means the share
    /// of the readings' noise with the least restricted deviance.
    fn best_mix(&self, mu: &[f64], z: &[f64], own: &[f64], ratios: &[f64]) -> f64 {
        match self.response {
            Response::Linear { .. } => 0.0,
            Response::Means { .. } => {
                let deviance = |share: f64| {
                    self.sums(z, &self.row_variances(own, share))
                        .solve(ratios)
                        .map_or(f64::INFINITY, |l| l.deviance)
                };
                lowest(deviance, 0.0, 1.0, 5, 8)
            }
            Response::Counts => {
                let free = (self.rows() - self.p) as f64;
                let excess = |extra: f64| {
                    let each = self.y.iter().zip(mu);
                    each.map(|(y, m)| (y - m).powi(2) / (m + extra * m * m))
                        .sum::<f64>()
                        - free
                };
                let (low, high) = ((0.0, excess(0.0)), (MOST_EXTRA, excess(MOST_EXTRA)));
                if low.1 <= 0.0 {
                    0.0
                } else if high.1 >= 0.0 {
                    MOST_EXTRA
                } else {
                    root::between(excess, low, high)
                }
            }
        }
    }

    fn start(&self) -> Vec<f64> {
        let total: f64 = self.y.iter().sum();
        let exposure: f64 = self.offset.iter().map(|o| o.exp()).sum();
        let level = (total / exposure).max(f64::MIN_POSITIVE).ln();
        self.y
            .iter()
            .zip(self.offset)
            .map(|(y, o)| {
                let even = o + level;
                if self.counts() {
                    even
                } else {
                    y.max(0.1 * even.exp()).ln()
                }
            })
            .collect()
    }

    /// Fits the model; none where it has too few rows, no positive total on the
    /// log scale, columns that others explain, or does not settle.
    pub(crate) fn fit(&self) -> Option<Fit> {
        if self.rows() <= self.p {
            return None;
        }
        if let Response::Linear { .. } = self.response {
            let z: Vec<f64> = self.y.iter().zip(self.offset).map(|(y, o)| y - o).collect();
            let v = self.row_variances(&self.own_noise(&z), 0.0);
            let sums = self.sums(&z, &v);
            let ratios = self.ratios(&sums, &v, None);
            let least = sums.solve(&ratios)?;
            let effects = self.effects(&sums.effects(&least.beta, &ratios)?);
            let fitted = (0..self.rows())
                .map(|i| self.offset[i] + self.linear(&least.beta, i) + effects[i])
                .collect();
            return self.finish(
                &sums,
                least,
                ratios,
                Working {
                    z,
                    v,
                    mix: 0.0,
                    effects,
                    fitted,
                },
            );
        }
        self.log_linear()
    }

    fn ratios(&self, sums: &Sums<'_>, v: &[f64], last: Option<&[f64]>) -> Vec<f64> {
        if self.groupings.is_empty() {
            return Vec::new();
        }
        let typical = v.len() as f64 / v.iter().map(|v| 1.0 / v).sum::<f64>();
        search(sums, typical, self.variances, last)
    }

    fn log_linear(&self) -> Option<Fit> {
        let (n, p) = (self.rows(), self.p);
        if self.y.iter().sum::<f64>() <= 0.0 {
            return None;
        }
        let mut eta = self.start();
        let (mut mix, mut scale) = (0.0, 1.0);
        let mut ratios = vec![0.0; self.groupings.len()];
        let mut unscaled: Option<Mat<f64>> = None;
        let mut held = false;
        for iteration in 0..ITERATIONS {
            let mu: Vec<f64> = eta.iter().map(|e| e.exp()).collect();
            let own = self.own_noise(&mu);
            let mut z: Vec<f64> = (0..n)
                .map(|i| eta[i] - self.offset[i] + (self.y[i] - mu[i]) / mu[i])
                .collect();
            if let (true, Some(unscaled)) = (self.counts(), &unscaled) {
                for i in 0..n {
                    // h·v/2: the leverage times the variance, halved.
                    let row = &self.x[i * p..(i + 1) * p];
                    z[i] += f64::max(scale, 1.0) * quadratic(unscaled, row) / 2.0;
                }
            }
            if !held {
                let new_mix = self.best_mix(&mu, &z, &own, &ratios);
                let mut moved = if iteration == 0 {
                    1.0
                } else {
                    (new_mix - mix).abs()
                };
                mix = new_mix;
                let v = self.row_variances(&own, mix);
                let last = (iteration > 0).then_some(ratios.as_slice());
                let new = self.ratios(&self.sums(&z, &v), &v, last);
                for (new, old) in new.iter().zip(&ratios) {
                    moved = moved.max((new.sqrt() - old.sqrt()).abs());
                }
                ratios = new;
                held = moved < VARIANCES_SETTLED || iteration + 1 >= VARIANCE_ITERATIONS;
            }
            let v = self.row_variances(&own, mix);
            let sums = self.sums(&z, &v);
            let least = sums.solve(&ratios)?;
            scale = least.rss / (n - p) as f64;
            let effects = self.effects(&sums.effects(&least.beta, &ratios)?);
            let mut next: Vec<f64> = (0..n)
                .map(|i| self.offset[i] + self.linear(&least.beta, i) + effects[i])
                .collect();
            let steps = eta.iter().zip(&next).map(|(a, b)| (a - b).abs());
            let step = steps.fold(0.0_f64, f64::max);
            if !step.is_finite() {
                return None;
            }
            let halved = if self.counts() && iteration >= HALVED_FROM {
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
            if self.counts() {
                unscaled = Some(sums.solve(&vec![0.0; ratios.len()])?.unscaled);
            }
            eta = next;
            if step < CONVERGED && held {
                let fitted = eta.iter().map(|e| e.exp()).collect();
                return self.finish(
                    &sums,
                    least,
                    ratios,
                    Working {
                        z,
                        v,
                        mix,
                        effects,
                        fitted,
                    },
                );
            }
        }
        None
    }

    fn finish(
        &self,
        sums: &Sums<'_>,
        least: Least,
        ratios: Vec<f64>,
        working: Working,
    ) -> Option<Fit> {
        let (n, p) = (self.rows(), self.p);
        let Working {
            z,
            v,
            mix,
            effects,
            mut fitted,
        } = working;
        let mut scale = least.rss / (n - p) as f64;
        let whitener = sums.whitener(&ratios, &v)?;
        let residual: Vec<f64> = (0..n).map(|i| z[i] - self.linear(&least.beta, i)).collect();
        let mut beta = least.beta;
        if self.counts() {
            // No count scatters less than chance makes it.
            scale = scale.max(1.0);
            let ratio = self.y.iter().sum::<f64>() / fitted.iter().sum::<f64>();
            beta[0] += ratio.ln();
            for m in &mut fitted {
                *m *= ratio;
            }
        }
        Some(Fit {
            p,
            beta,
            fitted,
            judge: KenwardRoger::at(sums, &ratios, &least.unscaled)?,
            ratios,
            variance: v,
            unscaled: least.unscaled,
            scale,
            deviance: least.full_deviance,
            mix,
            effects,
            white_x: whitener.apply(self.x, p),
            white_residual: whitener.apply(&residual, 1),
            hit: self
                .counts()
                .then(|| self.y.iter().filter(|y| **y > 0.0).count()),
            whitener,
        })
    }

    /// Every row's effects of its groups, summed.
    fn effects(&self, of_groups: &[Vec<f64>]) -> Vec<f64> {
        (0..self.rows())
            .map(|i| {
                let own = self.groupings.iter().zip(of_groups);
                own.map(|(grouping, effects)| effects[grouping.of[i]]).sum()
            })
            .collect()
    }
}

/// Where an iteration stands.
struct Working {
    z: Vec<f64>,
    v: Vec<f64>,
    mix: f64,
    effects: Vec<f64>,
    fitted: Vec<f64>,
}

impl Fit {
    /// Judges c'β by Kenward & Roger; none where the data do not tell how far it
    /// scatters. Degrees of freedom are at least 1: a sum of mean squares has no
    /// fewer than the one of them with fewest (Satterthwaite 1946, Biometrics
    /// Bull. 2, 110), and no mean square has fewer than one.
    pub(crate) fn contrast(&self, c: &[f64]) -> Option<Contrast> {
        let dof = self.judge.dof(c)?.max(1.0);
        let variance = self.scale * quadratic(&self.judge.adjusted, c);
        Some(Contrast {
            estimate: c.iter().zip(&self.beta).map(|(c, b)| c * b).sum(),
            std_error: variance.max(0.0).sqrt(),
            dof,
        })
    }

    /// Variance of every grouping's effects.
    pub(crate) fn components(&self) -> impl Iterator<Item = f64> + '_ {
        self.ratios.iter().map(|ratio| self.scale * ratio)
    }

    /// Variance of all groups' effects together.
    pub(crate) fn shared_variance(&self) -> f64 {
        self.components().sum()
    }

    /// p-value of the product of two columns as one column more, variances
    /// held: regresses the whitened residual on what of the whitened product
    /// the columns do not explain.
    pub(crate) fn added(&self, (a, b): (usize, usize), raw: &[f64]) -> f64 {
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
        let rss = (self.scale * (n - p) as f64 - product * product / free).max(0.0);
        let dof = (n - p - 1) as f64;
        Contrast {
            estimate: product / free,
            std_error: (rss / dof / free).sqrt(),
            dof,
        }
        .p_value()
    }

    /// Leverage of row i, 0..1.
    pub(crate) fn leverage(&self, i: usize) -> f64 {
        quadratic(&self.unscaled, &self.white_x[i * self.p..(i + 1) * self.p])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn problem<'a>(
        x: &'a [f64],
        y: &'a [f64],
        offset: &'a [f64],
        response: Response<'a>,
        groupings: &'a [&'a Grouping],
    ) -> Problem<'a> {
        Problem {
            x,
            p: x.len() / y.len(),
            y,
            offset,
            response,
            groupings,
            variances: Variances::OffZero,
        }
    }

    /// k groups of n rows whose means are alike: with the penalty −2 ln t the least
    /// deviance is where (k − 1)·n·t²/(1 + n·t²) = 1, t² = 1/(n(k − 2)).
    #[test]
    fn groups_that_do_not_differ_keep_the_variance_that_the_penalty_gives_them() {
        let y: Vec<f64> = (0..24).map(|i| [1.0, -1.0][i % 2]).collect();
        let groups = Grouping::by_key((0..24).map(|i| i / 4));
        let values = Response::Linear { weights: None };
        let fit = problem(&[1.0; 24], &y, &[0.0; 24], values, &[&groups]).fit();
        assert_relative_eq!(fit.unwrap().ratios[0], 1.0 / 16.0, max_relative = 1e-5);
    }

    /// Noise of readings on the log scale is 1/(n·μ²): four readings of 10 µm are as
    /// good as one of 20.
    #[test]
    fn a_mean_of_few_readings_of_thick_removal_is_as_good_as_one_of_many_of_thin() {
        let readings = [4.0, 1.0];
        let means = Response::Means {
            readings: &readings,
        };
        let problem = problem(&[1.0; 2], &[10.0, 20.0], &[0.0; 2], means, &[]);
        assert_eq!(problem.own_noise(&[10.0, 20.0]), [1.0, 1.0]);
    }

    /// 16 counts of 9 or 11: a mean of 10 with the error of a Poisson one, to whose 160
    /// marks the penalty adds half a mark (Firth 1993).
    #[test]
    fn counts_that_scatter_less_than_chance_have_the_error_of_chance() {
        let y: Vec<f64> = (0..16).map(|i| [9.0, 11.0][i % 2]).collect();
        let fit = problem(&[1.0; 16], &y, &[0.0; 16], Response::Counts, &[]);
        let fit = fit.fit().unwrap();
        assert_eq!(fit.scale, 1.0);
        let found = fit.contrast(&[1.0]).unwrap();
        assert_relative_eq!(found.estimate, 10.0_f64.ln(), max_relative = 1e-9);
        assert_relative_eq!(
            found.std_error,
            160.5_f64.sqrt().recip(),
            max_relative = 1e-6
        );
    }

    /// Two groups, one of a single row: what tells them apart is less than one mean
    /// square, and counts as one.
    #[test]
    fn no_contrast_has_fewer_degrees_of_freedom_than_one_mean_square() {
        let y = [0.0, 1.0, 2.0, 1.0, 9.0];
        let groups = Grouping::by_key([0, 0, 0, 0, 1]);
        let values = Response::Linear { weights: None };
        let fit = problem(&[1.0; 5], &y, &[0.0; 5], values, &[&groups]).fit();
        let fit = fit.unwrap();
        let own = fit.judge.dof(&[1.0]).unwrap();
        assert!(own < 1.0, "{own}");
        assert_eq!(fit.contrast(&[1.0]).unwrap().dof, 1.0);
    }
}
