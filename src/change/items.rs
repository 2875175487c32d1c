//! What the model sees of a panel.

use std::collections::BTreeMap;

use super::Side;

/// One panel on one side of a change. Indices need not be dense.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Item {
    /// Panels alike in everything recorded, lots included; none where something
    /// is missing.
    pub alike: Option<usize>,
    /// Machine and head.
    pub stream: usize,
    /// Which levels of the terms hold.
    pub pattern: usize,
    /// Lot; none where not recorded.
    pub lot: Option<usize>,
    /// Production day, in order; none where panels have no time.
    pub day: Option<usize>,
    /// Before or after.
    pub side: Side,
    /// Defects on the panel, or a removal measure of it.
    pub value: f64,
    /// Area, m², or 1 for removal measures.
    pub exposure: f64,
}

/// How often a stream went back from after to before, at most; `items` in time order.
pub(super) fn returns(items: &[Item]) -> usize {
    let mut streams: BTreeMap<usize, (Side, usize)> = BTreeMap::new();
    for item in items {
        let (last, times) = streams.entry(item.stream).or_insert((item.side, 0));
        *times += usize::from(*last == Side::After && item.side == Side::Before);
        *last = item.side;
    }
    streams.values().map(|(_, times)| *times).max().unwrap_or(0)
}

#[cfg(test)]
impl Item {
    /// A panel of one stream on this day, of unit exposure, without a mark.
    pub(super) fn of_a_day(day: usize) -> Self {
        Self {
            alike: None,
            stream: 0,
            pattern: 0,
            lot: None,
            day: Some(day),
            side: Side::Before,
            value: 0.0,
            exposure: 1.0,
        }
    }
}
