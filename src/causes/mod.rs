//! Which defects repeat at one place, who makes them, and what could have
//! been missed.

mod abrasive;
mod attained;
mod background;
mod band_background;
mod band_beside;
mod bar_control;
mod bar_evidence;
mod bar_findings;
mod bar_pairs;
mod bar_phases;
mod bars;
mod chances;
mod conclude;
mod contrast;
mod control;
mod corners;
mod diagonal;
mod discs;
mod drift;
mod edge_profile;
mod end_bands;
mod exchange;
mod field;
mod find;
mod finding;
mod follows;
mod found;
mod frame_duel;
mod frames;
mod grouping;
mod inspector;
mod levels;
mod limit;
mod line_width;
mod lines;
mod lot_rates;
mod lots;
#[cfg(test)]
mod made_counts;
mod merge;
mod next_check;
mod no_place;
mod nodes;
mod one_cause;
mod onset;
mod opposite;
mod periodic;
mod place;
mod places;
mod point_index;
mod pooled;
mod ranks;
mod rate_follows;
mod rates;
mod reason;
#[cfg(test)]
mod recipe_trials;
mod repeat;
mod rounds;
mod screen;
mod shared_noise;
mod sharpness;
mod side_lots;
mod sides;
mod spots;
mod stream_bars;
mod streams;
mod surface;
mod tail;
mod tails;
mod thin_film;
mod together;
mod verdict;
mod view;
mod votes;
mod weights;
#[cfg(test)]
mod worked_cases;
mod written_steps;

pub use bars::{Bars, BarsBy, find_bars};
pub use drift::{Clock, follow_drift};
pub use find::find;
pub use finding::{
    BarPitch, Cause, CauseShare, Causes, Certainty, ChangePoint, Evidence, Finding, FoldedDistance,
    Frame, FrameScore, Hit, Kind, LevelCount, LineAxis, OpenRival, Period, RateByLevel, Settings,
    Stream,
};
pub use found::{Drift, Found, Pace, ScanSettings, Shape};
pub use inspector::doubts as inspector_doubts;
pub use limit::{Limit, smallest_repeat};
pub use next_check::NextCheck;
pub use places::find as find_places;
pub use reason::{AbrasiveEnd, LotsLack, Reason, Rival, Side, Tally};
pub use sharpness::Sharpness;
pub use streams::{Mark, StreamData, streams};
pub use surface::{
    Contrast, EdgeToEdge, Estimate, Lean, PanelSlope, PartSign, Region, Surface, SurfaceCause,
    SurfaceEvidence, SurfaceNote, SurfaceReason, Term, TermName, UNEVEN_REMOVAL, surfaces,
};
pub use thin_film::{FilmLeft, film_left};
pub use verdict::SURE_FACTOR;
pub use view::{Anchor, View, ViewMark, ViewPanel};
