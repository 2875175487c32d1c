//! Exact conditional test and interval of a common rate ratio over strata.

use super::Side;
use super::strata::Cell;

/// Largest number of defects for which the exact sums are formed; above it the
/// score interval is as good.
pub(super) const MOST_DEFECTS: f64 = 200.0;

/// Distribution of the after-count over all strata, given each stratum's total:
/// a sum of independent binomials with share ρT₁/(ρT₁+T₀).
///
/// Source: Breslow & Day (1987), Statistical Methods in Cancer Research II,
/// section 4.2; for a single stratum Przyborowski & Wilenski (1940), Biometrika
/// 31, 313–323.
fn after_counts(cells: &[Cell], ratio: f64) -> Vec<f64> {
    let mut mass = vec![1.0];
    for cell in cells {
        let share =
            ratio * cell.after.exposure / (ratio * cell.after.exposure + cell.before.exposure);
        let trials = cell.total().round() as usize;
        mass = convolve(&mass, &binomial_masses(trials, share));
    }
    mass
}

fn convolve(left: &[f64], right: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; left.len() + right.len() - 1];
    for (i, l) in left.iter().enumerate() {
        for (j, r) in right.iter().enumerate() {
            out[i + j] += l * r;
        }
    }
    out
}

/// Masses of the binomial distribution, 0..=trials.
fn binomial_masses(trials: usize, share: f64) -> Vec<f64> {
    let mut mass = vec![0.0; trials + 1];
    mass[0] = 1.0;
    for m in 1..=trials {
        for k in (0..=m).rev() {
            let stay = mass[k] * (1.0 - share);
            mass[k] = stay + if k > 0 { mass[k - 1] * share } else { 0.0 };
        }
    }
    mass
}

/// One-sided tail probability of what was seen or beyond.
fn tail(cells: &[Cell], ratio: f64, seen: usize, side: Side) -> f64 {
    let mass = after_counts(cells, ratio);
    match side {
        // fewer after than this ratio would give
        Side::Before => mass[..=seen.min(mass.len() - 1)].iter().sum(),
        Side::After => mass[seen.min(mass.len())..].iter().sum(),
    }
}

/// Two-sided p-value of a ratio: twice the smaller tail, at most 1.
pub(super) fn p_value(cells: &[Cell], ratio: f64) -> f64 {
    let seen = seen_after(cells);
    let low = tail(cells, ratio, seen, Side::Before);
    let high = tail(cells, ratio, seen, Side::After);
    (2.0 * low.min(high)).min(1.0)
}

/// The interval that holds every ratio whose p-value is above 1 − level.
pub(super) fn interval(cells: &[Cell], level: f64) -> (f64, f64) {
    let seen = seen_after(cells);
    let total: f64 = cells.iter().map(Cell::total).sum();
    let half = (1.0 - level) / 2.0;
    let low = if seen == 0 {
        0.0
    } else {
        solve(|r| tail(cells, r, seen, Side::After) - half)
    };
    let high = if seen as f64 >= total {
        f64::INFINITY
    } else {
        solve(|r| half - tail(cells, r, seen, Side::Before))
    };
    (low, high)
}

fn seen_after(cells: &[Cell]) -> usize {
    cells.iter().map(|c| c.after.sum).sum::<f64>().round() as usize
}

/// Root of a function that grows with the ratio, by bisection of its logarithm.
fn solve(f: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (-46.0, 46.0);
    for _ in 0..60 {
        let middle: f64 = f64::midpoint(low, high);
        if f(middle.exp()) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high).exp()
}
