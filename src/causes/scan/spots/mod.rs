//! Spots: discs around marks and around the nodes of a fixed lattice.

pub(super) mod at_marks;
pub(super) mod background;
pub(super) mod discs;
mod look;
pub(super) mod nodes;
mod outlook;
pub(super) mod screen;
mod summed;

pub(super) use look::PANELS_NEEDED;
