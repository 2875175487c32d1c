//! Traps in the data: what it cannot answer, and what looks wrong in it.

use super::{Records, Warning, WarningCode};
use crate::site::Site;

/// All traps that the data hold.
pub(super) fn find(records: &Records, _site: &Site) -> Vec<Warning> {
    let mut warnings = Vec::new();
    if records.input.clean_panels == 0 && !records.defects.is_empty() {
        warnings.push(Warning {
            code: WarningCode::NoCleanPanels,
            text: "Every inspected panel has a defect: if panels without one are not exported, no rate can be trusted.".into(),
            file: None,
        });
    }
    warnings
}
