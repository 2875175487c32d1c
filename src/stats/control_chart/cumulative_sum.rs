//! The tabular cumulative sum, a chart for small shifts.

/// Both one-sided sums at every point.
#[derive(Debug, Clone, PartialEq)]
pub struct CumulativeSum {
    /// What values above the target have gathered, ≥ 0.
    pub high: Vec<f64>,
    /// What values below the target have gathered, ≥ 0.
    pub low: Vec<f64>,
    /// The first value after which either sum exceeds the decision limit.
    pub first_signal: Option<usize>,
}

/// S⁺_t = max(0, S⁺_{t−1} + x_t − target − slack) and
/// S⁻_t = max(0, S⁻_{t−1} + target − slack − x_t) from 0; a sum above `decision`
/// signals. `slack` is half of the shift to be found, in the values' unit.
///
/// Source: Page (1954), Biometrika 41, 100–115; formulas as in the
/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
#[must_use]
pub fn cumulative_sum(values: &[f64], target: f64, slack: f64, decision: f64) -> CumulativeSum {
    let (mut high, mut low) = (0.0_f64, 0.0_f64);
    let mut chart = CumulativeSum {
        high: Vec::with_capacity(values.len()),
        low: Vec::with_capacity(values.len()),
        first_signal: None,
    };
    for (k, value) in values.iter().enumerate() {
        high = (high + value - target - slack).max(0.0);
        low = (low + target - slack - value).max(0.0);
        if chart.first_signal.is_none() && high.max(low) > decision {
            chart.first_signal = Some(k);
        }
        chart.high.push(high);
        chart.low.push(low);
    }
    chart
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_two_sums_mirror_each_other() {
        let values = [1.0, 3.0, -4.0, 0.5, 2.5];
        let turned = values.map(|v| -v);
        let (one, other) = (
            cumulative_sum(&values, 0.0, 0.5, 2.5),
            cumulative_sum(&turned, 0.0, 0.5, 2.5),
        );
        assert_eq!(one.high, other.low);
        assert_eq!(one.high, [0.5, 3.0, 0.0, 0.0, 2.0]);
        assert_eq!((one.first_signal, other.first_signal), (Some(1), Some(1)));
    }
}
