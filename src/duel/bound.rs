//! What is excluded where nothing is shown.

use super::contender::Suspect;
use crate::stats::distributions::{chi_squared, student_t};

/// Each way with so much certainty.
const CERTAINTY: f64 = 0.95;

/// Units that a bound needs.
const LEAST_UNITS: usize = 4;

/// The ratio of rates between what was given most and least.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Bound {
    /// Estimated, > 0.
    pub ratio: f64,
    /// The ratio is larger with 95 % certainty.
    pub low: f64,
    /// The ratio is smaller with 95 % certainty.
    pub high: f64,
}

impl Bound {
    /// The largest ratio either way that is not excluded, ≥ 1.
    pub(crate) fn within(&self) -> f64 {
        self.high.max(1.0 / self.low)
    }
}

/// Bounds of the ratio of rates between high and low values of what was given
/// (its ninetieth and tenth percentile; a level and the others), a straight line
/// of the rate in what was given, inside blocks, its error from the scatter of
/// units. `value` per panel over `exposure`.
pub(crate) fn bound(value: &[f64], exposure: &[f64], suspect: &Suspect) -> Option<Bound> {
    let rows: Vec<usize> = (0..value.len())
        .filter(|&at| suspect.given[at].is_some() && exposure[at] > 0.0)
        .collect();
    let given = |at: usize| suspect.given[at].unwrap_or(0.0);
    let exposed: f64 = rows.iter().map(|&at| exposure[at]).sum();
    let rate = rows.iter().map(|&at| value[at]).sum::<f64>() / exposed;
    if rate <= 0.0 {
        return None;
    }
    let mut by_block = rows.clone();
    by_block.sort_by_key(|&at| (suspect.blocks[at], suspect.units[at], at));
    let (mut along, mut length) = (0.0, 0.0);
    let mut rests: Vec<(usize, f64, f64)> = Vec::new();
    for block in by_block.chunk_by(|&a, &b| suspect.blocks[a] == suspect.blocks[b]) {
        let sum: f64 = block.iter().map(|&at| exposure[at]).sum();
        let mean = block
            .iter()
            .map(|&at| exposure[at] * given(at))
            .sum::<f64>()
            / sum;
        let level = block.iter().map(|&at| value[at]).sum::<f64>() / sum;
        for &at in block {
            let x = given(at) - mean;
            let y = (value[at] - level * exposure[at]) / rate;
            along += x * y;
            length += exposure[at] * x * x;
            rests.push((at, x, y));
        }
    }
    if length <= 0.0 {
        return None;
    }
    let slope = along / length;
    rests.sort_by_key(|r| (suspect.units[r.0], r.0));
    let units: Vec<f64> = (rests.chunk_by(|a, b| suspect.units[a.0] == suspect.units[b.0]))
        .map(|unit| {
            let rest = |r: &(usize, f64, f64)| r.1 * (r.2 - slope * r.1 * exposure[r.0]);
            unit.iter().map(rest).sum()
        })
        .collect();
    let n = units.len() as f64;
    if units.len() < LEAST_UNITS {
        return None;
    }
    let robust = units.iter().map(|u| u * u).sum::<f64>() * n / (n - 1.0);
    // No less than marks that come one at a time: few marks show no scatter.
    let error = robust.max(length / rate).sqrt() / length;
    let mut sorted: Vec<f64> = rows.iter().map(|&at| given(at)).collect();
    sorted.sort_by(f64::total_cmp);
    let share = |s: f64| sorted[((sorted.len() - 1) as f64 * s).round() as usize];
    let (mut low, mut high) = (share(0.1), share(0.9));
    if high <= low {
        (low, high) = (share(0.0), share(1.0));
    }
    let mean = rows.iter().map(|&at| exposure[at] * given(at)).sum::<f64>() / exposed;
    let ratio = |b: f64| {
        let top = (1.0 + b * (high - mean)).max(1e-3);
        let bottom = (1.0 + b * (low - mean)).max(1e-3);
        top / bottom
    };
    let t = student_t::upper_quantile(1.0 - CERTAINTY, n - 1.0);
    Some(Bound {
        ratio: ratio(slope),
        low: ratio(slope - t * error),
        high: ratio(slope + t * error),
    })
}

/// The ratio of rates, two standard deviations of levels apart, that the scatter
/// of level means leaves open with 95 % certainty. `levels`: a level per panel.
pub(crate) fn spread(value: &[f64], exposure: &[f64], levels: &[Option<usize>]) -> Option<f64> {
    let count = levels.iter().flatten().max()? + 1;
    let mut sums = vec![(0.0, 0.0, 0.0, 0.0); count];
    for (at, level) in levels.iter().enumerate() {
        if let Some(level) = level.filter(|_| exposure[at] > 0.0) {
            let s = &mut sums[level];
            s.0 += value[at];
            s.1 += exposure[at];
            s.2 += value[at] * value[at] / exposure[at];
            s.3 += 1.0;
        }
    }
    sums.retain(|s| s.1 > 0.0);
    let k = sums.len() as f64;
    let (all, exposed) = sums.iter().fold((0.0, 0.0), |a, s| (a.0 + s.0, a.1 + s.1));
    let panels: f64 = sums.iter().map(|s| s.3).sum();
    let rate = all / exposed;
    if rate <= 0.0 || k < 3.0 || panels <= k {
        return None;
    }
    let within = sums.iter().map(|s| s.2 - s.0 * s.0 / s.1).sum::<f64>() / (panels - k);
    let between: f64 = sums.iter().map(|s| s.1 * (s.0 / s.1 - rate).powi(2)).sum();
    let size = (exposed - sums.iter().map(|s| s.1 * s.1).sum::<f64>() / exposed) / (k - 1.0);
    let most = between / chi_squared::quantile(1.0 - CERTAINTY, k - 1.0);
    let variance = ((most - within) / size).max(0.0) / (rate * rate);
    Some((2.0 * variance.sqrt()).exp())
}
