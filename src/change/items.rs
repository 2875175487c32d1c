//! What the ratio sees of a panel: its stratum, its units and its value.

use super::Side;

/// One panel on one side of a change. Indices are dense from 0 within a
/// comparison; what they number is up to the caller.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Item {
    /// Stratum inside which the sides are compared.
    pub stratum: usize,
    /// Machine and head.
    pub stream: usize,
    /// Lot; none where not recorded.
    pub lot: Option<usize>,
    /// Day on the site's wall clock.
    pub day: usize,
    /// Uninterrupted run of panels on one side.
    pub run: usize,
    /// Before or after.
    pub side: Side,
    /// Defects on the panel, or a removal measure of it.
    pub value: f64,
    /// Area, m², or 1 for removal measures.
    pub exposure: f64,
}
