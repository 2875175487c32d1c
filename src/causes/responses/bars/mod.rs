//! Bars: bands of marks at one pitch, as a roll, a tooth or a trailing edge
//! writes them.

mod control;
mod evidence;
mod findings;
mod phases;
mod stream;

pub(crate) use findings::BarSighting;
pub(crate) use stream::{bar_findings, without_bars};
