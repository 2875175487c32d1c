//! What the room returns: streams, findings and the evidence behind them.

use serde::Serialize;

use super::{FilmLeft, LevelCount, LineAxis, NextCheck, Reason, Rival, Surface};
use crate::records::{Point, Records, Warning};
use crate::site::DefectClass;
use crate::stats::Interval;

/// Settings of the analysis.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// The chance, 0..1, that a report on records without any repeat shows one.
    pub alpha: f64,
    /// Film that must be left after sanding, µm.
    pub film_left_min_um: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            alpha: 0.01,
            film_left_min_um: 0.0,
        }
    }
}

/// All that is known about causes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Causes {
    /// One per machine (and head, if recorded) × defect name.
    pub streams: Vec<Stream>,
    /// Strongest first; `id` is F1, F2, … in this order.
    pub findings: Vec<Finding>,
    /// Unevenness of removal, one per machine and head with readings.
    pub surface: Vec<Surface>,
    /// Film left, one per machine and head with film and removal at the same
    /// places.
    pub film_left: Vec<FilmLeft>,
    /// Doubts found on the way (inspectors that differ, mirrored stations …).
    pub warnings: Vec<Warning>,
}

/// Who makes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Cause {
    /// The machine, after the part has been cleared.
    Machine,
    /// It came with the part.
    Part,
    /// The recipe.
    Recipe,
    /// The inspection station, table, camera or inspector.
    Inspection,
    /// The data cannot tell.
    Undecided,
}

/// What the finding looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// One place.
    Spot,
    /// A stripe along a machine axis.
    Line,
    /// One side of the panel.
    Side,
    /// Both opposite sides, or sides whose sign changes from panel to panel.
    OppositeSides,
    /// A place that keeps its distance from the edges: path starts, ends, reversals.
    Dwell,
    /// Every k-th panel, or bars of one pitch across the panel.
    Periodic,
    /// A place that keeps to the panel while panels are turned.
    RidesPanel,
    /// Gathered in few lots.
    Lot,
    /// Too much removed where the film was thin.
    ThinFilm,
    /// Follows the abrasive's age or batch.
    Abrasive,
    /// A level of the rate, without a place, that follows a column other than
    /// lot or abrasive.
    Rate,
    /// A rate that follows the time: first of the day, a step, a trend.
    Time,
    /// No place.
    Wandering,
}

/// How sure a statement about the cause is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Default)]
pub enum Certainty {
    /// The cause won every comparison, and chance is out of the question.
    #[serde(rename = "sure")]
    Sure,
    /// The cause is named at the level of the report, or rests on a rule.
    #[serde(rename = "likely")]
    Likely,
    /// The data cannot tell.
    #[default]
    #[serde(rename = "can't tell yet")]
    CannotTell,
}

/// A recorded rival that the accused never met or did not beat.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenRival {
    /// Which.
    pub rival: Rival,
    /// Its levels that are in question; empty where all are.
    pub levels: Vec<String>,
    /// What would settle it; worded by the report.
    pub to_settle: NextCheck,
    /// Panels that takes, where known.
    pub panels: Option<usize>,
}

/// One cause among several of a stream.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CauseShare {
    /// Who.
    pub cause: Cause,
    /// The finding that says so.
    pub finding: String,
    /// Its share of the stream's defects, 0..1.
    pub share: f64,
}

/// The frame in which the place holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Frame {
    /// The machine.
    Machine,
    /// The panel.
    Panel,
    /// Distances from the edges as the panel lay.
    Path,
    /// The inspection table.
    Inspection,
}

