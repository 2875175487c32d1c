//! A trend that was under way before the change.

use super::items::Item;
use super::spell::{before_single_change, late_against_early};

/// p-value up to which the rate counts as already moving.
const CHANCE: f64 = 0.05;

/// How the rate moved before the change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Trend {
    /// Last third over first third of the before panels, inside strata.
    pub ratio: f64,
    /// Two-sided p-value of no movement.
    pub p: f64,
    /// What the change's ratio would be if it had only gone on like that.
    pub carried_on: f64,
}

/// Compares the last third of the panels before the change with the first
/// third; none where the sides alternate, too little is there, or it did not
/// move.
pub(super) fn before_change(items: &[Item], level: f64) -> Option<Trend> {
    let streams = before_single_change(items);
    let mut thirds = Vec::with_capacity(streams.len());
    let mut late = Vec::new();
    for positions in &streams {
        let third = positions.len() / 3;
        let last = &positions[positions.len() - third..];
        late.extend_from_slice(last);
        thirds.push([&positions[..third], last].concat());
    }
    late.sort_unstable();
    let (ratio, p) = late_against_early(items, &thirds, &late, level)?;
    if p > CHANCE || ratio <= 0.0 {
        return None;
    }
    let before: usize = streams.iter().map(Vec::len).sum();
    let after = items
        .iter()
        .filter(|i| i.side == super::Side::After)
        .count();
    // centres of the outer thirds are 2/3 of the before side apart, centres of
    // the two sides half of everything
    let stretch = 0.75 * (before + after) as f64 / before as f64;
    Some(Trend {
        ratio,
        p,
        carried_on: ratio.powf(stretch),
    })
}

impl Trend {
    /// Whether a quarter or more of the seen ratio (in logarithms) would have
    /// come without the change.
    pub(super) fn explains(&self, ratio: f64) -> bool {
        ratio > 0.0 && self.carried_on.ln() / ratio.ln() >= 0.25
    }
}
