//! Time itself: the shift, the first panels of a day, a step at one moment.
//! Nobody is named by them; whoever is named must have met them.

use std::sync::Arc;

use super::{Recorded, Rows, place_within};
use crate::causes::Rival;
use crate::duel::{Contender, Given, Response, Toward, in_order, stretches};
use crate::records::Panel;

/// Panels of a day that count as its first.
const FIRST: f64 = 5.0;

/// Shifts by the clock, begun at 6, 14 and 22 hours (common practice).
const SHIFTS: [&str; 3] = ["6 to 14", "14 to 22", "22 to 6"];

/// The parts of a day in which what comes round with the clock is told.
const PARTS: [&str; 8] = [
    "0 to 3", "3 to 6", "6 to 9", "9 to 12", "12 to 15", "15 to 18", "18 to 21", "21 to 24",
];

const WEEKDAYS: [&str; 7] = [
    "Monday",
    "Tuesday",
    "Wednesday",
    "Thursday",
    "Friday",
    "Saturday",
    "Sunday",
];

/// The place in [`SHIFTS`] of the shift in which a panel was sanded.
fn shift(panel: &Panel) -> Option<usize> {
    let hour = panel.sanded_at?.local.hour();
    Some((usize::try_from(hour).ok()? + 18) % 24 / 8)
}

/// The place in [`PARTS`] of the part of the day in which a panel was sanded.
fn part_of_day(panel: &Panel) -> Option<usize> {
    usize::try_from(panel.sanded_at?.local.hour() / 3).ok()
}

/// The place in [`WEEKDAYS`] of the day on which a panel was sanded.
fn weekday(panel: &Panel) -> Option<usize> {
    let of = panel.sanded_at?.local.date().weekday();
    usize::try_from(of.to_monday_zero_offset()).ok()
}

/// The level of a time, by the name that files give the time, at which a panel was
/// sanded; none of other names.
pub(crate) fn time_level(rival: &str, panel: &Panel) -> Option<&'static str> {
    let named = |names: &[&'static str], of: Option<usize>| names.get(of?).copied();
    match rival {
        "shift" => named(&SHIFTS, shift(panel)),
        "part of the day" => named(&PARTS, part_of_day(panel)),
        "weekday" => named(&WEEKDAYS, weekday(panel)),
        _ => None,
    }
}

pub(super) fn contenders(rows: &Rows<'_>) -> Vec<Recorded> {
    let cells = rows.cells();
    let days = rows.days();
    let levels =
        |rival, names: &[&str], of: Vec<Option<usize>>, units: Vec<usize>, blocks| Recorded {
            rival,
            levels: names.iter().map(|n| (*n).to_owned()).collect(),
            contender: Contender {
                given: Given::Levels(
                    of.as_slice().into(),
                    of.iter().flatten().max().map_or(0, |m| m + 1),
                ),
                units: units.into(),
                blocks,
                toward: Toward::Rises,
                by_neighbours: false,
            },
        };

    let day = in_order(days.iter().copied());
    let known_day = days.iter().zip(&day).map(|(known, d)| known.map(|_| *d));
    let weekday = rows.each(weekday);
    // half hours: where somebody took over in the middle of a shift, the stretch in
    // which both were seen must leave little of the difference
    let hour = rows.each(|p| {
        let at = p.sanded_at?.local;
        usize::try_from(2 * at.hour() + at.minute() / 30).ok()
    });
    let part = rows.each(part_of_day);
    let shift: Vec<Option<usize>> = rows.each(shift);
    let day_of_cell: Arc<[usize]> =
        in_order((0..cells.len()).map(|at| (cells[at], days[at]))).into();
    let first: Vec<Option<f64>> = (place_within(&day_of_cell).iter().zip(&days))
        .map(|(place, day)| Some(f64::from(u8::from((*place)? <= FIRST))).filter(|_| day.is_some()))
        .collect();
    let parts = in_order((0..days.len()).map(|at| (day_of_cell[at], first[at].map(f64::to_bits))));
    let shifts = stretches(&shift, &vec![0; shift.len()]);
    let hours = in_order(day.iter().zip(&hour));
    let parts_of_days = in_order(day.iter().zip(&part));
    vec![
        levels(
            Rival::Day,
            &[],
            known_day.collect(),
            day.clone(),
            cells.clone(),
        ),
        levels(Rival::Weekday, &WEEKDAYS, weekday, day, cells.clone()),
        levels(Rival::Shift, &SHIFTS, shift, shifts, cells),
        levels(Rival::Hour, &[], hour, hours, day_of_cell.clone()),
        levels(
            Rival::PartOfDay,
            &PARTS,
            part,
            parts_of_days,
            day_of_cell.clone(),
        ),
        Recorded::numbers(
            Rival::FirstOfDay,
            first,
            (parts, day_of_cell),
            Toward::Either,
        ),
    ]
}

/// The moment at which a response steps most clearly.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StepFound {
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
pub(crate) fn step(response: &Response, cells: &[usize], batches: &[usize]) -> Option<StepFound> {
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
