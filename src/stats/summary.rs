//! Mean, standard deviation and serial correlation of one sample.

use super::{StatsError, linear::compensated_sum};

/// A sample in three numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Values.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation with n − 1; `None` for one value.
    pub sd: Option<f64>,
    /// Lag-1 autocorrelation Σ(xᵢ−x̄)(xᵢ₊₁−x̄)/Σ(xᵢ−x̄)²; `None` if the values
    /// do not vary.
    pub autocorrelation: Option<f64>,
}

/// Summarises `values`, with compensated sums about the first value.
///
/// # Errors
///
/// [`StatsError::Empty`] without values, [`StatsError::NotFinite`].
pub fn summary(values: &[f64]) -> Result<Summary, StatsError> {
    let Some(&first) = values.first() else {
        return Err(StatsError::Empty { what: "values" });
    };
    if values.iter().any(|value| !value.is_finite()) {
        return Err(StatsError::NotFinite { name: "values" });
    }
    let n = values.len();
    let shift = compensated_sum(values.iter().map(|value| value - first)) / n as f64;
    let deviations: Vec<f64> = values.iter().map(|value| value - first - shift).collect();
    let squares = compensated_sum(deviations.iter().map(|d| d * d));
    let neighbours = compensated_sum(
        deviations
            .iter()
            .zip(deviations.iter().skip(1))
            .map(|(a, b)| a * b),
    );
    Ok(Summary {
        n,
        mean: first + shift,
        sd: (n > 1).then(|| (squares / (n as f64 - 1.0)).sqrt()),
        autocorrelation: (squares > 0.0).then(|| neighbours / squares),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn constant_values_have_no_autocorrelation() {
        let got = summary(&[3.0, 3.0, 3.0]).unwrap();
        assert_eq!(
            (got.mean, got.sd, got.autocorrelation),
            (3.0, Some(0.0), None)
        );
        assert_eq!(summary(&[2.0]).unwrap().sd, None);
        assert_eq!(summary(&[]), Err(StatsError::Empty { what: "values" }));
    }
}
