//! Bands: marks on a line across or along the panel.

pub(super) mod background;
pub(super) mod beside;
pub(super) mod pooled;
mod search;
pub(super) mod width;

pub(super) use search::{
    Expected, LINES, LineNode, PANELS_NEEDED, any, bands, exact_tail, expected, nodes, scan,
};
