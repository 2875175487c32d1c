//! Gamma distribution with scale 1: the regularised incomplete gamma function.

use super::{Tails, kernels::ln_poisson_term};
use crate::stats::root;

const MAX_TERMS: usize = 200_000;
const SMALLEST: f64 = 1e-300;

/// Tails of the gamma distribution with `shape` > 0 and scale 1 at `x` ≥ 0.
///
/// Series below `shape + 1`, continued fraction above (Abramowitz & Stegun
/// 1964, 6.5.29 and 6.5.31).
pub fn tails(shape: f64, x: f64) -> Tails {
    if x <= 0.0 {
        return Tails::NONE_BELOW;
    }
    if x == f64::INFINITY {
        return Tails::ALL_BELOW;
    }
    let ln_front = ln_poisson_term(shape, x);
    if x < shape + 1.0 {
        Tails::from_lower(ln_front + series(shape, x).ln())
    } else {
        // xᵃe⁻ˣ/Γ(a) is the Poisson term times a.
        Tails::from_upper(ln_front + shape.ln() + continued_fraction(shape, x).ln())
    }
}

fn series(shape: f64, x: f64) -> f64 {
    let (mut sum, mut term, mut next) = (1.0, 1.0, shape);
    for _ in 0..MAX_TERMS {
        next += 1.0;
        term *= x / next;
        sum += term;
        if term <= sum * f64::EPSILON {
            break;
        }
    }
    sum
}

fn continued_fraction(shape: f64, x: f64) -> f64 {
    let mut b = x + 1.0 - shape;
    let mut c = 1.0 / SMALLEST;
    let mut d = 1.0 / b;
    let mut fraction = d;
    let mut i = 0.0;
    for _ in 0..MAX_TERMS {
        i += 1.0;
        let a = -i * (i - shape);
        b += 2.0;
        let denominator = a * d + b;
        d = 1.0
            / if denominator.abs() < SMALLEST {
                SMALLEST
            } else {
                denominator
            };
        c = b + a / c;
        if c.abs() < SMALLEST {
            c = SMALLEST;
        }
        fraction *= d * c;
        if (d * c - 1.0).abs() <= f64::EPSILON {
            break;
        }
    }
    fraction
}

/// The x with lower tail `p`, 0 < p < 1, by root search on ln x.
pub fn quantile(shape: f64, p: f64) -> f64 {
    solve(shape, |tails| {
        if p <= 0.5 {
            p.ln() - tails.ln_lower
        } else {
            tails.ln_upper - (-p).ln_1p()
        }
    })
}

/// The x with upper tail `p`, 0 < p < 1; exact for tiny `p` too.
pub fn upper_quantile(shape: f64, p: f64) -> f64 {
    solve(shape, |tails| {
        if p <= 0.5 {
            tails.ln_upper - p.ln()
        } else {
            (-p).ln_1p() - tails.ln_lower
        }
    })
}

fn solve(shape: f64, excess: impl Fn(Tails) -> f64) -> f64 {
    let at = |ln_x: f64| excess(tails(shape, ln_x.exp())).clamp(-1e300, 1e300);
    root::of_monotone(at, shape.ln(), 0.5, 1400.0).map_or(0.0, f64::exp)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn with_shape_one_it_is_exponential() {
        assert_relative_eq!(tails(1.0, 700.0).ln_upper, -700.0, max_relative = 1e-14);
        assert_relative_eq!(
            upper_quantile(1.0, 1e-200),
            200.0 * 10.0_f64.ln(),
            max_relative = 1e-13
        );
    }

    proptest! {
        #[test]
        fn the_quantile_inverts_the_tail(shape in 0.1..3000.0_f64, p in 1e-6..0.999_999_f64) {
            prop_assert!((tails(shape, quantile(shape, p)).lower() / p - 1.0).abs() < 1e-9);
        }
    }
}
