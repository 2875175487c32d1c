//! How an iterative fit ended.

/// Record of an iterative fit; every such fit carries one.
#[derive(Debug, Clone, PartialEq)]
pub struct Convergence {
    /// Did the criterion fall below its tolerance?
    pub converged: bool,
    /// Iterations done.
    pub iterations: usize,
    /// Last change of the criterion: a step in standard errors, or a relative
    /// change of the likelihood, as the fit's documentation says.
    pub last_change: f64,
    /// The estimate lies on the edge of what is possible: a coefficient that
    /// runs to infinity (separated groups), a variance of zero. Wald intervals
    /// mean nothing there.
    pub at_boundary: bool,
}
