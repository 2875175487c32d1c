//! What is said about the unevenness of removal on one machine and head.

use serde::Serialize;

use super::differ::DifferBy;
use crate::causes::{Rival, Side};
use crate::records::Lay;
use crate::stats::Interval;

/// Unevenness of removal on one machine and head.
///
/// On every panel the removal is written as level + slope along x and y +
/// crown along x and y + twist, over machine coordinates that run from −1 to
/// 1 across the panel as it lay.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Surface {
    /// The machine, where recorded.
    pub machine: Option<String>,
    /// The head, where recorded.
    pub head: Option<String>,
    /// Panels with enough readings.
    pub panels: usize,
    /// Readings of removal on these panels.
    pub readings: usize,
    /// Mean removal, µm.
    pub removed_um: Option<f64>,
    /// Along the machine's x axis.
    pub slope_x: Term,
    /// Along the machine's y axis.
    pub slope_y: Term,
    /// Bend along x: > 0 where both ends take more than the middle.
    pub crown_x: Option<Term>,
    /// Bend along y.
    pub crown_y: Option<Term>,
    /// Opposite corners against the other two.
    pub twist: Option<Term>,
    /// Taper that keeps to the panel's length while panels are turned.
    pub taper_x: Option<Estimate>,
    /// Taper that keeps to the panel's width while panels are turned.
    pub taper_y: Option<Estimate>,
    /// Standard deviation of one reading about its panel's fitted surface, µm:
    /// gauge and unmodelled.
    pub gauge_sd_um: Option<f64>,
    /// Its 95 % interval.
    pub gauge_sd_ci: Option<Interval>,
    /// Share of the unevenness that is the same on every panel as it lay, 0..1.
    pub share_machine: Option<f64>,
    /// Share that comes with the panels, 0..1.
    pub share_part: Option<f64>,
    /// Share of gauge and unmodelled, 0..1.
    pub share_gauge: Option<f64>,
    /// Who makes it.
    pub cause: SurfaceCause,
    /// What told machine and part apart.
    pub contrast: Contrast,
    /// The chance of such a machine slope without one, for the whole report.
    pub p_adjusted: Option<f64>,
    /// Which side takes more; none where neither slope is off zero.
    #[serde(skip)]
    pub lean: Lean,
    /// Signs that it comes with the panels, each off zero at the report's level
    /// and large enough to matter.
    #[serde(skip)]
    pub signs: Vec<PartSign>,
    /// Doubts and what was left out.
    #[serde(skip)]
    pub notes: Vec<SurfaceNote>,
    /// What the charts draw.
    #[serde(skip)]
    pub evidence: SurfaceEvidence,
}

/// One term of the surface: what every panel shares and how panels differ.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Term {
    /// The part that every panel shares, in the machine's axes.
    pub machine: Option<f64>,
    /// Its 95 % interval.
    pub machine_ci: Option<Interval>,
    /// Panel-to-panel standard deviation, gauge taken out.
    pub part_sd: Option<f64>,
    /// Its 95 % interval.
    pub part_sd_ci: Option<Interval>,
    /// `um per half length`, `um per half width`, `um` for crowns and twist.
    pub unit: &'static str,
}

/// An estimate with its 95 % interval and test against zero.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// The estimate.
    pub estimate: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Its 95 % interval.
    pub ci: Interval,
    /// Two-sided, against zero, not adjusted.
    pub p_value: f64,
}

/// Who makes the unevenness.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum SurfaceCause {
    /// The same tilt on every panel, while panels were turned.
    Machine,
    /// It comes with the panels.
    Part,
    /// Even enough.
    None,
    /// The data cannot tell.
    Undecided,
}

/// What told the machine's tilt from a taper of the panels.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Contrast {
    /// Nothing: no panel was turned.
    NeverTurned,
    /// Nothing: the turned panels are too few, or all of one lot whose own
    /// taper cannot be taken out.
    TooFewTurned,
    /// Turned against unturned panels; nothing is recorded that could have gone
    /// with the lay.
    TurnedPanels,
    /// Turned against unturned panels of other lots, part numbers, suppliers or
    /// inspectors, or always lying alike at the inspection table: who of them
    /// leans is not told.
    TurnedWithOthers,
    /// Turned against unturned panels alike in lot, part number, supplier and
    /// inspector: what these put on the slopes is taken out.
    TurnedAmongAlike,
}

/// A slope in words a fitter can use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeToEdge {
    /// The side that takes more, as the panel lay in the machine.
    pub more: Side,
    /// How much more than the opposite edge, µm, > 0.
    pub by_um: f64,
    /// Its 95 % interval, µm, counted towards `more`.
    pub ci: Interval,
}

/// Which sides take more: only slopes off zero at the report's level.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Lean {
    /// Along machine x.
    pub along_x: Option<EdgeToEdge>,
    /// Along machine y.
    pub along_y: Option<EdgeToEdge>,
}

impl Lean {
    /// The slopes off zero, larger first.
    #[must_use]
    pub fn sides(&self) -> Vec<EdgeToEdge> {
        let mut sides: Vec<EdgeToEdge> =
            [self.along_x, self.along_y].into_iter().flatten().collect();
        sides.sort_by(|a, b| b.by_um.total_cmp(&a.by_um));
        sides
    }
}

/// A term of the surface.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TermName {
    /// Slope along machine x.
    SlopeX,
    /// Slope along machine y.
    SlopeY,
    /// Bend along machine x.
    CrownX,
    /// Bend along machine y.
    CrownY,
    /// Opposite corners against the other two.
    Twist,
}

