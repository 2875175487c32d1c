//! The law of one panel's value, given its mean.

use statrs::function::gamma::ln_gamma;

/// What is counted or measured on a panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::change) enum Family {
    /// Counts: negative binomial, variance μ + spread·μ² (Lawless 1987, Canadian
    /// J. Statistics 15, 209–225).
    Counts,
    /// Positive measures: gamma, variance spread·μ².
    Measures,
}

/// ln likelihood of panels alike, with its first and minus its second derivative
/// in ln μ.
#[derive(Debug, Clone, Copy)]
pub(super) struct Score {
    pub ln_likelihood: f64,
    pub slope: f64,
    pub weight: f64,
}

impl Family {
    /// Of `panels` whose values add up to `sum`, each with mean exp(`ln_mean`);
    /// without the part that only depends on the spread: [`Self::of_spread`].
    pub(super) fn score(self, spread: f64, panels: f64, sum: f64, ln_mean: f64) -> Score {
        let mean = ln_mean.exp();
        let shape = 1.0 / spread;
        match self {
            Self::Counts => {
                let all = sum + panels * shape;
                let part = mean / (shape + mean);
                Score {
                    // (shape + mean)/shape, so that a wide shape loses no digits
                    ln_likelihood: sum * ln_mean - all * (mean / shape).ln_1p() - sum * shape.ln(),
                    slope: sum - all * part,
                    weight: all * part * (1.0 - part),
                }
            }
            Self::Measures => {
                let relative = sum / mean;
                Score {
                    ln_likelihood: -shape * (panels * ln_mean + relative),
                    slope: shape * (relative - panels),
                    weight: shape * relative,
                }
            }
        }
    }

    /// Information on ln μ that one panel of mean exp(`ln_mean`) is expected to give.
    pub(super) fn information(self, spread: f64, ln_mean: f64) -> f64 {
        match self {
            Self::Counts => 1.0 / ((-ln_mean).exp() + spread),
            Self::Measures => 1.0 / spread,
        }
    }

    /// The part of ln likelihood that depends on the spread and the values alone;
    /// `values` are the distinct ones with the number of panels.
    pub(super) fn of_spread(self, spread: f64, values: &[(f64, f64)]) -> f64 {
        let shape = 1.0 / spread;
        let own = ln_gamma(shape);
        let each = values.iter();
        match self {
            Self::Counts => each
                .filter(|(y, _)| *y > 0.0)
                .map(|(y, n)| n * (ln_gamma(y + shape) - own))
                .sum(),
            Self::Measures => each
                .map(|(y, n)| n * (shape * shape.ln() - own + (shape - 1.0) * y.ln()))
                .sum(),
        }
    }
}
