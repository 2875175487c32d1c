//! A mixture of normal laws: what is known of ln ratio once the scatter itself
//! is uncertain.

use crate::stats::distributions::normal;

/// Halvings of a quantile's bracket: to twelve digits of it.
const HALVINGS: usize = 48;

/// Standard deviations beyond the widest part in which quantiles are looked for.
const REACH: f64 = 12.0;

/// One normal law of the mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::change) struct Part {
    /// Share of the mixture; all shares add up to 1.
    pub share: f64,
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
}

/// A mixture of normal laws.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::change) struct Mixture {
    parts: Vec<Part>,
}

impl Mixture {
    /// Shares are brought to a sum of 1; at least one must be above 0.
    pub(in crate::change) fn new(mut parts: Vec<Part>) -> Self {
        let all: f64 = parts.iter().map(|p| p.share).sum();
        for part in &mut parts {
            part.share /= all;
        }
        Self { parts }
    }

    pub(in crate::change) fn mean(&self) -> f64 {
        self.parts.iter().map(|p| p.share * p.mean).sum()
    }

    /// Two-sided p-value of `at`: twice the smaller tail.
    pub(in crate::change) fn two_sided_p(&self, at: f64) -> f64 {
        let (mut lower, mut upper) = (0.0, 0.0);
        for part in &self.parts {
            let z = (at - part.mean) / part.sd;
            lower += part.share * normal::lower(z);
            upper += part.share * normal::upper(z);
        }
        (2.0 * lower.min(upper)).min(1.0)
    }

    /// Value below which a share `p` of the mixture lies, 0 < p < 1.
    pub(in crate::change) fn quantile(&self, p: f64) -> f64 {
        let below = |x: f64| -> f64 {
            let each = self.parts.iter();
            each.map(|part| part.share * normal::lower((x - part.mean) / part.sd))
                .sum()
        };
        let ends = |sign: f64| self.parts.iter().map(move |q| q.mean + sign * REACH * q.sd);
        let mut low = ends(-1.0).fold(f64::INFINITY, f64::min);
        let mut high = ends(1.0).fold(f64::NEG_INFINITY, f64::max);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if below(middle) < p {
                low = middle;
            } else {
                high = middle;
            }
        }
        f64::midpoint(low, high)
    }
}
