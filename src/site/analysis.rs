//! Thresholds of the analyses.

use serde::Deserialize;

/// `[analysis]`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Analysis {
    /// Chance, 0..1, that a report on records without any repeat shows one.
    /// Default 0.01.
    pub alpha: f64,
    /// Level of the intervals, 0..1. Default 0.95.
    pub confidence: f64,
    /// How much worse the opposite class of defects may get and a change still
    /// count as helping, as a rate ratio ≥ 1. Default 1.25.
    pub non_inferiority_margin: f64,
    /// The rate ratio worth finding, 0..1: panels needed are counted for it.
    /// Default 0.5.
    pub ratio_of_interest: f64,
    /// Chance, 0..1, to find it. Default 0.8.
    pub power: f64,
    /// When the production day and its first shift begin, local time. Default 06:00.
    pub day_start: jiff::civil::Time,
    /// Length of a shift, hours, 1..24. Default 8.
    pub shift_hours: f64,
    /// What one point of a control chart holds. Default shift.
    pub subgroup: Subgroup,
    /// Fewer panels than this earn the warning `few-panels`. Default 30.
    pub few_panels: usize,
    /// Seed of everything that draws random numbers. Default 1.
    pub seed: u64,
}

impl Default for Analysis {
    fn default() -> Self {
        Self {
            alpha: 0.01,
            confidence: 0.95,
            non_inferiority_margin: 1.25,
            ratio_of_interest: 0.5,
            power: 0.8,
            day_start: jiff::civil::time(6, 0, 0, 0),
            shift_hours: 8.0,
            subgroup: Subgroup::default(),
            few_panels: 30,
            seed: 1,
        }
    }
}

/// What one point of a control chart holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Subgroup {
    /// The panels of one shift.
    #[default]
    Shift,
    /// The panels of one production day.
    Day,
}
