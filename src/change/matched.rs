//! The ratio among panels alike in everything recorded: a check beside the model.

use std::collections::BTreeMap;

use super::Side;
use super::items::Item;
use crate::stats::stratified::{RateStratum, mantel_haenszel_rate_ratio};

/// Marks and area by group of items, where the group carries both sides.
pub(super) fn groups(items: &[Item], group: impl Fn(&Item) -> Option<usize>) -> Vec<RateStratum> {
    let mut groups: BTreeMap<usize, [(f64, f64); 2]> = BTreeMap::new();
    for item in items {
        let Some(group) = group(item) else { continue };
        let sums = &mut groups.entry(group).or_default()[usize::from(item.side == Side::After)];
        sums.0 += item.value;
        sums.1 += item.exposure;
    }
    let count = |(events, exposure): (f64, f64)| Count {
        events: events.round() as u64,
        exposure,
    };
    let both = groups.values().filter(|[b, a]| b.1 > 0.0 && a.1 > 0.0);
    both.map(|[b, a]| RateStratum {
        before: count(*b),
        after: count(*a),
    })
    .collect()
}

/// Rates of like panels, after over before (Mantel–Haenszel); none where no group
/// carries both sides and marks on both.
pub(super) fn matched_ratio(items: &[Item], level: f64) -> Option<f64> {
    let strata = groups(items, |i| i.alike);
    let found = mantel_haenszel_rate_ratio(&strata, level).ok()?;
    Some(found.estimate)
}
