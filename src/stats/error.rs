//! What the numerics refuse.

/// Why a statistic cannot be computed from what was given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StatsError {
    /// A confidence level or error rate outside the open interval 0..1.
    #[error("{name} is {value}, and must lie between 0 and 1")]
    Share {
        /// The argument's name.
        name: &'static str,
        /// What was given.
        value: f64,
    },
    /// A number that must be finite and greater than zero.
    #[error("{name} is {value}, and must be greater than zero")]
    NotPositive {
        /// The argument's name.
        name: &'static str,
        /// What was given.
        value: f64,
    },
    /// A number out of the range that the argument allows.
    #[error("{name} is {value}: {must}")]
    Range {
        /// The argument's name.
        name: &'static str,
        /// What was given.
        value: f64,
        /// The rule, as a clause: "must be …".
        must: &'static str,
    },
    /// There is nothing to estimate from.
    #[error("no {what}")]
    Empty {
        /// What is missing, in the plural: "defects on either side".
        what: &'static str,
    },
}

/// Checks that a level or error rate lies strictly between 0 and 1.
pub(crate) fn open_share(name: &'static str, value: f64) -> Result<f64, StatsError> {
    if value > 0.0 && value < 1.0 {
        Ok(value)
    } else {
        Err(StatsError::Share { name, value })
    }
}

/// Checks that a number is finite and greater than zero.
pub(crate) fn positive(name: &'static str, value: f64) -> Result<f64, StatsError> {
    if value > 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(StatsError::NotPositive { name, value })
    }
}
