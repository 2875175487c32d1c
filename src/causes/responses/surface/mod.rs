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

mod findings;
mod fixed_part;
mod gauge;
mod panel_fit;
mod region;
mod result;
mod spread;
mod verdict;

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::records::Records;
use fixed_part::{Company, FixedPart};
use panel_fit::{BENDS, PanelFit, SLOPES, Shape, Spot};
use spread::{Gauge, Spread, Value};
use verdict::{Doubt, Levels, Scale};

pub use findings::UNEVEN_REMOVAL;
pub(in crate::causes) use findings::findings;
pub use result::{
    Contrast, EdgeToEdge, Estimate, Lean, PanelSlope, PartSign, Region, Surface, SurfaceCause,
    SurfaceEvidence, SurfaceNote, SurfaceReason, Term, TermName,
};

/// Unit of the slope along machine x.
const PER_HALF_LENGTH: &str = "um per half length";
/// Unit of the slope along machine y.
const PER_HALF_WIDTH: &str = "um per half width";
/// Unit of crowns and twist: middle to edge.
const PLAIN_UM: &str = "um";
/// Share of the unevenness of a unit slope, crown and twist: the variance of u,
/// u² and uv over the square.
const WEIGHTS: [f64; 5] = [1.0 / 3.0, 1.0 / 3.0, 4.0 / 45.0, 4.0 / 45.0, 1.0 / 9.0];

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

type Name = (Option<Arc<str>>, Option<Arc<str>>);

fn groups(records: &Records) -> BTreeMap<Name, Group> {
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
    let mut by_name: BTreeMap<Name, Vec<usize>> = BTreeMap::new();
    for &index in readings.keys() {
        let panel = &records.panels[index];
        let name = (panel.machine.clone(), panel.head.clone());
        by_name.entry(name).or_default().push(index);
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
    let notes = [
        (plane, SurfaceNote::SlopesOnly { panels: plane }),
        (along, SurfaceNote::OneAxisOnly { panels: along }),
        (too_few, SurfaceNote::TooFewPlaces { panels: too_few }),
        (
            without_place,
            SurfaceNote::WithoutPlace {
                readings: without_place,
            },
        ),
        (
            not_above_zero,
            SurfaceNote::NotAboveZero {
                readings: not_above_zero,
            },
        ),
        (usize::from(out.fits.len() == 1), SurfaceNote::OnePanel),
        (
            usize::from(out.constant && !out.fits.is_empty()),
            SurfaceNote::ConstantReadings,
        ),
    ];
    out.notes = notes.into_iter().filter(|n| n.0 > 0).map(|n| n.1).collect();
    out
}

fn surface(group: Group, levels: &Levels) -> Surface {
    let fixed = fixed_part::find(&group.fits, &group.company);
    let gauge = gauge::pooled(&group.fits);
    let removed_um = mean(&group.levels);
    let told = verdict::told(fixed.contrast);
    let mut notes = group.notes.clone();
    if gauge.is_none() && group.fits.len() > 1 {
        notes.push(SurfaceNote::GaugeUnknown);
    }

    let slopes = [0, 1].map(|axis| {
        let mut values = slope_values(&group, &fixed, axis);
        let has = |fit: &&PanelFit| fit.shape.has(SLOPES[axis]);
        let taken = usize::from(told) + take_out_gauges(&mut values, &group, has);
        gauge.and_then(|g| spread::spread(&values, g, taken))
    });
    let bends = [0, 1, 2].map(|b| Bend::new(&group, BENDS[b], gauge));
    let scale = Scale {
        removed_um: removed_um.unwrap_or(0.0),
        gauge_sd_um: gauge.map(|g| g.variance.sqrt()),
    };
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
            (TermName::SlopeX, None, slopes[0]),
            (TermName::SlopeY, None, slopes[1]),
        ],
        [
            named(0, TermName::CrownX),
            named(1, TermName::CrownY),
            named(2, TermName::Twist),
        ],
        levels,
        scale,
    );
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
    let cause = verdict::cause(&fixed, &lean, &signs, scale, doubt);
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
            table_recorded: group.company.iter().any(|c| c.inspect_lay.is_some()),
        },
    }
}

/// A crown or the twist over panels whose readings carry it.
struct Bend {
    point: f64,
    fixed: Option<Estimate>,
    spread: Option<Spread>,
}

impl Bend {
    fn new(group: &Group, column: usize, gauge: Option<Gauge>) -> Option<Self> {
        let (mut values, mut lots, mut rows) = (Vec::new(), Vec::new(), Vec::new());
        for (fit, &lot) in group.fits.iter().zip(&group.lots) {
            if fit.shape.has(column) {
                values.push(fit.coefficients[column]);
                lots.push(lot);
                rows.push(Value {
                    value: fit.coefficients[column],
                    variance: fit.variances[column],
                    axis: 0,
                    lot,
                });
            }
        }
        let (point, fixed) = fixed_part::mean(&values, &lots);
        let taken = take_out_gauges(&mut rows, group, |fit| fit.shape.has(column));
        Some(Self {
            point: point?,
            fixed,
            spread: gauge.and_then(|g| spread::spread(&rows, g, taken)),
        })
    }

