//! Uneven removal: a tilted head or warped panels.
//!
//! Per panel the removal surface is fitted over machine coordinates that run
//! from −1 to 1 across the panel as it lay ([`panel_fit`]). What all panels share
//! is the machine's only as far as turned panels clear a taper of the panels
//! ([`fixed_part`]); what differs from panel to panel, beyond the gauge, comes
//! with the panels ([`spread`]). Crown and twist look the same on panels turned
//! by half, and a bowl on panels turned by any angle, so they accuse nobody.
//!
//! Machine slopes have a fixed share of what may accuse the machine in a report,
//! split evenly over all slopes tested, two for every machine and head: the
//! chance that a report on machines without any tilt names one stays below the
//! report's level. Signs of the part, which accuse no machine, are split over
//! their own number.

mod differ;
mod findings;
mod fixed_part;
mod gauge;
mod meeting;
mod panel_fit;
mod region;
mod result;
mod spread;
mod terms;
mod verdict;

use std::collections::BTreeMap;

use crate::causes::Rival;
use crate::causes::streams::{Cell, cell_of};
use crate::records::Records;
use meeting::Company;
use panel_fit::{BENDS, PanelFit, SLOPES, Shape, Spot};
use spread::Spread;
use terms::{Bend, crown_reads_as_slope, shares, slope_values, take_out_gauges};
use verdict::{Doubt, Levels, Scale};

pub use differ::DifferBy;
pub(crate) use differ::{follow_levels, follow_time};
pub use findings::UNEVEN_REMOVAL;
pub(crate) use findings::findings;
pub use result::{
    Contrast, EdgeToEdge, Estimate, Lean, PanelSlope, PartSign, Region, Surface, SurfaceCause,
    SurfaceEvidence, SurfaceNote, SurfaceReason, Term, TermName,
};

/// Unit of the slope along machine x.
const PER_HALF_LENGTH: &str = "um per half length";
/// Unit of the slope along machine y.
const PER_HALF_WIDTH: &str = "um per half width";
/// The readings of one machine and head.
#[derive(Debug, Clone, PartialEq, Default)]
struct Group {
    fits: Vec<PanelFit>,
    /// Lot of each fit, numbered within the group.
    lots: Vec<Option<usize>>,
    /// What each came with, beside its lay.
    company: Vec<Company>,
    /// Mean reading of each panel fitted, µm.
    levels: Vec<f64>,
    extents_mm: (f64, f64),
    notes: Vec<SurfaceNote>,
    constant: bool,
    /// Whether the lay of any panel was written down.
    lay_recorded: bool,
}

/// The unevenness of removal on every machine and head that has readings of
/// removal, in the order of their names. `alpha` is the level of the whole
/// report, 0..1.
#[must_use]
pub fn surfaces(records: &Records, alpha: f64) -> Vec<Surface> {
    let groups = groups(records);
    let levels = Levels {
        alpha,
        groups: groups.len(),
    };
    groups
        .into_iter()
        .map(|((machine, head), group)| {
            let mut surface = surface(group, &levels);
            surface.machine = machine.map(|m| m.to_string());
            surface.head = head.map(|h| h.to_string());
            surface
        })
        .collect()
}

fn groups(records: &Records) -> BTreeMap<Cell, Group> {
    let mut readings: BTreeMap<usize, Vec<(Option<Spot>, f64)>> = BTreeMap::new();
    for reading in &records.readings {
        if let Some(removed_um) = reading.removed_um {
            let panel = &records.panels[reading.panel];
            let spot = reading.place.map(|at| Spot::new(panel, at, removed_um));
            readings
                .entry(reading.panel)
                .or_default()
                .push((spot, removed_um));
        }
    }
    let mut by_name: BTreeMap<Cell, Vec<usize>> = BTreeMap::new();
    for &index in readings.keys() {
        let panel = &records.panels[index];
        by_name.entry(cell_of(panel)).or_default().push(index);
    }
    by_name
        .into_iter()
        .map(|(name, panels)| (name, group(records, &panels, &readings)))
        .collect()
}

