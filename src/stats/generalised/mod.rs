//! Generalised linear models: counts, shares and positive amounts whose mean
//! depends on a linear predictor.

mod conditional_logistic;
mod family;
mod firth;
mod fit;
mod iterate;
mod negative_binomial;
mod profile;

pub use conditional_logistic::{ConditionalLogistic, conditional_logistic};
pub use family::{Family, Link};
pub use firth::{FirthCoefficient, FirthLogistic, firth_logistic};
pub use fit::{
    Dispersion, Generalised, MeanPrediction, Model, cluster_robust_generalised, generalised,
};
pub use negative_binomial::{NegativeBinomial, negative_binomial};
pub use profile::profile_interval;
