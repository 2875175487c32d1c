//! Defect classes: what a kind of defect says about the removal behind it.

use serde::Serialize;

/// What a kind of defect says about the removal behind it; drives the advice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum DefectClass {
    /// Too much removed: sand-through, burn.
    Over,
    /// Too little removed: orange peel left, missed area.
    Under,
    /// Scratches and other marks of the abrasive.
    Surface,
    /// Came with the part.
    Incoming,
}
