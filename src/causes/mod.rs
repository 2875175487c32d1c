//! Which defects repeat at one place, who makes them, and what could have
//! been missed.

mod finding;
mod surface;

pub use finding::{
    Cause, Causes, ChangePoint, Evidence, Finding, Frame, FrameScore, Hit, Kind, LevelCount,
    LineAxis, NextCheck, Period, RateByLevel, Reason, Settings, Stream,
};
pub use surface::{Slope, Surface, SurfaceCause};
