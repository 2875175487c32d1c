//! Beta distribution: the regularised incomplete beta function.

use super::{Tails, kernels::ln_binomial_term};
use crate::stats::root;

const MAX_TERMS: usize = 200_000;
const SMALLEST: f64 = 1e-300;

/// Tails of the beta distribution with shapes `a`, `b` > 0 at `x` in 0..1.
pub fn tails(a: f64, b: f64, x: f64) -> Tails {
    tails_with_complement(a, b, x, 1.0 - x)
}

/// As [`tails`], with 1 − x given apart, so that an x within 1e-16 of one
/// keeps its digits.
///
/// Continued fraction of Didonato & Morris (1992), ACM TOMS 18, 360–373,
/// formula 9, evaluated by the method of Lentz, on the side of the mean where
/// its leading term is at least one.
pub fn tails_with_complement(a: f64, b: f64, x: f64, complement: f64) -> Tails {
    if x <= 0.0 {
        return Tails::NONE_BELOW;
    }
    if complement <= 0.0 {
        return Tails::ALL_BELOW;
    }
    // xᵃ(1−x)ᵇ/B(a,b) = ab/(a+b) times the binomial term of a in a + b.
    let ln_front = (a * (b / (a + b))).ln() + ln_binomial_term(a, a + b, x, complement);
    if a * complement >= b * x {
        Tails::from_lower(ln_front - continued_fraction(a, b, x, complement).ln())
    } else {
        Tails::from_upper(ln_front - continued_fraction(b, a, complement, x).ln())
    }
}

fn continued_fraction(a: f64, b: f64, x: f64, complement: f64) -> f64 {
    let away_from_zero = |value: f64| {
        if value.abs() < SMALLEST {
            SMALLEST
        } else {
            value
        }
    };
    let lead = a * complement - b * x + 1.0;
    let mut fraction = away_from_zero(a * lead / (a + 1.0));
    let (mut c, mut d) = (fraction, 0.0);
    let mut m = 0.0;
    for _ in 0..MAX_TERMS {
        m += 1.0;
        let odd = a + 2.0 * m - 1.0;
        let numerator = (a + m - 1.0) / odd * ((a + b + m - 1.0) / odd) * m * (b - m) * x * x;
        let denominator =
            m + m * (b - m) * x / odd + (a + m) * (lead + m * (1.0 + complement)) / (odd + 2.0);
        d = 1.0 / away_from_zero(denominator + numerator * d);
        c = away_from_zero(denominator + numerator / c);
        fraction *= d * c;
        if (d * c - 1.0).abs() <= f64::EPSILON {
            break;
        }
    }
    fraction
}

/// The x with lower tail `p`, 0 < p < 1, by root search on the log-odds of x.
pub fn quantile(a: f64, b: f64, p: f64) -> f64 {
    solve(a, b, |tails| {
        if p <= 0.5 {
            p.ln() - tails.ln_lower
        } else {
            tails.ln_upper - (-p).ln_1p()
        }
    })
}

/// The x with upper tail `p`, 0 < p < 1; exact for tiny `p` too.
pub fn upper_quantile(a: f64, b: f64, p: f64) -> f64 {
    solve(a, b, |tails| {
        if p <= 0.5 {
            tails.ln_upper - p.ln()
        } else {
            (-p).ln_1p() - tails.ln_lower
        }
    })
}

fn solve(a: f64, b: f64, excess: impl Fn(Tails) -> f64) -> f64 {
    let at = |log_odds: f64| {
        let (x, complement) = (
            1.0 / (1.0 + (-log_odds).exp()),
            1.0 / (1.0 + log_odds.exp()),
        );
        // −∞ on both sides of a difference would be no number.
        excess(tails_with_complement(a, b, x, complement)).clamp(-1e300, 1e300)
    };
    let start = (a / b).ln().clamp(-600.0, 600.0);
    match root::of_monotone(at, start, 1.0, 1400.0) {
        Some(log_odds) => 1.0 / (1.0 + (-log_odds).exp()),
        None if at(start) > 0.0 => 1.0,
        None => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn mirrors_when_shapes_and_complement_swap(a in 0.05..500.0_f64, b in 0.05..500.0_f64, x in 0.001..0.999_f64) {
            let one = tails_with_complement(a, b, x, 1.0 - x);
            let other = tails_with_complement(b, a, 1.0 - x, x).swapped();
            prop_assert!((one.ln_lower - other.ln_lower).abs() <= 1e-11 * (1.0 + one.ln_lower.abs()));
            prop_assert!((one.ln_upper - other.ln_upper).abs() <= 1e-11 * (1.0 + one.ln_upper.abs()));
        }

        #[test]
        fn the_quantile_inverts_the_tail(a in 0.1..400.0_f64, b in 0.1..400.0_f64, p in 1e-6..0.999_f64) {
            let x = quantile(a, b, p);
            prop_assume!(x > 1e-300 && x < 1.0 - 1e-9);
            prop_assert!((tails(a, b, x).lower() / p - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn with_one_shape_at_one_it_is_a_power() {
        assert_relative_eq!(tails(3.0, 1.0, 0.2).lower(), 0.008, max_relative = 1e-14);
        assert_relative_eq!(
            upper_quantile(1.0, 20.0, 1e-30),
            1.0 - 1e-30_f64.powf(0.05),
            max_relative = 1e-13
        );
    }
}
