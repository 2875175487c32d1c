//! Time itself: the shift, the first panels of a day, a step at one moment.
//! Nobody is named by them; whoever is named must have met them.

use std::collections::BTreeMap;

use super::{Recorded, Rows};
use crate::causes::Rival;
use crate::duel::{Contender, Given, Response, Toward, in_order, stretches};

/// Panels of a day that count as its first.
const FIRST: usize = 5;

/// Shifts by the clock, begun at 6, 14 and 22 hours (common practice).
const SHIFTS: [&str; 3] = ["6 to 14", "14 to 22", "22 to 6"];

pub(super) fn contenders(rows: &Rows<'_>) -> Vec<Recorded> {
    let cells = rows.cells();
    let days = rows.days();
    let shift: Vec<Option<usize>> = rows.each(|p| {
        let hour = p.sanded_at?.local.hour();
        Some((usize::from(hour.unsigned_abs()) + 18) % 24 / 8)
    });
    let day_of_cell = in_order((0..days.len()).map(|at| (cells[at], days[at])));
    let mut seen: BTreeMap<usize, usize> = BTreeMap::new();
    let first: Vec<Option<f64>> = (0..days.len())
        .map(|at| {
            let before = seen.entry(day_of_cell[at]).or_default();
            *before += 1;
            days[at].map(|_| f64::from(u8::from(*before <= FIRST)))
        })
        .collect();
    let parts = in_order((0..days.len()).map(|at| (day_of_cell[at], first[at].map(f64::to_bits))));
    let day = in_order(days.iter().copied());
    let count = day.iter().max().map_or(0, |m| m + 1);
    vec![
        Recorded {
            rival: Rival::Day,
            levels: Vec::new(),
            contender: Contender {
                given: Given::Levels(
                    (0..day.len()).map(|at| days[at].map(|_| day[at])).collect(),
                    count,
                ),
                units: day.clone(),
                blocks: cells.clone(),
                toward: Toward::Rises,
                by_neighbours: false,
            },
        },
        Recorded {
            rival: Rival::Shift,
            levels: SHIFTS.map(String::from).to_vec(),
            contender: Contender {
                units: stretches(&shift, &vec![0; shift.len()]),
                given: Given::Levels(shift, SHIFTS.len()),
                blocks: cells.clone(),
                toward: Toward::Rises,
                by_neighbours: false,
            },
        },
        Recorded {
            rival: Rival::FirstOfDay,
            levels: Vec::new(),
            contender: Contender {
                given: Given::Scores(first),
                units: parts,
                blocks: day_of_cell,
                toward: Toward::Either,
                by_neighbours: false,
            },
        },
    ]
}

/// The moment at which a response steps most clearly.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::causes) struct StepFound {
    /// Row of the first panel after it.
    pub at: usize,
    /// 0 before it and 1 from it on.
    pub sides: Vec<usize>,
    /// p of no step anywhere.
    pub p_value: f64,
}

/// Panels at least before and after a step.
const LEAST_BESIDE: usize = 10;

/// The largest swing of the summed deviations from each machine's mean, against
/// the law of the largest swing of a Brownian bridge (Kolmogorov 1933; Page
/// 1955, Biometrika 42, 523). Variance by batches, so that marks that cling
/// together for a while are no step.
pub(in crate::causes) fn step(
    response: &Response,
    cells: &[usize],
    batches: &[usize],
) -> Option<StepFound> {
    let n = cells.len();
    if n < 2 * LEAST_BESIDE {
        return None;
    }
    let count = cells.iter().max()? + 1;
    let mut means = vec![(0.0, 0.0); count];
    for at in 0..n {
        means[cells[at]].0 += response.value[at];
        means[cells[at]].1 += response.expected[at];
    }
    let rest: Vec<f64> = (0..n)
        .map(|at| {
            let (value, expected) = means[cells[at]];
            response.value[at] - response.expected[at] * value / expected.max(f64::MIN_POSITIVE)
        })
        .collect();
    let mut sum = 0.0;
    let sums: Vec<f64> = rest
        .iter()
        .map(|r| {
            sum += r;
            sum
        })
        .collect();
    let at = (LEAST_BESIDE..=n - LEAST_BESIDE).max_by(|&a, &b| {
        sums[a - 1]
            .abs()
            .total_cmp(&sums[b - 1].abs())
            .then(b.cmp(&a))
    })?;
    let sides: Vec<usize> = (0..n).map(|i| usize::from(i >= at)).collect();
    // The step itself is no noise.
    let mut own = [(0.0, 0.0); 2];
    for i in 0..n {
        own[sides[i]].0 += rest[i];
        own[sides[i]].1 += 1.0;
    }
    let noise: Vec<f64> = (0..n)
        .map(|i| rest[i] - own[sides[i]].0 / own[sides[i]].1)
        .collect();
    let single: f64 = noise.iter().map(|r| r * r).sum();
    let mut batched = vec![0.0; batches.iter().max()? + 1];
    for (r, b) in noise.iter().zip(batches) {
        batched[*b] += r;
    }
    let together: f64 = batched.iter().map(|b| b * b).sum();
    let variance = single.max(together);
    if variance <= 0.0 {
        return None;
    }
    let swing = sums[at - 1].abs() / variance.sqrt();
    let p: f64 = (1..=20)
        .map(|k| {
            let sign = if k % 2 == 1 { 2.0 } else { -2.0 };
            sign * (-2.0 * f64::from(k * k) * swing * swing).exp()
        })
        .sum();
    Some(StepFound {
        at,
        sides,
        p_value: if swing < 0.2 { 1.0 } else { p.clamp(0.0, 1.0) },
    })
}