/// One machine (and head) × one defect name, first inspections only.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stream {
    /// The machine, where recorded.
    pub machine: Option<String>,
    /// The head, where recorded.
    pub head: Option<String>,
    /// The defect's name.
    pub defect: String,
    /// The defect's class, where known.
    pub class: Option<DefectClass>,
    /// Panels inspected.
    pub panels: usize,
    /// Panels with at least one such defect.
    pub panels_hit: usize,
    /// Such defects.
    pub defects: usize,
    /// The cause of the finding with the largest share of its marks; where
    /// nothing was found, who makes the wandering marks.
    pub cause: Cause,
    /// How sure that is.
    pub certainty: Certainty,
    /// The cause of every finding, open ones too, the largest share first.
    pub causes: Vec<CauseShare>,
    /// Recorded rivals not yet met or beaten; worded by the report.
    #[serde(skip)]
    pub open: Vec<OpenRival>,
    /// Smallest share of panels on which a fixed place would have been found
    /// with 90 % probability; none if there is no such share.
    pub smallest_repeat_seen: Option<f64>,
    /// Panels needed to see a repeat on a fifth of the panels.
    pub panels_needed: Option<usize>,
    /// Why this cause.
    #[serde(skip)]
    pub reasons: Vec<Reason>,
    /// What to look at, or what would settle it, where nothing was found.
    #[serde(skip)]
    pub next_check: NextCheck,
    /// Rates by lot or supplier that stand out, strongest first.
    #[serde(skip)]
    pub rate_by_level: Vec<RateByLevel>,
}

/// A level of a column whose rate stands out from the rest.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RateByLevel {
    /// The column: `lot`, `supplier`, …
    pub column: String,
    /// The level.
    pub level: String,
    /// Panels of that level.
    pub panels: usize,
    /// Its defects.
    pub defects: usize,
    /// Its rate over the rate of the rest.
    pub ratio: f64,
    /// Interval of the ratio.
    pub ratio_ci: Interval,
    /// Adjusted for all levels and streams looked at.
    pub p_adjusted: f64,
}

/// One line of the report's list of findings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// F1, F2, …
    pub id: String,
    /// The machine, where recorded.
    pub machine: Option<String>,
    /// The head, where recorded.
    pub head: Option<String>,
    /// The defect's name.
    pub defect: String,
    /// Who makes it.
    pub cause: Cause,
    /// How sure that is.
    pub certainty: Certainty,
    /// Who was named, or what the rate follows.
    pub rival: Option<Rival>,
    /// Its levels that stand out.
    pub levels: Vec<String>,
    /// Recorded rivals not yet met or beaten; worded by the report.
    #[serde(skip)]
    pub open: Vec<OpenRival>,
    /// What it looks like.
    pub kind: Kind,
    /// The frame in which the place holds; none where the data can't tell.
    pub frame: Option<Frame>,
    /// The place along x in `frame` (machine frame where `frame` is none), mm.
    pub x_mm: Option<f64>,
    /// The place along y, mm.
    pub y_mm: Option<f64>,
    /// The circle that holds 90 % of the hits, mm.
    pub radius_mm: Option<f64>,
    /// For a line.
    pub line_axis: Option<LineAxis>,
    /// Panels with a mark at the place.
    pub panels_hit: usize,
    /// Panels whose area covered the place, from onset to end where claimed.
    pub panels_exposed: usize,
    /// `panels_hit / panels_exposed` over the claimed stretch, 0..1.
    pub hit_rate: Option<f64>,
    /// Clopper–Pearson, 95 %.
    pub hit_rate_ci: Option<Interval>,
    /// A mark within this distance of the place is a hit, mm.
    pub reach_mm: Option<f64>,
    /// Panels that chance alone would have put there: the sum over the panels
    /// exposed of each one's own chance.
    pub expected_hits: Option<f64>,
    /// The chance of it without a repeat, for the whole report.
    pub p_adjusted: Option<f64>,
    /// First panel hit.
    pub first_panel: Option<String>,
    /// Last panel hit.
    pub last_panel: Option<String>,
    /// Where the repeat set in, if a change is claimed.
    pub onset_panel: Option<String>,
    /// Where it ended, if a change is claimed.
    pub end_panel: Option<String>,
    /// Speed at which the place moves, mm per day, if it does.
    pub drift_mm_per_day: Option<f64>,
    /// For bars of one pitch across the panel, which run along `line_axis`.
    #[serde(flatten)]
    pub bars: Option<BarPitch>,
    /// Lots of the panels hit, in order of first hit.
    pub lots: Vec<String>,
    /// Why this cause: for and against, each with its number.
    #[serde(skip)]
    pub reasons: Vec<Reason>,
    /// What would settle it or what to look at first.
    #[serde(skip)]
    pub next_check: NextCheck,
    /// What the charts draw.
    #[serde(skip)]
    pub evidence: Evidence,
}

