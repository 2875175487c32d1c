//! The marks of all panels, what is usual near the edges, and who is near whom.

pub(super) mod edge_profile;
pub(super) mod marks;
pub(super) mod point_index;
pub(super) mod weighted;
pub(super) mod weights;
