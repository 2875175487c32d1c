//! Which defects repeat at one place, who makes them, and what could have
//! been missed.

mod conclude;
mod find;
mod finding;
mod held;
mod levels;
mod next_check;
mod ranks;
mod reason;
mod responses;
mod rivals;
mod scan;
mod streams;
mod tails;
mod verdict;
mod views;

pub use find::find;
pub use finding::{
    BarPitch, Cause, CauseShare, Causes, Certainty, ChangePoint, Evidence, Finding, FoldedDistance,
    Frame, FrameScore, Hit, Kind, LevelCount, OpenRival, Period, RateByLevel, Settings, Stream,
};
pub use next_check::NextCheck;
pub use reason::{AbrasiveEnd, LotsLack, Reason, Rival, Side, Tally};
pub use responses::surface::{
    Contrast, EdgeToEdge, Estimate, Lean, PanelSlope, PartSign, Region, Surface, SurfaceCause,
    SurfaceEvidence, SurfaceNote, SurfaceReason, Term, TermName, UNEVEN_REMOVAL, surfaces,
};
pub use responses::thin_film::{FilmLeft, film_left};
pub use rivals::inspector::doubts as inspector_doubts;
pub use scan::{
    Bars, BarsBy, Clock, Drift, Found, Limit, LineAxis, Pace, ScanSettings, Shape, Sharpness,
    Tests, View, ViewMark, ViewPanel, find_bars, find_places, follow_drift, smallest_repeat,
};
pub use streams::{Mark, StreamData, streams};
pub use verdict::SURE_FACTOR;
pub use views::Anchor;
