//! Uneven removal: the mean surface, the cloud of panels, the shares of the spread.

pub mod cloud;
pub mod map;
pub mod shares;
