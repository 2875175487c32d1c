//! The process window: settings between too little and too much.

use super::lever::Bench;
use super::result::{Basis, Estimate, Factor, Window, WindowPoint};
use super::setting::Value;
use crate::site::DefectClass;

/// Settings looked at over the range seen.
const POINTS: usize = 41;

/// The windows of the levers, by limits and by defects, where both or either
/// side can be told.
pub(super) fn windows(bench: &Bench<'_>) -> Vec<Window> {
    let mut found = Vec::new();
    for basis in [Basis::Limits, Basis::Defects] {
        let lever = [Factor::Feed, Factor::Force, Factor::Passes]
            .into_iter()
            .find(|lever| usable(bench, lever, basis));
        if let Some(window) = lever.and_then(|lever| window(bench, lever, basis)) {
            found.push(window);
        }
    }
    found
}

fn usable(bench: &Bench<'_>, lever: &Factor, basis: Basis) -> bool {
    if bench.range(lever).is_none() || bench.value(lever).is_none() {
        return false;
    }
    match basis {
        Basis::Limits => {
            let limits = bench.settings.removed_um;
            (limits.low.is_some() || limits.high.is_some())
                && bench
                    .depth
                    .as_ref()
                    .is_some_and(|(m, _)| Bench::moves(m, lever))
        }
        Basis::Defects => [DefectClass::Over, DefectClass::Under]
            .iter()
            .any(|c| bench.risk(*c).is_some_and(|(m, _)| Bench::moves(m, lever))),
    }
}

fn window(bench: &Bench<'_>, lever: Factor, basis: Basis) -> Option<Window> {
    let (low, high) = bench.range(&lever)?;
    let points: Vec<WindowPoint> = (0..POINTS)
        .map(|i| {
            let share = i as f64 / (POINTS - 1) as f64;
            let value = (low.ln() + share * (high / low).ln()).exp();
            let setting = bench.with(&lever, Value::Number(value));
            let (too_much, too_little) = match basis {
                Basis::Limits => (bench.above(&setting), bench.below(&setting)),
                Basis::Defects => (
                    bench.hit(DefectClass::Over, &setting),
                    bench.hit(DefectClass::Under, &setting),
                ),
            };
            WindowPoint {
                setting: value,
                too_much,
                too_little,
            }
        })
        .collect();
    let accepted = bench.settings.accepted_share;
    let within = |pick: fn(&Estimate) -> Option<f64>| {
        stretch(&points, |p| worse(p, pick).map(|share| share - accepted))
    };
    let expected = |p: &WindowPoint| worse(p, |e| Some(e.estimate)).unwrap_or(f64::INFINITY);
    let best = points
        .iter()
        .min_by(|a, b| expected(a).total_cmp(&expected(b)))
        .map(|p| p.setting);
    Some(Window {
        best,
        present: bench.value(&lever)?,
        advised: None,
        accepted_share: accepted,
        inside: within(|e| Some(e.estimate)),
        surely_inside: within(|e| e.ci.map(|ci| ci.high)),
        perhaps_inside: within(|e| e.ci.map(|ci| ci.low)),
        lever,
        basis,
        points,
    })
}

/// The larger share of the two; none where one of them cannot be told.
fn worse(point: &WindowPoint, pick: impl Fn(&Estimate) -> Option<f64>) -> Option<f64> {
    let mut shares = [&point.too_much, &point.too_little].into_iter().flatten();
    shares.try_fold(f64::NEG_INFINITY, |worst, e| Some(pick(e)?.max(worst)))
}

/// The longest stretch of settings at which the excess over the accepted share
/// is not positive, its ends interpolated; none if there is none or the excess
/// cannot be told anywhere.
fn stretch(
    points: &[WindowPoint],
    excess: impl Fn(&WindowPoint) -> Option<f64>,
) -> Option<(f64, f64)> {
    let values: Vec<f64> = points
        .iter()
        .map(|p| excess(p).unwrap_or(f64::INFINITY))
        .collect();
    let mut best: Option<(usize, usize)> = None;
    let mut start = None;
    for i in 0..=values.len() {
        let inside = values.get(i).is_some_and(|v| *v <= 0.0);
        match (inside, start) {
            (true, None) => start = Some(i),
            (false, Some(from)) => {
                if best.is_none_or(|(a, b)| i - from > b - a) {
                    best = Some((from, i));
                }
                start = None;
            }
            _ => {}
        }
    }
    let (from, to) = best?;
    // Where the excess crosses zero between an outer and an inner point.
    let crossing = |outside: usize, inside: usize| {
        let (a, b) = (values[outside], values[inside]);
        let share = if a.is_finite() && a > b {
            (-b) / (a - b)
        } else {
            0.0
        };
        let (x, y) = (points[inside].setting.ln(), points[outside].setting.ln());
        (x + share * (y - x)).exp()
    };
    let low = if from == 0 {
        points[0].setting
    } else {
        crossing(from - 1, from)
    };
    let high = if to == values.len() {
        points[to - 1].setting
    } else {
        crossing(to, to - 1)
    };
    Some((low, high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neither_side_may_exceed_what_is_accepted() {
        let share = |estimate| Some(Estimate { estimate, ci: None });
        let point = |(setting, much, little)| WindowPoint {
            setting,
            too_much: share(much),
            too_little: share(little),
        };
        let shares = [
            (1.0, 0.3, 0.0),
            (2.0, 0.1, 0.1),
            (4.0, 0.1, 0.1),
            (8.0, 0.0, 0.5),
        ];
        let points = shares.map(point);
        let accepted =
            |most: f64| stretch(&points, |p| Some(worse(p, |e| Some(e.estimate))? - most));
        // Half-way from 0.1 to 0.3, an eighth of the way from 0.1 to 0.5, in logarithms.
        let (low, high) = accepted(0.2).unwrap();
        assert!(
            (low - 2.0_f64.sqrt()).abs() < 1e-12 && (high - 4.0 * 2.0_f64.powf(0.25)).abs() < 1e-12
        );
        assert_eq!(accepted(0.05), None);
        assert_eq!(worse(&points[0], |e| e.ci.map(|ci| ci.high)), None);
    }
}
