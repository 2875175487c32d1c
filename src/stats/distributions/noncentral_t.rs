//! Noncentral t distribution: the power of a t test.

use super::normal;

/// Log density below its peak at which a term no longer counts.
const NEGLIGIBLE: f64 = -42.0;

/// P(T > t) for T = (Z + `shift`)/S, with S² = χ²/`dof`.
///
/// Averages the normal tail over ln S by the trapezoidal rule, which converges
/// exponentially for an integrand that dies out smoothly at both ends; as exact
/// as the normal tail, 1e-10.
pub fn upper_tail(t: f64, dof: f64, shift: f64) -> f64 {
    // Density of ln S up to its constant: dof·(y − (e^2y − 1)/2), peak 0 at 0.
    let ln_weight = |y: f64| dof * (y - 0.5 * (2.0 * y).exp_m1());
    let step = 0.1 / (1.0 + 2.0 * dof).sqrt();
    let (mut weights, mut sum) = (1.0, normal::upper(t - shift));
    for direction in [-step, step] {
        let mut y = direction;
        loop {
            let ln_w = ln_weight(y);
            if ln_w < NEGLIGIBLE {
                break;
            }
            let weight = ln_w.exp();
            weights += weight;
            sum += weight * normal::upper(t * y.exp() - shift);
            y += direction;
        }
    }
    sum / weights
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::distributions::student_t;
    use approx::assert_relative_eq;

    #[test]
    fn without_a_shift_it_is_student_t() {
        for (t, dof) in [(0.3, 1.0), (2.1, 7.5), (-1.4, 98.0), (3.0, 2000.0)] {
            assert_relative_eq!(
                upper_tail(t, dof, 0.0),
                student_t::upper(t, dof),
                max_relative = 5e-10
            );
        }
    }
}
