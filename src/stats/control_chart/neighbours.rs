//! How much counts spread, from how far neighbours lie apart.

use super::CountLaw;

/// Steps in which the factor settles.
const STEPS: usize = 20;
/// The largest factor looked for.
const MOST: f64 = 1e6;

/// Variance over mean of counts with the expected values `means` (> 0, in the
/// same order), at least 1: that factor at which the mean range of neighbours,
/// each standardised as a single independent mark would be, is what their count
/// law makes of it ([`CountLaw::mean_range`] at the geometric mean of `means`).
///
/// A step or a slow drift moves few of the ranges and so hardly the factor. With
/// many marks it is (mean range / d₂)² with d₂ = 2/√π of a normal law (Laney
/// 2002, Quality Engineering 14, 531–537); with few, ranges of counts are shorter
/// than that law's and d₂ would see too little spread. 1 with fewer than two
/// counts.
#[must_use]
pub(crate) fn variance_factor(counts: &[f64], means: &[f64]) -> f64 {
    let z: Vec<f64> = counts
        .iter()
        .zip(means)
        .map(|(count, mean)| (count - mean) / mean.sqrt())
        .collect();
    if z.len() < 2 {
        return 1.0;
    }
    let ranges: f64 = z.windows(2).map(|w| (w[1] - w[0]).abs()).sum();
    let seen = ranges / (z.len() - 1) as f64;
    let mean = (means.iter().map(|m| m.ln()).sum::<f64>() / means.len() as f64).exp();
    let mut factor = 1.0;
    for _ in 0..STEPS {
        let range = CountLaw { mean, factor }.mean_range() / mean.sqrt();
        // ranges grow nearly as the root of the factor
        let next = (factor * (seen / range).powi(2)).clamp(1.0, MOST);
        let settled = (next - factor).abs() <= 1e-6 * factor;
        factor = next;
        if settled {
            break;
        }
    }
    factor
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_marks_give_the_normal_laws_factor() {
        let counts = [1000.0, 1100.0, 980.0, 1030.0];
        // ranges 100, 120, 50 over √1000; d₂ of pairs is 2/√π
        let by_hand = (90.0 / 1000.0_f64.sqrt() / std::f64::consts::FRAC_2_SQRT_PI).powi(2);
        let factor = variance_factor(&counts, &[1000.0; 4]);
        assert!((factor / by_hand - 1.0).abs() < 0.01, "{factor} {by_hand}");
    }

    #[test]
    fn a_single_step_hardly_counts_and_calm_counts_are_single_marks() {
        let mut counts = [16.0, 20.0].repeat(10);
        let calm = variance_factor(&counts, &[18.0; 20]);
        counts[10..].iter_mut().for_each(|c| *c += 18.0);
        let stepped = variance_factor(&counts, &[27.0; 20]);
        assert!((calm, stepped) == (1.0, 1.0));
        assert!(variance_factor(&[3.0], &[1.0]) == 1.0);
    }
}
