//! Gamma distribution with scale 1.

use statrs::function::gamma::{checked_gamma_lr, checked_gamma_ur};

/// P(X ≤ x) with `shape` > 0; no number for another shape.
pub fn lower(shape: f64, x: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else if x == f64::INFINITY {
        1.0
    } else {
        checked_gamma_lr(shape, x).unwrap_or(f64::NAN)
    }
}

/// P(X > x) of the same.
pub fn upper(shape: f64, x: f64) -> f64 {
    if x <= 0.0 {
        1.0
    } else if x == f64::INFINITY {
        0.0
    } else {
        checked_gamma_ur(shape, x).unwrap_or(f64::NAN)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn with_shape_one_it_is_exponential() {
        assert_relative_eq!(upper(1.0, 600.0), (-600.0_f64).exp(), max_relative = 1e-12);
        assert_relative_eq!(
            lower(1.0, 1e-9),
            -(-1e-9_f64).exp_m1(),
            max_relative = 1e-12
        );
        assert_eq!((lower(1.0, 0.0), upper(1.0, f64::INFINITY)), (0.0, 0.0));
    }
}
