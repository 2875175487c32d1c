//! Limits at a multiple of the standard error: charts of counts, of rates and
//! of proportions.
//!
//! Source: Shewhart (1931), Economic Control of Quality of Manufactured
//! Product; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.1, 6.3.3.2.

use crate::stats::StatsError;

/// Centre and limits of a chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ControlLimits {
    /// Where a steady process lies on average.
    pub centre: f64,
    /// Lower limit; 0 where the formula gives less than nothing.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
}

/// Standard error √(rate/size) of a rate of Poisson counts over `size` units,
/// both > 0.
#[must_use]
pub fn rate_std_error(rate: f64, size: f64) -> f64 {
    (rate / size).sqrt()
}

/// Limits of a rate per unit over `size` units, `width` standard errors from
/// the centre; with size 1 those of a count.
///
/// # Errors
///
/// [`StatsError::NotPositive`] for a rate, size or width that is not above 0.
pub fn rate_limits(rate: f64, size: f64, width: f64) -> Result<ControlLimits, StatsError> {
    for (name, value) in [("rate", rate), ("size", size), ("width", width)] {
        positive(name, value)?;
    }
    let reach = width * rate_std_error(rate, size);
    Ok(ControlLimits {
        centre: rate,
        lower: (rate - reach).max(0.0),
        upper: rate + reach,
    })
}

/// Limits of a proportion in samples of `size`, `width` standard errors
/// √(p(1−p)/size) from the centre; neither leaves 0..1.
///
/// # Errors
///
/// [`StatsError::Share`] for a proportion that is not inside 0..1,
/// [`StatsError::NotPositive`] for a size or width that is not above 0.
pub fn proportion_limits(
    proportion: f64,
    size: f64,
    width: f64,
) -> Result<ControlLimits, StatsError> {
    if !(proportion > 0.0 && proportion < 1.0) {
        return Err(StatsError::Share {
            name: "proportion",
            value: proportion,
        });
    }
    positive("size", size)?;
    positive("width", width)?;
    let reach = width * (proportion * (1.0 - proportion) / size).sqrt();
    Ok(ControlLimits {
        centre: proportion,
        lower: (proportion - reach).max(0.0),
        upper: (proportion + reach).min(1.0),
    })
}

fn positive(name: &'static str, value: f64) -> Result<(), StatsError> {
    if value > 0.0 && value.is_finite() {
        Ok(())
    } else {
        Err(StatsError::NotPositive { name, value })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_stay_where_counts_and_shares_can_lie() {
        assert_eq!(rate_limits(1.0, 1.0, 3.0).unwrap().lower, 0.0);
        let rare = proportion_limits(0.02, 50.0, 3.0).unwrap();
        let often = proportion_limits(0.98, 50.0, 3.0).unwrap();
        assert_eq!((rare.lower, often.upper), (0.0, 1.0));
        assert!((rare.upper - (1.0 - often.lower)).abs() < 1e-15);
    }

    #[test]
    fn nothing_to_chart_is_refused() {
        assert!(rate_limits(0.0, 1.0, 3.0).is_err());
        assert!(rate_limits(1.0, f64::NAN, 3.0).is_err());
        assert!(rate_limits(1.0, f64::INFINITY, 3.0).is_err());
        assert!(proportion_limits(1.0, 50.0, 3.0).is_err());
        assert!(proportion_limits(0.5, 0.0, 3.0).is_err());
    }
}
