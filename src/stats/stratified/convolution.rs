//! A sum of independent counts whose distributions share one ratio.

use super::ExactRateRatio;
use crate::stats::{Interval, StatsError, root};

/// Ratios are sought within e^±700.
const LIMIT: f64 = 700.0;

/// Per stratum a count on `least..`, with weight wₖ·ρᵏ for the common ratio ρ.
/// Their sum has a distribution that depends on ρ alone: the basis of exact
/// conditional inference (Gart 1970, Biometrika 57, 471–475).
pub(super) struct ExactSum {
    /// ln wₖ of each stratum, from its least count on.
    pub(super) ln_weights: Vec<Vec<f64>>,
    /// Observed sum above the sum of the least counts.
    pub(super) observed: usize,
}

impl ExactSum {
    /// The largest possible sum above the least.
    fn most(&self) -> usize {
        self.ln_weights
            .iter()
            .map(|weights| weights.len() - 1)
            .sum()
    }

    /// Probabilities of the sum at ln ρ = `x`.
    fn distribution(&self, x: f64) -> Vec<f64> {
        let mut total = vec![1.0];
        for ln_weights in &self.ln_weights {
            let tilted: Vec<f64> = ln_weights
                .iter()
                .enumerate()
                .map(|(k, w)| w + k as f64 * x)
                .collect();
            let largest = tilted.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let weights: Vec<f64> = tilted.iter().map(|w| (w - largest).exp()).collect();
            let norm: f64 = weights.iter().sum();
            let mut sum = vec![0.0; total.len() + weights.len() - 1];
            for (i, a) in total.iter().enumerate() {
                for (j, b) in weights.iter().enumerate() {
                    sum[i + j] += a * b / norm;
                }
            }
            total = sum;
        }
        total
    }

    fn mean(&self, x: f64) -> f64 {
        self.distribution(x)
            .iter()
            .enumerate()
            .map(|(k, p)| k as f64 * p)
            .sum()
    }

    /// Probability of the observed sum or more.
    fn upper(&self, x: f64) -> f64 {
        self.distribution(x).iter().skip(self.observed).sum()
    }

    /// Probability of the observed sum or less.
    fn lower(&self, x: f64) -> f64 {
        self.distribution(x).iter().take(self.observed + 1).sum()
    }

    /// Estimate, interval and test of ρ = 1.
    pub(super) fn infer(&self, level: f64) -> Result<ExactRateRatio, StatsError> {
        let most = self.most();
        if most == 0 {
            return Err(StatsError::Empty {
                what: "strata that can tell the groups apart",
            });
        }
        let ln_tail = ((1.0 - level) / 2.0).ln();
        let root_of = |f: &dyn Fn(f64) -> f64, otherwise: f64| {
            root::of_monotone(f, 0.0, 1.0, LIMIT).map_or(otherwise, f64::exp)
        };
        let at_least = self.observed == 0;
        let at_most = self.observed == most;
        let floor = |p: f64| p.max(1e-300).ln();
        let low = if at_least {
            0.0
        } else {
            root_of(&|x| floor(self.upper(x)) - ln_tail, 0.0)
        };
        let high = if at_most {
            f64::INFINITY
        } else {
            root_of(&|x| floor(self.lower(x)) - ln_tail, f64::INFINITY)
        };
        let estimate = if at_least {
            0.0
        } else if at_most {
            f64::INFINITY
        } else {
            root_of(&|x| self.mean(x) - self.observed as f64, f64::INFINITY)
        };
        let (p_greater, p_less) = (self.upper(0.0).min(1.0), self.lower(0.0).min(1.0));
        Ok(ExactRateRatio {
            estimate,
            ci: Interval { low, high, level },
            p_greater,
            p_less,
            p_value: (2.0 * p_greater.min(p_less)).min(1.0),
        })
    }
}
