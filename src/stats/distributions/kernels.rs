//! Gamma function, its relatives, and the saddle-point terms of Loader.

/// ½ ln 2π.
const HALF_LN_TWO_PI: f64 = 0.918_938_533_204_672_7;
/// From here the asymptotic series below is good to the last digit.
const SERIES_FROM: f64 = 16.0;

/// ln Γ(x) for x > 0, to about 1e-15 × max(1, |ln Γ|).
pub fn ln_gamma(x: f64) -> f64 {
    stirling_error(x) + (x - 0.5) * x.ln() - x + HALF_LN_TWO_PI
}

/// δ(x) = ln Γ(x+1) − (x+½) ln x + x − ½ ln 2π for x > 0: what Stirling's
/// formula leaves out.
///
/// Asymptotic series (Abramowitz & Stegun 1964, 6.1.41), below 16 reached by
/// δ(x) = δ(x+1) + (x+½) ln(1+1/x) − 1.
pub(crate) fn stirling_error(x: f64) -> f64 {
    let mut shifted = x;
    let mut sum = 0.0;
    while shifted < SERIES_FROM {
        sum += (shifted + 0.5) * (1.0 / shifted).ln_1p() - 1.0;
        shifted += 1.0;
    }
    let inverse_square = 1.0 / (shifted * shifted);
    let series = [
        -1.0 / 12.0,
        1.0 / 360.0,
        -1.0 / 1260.0,
        1.0 / 1680.0,
        -1.0 / 1188.0,
        691.0 / 360_360.0,
        -1.0 / 156.0,
    ];
    -series
        .iter()
        .rev()
        .fold(0.0, |tail, term| tail * inverse_square + term)
        / shifted
        + sum
}

/// x ln(x/m) + m − x for x ≥ 0, m > 0, without cancellation where x ≈ m.
///
/// Loader (2000), "Fast and accurate computation of binomial probabilities".
pub(crate) fn deviance_part(x: f64, mean: f64) -> f64 {
    if x == 0.0 {
        return mean;
    }
    let difference = x - mean;
    if difference.abs() >= 0.1 * (x + mean) {
        return x * (x / mean).ln() - difference;
    }
    let v = difference / (x + mean);
    let mut sum = difference * v;
    let mut term = 2.0 * x * v;
    for j in 1..1000 {
        term *= v * v;
        let next = sum + term / f64::from(2 * j + 1);
        if next == sum {
            break;
        }
        sum = next;
    }
    sum
}

/// ln of C(n, k) pᵏ qⁿ⁻ᵏ for real 0 ≤ k ≤ n, with q = 1 − p given apart.
pub(crate) fn ln_binomial_term(k: f64, n: f64, p: f64, q: f64) -> f64 {
    let rest = n - k;
    if k == 0.0 {
        return if q < 0.1 {
            n * q.ln()
        } else {
            n * (-p).ln_1p()
        };
    }
    if rest == 0.0 {
        return if p < 0.1 {
            n * p.ln()
        } else {
            n * (-q).ln_1p()
        };
    }
    stirling_error(n)
        - stirling_error(k)
        - stirling_error(rest)
        - deviance_part(k, n * p)
        - deviance_part(rest, n * q)
        + 0.5 * (n / (k * rest)).ln()
        - HALF_LN_TWO_PI
}

/// ln of e^−m mˣ/Γ(x+1) for real x ≥ 0, m > 0.
pub(crate) fn ln_poisson_term(x: f64, mean: f64) -> f64 {
    if x == 0.0 {
        return -mean;
    }
    -stirling_error(x) - deviance_part(x, mean) - 0.5 * x.ln() - HALF_LN_TWO_PI
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn ln_gamma_gives_factorials() {
        let mut ln_factorial = 0.0;
        for n in 1..60_u32 {
            ln_factorial += f64::from(n).ln();
            assert_relative_eq!(
                ln_gamma(f64::from(n) + 1.0),
                ln_factorial,
                epsilon = 1e-13,
                max_relative = 1e-13
            );
        }
        assert_relative_eq!(
            ln_gamma(0.5),
            0.5 * std::f64::consts::PI.ln(),
            max_relative = 1e-14
        );
    }
}
