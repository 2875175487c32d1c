//! Designs of more than two levels, and the 12-run screening design.

use super::two_level::Fraction;

/// A rotatable central composite design: corners at ±1, two stars a factor at
/// ±alpha with alpha = (corner runs)^¼, so that what it tells depends on the
/// distance from the middle alone. Stars after corners; centre runs are added by
/// whoever asks.
///
/// Source: Box & Wilson (1951), J. R. Statist. Soc. B 13, 1–45; Box & Hunter
/// (1957), Ann. Math. Statist. 28, 195–241.
pub(super) fn central_composite(corners: &Fraction) -> (Vec<Vec<f64>>, f64) {
    let mut runs = corners.runs();
    let alpha = (runs.len() as f64).powf(0.25);
    for at in 0..corners.factors {
        for star in [-alpha, alpha] {
            let mut run = vec![0.0; corners.factors];
            run[at] = star;
            runs.push(run);
        }
    }
    (runs, alpha)
}

/// Corners of a central composite design: a full factorial up to four factors,
/// then the half whose words are all of five letters or more.
pub(super) fn usual_corners(factors: usize) -> Option<Fraction> {
    let runs = match factors {
        2..=4 => 1 << factors,
        5..=7 => 1 << (factors - 1),
        _ => return None,
    };
    Fraction::standard(factors, runs)
}

/// A Box–Behnken design of three to five factors: each pair of factors at its four
/// corners, the others in the middle.
///
/// Source: Box & Behnken (1960), Technometrics 2, 455–475.
pub(super) fn box_behnken(factors: usize) -> Option<Vec<Vec<f64>>> {
    if !(3..=5).contains(&factors) {
        return None;
    }
    let mut runs = Vec::new();
    for i in 0..factors {
        for j in i + 1..factors {
            for (a, b) in [(-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)] {
                let mut run = vec![0.0; factors];
                run[i] = a;
                run[j] = b;
                runs.push(run);
            }
        }
    }
    Some(runs)
}

/// Runs of the screening design.
pub(super) const SCREENING_RUNS: usize = 12;

/// Twelve runs for up to eleven factors: a row of signs, turned on eleven times,
/// and a last row of −1.
///
/// Source: Plackett & Burman (1946), Biometrika 33, 305–325.
pub(super) fn screening(factors: usize) -> Option<Vec<Vec<f64>>> {
    const ROW: [f64; 11] = [1.0, 1.0, -1.0, 1.0, 1.0, 1.0, -1.0, -1.0, -1.0, 1.0, -1.0];
    if !(1..=ROW.len()).contains(&factors) {
        return None;
    }
    let turned = |by: usize| (0..factors).map(move |i| ROW[(i + ROW.len() - by) % ROW.len()]);
    let mut runs: Vec<Vec<f64>> = (0..ROW.len()).map(|by| turned(by).collect()).collect();
    runs.push(vec![-1.0; factors]);
    Some(runs)
}
