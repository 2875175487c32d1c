//! Student's t distribution.

use super::{beta, normal};
use crate::stats::root;

/// Beyond so many degrees of freedom the crate's incomplete beta function loses
/// the ninth digit.
const MANY_DOF: f64 = 1e5;
/// From here on the normal distribution is the same to 1e-15.
const ENDLESS_DOF: f64 = 1e15;

/// P(T > t) with `dof` > 0 degrees of freedom (infinite: normal).
pub fn upper(t: f64, dof: f64) -> f64 {
    if dof > MANY_DOF {
        return normal::upper(normal_of(t, dof.min(ENDLESS_DOF)));
    }
    let square = t * t;
    let x = if square.is_infinite() {
        0.0
    } else {
        dof / (dof + square)
    };
    let beyond = 0.5 * beta::lower(dof / 2.0, 0.5, x);
    if t < 0.0 { 1.0 - beyond } else { beyond }
}

/// The normal value with the tail of `t`: a series in 1/dof, here to 1e-13.
///
/// Source: Hill (1970), Communications of the ACM 13, 617–619.
fn normal_of(t: f64, dof: f64) -> f64 {
    let a = dof - 0.5;
    let b = 48.0 * a * a;
    let y = a * (t * t / dof).ln_1p();
    let last = ((0.4 * y + 3.3) * y + 24.0) * y + 85.5;
    let factor = 1.0 + (y + 3.0 - last / (0.8 * y * y + 100.0 + b)) / b;
    (factor * y.sqrt()).copysign(t)
}

/// P(|T| ≥ |t|).
pub fn two_sided_p(t: f64, dof: f64) -> f64 {
    2.0 * upper(t.abs(), dof)
}

/// The t with upper tail `p`, 0 < p < 1, by root search.
pub fn upper_quantile(p: f64, dof: f64) -> f64 {
    if p > 0.5 {
        return -upper_quantile(1.0 - p, dof);
    }
    let excess = |t: f64| (p.ln() - upper(t, dof).ln()).clamp(-1e300, 1e300);
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
            upper(1e8, 1.0),
            1e-8 / std::f64::consts::PI,
            max_relative = 1e-12
        );
        assert_eq!(upper(f64::INFINITY, 1.0), 0.0);
    }

    #[test]
    fn approaches_the_normal_distribution() {
        for dof in [1e14, f64::INFINITY] {
            assert_relative_eq!(
                two_sided_quantile(0.95, dof),
                1.959_963_984_540_054,
                max_relative = 5e-10
            );
        }
    }

    #[test]
    fn both_ways_of_counting_meet() {
        for t in [-3.0, 0.0, 0.4, 2.0, 9.0] {
            let few = upper(t, MANY_DOF);
            assert_relative_eq!(upper(t, MANY_DOF * 1.000_000_1), few, max_relative = 2e-9);
        }
    }
}
