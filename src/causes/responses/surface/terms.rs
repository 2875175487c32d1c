//! The terms of a group of panels: how much of each panels share and how they
//! differ.

use std::collections::BTreeMap;

use super::fixed_part::{self, FixedPart};
use super::meeting::gauge_and_nest;
use super::panel_fit::{BENDS, PanelFit, SLOPES, Shape};
use super::result::{Estimate, Term};
use super::spread::{self, Gauge, Spread, Value};
use super::{Group, verdict};

/// Unit of crowns and twist: middle to edge.
const PLAIN_UM: &str = "um";
/// Share of the unevenness of a unit slope, crown and twist: the variance of u,
/// u² and uv over the square.
const WEIGHTS: [f64; 5] = [1.0 / 3.0, 1.0 / 3.0, 4.0 / 45.0, 4.0 / 45.0, 1.0 / 9.0];

/// A crown or the twist over panels whose readings carry it.
pub(super) struct Bend {
    point: f64,
    pub(super) fixed: Option<Estimate>,
    pub(super) spread: Option<Spread>,
}

impl Bend {
    pub(super) fn new(group: &Group, column: usize, gauge: Option<Gauge>) -> Option<Self> {
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

    pub(super) fn term(&self) -> Term {
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
pub(super) fn slope_values(group: &Group, fixed: &FixedPart, axis: usize) -> Vec<Value> {
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
pub(super) fn take_out_gauges(
    values: &mut [Value],
    group: &Group,
    has: impl Fn(&&PanelFit) -> bool,
) -> usize {
    let key = |at: usize| gauge_and_nest(&group.company[at]);
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
pub(super) fn shares(
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
pub(super) fn crown_reads_as_slope(group: &Group) -> bool {
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
