//! Linear mixed models: readings in panels, panels in lots, lots crossed with
//! machines; what varies between them and what the fixed effects are worth.

mod blocks;
mod fit;
mod minimise;
mod profile;
mod satterthwaite;
mod term;

pub use fit::{Estimation, Mixed, RandomEstimate, mixed};
pub use profile::{StandardDeviation, profile_std_dev};
pub use term::{RandomColumn, RandomStructure, RandomTerm};
