//! Tail probabilities and quantiles.
//!
//! Every distribution gives both tails as logarithms ([`Tails`]), so that a
//! probability of 1e-400 is still a number and nothing is lost to `1 − p`.
//! The kernels are the continued fractions of the incomplete beta and gamma
//! functions with the saddle-point prefactor of Loader (2000), which keeps its
//! digits where a difference of log-gammas loses them. Agreement with an
//! arbitrary-precision library: about 1e-13 relative, see `tests/outside`.

mod kernels;
#[cfg(test)]
mod published;
mod tails;

pub mod beta;
pub mod binomial;
pub mod chi_squared;
pub mod f_ratio;
pub mod gamma;
pub mod hypergeometric;
pub mod noncentral_t;
pub mod normal;
pub mod student_t;

pub use kernels::ln_gamma;
pub use tails::Tails;