    fn term(&self) -> Term {
        Term {
            machine: Some(self.point),
            machine_ci: self.fixed.map(|e| e.ci),
            part_sd: self.spread.map(|s| s.variance.max(0.0).sqrt()),
            part_sd_ci: self.spread.and_then(|s| s.sd_ci),
            unit: PLAIN_UM,
        }
    }
}

/// One slope on every panel, the machine's taken off, signed as the panel's own.
fn slope_values(group: &Group, fixed: &FixedPart, axis: usize) -> Vec<Value> {
    let machine = if verdict::told(fixed.contrast) {
        fixed.points[axis].unwrap_or(0.0)
    } else {
        0.0
    };
    group
        .fits
        .iter()
        .zip(&group.lots)
        .filter(|(fit, _)| fit.shape.has(SLOPES[axis]))
        .map(|(fit, &lot)| {
            let turned = fixed_part::turn(fit.lay)[axis];
            let own = usize::from(turned[0] == 0.0);
            Value {
                value: turned[own] * (fit.coefficients[SLOPES[axis]] - machine),
                variance: fit.variances[SLOPES[axis]],
                axis: own,
                lot,
            }
        })
        .collect()
}

/// Takes the mean of every inspector and fixture, lay by lay, out of the values of
/// the panels that `has` chooses, where either varies: a gauge that leans or a
/// bent nest is not how panels differ. Returns how many means beyond one were
/// taken.
fn take_out_gauges(values: &mut [Value], group: &Group, has: impl Fn(&&PanelFit) -> bool) -> usize {
    let key = |at: usize| fixed_part::gauge_and_nest(&group.company[at]);
    if (1..group.fits.len()).all(|at| key(at) == key(0)) {
        return 0;
    }
    let mut means: BTreeMap<_, (f64, f64)> = BTreeMap::new();
    let cells: Vec<_> = (group.fits.iter().enumerate())
        .filter(|(_, fit)| has(fit))
        .map(|(at, fit)| (key(at), fit.lay.degrees()))
        .collect();
    for (value, cell) in values.iter().zip(&cells) {
        let mean = means.entry(*cell).or_default();
        mean.0 += value.value;
        mean.1 += 1.0;
    }
    for (value, cell) in values.iter_mut().zip(&cells) {
        let (sum, count) = means[cell];
        value.value -= sum / count;
    }
    means.len().saturating_sub(1)
}

/// Shares of machine, part and gauge in the unevenness within a panel.
fn shares(
    fixed: &FixedPart,
    slopes: &[Option<Spread>; 2],
    bends: &[Option<Bend>; 3],
    gauge: Option<Gauge>,
) -> Option<(f64, f64, f64)> {
    let gauge = gauge?;
    let sure = |e: &Option<Estimate>| {
        e.map_or(0.0, |e| (e.estimate.powi(2) - e.std_error.powi(2)).max(0.0))
    };
    let spread = |s: &Option<Spread>| s.map_or(0.0, |s| s.variance.max(0.0));
    let (mut machine, mut part) = (0.0, 0.0);
    for axis in 0..2 {
        machine += WEIGHTS[axis] * sure(&fixed.machine[axis]);
        part += WEIGHTS[axis] * (spread(&slopes[axis]) + sure(&fixed.taper[axis]));
    }
    for (bend, weight) in bends.iter().zip(&WEIGHTS[2..]) {
        if let Some(bend) = bend {
            machine += weight * sure(&bend.fixed);
            part += weight * spread(&bend.spread);
        }
    }
    let total = machine + part + gauge.variance;
    (total > 0.0).then(|| (machine / total, part / total, gauge.variance / total))
}

/// Where only slopes are fitted, a crown can read as a slope if the places lie
/// to one side of the middle the same way on every panel. The slopes that a unit
/// crown or twist would leave are put through the same comparison: more than a
/// tenth of a unit, and not by chance, is too much.
fn crown_reads_as_slope(group: &Group) -> bool {
    const TOO_MUCH: f64 = 0.1;
    const BY_CHANCE: f64 = 0.01;
    if group.fits.iter().all(|f| f.shape == Shape::Full) {
        return false;
    }
    (0..BENDS.len()).any(|bend| {
        let mut shadow = group.fits.clone();
        for fit in &mut shadow {
            for (axis, &column) in SLOPES.iter().enumerate() {
                fit.coefficients[column] = fit.alias[axis][bend];
            }
        }
        let fixed = fixed_part::find(&shadow, &group.company);
        fixed
            .machine
            .iter()
            .chain(&fixed.taper)
            .flatten()
            .any(|e| e.estimate.abs() > TOO_MUCH && e.p_value < BY_CHANCE)
    })
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
