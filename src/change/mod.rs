//! Before against after.

use serde::Serialize;

/// One kind of defect, before against after a change.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// The defect's name.
    pub defect: String,
}
