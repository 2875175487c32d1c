//! What the comparison promises and what the user cares about.

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
    /// Default 0.7.
    pub ratio_of_interest: f64,
    /// Chance with which that ratio should be shown, 0..1. Default 0.8.
    pub power: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            level: 0.95,
            margin: 1.25,
            ratio_of_interest: 0.7,
            power: 0.8,
        }
    }
}
