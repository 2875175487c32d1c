//! Bars: bands at one pitch.

pub(super) mod pairs;
pub(super) mod search;
pub(super) mod written_steps;
