//! The exponentially weighted mean, a chart for small shifts.

/// An exponentially weighted mean and its limits at every point.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct WeightedMean {
    /// The weighted mean after each value.
    pub values: Vec<f64>,
    /// How far from the target its limits lie there, on either side.
    pub limits: Vec<f64>,
    /// The first value after which it lies outside.
    pub first_signal: Option<usize>,
}

/// z_t = λ·x_t + (1−λ)·z_{t−1} from z_0 = target, with limits
/// target ± width·sd·√(λ/(2−λ)·(1−(1−λ)^{2t})): those of the t-th point, which
/// settle down to width·sd·√(λ/(2−λ)).
///
/// `weight` is λ in 0..=1, `sd` that of one value.
/// Source: Roberts (1959), Technometrics 1, 239–250; formulas as in the
/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
#[must_use]
pub(crate) fn weighted_mean(
    values: &[f64],
    target: f64,
    sd: f64,
    weight: f64,
    width: f64,
) -> WeightedMean {
    let mut mean = target;
    let mut left = 1.0;
    let mut chart = WeightedMean {
        values: Vec::with_capacity(values.len()),
        limits: Vec::with_capacity(values.len()),
        first_signal: None,
    };
    for (k, value) in values.iter().enumerate() {
        mean = weight * value + (1.0 - weight) * mean;
        left *= (1.0 - weight).powi(2);
        let limit = width * sd * (weight / (2.0 - weight) * (1.0 - left)).sqrt();
        if chart.first_signal.is_none() && (mean - target).abs() > limit {
            chart.first_signal = Some(k);
        }
        chart.values.push(mean);
        chart.limits.push(limit);
    }
    chart
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_weight_of_one_is_the_plain_chart() {
        let chart = weighted_mean(&[1.0, -2.0, 7.0], 0.0, 2.0, 1.0, 3.0);
        assert_eq!(chart.values, [1.0, -2.0, 7.0]);
        assert_eq!(chart.limits, [6.0; 3]);
        assert_eq!(chart.first_signal, Some(2));
    }
}
