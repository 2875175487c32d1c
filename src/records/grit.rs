//! Abrasive grit and its scale.

use serde::{Deserialize, Serialize};

/// The scale a grit number belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum GritScale {
    /// FEPA P grades (ISO 6344-2, -3).
    #[serde(rename = "P")]
    FepaP,
    /// CAMI grades (ANSI B74.18).
    #[serde(rename = "CAMI")]
    Cami,
}

/// An abrasive grit as recorded.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Grit {
    /// As one would write it on the shop floor: `P320`, `320`.
    pub label: String,
    /// The scale, where it is known.
    pub scale: Option<GritScale>,
    /// Median grain size, µm, where the scale is known and lists the number.
    pub grain_um: Option<f64>,
}
