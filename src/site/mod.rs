//! The site file `onus.toml`: a site's own columns, units, names and limits.
//!
//! Everything has a documented default, so an absent file means
//! `Site::default()`. Unknown keys and wrong types are errors that name file,
//! line and the nearest known key.

mod classes;

pub use classes::DefectClass;

/// What the site file says, with the defaults filled in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Site {
    /// The site's name, printed on the report; none by default.
    pub name: Option<String>,
    /// Level of the whole report: the chance that a report on records without
    /// any repeat shows one. Default 0.01.
    pub thresholds: Thresholds,
}

/// Thresholds of the analyses.
#[derive(Debug, Clone, PartialEq)]
pub struct Thresholds {
    /// Chance, 0..1, that a report on records without any repeat shows one.
    pub alpha: f64,
}

impl Default for Thresholds {
    fn default() -> Self {
        Self { alpha: 0.01 }
    }
}
