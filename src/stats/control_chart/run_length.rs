//! How long a control chart runs before it cries wolf.

use crate::stats::distributions::normal;

/// Average number of points until a false alarm of two rules together: a point
/// outside the limits, or `run` points in a row on one side of the centre. A
/// point lies inside and above with chance `up`, inside and below with `down`.
///
/// The chain over side and length of the current run, solved from its end:
/// U_run = 0, U_j = 1 + up·U_{j+1} + down·D_1, and D likewise. Source of the
/// approach: Champ & Woodall (1987), Technometrics 29, 393–399.
#[must_use]
pub(crate) fn average_run_length(up: f64, down: f64, run: usize) -> f64 {
    // U_1 = a·(1 + down·D_1) with a = 1 + up + up² + … (run − 1 terms)
    let terms = |x: f64| (1..run).fold(0.0, |sum, _| 1.0 + x * sum);
    let (a, b) = (terms(up), terms(down));
    let above = a * (1.0 + down * b) / (1.0 - a * b * up * down);
    let below = b * (1.0 + up * above);
    1.0 + up * above + down * below
}

/// Average number of points until an exponentially weighted mean of
/// independent standard normal scores leaves ±`width` times its long-run
/// standard deviation, the scores being shifted by `shift`.
///
/// Brook & Evans (1972), Biometrika 59, 539–549: the range is cut into states
/// and the chain's expected time to leave solved. Accurate to about 0.1 % with
/// the 201 states used (Lucas & Saccucci 1990, Technometrics 32, 1–12, use
/// fewer).
#[must_use]
pub(crate) fn ewma_run_length(weight: f64, width: f64, shift: f64) -> f64 {
    const STATES: usize = 101;
    let limit = width * (weight / (2.0 - weight)).sqrt();
    let cell = 2.0 * limit / STATES as f64;
    let centre = |i: usize| -limit + (i as f64 + 0.5) * cell;
    let below = |x: f64| normal::lower(x);
    let mut rows = vec![vec![0.0; STATES + 1]; STATES];
    for (i, row) in rows.iter_mut().enumerate() {
        let from = (1.0 - weight) * centre(i);
        let edge = |j: usize| below((-limit + j as f64 * cell - from) / weight - shift);
        let mut last = edge(0);
        for (j, stay) in row[..STATES].iter_mut().enumerate() {
            let next = edge(j + 1);
            *stay = last - next;
            last = next;
        }
        row[i] += 1.0;
        row[STATES] = 1.0;
    }
    eliminate(&mut rows);
    rows[STATES / 2][STATES]
}

/// Gauss elimination of a diagonally dominant system; the last column is the
/// right side and becomes the solution.
fn eliminate(rows: &mut [Vec<f64>]) {
    let n = rows.len();
    for k in 0..n {
        let (done, below) = rows.split_at_mut(k + 1);
        let pivot = &done[k];
        for row in below {
            let factor = row[k] / pivot[k];
            if factor != 0.0 {
                for (x, p) in row.iter_mut().zip(pivot).skip(k) {
                    *x -= factor * p;
                }
            }
        }
    }
    for k in (0..n).rev() {
        let (above, rest) = rows.split_at_mut(k);
        let solved = rest[0][n] / rest[0][k];
        rest[0][n] = solved;
        for row in above {
            row[n] -= row[k] * solved;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_rule_alone_runs_for_the_inverse_of_its_chance() {
        // a run that never comes
        let inside = (1.0 - 0.0027) / 2.0;
        assert!((average_run_length(inside, inside, 2000) - 1.0 / 0.0027).abs() < 1e-6);
        // no limits: the first run of r heads or tails, 2^r − 1 (r = 3: 7)
        assert!((average_run_length(0.5, 0.5, 3) - 7.0).abs() < 1e-12);
        // only one side possible: the run comes at once
        assert!((average_run_length(1.0, 0.0, 9) - 9.0).abs() < 1e-12);
    }
}
