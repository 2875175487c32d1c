//! Distribution families and links.

use crate::stats::distributions::{binomial, ln_gamma, poisson};

/// Distribution of a response around its mean μ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Family {
    /// Constant variance; with [`Link::Log`] a multiplicative mean for readings
    /// that can be zero or negative by gauge error.
    Gaussian,
    /// Variance ∝ μ²; positive amounts.
    Gamma,
    /// Counts, variance μ.
    Poisson,
    /// Share of hits, 0..1, with the number of trials as weight; variance
    /// μ(1−μ)/trials.
    Binomial,
    /// Counts that clump: variance μ + μ²/θ.
    NegativeBinomial {
        /// θ > 0; smaller means more clumped.
        theta: f64,
    },
}

/// How the linear predictor η gives the mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Link {
    /// μ = η.
    Identity,
    /// μ = eᵡ with x = η: effects multiply.
    Log,
    /// μ = 1/(1 + e^−η): effects multiply the odds.
    Logit,
}

/// Linear predictors are held within ±this, where e^η is still a number.
const ETA_LIMIT: f64 = 300.0;
/// Means nearer than this to the edge of their range count as on it.
pub(super) const EDGE: f64 = 1e-9;

impl Link {
    pub(super) fn mean(self, eta: f64) -> f64 {
        match self {
            Link::Identity => eta,
            Link::Log => eta.clamp(-ETA_LIMIT, ETA_LIMIT).exp(),
            Link::Logit => 1.0 / (1.0 + (-eta.clamp(-ETA_LIMIT, ETA_LIMIT)).exp()),
        }
    }

    pub(super) fn predictor(self, mean: f64) -> f64 {
        match self {
            Link::Identity => mean,
            Link::Log => mean.ln(),
            Link::Logit => mean.ln() - (-mean).ln_1p(),
        }
    }

    /// dμ/dη.
    pub(super) fn slope(self, mean: f64, eta: f64) -> f64 {
        match self {
            Link::Identity => 1.0,
            Link::Log => mean,
            // μ(1−μ) without cancellation near one.
            Link::Logit => mean * Link::Logit.mean(-eta),
        }
    }
}

impl Family {
    /// Variance of one observation of weight 1, in units of the dispersion.
    pub(super) fn variance(self, mean: f64) -> f64 {
        match self {
            Family::Gaussian => 1.0,
            Family::Gamma => mean * mean,
            Family::Poisson => mean,
            Family::Binomial => mean * (1.0 - mean),
            Family::NegativeBinomial { theta } => mean + mean * mean / theta,
        }
    }

    /// Can the family produce this response?
    pub(super) fn allows(self, y: f64) -> bool {
        match self {
            Family::Gaussian => true,
            Family::Gamma => y > 0.0,
            Family::Poisson | Family::NegativeBinomial { .. } => y >= 0.0,
            Family::Binomial => (0.0..=1.0).contains(&y),
        }
    }

    /// Is this a possible mean?
    pub(super) fn allows_mean(self, mean: f64) -> bool {
        match self {
            Family::Gaussian => mean.is_finite(),
            Family::Gamma | Family::Poisson | Family::NegativeBinomial { .. } => {
                mean > 0.0 && mean.is_finite()
            }
            Family::Binomial => mean > 0.0 && mean < 1.0,
        }
    }

    /// A mean to start from, given the response and the weighted mean response.
    pub(super) fn start(self, y: f64, weight: f64, overall: f64) -> f64 {
        match self {
            Family::Gaussian => y,
            Family::Gamma => y.max(0.1 * overall),
            Family::Poisson | Family::NegativeBinomial { .. } => y + 0.1,
            Family::Binomial => (weight * y + 0.5) / (weight + 1.0),
        }
    }

    /// Contribution to the deviance of an observation of weight 1.
    pub(super) fn deviance(self, y: f64, mean: f64) -> f64 {
        // y ln(y/m), 0 at y = 0.
        let entropy = |y: f64, m: f64| if y > 0.0 { y * (y / m).ln() } else { 0.0 };
        match self {
            Family::Gaussian => (y - mean).powi(2),
            Family::Gamma => -2.0 * ((y / mean).ln() - (y - mean) / mean),
            Family::Poisson => 2.0 * (entropy(y, mean) - (y - mean)),
            Family::Binomial => 2.0 * (entropy(y, mean) + entropy(1.0 - y, 1.0 - mean)),
            Family::NegativeBinomial { theta } => {
                2.0 * (entropy(y, mean) - (y + theta) * ((y + theta) / (mean + theta)).ln())
            }
        }
    }

    /// Log-likelihood of an observation; `None` for families whose likelihood
    /// depends on an estimated dispersion.
    pub(super) fn log_likelihood(self, y: f64, mean: f64, weight: f64) -> Option<f64> {
        match self {
            Family::Gaussian | Family::Gamma => None,
            Family::Poisson => Some(weight * poisson::ln_probability(y.round() as u64, mean)),
            Family::Binomial => Some(binomial::ln_probability(
                (weight * y).round() as u64,
                weight.round() as u64,
                mean,
            )),
            Family::NegativeBinomial { theta } => {
                let combinations = ln_gamma(theta + y) - ln_gamma(theta) - ln_gamma(y + 1.0);
                let successes = if y > 0.0 {
                    y * (mean / (mean + theta)).ln()
                } else {
                    0.0
                };
                Some(weight * (combinations - theta * (mean / theta).ln_1p() + successes))
            }
        }
    }

    /// Is the dispersion known to be one?
    pub(super) fn has_unit_dispersion(self) -> bool {
        !matches!(self, Family::Gaussian | Family::Gamma)
    }
}
