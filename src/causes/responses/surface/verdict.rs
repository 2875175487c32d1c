//! Who makes the unevenness, and which side takes more.

use crate::causes::Side;
use crate::causes::levels;
use crate::causes::responses::surface::differ::DifferBy;
use crate::causes::responses::surface::fixed_part::FixedPart;
use crate::causes::responses::surface::result::{
    Contrast, EdgeToEdge, Estimate, Lean, PartSign, SurfaceCause, TermName,
};
use crate::causes::responses::surface::spread::Spread;
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
/// Terms tested for coming with the panels: two tapers, five spreads, three bends.
const PART_TERMS: usize = 10;

/// The level of the report and what shares it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Levels {
    /// Of the whole report.
    pub(crate) alpha: f64,
    /// Machines and heads with readings.
    pub(crate) groups: usize,
}

impl Levels {
    /// A machine slope's p-value for the whole report: two slopes for every
    /// machine and head, within their share of what can accuse the machine.
    pub(crate) fn slope(&self, p_value: f64) -> f64 {
        levels::adjusted(p_value, 2 * self.groups, levels::SURFACES)
    }

    /// The same for signs of the part, which have the whole level.
    pub(crate) fn part(&self, p_value: f64) -> f64 {
        levels::adjusted(p_value, PART_TERMS * self.groups, 1.0)
    }
}

/// The size of the removal against which unevenness is judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Scale {
    /// Mean removal, µm.
    pub(crate) removed_um: f64,
    /// Gauge standard deviation, µm, where known.
    pub(crate) gauge_sd_um: Option<f64>,
}

/// Whether panels turned in a way that parts the machine's slope from a taper that
/// all panels bring.
pub(crate) fn told(contrast: Contrast) -> bool {
    match contrast {
        Contrast::NeverTurned | Contrast::TooFewTurned => false,
        Contrast::TurnedPanels | Contrast::TurnedWithOthers | Contrast::TurnedAmongAlike => true,
    }
}

/// The slopes off zero at the report's level and large enough to matter.
pub(crate) fn lean(fixed: &FixedPart, levels: &Levels, scale: Scale) -> Lean {
    let side = |axis: usize, low: Side, high: Side| {
        let slope = fixed.machine[axis]?;
        let by_um = 2.0 * slope.estimate.abs();
        let off = levels.slope(slope.p_value) <= levels.alpha;
        if !off || by_um < TILT_MATTERS * scale.removed_um.abs() {
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
        along_x: side(0, Side::LowX, Side::HighX),
        along_y: side(1, Side::LowY, Side::HighY),
    }
}

/// The largest slope that is off zero but too small to matter, edge to edge, µm.
pub(crate) fn too_small(fixed: &FixedPart, levels: &Levels, scale: Scale) -> Option<f64> {
    let slopes = fixed.machine.iter().flatten();
    slopes
        .filter(|s| levels.slope(s.p_value) <= levels.alpha)
        .map(|s| 2.0 * s.estimate.abs())
        .filter(|by| *by < TILT_MATTERS * scale.removed_um.abs())
        .max_by(f64::total_cmp)
}

/// Whether panels differ in a term, beyond doubt and by enough; `extent` makes its
/// values edge to edge.
pub(crate) fn differ(spread: &Spread, extent: f64, levels: &Levels, scale: Scale) -> bool {
    levels.part(spread.p_value) <= levels.alpha
        && extent * spread.variance.max(0.0).sqrt() >= SPREAD_MATTERS * scale.removed_um.abs()
}

/// A term with what panels share of it and how they differ.
pub(crate) type Found = (TermName, Option<Estimate>, Option<Spread>);

/// Signs of the part that are off zero and matter: tapers, then differences from
/// panel to panel (slopes edge to edge), then shared bends.
pub(crate) fn signs(
    fixed: &FixedPart,
    slopes: [Found; 2],
    bends: [Found; 3],
    levels: &Levels,
    scale: Scale,
) -> Vec<PartSign> {
    let off = |p_value: f64| levels.part(p_value) <= levels.alpha;
    let removed_um = scale.removed_um.abs();
    let mut out = Vec::new();
    for (axis, taper) in fixed.taper.iter().enumerate() {
        let Some(taper) = taper else { continue };
        let by_um = 2.0 * taper.estimate.abs();
        if !off(taper.p_value) || by_um < TILT_MATTERS * removed_um {
            continue;
        }
        let (p_value, up) = (taper.p_value, taper.estimate > 0.0);
        out.push(match (axis, up) {
            (0, _) => PartSign::TaperAlongLength {
                more: if up { Side::HighX } else { Side::LowX },
                by_um,
                p_value,
            },
            _ => PartSign::TaperAlongWidth {
                more: if up { Side::HighY } else { Side::LowY },
                by_um,
                p_value,
            },
        });
    }
    let extents = slopes
        .iter()
        .map(|s| (s, 2.0))
        .chain(bends.iter().map(|b| (b, 1.0)));
    for ((term, _, spread), extent) in extents {
        let Some(spread) = spread else { continue };
        if differ(spread, extent, levels, scale) {
            out.push(PartSign::PanelsDiffer {
                term: *term,
                sd_um: extent * spread.variance.max(0.0).sqrt(),
                p_value: spread.p_value,
            });
        }
    }
    for (term, shared, _) in bends {
        if let Some(shared) = shared
            && off(shared.p_value)
            && shared.estimate.abs() >= SPREAD_MATTERS * removed_um
        {
            out.push(PartSign::SharedBend {
                term,
                by_um: shared.estimate,
                p_value: shared.p_value,
            });
        }
    }
    out
}

/// What stands against a verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Doubt {
    /// Nothing.
    None,
    /// At the places measured a crown reads as a slope.
    CrownReadsAsSlope,
    /// One panel, or the same number throughout.
    Void,
}

/// The first line that fits: nothing to go by; a slope off zero, the machine's
/// where turned panels clear the part and nothing recorded went with the lay; a taper that keeps to the panel, or panels
/// that differ beyond the gauge; a crown that all share; even enough; undecided.
pub(crate) fn cause(
    fixed: &FixedPart,
    lean: &Lean,
    (signs, follows): (&[PartSign], &[DifferBy]),
    scale: Scale,
    doubt: Doubt,
) -> SurfaceCause {
    if doubt == Doubt::Void {
        return SurfaceCause::Undecided;
    }
    if !lean.sides().is_empty() {
        let met = told(fixed.contrast) && fixed.machine_open.is_empty();
        return if met && doubt == Doubt::None {
            SurfaceCause::Machine
        } else {
            SurfaceCause::Undecided
        };
    }
    let with_panels = signs.iter().any(|sign| match sign {
        PartSign::TaperAlongLength { .. } | PartSign::TaperAlongWidth { .. } => {
            doubt == Doubt::None && fixed.taper_open.is_empty()
        }
        PartSign::PanelsDiffer { .. } => follows.is_empty(),
        PartSign::SharedBend { .. } => false,
    });
    if with_panels {
        return SurfaceCause::Part;
    }
    if !signs.is_empty() {
        return SurfaceCause::Undecided;
    }
    let limit = (EVEN_WITHIN * scale.removed_um.abs()).max(scale.gauge_sd_um.unwrap_or(0.0));
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
