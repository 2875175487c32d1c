//! Student's t distribution.

use super::{Tails, beta, normal};
use crate::stats::root;
use std::f64::consts::LN_2;

/// From here on the normal distribution is the same to 1e-15.
const ENDLESS_DOF: f64 = 1e15;

/// Tails at `t` with `dof` > 0 degrees of freedom (infinite: normal).
pub fn tails(t: f64, dof: f64) -> Tails {
    if dof > ENDLESS_DOF {
        return normal::tails(t);
    }
    if t == 0.0 {
        return Tails {
            ln_lower: -LN_2,
            ln_upper: -LN_2,
        };
    }
    let square = t * t;
    let (x, complement) = if square.is_finite() {
        (dof / (dof + square), square / (dof + square))
    } else {
        (0.0, 1.0)
    };
    let both = beta::tails_with_complement(dof / 2.0, 0.5, x, complement).ln_lower;
    let positive = Tails::from_upper(both - LN_2);
    if t > 0.0 {
        positive
    } else {
        positive.swapped()
    }
}

/// P(|T| ≥ |t|).
pub fn two_sided_p(t: f64, dof: f64) -> f64 {
    let tails = tails(t.abs(), dof);
    (2.0 * tails.upper()).min(1.0)
}

/// The t with upper tail `p`, 0 < p < 1.
pub fn upper_quantile(p: f64, dof: f64) -> f64 {
    if dof > ENDLESS_DOF {
        return normal::upper_quantile(p);
    }
    if p > 0.5 {
        return -upper_quantile(1.0 - p, dof);
    }
    if p == 0.5 {
        return 0.0;
    }
    let excess = |t: f64| p.ln() - tails(t, dof).ln_upper;
    root::of_monotone(excess, 0.0, 1.0, 1e300).unwrap_or(f64::INFINITY)
}

/// Half width of a two-sided interval in standard errors: the t whose two
/// tails together hold 1 − `level`.
pub fn two_sided_quantile(level: f64, dof: f64) -> f64 {
    upper_quantile((1.0 - level) / 2.0, dof)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn with_one_degree_of_freedom_it_is_the_cauchy_distribution() {
        assert_relative_eq!(upper_quantile(0.25, 1.0), 1.0, max_relative = 1e-13);
        assert_relative_eq!(
            tails(1e8, 1.0).upper(),
            1e-8 / std::f64::consts::PI,
            max_relative = 1e-12
        );
    }

    #[test]
    fn approaches_the_normal_distribution() {
        assert_relative_eq!(
            two_sided_quantile(0.95, 1e14),
            1.959_963_984_540_054,
            max_relative = 1e-12
        );
        assert_relative_eq!(
            two_sided_quantile(0.95, f64::INFINITY),
            1.959_963_984_540_054,
            max_relative = 1e-14
        );
    }
}
