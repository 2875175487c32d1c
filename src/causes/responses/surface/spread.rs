//! How much a term differs from panel to panel, beyond what the gauge does.

use crate::causes::responses::surface::fixed_part::LEVEL;
use crate::stats::Interval;
use crate::stats::distributions::f_ratio;
use crate::stats::modified_large_sample::{MeanSquare, variance_interval};

/// A term's value on one panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Value {
    /// The fixed machine part taken off, in the panel's frame.
    pub(crate) value: f64,
    /// Its variance per variance of a reading.
    pub(crate) variance: f64,
    /// The panel's axis (slopes of the length and of the width differ in their
    /// own right), 0 or 1.
    pub(crate) axis: usize,
    /// The lot.
    pub(crate) lot: Option<usize>,
}

/// The gauge: variance of one reading about the fitted surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Gauge {
    /// µm².
    pub(crate) variance: f64,
    /// Degrees of freedom.
    pub(crate) dof: f64,
}

/// Panel-to-panel variance of a term.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spread {
    /// Estimate by moments, µm²; may be < 0 where it is all gauge.
    pub(crate) variance: f64,
    /// Interval of its root, µm.
    pub(crate) sd_ci: Option<Interval>,
    /// Against "all gauge".
    pub(crate) p_value: f64,
}

/// Variance between and within lots by analysis of variance, less the gauge's
/// share. `estimated` counts fixed terms taken off the values beforehand.
/// None with too few panels.
///
/// Between and within mean squares are those of the one-way random-effects
/// layout (Searle, Casella & McCulloch 1992, Variance Components, ch. 3): their
/// sum MS_b/n₀ + MS_w·(1 − 1/n₀) estimates the variance of a panel about the
/// mean of all lots, which the plain variance underrates when lots share a tilt.
pub(crate) fn spread(values: &[Value], gauge: Gauge, estimated: usize) -> Option<Spread> {
    let layout = Layout::new(values);
    let variance_mean = values.iter().map(|v| v.variance).sum::<f64>() / values.len().max(1) as f64;
    let mut terms = layout.mean_squares(values, estimated)?;
    terms.push(MeanSquare {
        factor: -variance_mean,
        value: gauge.variance,
        dof: gauge.dof,
    });
    let variance = terms.iter().map(|t| t.factor * t.value).sum();
    let sd_ci = variance_interval(&terms, LEVEL).map(|ci| Interval {
        low: ci.low.sqrt(),
        high: ci.high.sqrt(),
        level: LEVEL,
    });
    Some(Spread {
        variance,
        sd_ci,
        p_value: beyond_gauge(values, gauge, estimated, layout.axes)?,
    })
}

/// Panels by axis and lot.
struct Layout {
    /// Per value, its cell.
    cells: Vec<usize>,
    /// Panels of each cell and the cell's axis.
    sizes: Vec<(usize, usize)>,
    /// Axes that occur.
    axes: usize,
}

impl Layout {
    fn new(values: &[Value]) -> Self {
        let lots = values
            .iter()
            .filter_map(|v| v.lot)
            .max()
            .map_or(0, |l| l + 1);
        let known = values.iter().all(|v| v.lot.is_some());
        let mut number = vec![None; 2 * lots.max(1)];
        let mut sizes: Vec<(usize, usize)> = Vec::new();
        let cells: Vec<usize> = values
            .iter()
            .map(|v| {
                let lot = if known { v.lot.unwrap_or(0) } else { 0 };
                let cell = *number[2 * lot + v.axis].get_or_insert_with(|| {
                    sizes.push((0, v.axis));
                    sizes.len() - 1
                });
                sizes[cell].0 += 1;
                cell
            })
            .collect();
        let axes = (0..2).filter(|&a| sizes.iter().any(|s| s.1 == a)).count();
        Self { cells, sizes, axes }
    }

    /// The mean squares whose weighted sum is the variance of a panel's value.
    fn mean_squares(&self, values: &[Value], estimated: usize) -> Option<Vec<MeanSquare>> {
        let mut by_axis = [(0.0, 0.0); 2];
        let mut by_cell = vec![0.0; self.sizes.len()];
        for (v, &cell) in values.iter().zip(&self.cells) {
            by_axis[v.axis].0 += 1.0;
            by_axis[v.axis].1 += v.value;
            by_cell[cell] += v.value;
        }
        let axis_mean = |axis: usize| by_axis[axis].1 / f64::max(by_axis[axis].0, 1.0);
        let (mut between, mut within, mut squares) = (0.0, 0.0, 0.0);
        for (sum, &(size, axis)) in by_cell.iter().zip(&self.sizes) {
            let size = size as f64;
            between += size * (sum / size - axis_mean(axis)).powi(2);
            squares += size * size / by_axis[axis].0;
        }
        for (v, &cell) in values.iter().zip(&self.cells) {
            within += (v.value - by_cell[cell] / self.sizes[cell].0 as f64).powi(2);
        }
        let panels = values.len() as f64;
        let between_dof = (self.sizes.len() - self.axes) as f64;
        let within_dof = panels - self.sizes.len() as f64 - estimated as f64;
        let one = |value: f64, dof: f64| {
            let factor = 1.0;
            (dof >= 1.0).then(|| vec![MeanSquare { factor, value, dof }])
        };
        if between_dof == 0.0 {
            return one(within / within_dof, within_dof);
        }
        if within_dof < 1.0 {
            let dof = between_dof - estimated as f64;
            return one((between + within) / dof, dof);
        }
        let per_lot = (panels - squares) / between_dof;
        Some(vec![
            MeanSquare {
                factor: 1.0 / per_lot,
                value: between / between_dof,
                dof: between_dof,
            },
            MeanSquare {
                factor: 1.0 - 1.0 / per_lot,
                value: within / within_dof,
                dof: within_dof,
            },
        ])
    }
}

/// P of a larger F ratio if panels differed by the gauge alone; exact for values
/// about their weighted mean.
fn beyond_gauge(values: &[Value], gauge: Gauge, estimated: usize, axes: usize) -> Option<f64> {
    let mut sums = [(0.0, 0.0); 2];
    for v in values {
        sums[v.axis].0 += 1.0 / v.variance;
        sums[v.axis].1 += v.value / v.variance;
    }
    let scatter: f64 = values
        .iter()
        .map(|v| (v.value - sums[v.axis].1 / sums[v.axis].0).powi(2) / v.variance)
        .sum();
    let dof = values.len() as f64 - axes as f64 - estimated as f64;
    if dof < 1.0 || gauge.dof < 1.0 {
        return None;
    }
    if gauge.variance == 0.0 {
        return Some(if scatter == 0.0 { 1.0 } else { 0.0 });
    }
    Some(f_ratio::upper(
        scatter / dof / gauge.variance,
        dof,
        gauge.dof,
    ))
}
