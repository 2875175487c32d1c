//! Removal and defect risk against the recipe, and which factor to move.

use serde::Serialize;

/// The recipe model, its limits and the advice.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Removal {
    /// What was fitted, in words: `ln removed_um`.
    pub model: String,
}
