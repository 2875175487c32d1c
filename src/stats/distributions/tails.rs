//! Both tails of a distribution at one point.

use std::f64::consts::LN_2;

/// Lower and upper tail at a point, as natural logarithms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tails {
    /// ln P(X ≤ x), −∞ where the probability is zero.
    pub ln_lower: f64,
    /// ln P(X > x), −∞ where the probability is zero.
    pub ln_upper: f64,
}

impl Tails {
    /// P(X ≤ x).
    pub fn lower(self) -> f64 {
        self.ln_lower.exp()
    }

    /// P(X > x); for a continuous distribution also P(X ≥ x).
    pub fn upper(self) -> f64 {
        self.ln_upper.exp()
    }

    /// Both tails from the lower one.
    pub(crate) fn from_lower(ln_lower: f64) -> Tails {
        Tails {
            ln_lower: ln_lower.min(0.0),
            ln_upper: ln_complement(ln_lower),
        }
    }

    /// Both tails from the upper one.
    pub(crate) fn from_upper(ln_upper: f64) -> Tails {
        Tails::from_lower(ln_upper).swapped()
    }

    /// Tails of −X at −x.
    pub(crate) fn swapped(self) -> Tails {
        Tails {
            ln_lower: self.ln_upper,
            ln_upper: self.ln_lower,
        }
    }

    /// All of the probability above the point.
    pub(crate) const NONE_BELOW: Tails = Tails {
        ln_lower: f64::NEG_INFINITY,
        ln_upper: 0.0,
    };
    /// All of the probability at or below the point.
    pub(crate) const ALL_BELOW: Tails = Tails {
        ln_lower: 0.0,
        ln_upper: f64::NEG_INFINITY,
    };
}

/// ln(1 − eˣ) for x ≤ 0, without cancellation.
pub(crate) fn ln_complement(x: f64) -> f64 {
    if x >= 0.0 {
        f64::NEG_INFINITY
    } else if x > -LN_2 {
        (-x.exp_m1()).ln()
    } else {
        (-x.exp()).ln_1p()
    }
}
