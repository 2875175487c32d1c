//! Who makes the unevenness, and which side takes more.

use super::fixed_part::FixedPart;
use super::result::{Contrast, EdgeToEdge, Estimate, Lean, MachineSide, SurfaceCause};
use crate::stats::Interval;

/// A tilt that is off zero matters from this share of the mean removal on, edge
/// to edge: every head has some.
const TILT_MATTERS: f64 = 0.02;
/// Differences from panel to panel matter from this share of the mean removal
/// on, edge to edge of a panel one standard deviation off.
const SPREAD_MATTERS: f64 = 0.05;
/// Removal is even enough where a tilt of this share of the mean removal, or of
/// one gauge standard deviation, edge to edge, is excluded.
const EVEN_WITHIN: f64 = 0.10;

/// What the verdict looks at.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Evidence<'a> {
    /// The slopes that panels share.
    pub(super) fixed: &'a FixedPart,
    /// Crowns and twist that panels share: estimates and full range over the
    /// panel's middle to its edge.
    pub(super) bends: Vec<Estimate>,
    /// Panel-to-panel standard deviations with their tests: edge to edge for
    /// slopes, middle to edge for bends.
    pub(super) spreads: Vec<(f64, f64)>,
    /// Mean removal, µm.
    pub(super) removed_um: f64,
    /// Gauge standard deviation, µm, where known.
    pub(super) gauge_sd_um: Option<f64>,
    /// A crown reads as a slope at the places measured.
    pub(super) crown_reads_as_slope: bool,
    /// Nothing can be said: one panel, constant readings.
    pub(super) void: bool,
}

/// The levels of the tests.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Levels {
    /// Of the whole report.
    pub(super) alpha: f64,
    /// Slopes tested in the report: two for every machine and head.
    pub(super) slopes: usize,
    /// Terms tested for coming with the panels: tapers, spreads and bends.
    pub(super) part_terms: usize,
}

impl Levels {
    pub(super) fn slope_off(&self, p_value: f64) -> bool {
        p_value * self.slopes as f64 <= self.alpha
    }

    pub(super) fn part_off(&self, p_value: f64) -> bool {
        p_value * self.part_terms as f64 <= self.alpha
    }
}

/// Whether panels turned in a way that tells machine and part apart.
pub(super) fn told(contrast: Contrast) -> bool {
    match contrast {
        Contrast::NeverTurned | Contrast::TooFewTurned => false,
        Contrast::TurnedPanels | Contrast::TurnedLots | Contrast::TurnedWithinLots => true,
    }
}

/// The slopes off zero at the report's level and large enough to matter.
pub(super) fn lean(fixed: &FixedPart, levels: &Levels, removed_um: f64) -> Lean {
    let side = |axis: usize, low: MachineSide, high: MachineSide| {
        let slope = fixed.machine[axis]?;
        let by_um = 2.0 * slope.estimate.abs();
        if !levels.slope_off(slope.p_value) || by_um < TILT_MATTERS * removed_um.abs() {
            return None;
        }
        let up = slope.estimate > 0.0;
        let (a, b) = (2.0 * slope.ci.low, 2.0 * slope.ci.high);
        Some(EdgeToEdge {
            more: if up { high } else { low },
            by_um,
            ci: Interval {
                low: if up { a } else { -b },
                high: if up { b } else { -a },
                level: slope.ci.level,
            },
        })
    };
    Lean {
        along_x: side(0, MachineSide::LowX, MachineSide::HighX),
        along_y: side(1, MachineSide::LowY, MachineSide::HighY),
    }
}

/// The largest slope that is off zero but too small to matter, edge to edge.
pub(super) fn too_small(fixed: &FixedPart, levels: &Levels, removed_um: f64) -> Option<f64> {
    fixed
        .machine
        .iter()
        .flatten()
        .filter(|s| levels.slope_off(s.p_value))
        .map(|s| 2.0 * s.estimate.abs())
        .filter(|by| *by < TILT_MATTERS * removed_um.abs())
        .max_by(f64::total_cmp)
}

/// The taper of the panels that matters.
pub(super) fn taper_matters(fixed: &FixedPart, levels: &Levels, removed_um: f64) -> bool {
    fixed.taper.iter().flatten().any(|t| {
        levels.part_off(t.p_value) && 2.0 * t.estimate.abs() >= TILT_MATTERS * removed_um.abs()
    })
}

/// A spread from panel to panel that matters.
pub(super) fn spread_matters(evidence: &Evidence<'_>, levels: &Levels) -> bool {
    let least = SPREAD_MATTERS * evidence.removed_um.abs();
    evidence
        .spreads
        .iter()
        .any(|&(size, p)| levels.part_off(p) && size >= least)
}

/// A crown or twist that all panels share and that matters.
pub(super) fn bend_matters(evidence: &Evidence<'_>, levels: &Levels) -> bool {
    let least = SPREAD_MATTERS * evidence.removed_um.abs();
    evidence
        .bends
        .iter()
        .any(|b| levels.part_off(b.p_value) && b.estimate.abs() >= least)
}

/// The first line that fits: nothing to go by; a machine slope off zero while
/// panels were turned; a slope off zero that nothing tells from a taper; a taper
/// that keeps to the panel; panels that differ beyond the gauge; a crown that
/// all share; even enough; undecided.
pub(super) fn cause(evidence: &Evidence<'_>, levels: &Levels, lean: &Lean) -> SurfaceCause {
    if evidence.void {
        return SurfaceCause::Undecided;
    }
    let fixed = evidence.fixed;
    let leans = lean.along_x.is_some() || lean.along_y.is_some();
    if leans {
        let machine = told(fixed.contrast) && !evidence.crown_reads_as_slope;
        return if machine {
            SurfaceCause::Machine
        } else {
            SurfaceCause::Undecided
        };
    }
    let taper = taper_matters(fixed, levels, evidence.removed_um);
    if taper && !evidence.crown_reads_as_slope || spread_matters(evidence, levels) {
        return SurfaceCause::Part;
    }
    if taper || bend_matters(evidence, levels) {
        return SurfaceCause::Undecided;
    }
    let limit = (EVEN_WITHIN * evidence.removed_um.abs()).max(evidence.gauge_sd_um.unwrap_or(0.0));
    let even = fixed
        .machine
        .iter()
        .all(|s| s.is_some_and(|s| 2.0 * s.ci.low.abs().max(s.ci.high.abs()) <= limit));
    if even {
        SurfaceCause::None
    } else {
        SurfaceCause::Undecided
    }
}