/// The pitch of bars.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BarPitch {
    /// Distance from bar to bar, mm; at the middle feed where it follows the feed.
    pub pitch_mm: f64,
    /// Its 95 % interval.
    pub pitch_ci: Option<Interval>,
    /// Whether the pitch is proportional to the feed (true) or the same at all
    /// feeds (false); none where the records can't tell.
    pub pitch_follows_feed: Option<bool>,
    /// Bars per second at the head, where the pitch follows the feed.
    pub frequency_hz: Option<f64>,
}

/// What stands behind a finding; indices point into `Records`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Evidence {
    /// The finding's stream, index into `Causes::streams`; none for findings on
    /// removal readings.
    pub stream: Option<usize>,
    /// Streams of a finding that is pooled over machines or kinds of defect,
    /// indices into `Causes::streams`.
    pub pooled: Vec<usize>,
    /// For findings on removal readings, index into `Causes::surface`.
    pub surface: Option<usize>,
    /// One per panel hit, in time order.
    pub hits: Vec<Hit>,
    /// Panels exposed to the place (all of the stream's time), in time order.
    pub exposed: Vec<usize>,
    /// Defects that belong to the finding (indices into `Records::defects`).
    pub members: Vec<usize>,
    /// For a rate: the marks beyond those that its quiet panels let expect.
    pub marks: Option<f64>,
    /// Hits and exposure by lot, lots in order of first panel; empty if not recorded.
    pub by_lot: Vec<LevelCount>,
    /// Hits and exposure by age of the abrasive, where the age matters.
    pub by_age: Vec<LevelCount>,
    /// The frames compared, best first.
    pub frames: Vec<FrameScore>,
    /// Where the rate rose, if claimed.
    pub onset: Option<ChangePoint>,
    /// Where it fell, if claimed.
    pub end: Option<ChangePoint>,
    /// Every k-th panel, if found.
    pub period: Option<Period>,
    /// For bars, how often distances between marks of one panel come to each
    /// part of a pitch.
    pub folded_distances: Vec<FoldedDistance>,
}

/// One panel hit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hit {
    /// Index into `Records::panels`.
    pub panel: usize,
    /// Index into `Records::defects`: the mark nearest the place.
    pub defect: usize,
    /// Where it lay in the machine.
    pub machine: Point,
    /// Where it lies on the panel.
    pub on_panel: Point,
}

impl Hit {
    /// By a defect; none where its place is not recorded.
    pub(crate) fn of(records: &Records, defect: usize) -> Option<Self> {
        let panel = records.defects[defect].panel;
        let on_panel = records.defects[defect].place?;
        Some(Self {
            panel,
            defect,
            machine: records.panels[panel].to_machine(on_panel),
            on_panel,
        })
    }
}

/// How well the place holds in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrameScore {
    /// The frame.
    pub frame: Frame,
    /// ln likelihood of this frame minus that of the best rival; > 0 is for it.
    pub log_ratio: f64,
    /// Panels on which the rivals predict different places.
    pub informative: usize,
    /// Hits at this frame's place on those panels.
    pub hits: usize,
}

/// A change of the hit rate in time.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangePoint {
    /// First panel after the change, index into `Records::panels`.
    pub panel: usize,
    /// Earliest panel of the 95 % interval.
    pub earliest: usize,
    /// Latest panel of the 95 % interval.
    pub latest: usize,
    /// Likelihood ratio, 2 ln.
    pub log_ratio: f64,
    /// What else changed there: column and the value it changed to.
    pub together_with: Vec<(String, String)>,
}

/// A period found.
#[derive(Debug, Clone, PartialEq)]
pub enum Period {
    /// Every k-th panel, at the given phase (0-based) in sanding order.
    EveryKth {
        /// The period, panels.
        every: usize,
        /// The phase, 0..every, in the machine's order; none where it slips.
        phase: Option<usize>,
        /// Hits at each phase and its exposure.
        folded: Vec<LevelCount>,
    },
}

/// Distances between marks of one panel, folded by a pitch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoldedDistance {
    /// Middle of the class, in pitches, −0.5..0.5.
    pub part: f64,
    /// Pairs of marks in it, from half a pitch apart on.
    pub pairs: usize,
}
