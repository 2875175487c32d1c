//! What the comparison promises and what the user cares about.

use crate::site::Analysis;

/// Settings of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Nominal coverage of the intervals, 0..1; verdicts are given at
    /// 1 − level after adjustment for all tests. Default 0.95.
    pub level: f64,
    /// Highest ratio at which the opposite class still counts as not worse, > 1.
    /// Default 1.25.
    pub margin: f64,
    /// The smallest improvement worth knowing, as a ratio after/before in 0..1.
    /// Default 0.5.
    pub ratio_of_interest: f64,
    /// Chance with which that ratio should be shown, 0..1. Default 0.8.
    pub power: f64,
    /// When the production day begins, local time. Default 06:00.
    pub day_start: jiff::civil::Time,
}

impl Default for Settings {
    fn default() -> Self {
        Self::from(&Analysis::default())
    }
}

impl From<&Analysis> for Settings {
    fn from(site: &Analysis) -> Self {
        Self {
            level: site.confidence,
            margin: site.non_inferiority_margin,
            ratio_of_interest: site.ratio_of_interest,
            power: site.power,
            day_start: site.day_start,
        }
    }
}
