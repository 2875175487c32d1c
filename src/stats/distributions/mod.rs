//! Tail probabilities and quantiles.
//!
//! The incomplete beta and gamma functions and the error function are the
//! crate's; what is our own here is what it gets wrong or takes too long for
//! (DEVELOPERS.md holds the table, `published` shows it): quantiles of beta, F
//! and t, t beyond 1e5 degrees of freedom, sums of hypergeometric terms, and the
//! noncentral t, which it lacks.

#[cfg(test)]
mod published;

pub mod beta;
pub mod binomial;
pub mod chi_squared;
pub mod f_ratio;
pub mod gamma;
pub mod hypergeometric;
pub mod noncentral_t;
pub mod normal;
pub mod student_t;
