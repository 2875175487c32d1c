//! Which defects repeat at one place, who makes them, and what could have
//! been missed.

mod bar_control;
mod bar_evidence;
mod bar_findings;
mod bar_phases;
mod conclude;
mod contrast;
mod control;
mod corners;
mod diagonal;
mod end_bands;
mod find;
mod finding;
mod follows;
mod frame_duel;
mod frames;
mod inspector;
mod levels;
mod lots;
mod merge;
mod next_check;
mod one_cause;
mod onset;
mod opposite;
mod periodic;
mod place;
mod ranks;
mod reason;
mod repeat;
mod responses;
mod rivals;
mod scan;
mod side_lots;
mod sides;
mod stream_bars;
mod streams;
mod surface;
mod tails;
mod thin_film;
mod together;
mod verdict;
mod views;
mod votes;

pub use find::find;
pub use finding::{
    BarPitch, Cause, CauseShare, Causes, Certainty, ChangePoint, Evidence, Finding, FoldedDistance,
    Frame, FrameScore, Hit, Kind, LevelCount, OpenRival, Period, RateByLevel, Settings, Stream,
};
pub use inspector::doubts as inspector_doubts;
pub use next_check::NextCheck;
pub use reason::{AbrasiveEnd, LotsLack, Reason, Rival, Side, Tally};
pub use scan::{
    Bars, BarsBy, Clock, Drift, Found, Limit, LineAxis, Pace, ScanSettings, Shape, Sharpness, View,
    ViewMark, ViewPanel, find_bars, find_places, follow_drift, smallest_repeat,
};
pub use streams::{Mark, StreamData, streams};
pub use surface::{
    Contrast, EdgeToEdge, Estimate, Lean, PanelSlope, PartSign, Region, Surface, SurfaceCause,
    SurfaceEvidence, SurfaceNote, SurfaceReason, Term, TermName, UNEVEN_REMOVAL, surfaces,
};
pub use thin_film::{FilmLeft, film_left};
pub use verdict::SURE_FACTOR;
pub use views::Anchor;