/// A sign that unevenness comes with the panels, or may.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PartSign {
    /// A taper kept to the panel's length while panels were turned.
    TaperAlongLength {
        /// The end at low or high panel x that takes more.
        more: Side,
        /// Edge to edge, µm, > 0.
        by_um: f64,
        /// Not adjusted.
        p_value: f64,
    },
    /// A taper kept to the panel's width while panels were turned.
    TaperAlongWidth {
        /// The end at low or high panel y that takes more.
        more: Side,
        /// Edge to edge, µm, > 0.
        by_um: f64,
        /// Not adjusted.
        p_value: f64,
    },
    /// Panels differ beyond the gauge.
    PanelsDiffer {
        /// In which term.
        term: TermName,
        /// Standard deviation from panel to panel, µm: edge to edge for slopes,
        /// middle to edge for crowns and twist.
        sd_um: f64,
        /// Not adjusted.
        p_value: f64,
    },
    /// All panels share a crown or twist: their support's, the pad's or their own.
    SharedBend {
        /// Which.
        term: TermName,
        /// Middle to edge, µm; > 0 where the edges take more.
        by_um: f64,
        /// Not adjusted.
        p_value: f64,
    },
}

impl PartSign {
    /// Not adjusted.
    #[must_use]
    pub fn p_value(&self) -> f64 {
        match self {
            PartSign::TaperAlongLength { p_value, .. }
            | PartSign::TaperAlongWidth { p_value, .. }
            | PartSign::PanelsDiffer { p_value, .. }
            | PartSign::SharedBend { p_value, .. } => *p_value,
        }
    }
}

/// A reason for or against a cause of uneven removal; worded by the report.
#[derive(Debug, Clone, PartialEq)]
pub enum SurfaceReason {
    /// One side takes more on all panels.
    TakesMore {
        /// Which and by how much.
        side: EdgeToEdge,
        /// Panels measured.
        panels: usize,
    },
    /// What told machine and part apart, or that nothing did.
    Contrast {
        /// What.
        contrast: Contrast,
        /// Panels that lay otherwise than most.
        turned: usize,
        /// Panels measured.
        panels: usize,
    },
    /// The lay went with these, so they may lean in place of who is asked.
    LayGoesWith(Vec<Rival>),
    /// Shares of the unevenness.
    Shares {
        /// The same on every panel as it lay, 0..1.
        machine: f64,
        /// With the panels, 0..1.
        part: f64,
        /// Gauge and unmodelled, 0..1.
        gauge: f64,
    },
    /// A sign of the part.
    Sign(PartSign),
    /// What the differences between panels follow.
    DifferBy(DifferBy),
    /// The places measured lie so that a crown reads as a slope.
    CrownReadsAsSlope,
}

/// A doubt, or what was left out; worded by the report.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SurfaceNote {
    /// Panels with too few readings for crown and twist: slopes only.
    SlopesOnly {
        /// How many panels.
        panels: usize,
    },
    /// Panels measured along one line only: one slope.
    OneAxisOnly {
        /// How many panels.
        panels: usize,
    },
    /// Panels with readings at one place only, or too few: left out.
    TooFewPlaces {
        /// How many panels.
        panels: usize,
    },
    /// Readings of removal without a place: left out.
    WithoutPlace {
        /// How many readings.
        readings: usize,
    },
    /// One panel: nothing to compare it with.
    OnePanel,
    /// Every reading the same number: the gauge may be stuck.
    ConstantReadings,
    /// No reading left over on any panel: gauge and panels can't be parted.
    GaugeUnknown,
    /// The places measured lie so that a crown reads as a slope.
    CrownReadsAsSlope,
    /// A slope is off zero but smaller than what matters.
    TooSmallToMatter {
        /// Edge to edge, µm.
        by_um: f64,
    },
    /// Zero or negative removal, kept as honest readings.
    NotAboveZero {
        /// How many readings.
        readings: usize,
    },
}

/// What stands behind a surface.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SurfaceEvidence {
    /// One per panel with both slopes, in time order.
    pub slopes: Vec<PanelSlope>,
    /// The confidence region of the machine's slopes; none with too few panels.
    pub region: Option<Region>,
    /// Mean size of the panels as they lay, along x and y, mm.
    pub extent_mm: (f64, f64),
    /// Recorded rivals of the machine that went with the lay.
    pub machine_open: Vec<Rival>,
    /// Recorded rivals of a taper of the panels that went with the lay.
    pub taper_open: Vec<Rival>,
    /// What the panels' differences follow that is none of their own.
    pub differ_follow: Vec<DifferBy>,
    /// Whether the lay at the inspection table is recorded.
    pub table_recorded: bool,
}

/// The slopes fitted on one panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PanelSlope {
    /// Index into `Records::panels`.
    pub panel: usize,
    /// How it lay.
    pub lay: Lay,
    /// Along machine x, µm per half length.
    pub x: f64,
    /// Along machine y, µm per half width.
    pub y: f64,
}

/// The 95 % confidence region of the machine's two slopes: an ellipse.
///
/// Points p with (p − centre)ᵀ V⁻¹ (p − centre) ≤ 2·ν/(ν−1)·F(2, ν−1), after
/// Hotelling (1931).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region {
    /// The estimate, x and y.
    pub centre: (f64, f64),
    /// Half axes, µm, larger first.
    pub half_axes: (f64, f64),
    /// Direction of the larger half axis, radians from x.
    pub angle: f64,
}