fn group(
    records: &Records,
    panels: &[usize],
    readings: &BTreeMap<usize, Vec<(Option<Spot>, f64)>>,
) -> Group {
    let mut out = Group::default();
    let mut numbers: [BTreeMap<&str, usize>; 5] = Default::default();
    let (mut too_few, mut without_place, mut not_above_zero) = (0, 0, 0);
    let mut first = None;
    out.constant = true;
    for &index in panels {
        let panel = &records.panels[index];
        let Some(own) = readings.get(&index) else {
            continue;
        };
        let spots: Vec<Spot> = own.iter().filter_map(|r| r.0).collect();
        without_place += own.len() - spots.len();
        not_above_zero += own.iter().filter(|r| r.1 <= 0.0).count();
        for (_, removed_um) in own {
            out.constant &= *first.get_or_insert(*removed_um) == *removed_um;
        }
        let Some(fit) = panel_fit::fit(index, panel.lay, &spots) else {
            too_few += 1;
            continue;
        };
        let names = [
            &panel.lot,
            &panel.part,
            &panel.supplier,
            &panel.inspector,
            &panel.fixture,
        ];
        let levels = std::array::from_fn(|column| {
            let known = &mut numbers[column];
            names[column].as_deref().map(|name| {
                let next = known.len();
                *known.entry(name).or_insert(next)
            })
        });
        out.lay_recorded |= panel.lay_recorded;
        let rect = panel.machine_rect();
        out.extents_mm.0 += rect.width();
        out.extents_mm.1 += rect.height();
        out.levels
            .push(spots.iter().map(|s| s.removed_um).sum::<f64>() / spots.len() as f64);
        out.fits.push(fit);
        out.lots.push(levels[0]);
        out.company.push(Company {
            levels,
            inspect_lay: panel.inspect_lay,
        });
    }
    let count = |of: fn(Shape) -> bool| out.fits.iter().filter(|f| of(f.shape)).count();
    let plane = count(|s| s == Shape::Plane);
    let along = count(|s| matches!(s, Shape::Along(_)));
    let one = usize::from(out.fits.len() == 1);
    let constant = usize::from(out.constant && !out.fits.is_empty());
    type Note = fn(usize) -> SurfaceNote;
    let notes: [(usize, Note); 7] = [
        (plane, |panels| SurfaceNote::SlopesOnly { panels }),
        (along, |panels| SurfaceNote::OneAxisOnly { panels }),
        (too_few, |panels| SurfaceNote::TooFewPlaces { panels }),
        (without_place, |readings| SurfaceNote::WithoutPlace {
            readings,
        }),
        (not_above_zero, |readings| SurfaceNote::NotAboveZero {
            readings,
        }),
        (one, |_| SurfaceNote::OnePanel),
        (constant, |_| SurfaceNote::ConstantReadings),
    ];
    let seen = notes.into_iter().filter(|(count, _)| *count > 0);
    out.notes = seen.map(|(count, note)| note(count)).collect();
    out
}

