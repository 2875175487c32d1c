//! Which defects repeat at one place, who makes them, and what could have
//! been missed.

mod about;
mod conclude;
mod find;
mod finding;
mod held;
mod levels;
#[cfg(test)]
pub(crate) mod made;
mod next_check;
mod plant;
mod ranks;
mod reason;
mod responses;
mod rivals;
mod scan;
mod scanned;
mod streams;
mod tails;
mod tally;
mod verdict;
mod views;

pub use find::{find, find_telling};
pub use finding::{
    BarPitch, Cause, CauseShare, Causes, Certainty, ChangePoint, Evidence, Finding, FoldedDistance,
    Frame, FrameScore, Hit, Kind, OpenRival, Period, RateByLevel, Settings, Stream,
};
pub use next_check::NextCheck;
pub use reason::Reason;
pub use responses::surface::{
    Contrast, DifferBy, EdgeToEdge, Estimate, Lean, PanelSlope, PartSign, Region, Surface,
    SurfaceCause, SurfaceEvidence, SurfaceNote, SurfaceReason, Term, TermName, UNEVEN_REMOVAL,
    surfaces,
};
pub use responses::thin_film::{FilmLeft, film_left};
pub use rivals::Rival;
pub use rivals::follows::AbrasiveEnd;
pub use rivals::inspector::doubts as inspector_doubts;
pub use rivals::lots::LotsLack;
pub(crate) use rivals::time_level;
pub use scan::{
    Bars, BarsBy, Clock, Drift, Found, Limit, LineAxis, Pace, ScanSettings, Shape, Sharpness, Side,
    Tests, View, ViewMark, ViewPanel, find_bars, find_places, follow_drift, smallest_repeat,
};
pub use streams::{Mark, StreamData, streams};
pub use tally::{LevelCount, Tally};
pub use verdict::SURE_FACTOR;
pub use views::Anchor;
