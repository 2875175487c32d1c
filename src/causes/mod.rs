//! Which defects repeat at one place, who makes them, and what could have
//! been missed.

mod background;
mod band_background;
mod chances;
mod conclude;
mod contrast;
mod control;
mod discs;
mod edge_profile;
mod field;
mod find;
mod finding;
mod follows;
mod found;
mod frames;
mod grouping;
mod levels;
mod limit;
mod lines;
mod lots;
mod merge;
mod onset;
mod periodic;
mod place;
mod places;
mod point_index;
mod reason;
mod repeat;
mod rounds;
mod screen;
mod sharpness;
mod spots;
mod streams;
mod surface;
mod tail;
mod tails;
mod together;
mod verdict;
mod view;
mod weights;
#[cfg(test)]
mod worked_cases;

pub use find::find;
pub use finding::{
    Cause, Causes, ChangePoint, Evidence, Finding, Frame, FrameScore, Hit, Kind, LevelCount,
    LineAxis, Period, RateByLevel, Settings, Stream,
};
pub use found::{Drift, Found, ScanSettings, Shape};
pub use limit::{Limit, smallest_repeat};
pub use places::find as find_places;
pub use reason::{AbrasiveEnd, Followed, NextCheck, Reason, Side, Tally};
pub use sharpness::Sharpness;
pub use streams::{Mark, StreamData, streams};
pub use surface::{
    Contrast, EdgeToEdge, Estimate, Lean, MachineSide, PanelSlope, Region, Surface, SurfaceCause,
    SurfaceEvidence, SurfaceNote, Term, surfaces,
};
pub use view::{Anchor, View, ViewMark, ViewPanel};