fn surface(group: Group, levels: &Levels) -> Surface {
    let mut fixed = fixed_part::find(&group.fits, &group.company);
    let gauge = gauge::pooled(&group.fits);
    let removed_um = mean(&group.levels);
    let told = verdict::told(fixed.contrast);
    let mut notes = group.notes.clone();
    if gauge.is_none() && group.fits.len() > 1 {
        notes.push(SurfaceNote::GaugeUnknown);
    }

    let spread = |axis: usize, beyond_gauges: bool| {
        let mut values = slope_values(&group, &fixed, axis);
        let has = |fit: &&PanelFit| fit.shape.has(SLOPES[axis]);
        let mut taken = usize::from(told);
        if beyond_gauges {
            taken += take_out_gauges(&mut values, &group, has);
        }
        gauge.and_then(|g| spread::spread(&values, g, taken))
    };
    let slopes = [0, 1].map(|axis| spread(axis, true));
    let bends = [0, 1, 2].map(|b| Bend::new(&group, BENDS[b], gauge));
    let scale = Scale {
        removed_um: removed_um.unwrap_or(0.0),
        gauge_sd_um: gauge.map(|g| g.variance.sqrt()),
    };
    let differ = |s: Option<Spread>| s.is_some_and(|s| verdict::differ(&s, 2.0, levels, scale));
    let with_gauges = [0, 1].map(|axis| spread(axis, false));
    let follows = differ::follows(
        &group,
        &fixed,
        (slopes.map(differ), with_gauges.map(differ)),
    );
    let by_column = follows.iter().any(|f| matches!(f, DifferBy::Column(_)));
    let told_of = [0, 1].map(|axis| {
        let column = by_column && differ(with_gauges[axis]) && !differ(slopes[axis]);
        if column {
            with_gauges[axis]
        } else {
            slopes[axis]
        }
    });
    let lean = verdict::lean(&fixed, levels, scale);
    let named = |k: usize, term: TermName| {
        let bend = bends[k].as_ref();
        (
            term,
            bend.and_then(|b| b.fixed),
            bend.and_then(|b| b.spread),
        )
    };
    let signs = verdict::signs(
        &fixed,
        [
            (TermName::SlopeX, None, told_of[0]),
            (TermName::SlopeY, None, told_of[1]),
        ],
        [
            named(0, TermName::CrownX),
            named(1, TermName::CrownY),
            named(2, TermName::Twist),
        ],
        levels,
        scale,
    );
    let leaning = |s: &PartSign| match s {
        PartSign::TaperAlongLength { .. } => differ::gauges_lean(&group, &fixed, 0),
        PartSign::TaperAlongWidth { .. } => differ::gauges_lean(&group, &fixed, 1),
        _ => false,
    };
    if signs.iter().any(leaning) && !fixed.taper_open.contains(&Rival::Inspector) {
        fixed.taper_open.push(Rival::Inspector);
    }
    let tapers = signs.iter().any(|s| {
        matches!(
            s,
            PartSign::TaperAlongLength { .. } | PartSign::TaperAlongWidth { .. }
        )
    });
    let doubt = if group.constant || group.fits.len() < 2 {
        Doubt::Void
    } else if (tapers || !lean.sides().is_empty()) && crown_reads_as_slope(&group) {
        notes.push(SurfaceNote::CrownReadsAsSlope);
        Doubt::CrownReadsAsSlope
    } else {
        Doubt::None
    };
    if let Some(by_um) = verdict::too_small(&fixed, levels, scale) {
        notes.push(SurfaceNote::TooSmallToMatter { by_um });
    }
    let cause = verdict::cause(&fixed, &lean, (&signs, &follows), scale, doubt);
    let shares = shares(&fixed, &slopes, &bends, gauge);
    let term = |axis: usize, unit: &'static str| Term {
        machine: fixed.points[axis],
        machine_ci: fixed.machine[axis].map(|e| e.ci),
        part_sd: slopes[axis].map(|s| s.variance.max(0.0).sqrt()),
        part_sd_ci: slopes[axis].and_then(|s| s.sd_ci),
        unit,
    };
    let smallest_p = fixed
        .machine
        .iter()
        .flatten()
        .map(|e| e.p_value)
        .reduce(f64::min);
    let panels = group.fits.len();
    let extent = |sum: f64| sum / panels.max(1) as f64;
    Surface {
        machine: None,
        head: None,
        panels,
        readings: group.fits.iter().map(|f| f.readings).sum(),
        removed_um,
        slope_x: term(0, PER_HALF_LENGTH),
        slope_y: term(1, PER_HALF_WIDTH),
        crown_x: bends[0].as_ref().map(Bend::term),
        crown_y: bends[1].as_ref().map(Bend::term),
        twist: bends[2].as_ref().map(Bend::term),
        taper_x: fixed.taper[0],
        taper_y: fixed.taper[1],
        gauge_sd_um: gauge.map(|g| g.variance.sqrt()),
        gauge_sd_ci: gauge.and_then(gauge::sd_interval),
        share_machine: shares.map(|s| s.0),
        share_part: shares.map(|s| s.1),
        share_gauge: shares.map(|s| s.2),
        cause,
        contrast: fixed.contrast,
        p_adjusted: smallest_p.map(|p| levels.slope(p)),
        lean,
        signs,
        notes,
        evidence: SurfaceEvidence {
            slopes: panel_slopes(&group),
            region: region::region(&fixed),
            extent_mm: (extent(group.extents_mm.0), extent(group.extents_mm.1)),
            machine_open: fixed.machine_open,
            taper_open: fixed.taper_open,
            differ_follow: follows,
            table_recorded: group.company.iter().any(|c| c.inspect_lay.is_some()),
        },
    }
}

fn panel_slopes(group: &Group) -> Vec<PanelSlope> {
    group
        .fits
        .iter()
        .filter(|fit| SLOPES.iter().all(|&s| fit.shape.has(s)))
        .map(|fit| PanelSlope {
            panel: fit.panel,
            lay: fit.lay,
            x: fit.coefficients[SLOPES[0]],
            y: fit.coefficients[SLOPES[1]],
        })
        .collect()
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}
