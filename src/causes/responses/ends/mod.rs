//! Sides and ends: which side of a panel carries more marks, and whether that
//! side is the machine's, the part's or the path's.

pub(in crate::causes) mod corners;
pub(in crate::causes) mod diagonal;
pub(in crate::causes) mod end_bands;
pub(in crate::causes) mod opposite;
mod side_lots;
pub(in crate::causes) mod sides;
pub(in crate::causes) mod votes;
