//! Linear models: the design, least squares with certified digits, what the
//! design can and cannot separate, and standard errors for clustered data.

mod clusters;
mod design;
mod diagnostics;
mod extended;
mod lack_of_fit;
mod least_squares;
mod orthogonal;

pub use clusters::{ClusterCorrection, ClusterRobust, cluster_robust};
pub use design::{Design, INTERCEPT, Regressor};
pub use diagnostics::{Diagnostics, diagnostics};
pub use lack_of_fit::{LackOfFit, lack_of_fit};
pub use least_squares::{LeastSquares, Prediction, WaldTest, least_squares, wald_test};
pub use orthogonal::Alias;

pub(crate) use clusters::from_basis as cluster_robust_from_basis;
pub(crate) use extended::compensated_sum;
pub(crate) use least_squares::{check_response, estimable};
pub(crate) use orthogonal::Orthogonal;
