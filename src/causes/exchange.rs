//! Does a response move with settings, if the settings could have come in any
//! other order?
//!
//! Settings are given to units (runs of one setting, lots), panels only inherit
//! them: if the settings do nothing, any of them could have met any unit. The
//! correlation of the units' sums of a response with their settings is
//! judged against its distribution over all such exchanges, whose second and
//! fourth moments are known exactly (Pitman 1937, Supplement to the J. Royal
//! Stat. Soc. 4, 225) and matched by a beta distribution of the square. That
//! holds whatever panels of a unit share and however the response drifts.
//! Settings that drift themselves are no longer exchangeable: where settings
//! and sums both resemble their neighbours, units count for less (Bartlett 1935,
//! J. Royal Stat. Soc. 98, 536).

use super::shared_noise::without;
use crate::stats::distributions::beta;

/// Units needed.
const LEAST_UNITS: usize = 5;

/// What the exchange of settings says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Exchanged {
    /// Two-sided p of "the settings do nothing".
    pub p_value: f64,
    /// Whether the response rises with the setting.
    pub rises: bool,
    /// Units.
    pub units: usize,
}

/// Tests a response without what panels share (`own`, per panel) against a
/// setting `x`. `basis` spans the covariates taken out of `own`: one of time,
/// and those of cells (`cells`, the machine and head of every panel). `units`
/// numbers the units in order of their first panels, from 0.
pub(super) fn exchanged(
    own: &[f64],
    x: &[f64],
    basis: &[Vec<f64>],
    units: &[usize],
    cells: &[usize],
) -> Option<Exchanged> {
    let count = units.iter().max().map_or(0, |m| m + 1);
    if count < LEAST_UNITS {
        return None;
    }
    let x = without(x, basis);
    let mut sums = vec![0.0; count];
    let mut settings = vec![(0.0, 0.0); count];
    let mut cell_of: Vec<Option<usize>> = vec![None; count];
    let mut alone = vec![true; count];
    for (at, &unit) in units.iter().enumerate() {
        sums[unit] += own[at];
        settings[unit].0 += x[at];
        settings[unit].1 += 1.0;
        let cell = *cell_of[unit].get_or_insert(cells[at]);
        alone[unit] &= cell == cells[at];
    }
    let settings: Vec<f64> = settings
        .iter()
        .map(|(sum, n)| sum / f64::max(*n, 1.0))
        .collect();
    let (sums, settings) = (centred(&sums), centred(&settings));
    let (a, b) = (dot(&sums, &sums), dot(&settings, &settings));
    if a <= 0.0 || b <= 1e-12 * count as f64 {
        return None;
    }
    let r = dot(&sums, &settings) / (a * b).sqrt();
    // Time took one direction out of the units, and so did every cell but one,
    // where units keep to their cells.
    let most = cells.iter().max().copied().unwrap_or(0) as f64;
    let kept = alone.iter().filter(|k| **k).count() as f64 / count as f64;
    let alike = neighbours(&sums, &cell_of) * neighbours(&settings, &cell_of);
    let free = (count as f64 - 1.0 - most * kept) * (1.0 - alike) / (1.0 + alike);
    Some(Exchanged {
        p_value: p_value(r, free, kurtosis(&sums) * kurtosis(&settings), count as f64),
        rises: r > 0.0,
        units: count,
    })
}

fn centred(values: &[f64]) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    values.iter().map(|v| v - mean).collect()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Correlation of a unit with the next of its cell, 0 where it is not positive.
fn neighbours(values: &[f64], cells: &[Option<usize>]) -> f64 {
    let mut last = std::collections::BTreeMap::new();
    let mut sum = 0.0;
    for (value, cell) in values.iter().zip(cells) {
        if let Some(before) = last.insert(*cell, *value) {
            sum += before * value;
        }
    }
    (sum / dot(values, values)).clamp(0.0, 0.99)
}

