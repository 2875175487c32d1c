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
    /// Two inputs that must have the same length do not.
    #[error("{name} has {got} entries where {expected} are needed")]
    Length {
        /// The argument's name.
        name: &'static str,
        /// Entries given.
        got: usize,
        /// Entries needed.
        expected: usize,
    },
    /// Fewer observations than the statistic needs.
    #[error("{got} observations, and at least {needed} are needed")]
    TooFew {
        /// Observations given.
        got: usize,
        /// Observations needed.
        needed: usize,
    },
    /// A value that is not a finite number.
    #[error("{name} holds a value that is not a finite number")]
    NotFinite {
        /// The argument's name.
        name: &'static str,
    },
    /// The columns of a design are not independent, so a coefficient has no
    /// single value.
    #[error("the design has rank {rank} with {columns} columns")]
    Singular {
        /// Independent columns.
        rank: usize,
        /// All columns.
        columns: usize,
    },
    /// An iteration that did not settle.
    #[error("no convergence after {iterations} iterations")]
    NoConvergence {
        /// Iterations done.
        iterations: usize,
    },
    /// A dense linear-algebra routine failed.
    #[error("the linear algebra failed: {routine}")]
    LinearAlgebra {
        /// Which routine.
        routine: &'static str,
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