/// k₄ / k₂² of centred values, by Fisher's k-statistics.
fn kurtosis(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let square = dot(values, values);
    let fourth: f64 = values.iter().map(|v| v.powi(4)).sum();
    let k2 = square / (n - 1.0);
    let k4 = n * ((n + 1.0) * fourth - 3.0 * (n - 1.0) / n * square * square)
        / ((n - 1.0) * (n - 2.0) * (n - 3.0));
    k4 / (k2 * k2)
}

/// E(r²) and E(r⁴) over all exchanges of `n` free units; `kurtoses` is the
/// product of both sides' kurtosis, of `count` units.
fn moments(n: f64, kurtoses: f64, count: f64) -> (f64, f64) {
    let weight = (count - 2.0) * (count - 3.0) / (3.0 * count * (count - 1.0) * (count - 1.0));
    (
        1.0 / (n - 1.0),
        3.0 / (n * n - 1.0) * (1.0 + weight * kurtoses),
    )
}

fn p_value(r: f64, free: f64, kurtoses: f64, count: f64) -> f64 {
    if free < LEAST_UNITS as f64 - 1.0 {
        return 1.0;
    }
    let (second, fourth) = moments(free, kurtoses, count);
    let variance = (fourth - second * second).max(0.2 * second * second);
    let sum = second * (1.0 - second) / variance - 1.0;
    if sum <= 0.0 {
        return 1.0;
    }
    beta::tails(second * sum, (1.0 - second) * sum, (r * r).min(1.0)).upper()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All orders of the numbers below n.
    fn orders(n: usize) -> Vec<Vec<usize>> {
        if n == 0 {
            return vec![Vec::new()];
        }
        let shorter = orders(n - 1);
        let longer = shorter.iter().flat_map(|order| {
            (0..n).map(move |at| {
                let mut order = order.clone();
                order.insert(at, n - 1);
                order
            })
        });
        longer.collect()
    }

    /// The moments against all 5040 exchanges of seven units, one by one.
    #[test]
    fn moments_are_those_of_all_exchanges() {
        let sums = centred(&[0.3, -1.2, 2.9, 0.4, -0.8, 1.1, -0.1]);
        let settings = centred(&[1.0, 1.0, 4.0, 2.0, 1.0, 3.0, 2.0]);
        let scale = dot(&sums, &sums) * dot(&settings, &settings);
        let (mut second, mut fourth, mut count) = (0.0, 0.0, 0.0);
        for order in orders(7) {
            let product: f64 = sums
                .iter()
                .zip(&order)
                .map(|(s, at)| s * settings[*at])
                .sum();
            second += product * product / scale;
            fourth += (product * product / scale).powi(2);
            count += 1.0;
        }
        let expected = moments(7.0, kurtosis(&sums) * kurtosis(&settings), 7.0);
        assert!((second / count - expected.0).abs() < 1e-12);
        assert!((fourth / count - expected.1).abs() < 1e-12);
    }

    /// Without kurtosis the p-value is that of Student's t with n − 2 degrees of
    /// freedom: r = 0.632 of ten pairs is the table's two-sided 5 %.
    #[test]
    fn without_kurtosis_it_is_the_correlation_table() {
        for (r, n, p) in [
            (0.632, 10.0, 0.05),
            (0.765, 10.0, 0.01),
            (0.444, 20.0, 0.05),
        ] {
            let found = p_value(r, n, 0.0, n);
            assert!((found - p).abs() < 0.01 * p, "{r} {n}: {found}");
        }
    }

    #[test]
    fn few_units_say_nothing() {
        let own: Vec<f64> = (0..40).map(|i| f64::from(i % 7)).collect();
        let units: Vec<usize> = (0..40).map(|i| i / 10).collect();
        let x: Vec<f64> = units.iter().map(|u| *u as f64).collect();
        assert_eq!(exchanged(&own, &x, &[], &units, &[0; 40]), None);
    }
}
