//! D-optimal designs: the runs, chosen from a grid of possible settings, that make
//! |X'X| as large as exchanges can.

use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::TrialError;
use super::factor::Factor;
use super::terms::{Model, information, row};
use crate::stats::matrix::{apply, dot, eigen, invert};

/// Designs started from; the best is kept.
const STARTS: usize = 12;

/// Most settings of the grid.
const MOST_CANDIDATES: usize = 4096;

/// An exchange has to raise the determinant by this share at least.
const GAIN: f64 = 1e-9;

/// Keeps a start that is not of full rank going.
const RIDGE: f64 = 1e-6;

/// A chosen design.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Chosen {
    /// Coded settings of each run.
    pub runs: Vec<Vec<f64>>,
    /// |X'X| of the model's coded columns.
    pub determinant: f64,
}

/// All settings that `allowed` lets through, of a grid of `steps` values a number
/// and every named level.
pub(super) fn grid(
    factors: &[Factor],
    steps: usize,
    allowed: impl Fn(&[f64]) -> bool,
) -> Vec<Vec<f64>> {
    let values = |factor: &Factor, steps: usize| -> Vec<f64> {
        match factor.levels() {
            _ if factor.is_number() => (0..steps)
                .map(|i| -1.0 + 2.0 * i as f64 / (steps - 1) as f64)
                .collect(),
            2 => vec![-1.0, 1.0],
            levels => (0..levels).map(|l| l as f64).collect(),
        }
    };
    let count =
        |steps: usize| -> usize { factors.iter().map(|f| values(f, steps).len()).product() };
    let mut fits = [steps, 3, 2].into_iter().filter(|s| *s <= steps);
    let steps = fits.find(|s| count(*s) <= MOST_CANDIDATES).unwrap_or(2);
    let mut out: Vec<Vec<f64>> = vec![Vec::new()];
    for factor in factors {
        let own = values(factor, steps);
        out = out
            .iter()
            .flat_map(|start| {
                own.iter().map(move |v| {
                    let mut run = start.clone();
                    run.push(*v);
                    run
                })
            })
            .collect();
    }
    out.retain(|run| allowed(run));
    out
}

/// Chooses `runs` of the candidates; a setting may be chosen more than once.
///
/// From each start the exchange of one run for one candidate that raises the
/// determinant most is made until none does: with V = (X'X)⁻¹ and d(a, b) = a'Vb,
/// taking out i and putting in c multiplies it by
/// 1 + d(c, c) − d(i, i) + d(i, c)² − d(i, i)·d(c, c).
///
/// Source: Fedorov (1972), Theory of Optimal Experiments, chapter 3.
///
/// # Errors
///
/// [`TrialError::CutsLeaveNothing`] if the candidates can't tell the model's unknowns.
pub(super) fn choose(
    factors: &[Factor],
    candidates: &[Vec<f64>],
    runs: usize,
    model: Model,
    seed: u64,
) -> Result<Chosen, TrialError> {
    let rows: Vec<Vec<f64>> = candidates.iter().map(|c| row(factors, c, model)).collect();
    let width = rows.first().map_or(0, Vec::len);
    let nothing = TrialError::CutsLeaveNothing {
        left: candidates.len(),
    };
    if width == 0 || candidates.len() < width {
        return Err(nothing);
    }
    let mut best: Option<(f64, Vec<usize>)> = None;
    for start in 0..STARTS {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(start as u64);
        // Different settings first, then some of them again.
        let mut chosen: Vec<usize> = (0..candidates.len()).collect();
        chosen.shuffle(&mut rng);
        chosen.truncate(runs);
        while chosen.len() < runs {
            chosen.push(rng.random_range(0..candidates.len()));
        }
        climb(&rows, &mut chosen, width)?;
        let det = determinant(&rows, &chosen, width)?;
        if best
            .as_ref()
            .is_none_or(|(known, _)| det > known * (1.0 + GAIN))
        {
            best = Some((det, chosen));
        }
    }
    match best {
        // A design of ones and zeros has at least this; less is rank lost.
        Some((determinant, mut chosen)) if determinant > RIDGE => {
            chosen.sort_unstable();
            Ok(Chosen {
                runs: chosen
                    .into_iter()
                    .map(|at| candidates[at].clone())
                    .collect(),
                determinant,
            })
        }
        _ => Err(nothing),
    }
}

fn climb(rows: &[Vec<f64>], chosen: &mut [usize], width: usize) -> Result<(), TrialError> {
    // Every exchange raises the determinant, so that this ends; the bound is
    // for rounding.
    for _ in 0..100 * chosen.len() {
        let mut sum = information(chosen.iter().map(|at| &rows[*at]), width);
        for a in 0..width {
            sum[(a, a)] += RIDGE;
        }
        let inverse = invert(&sum).ok_or(TrialError::Numbers)?;
        let spread: Vec<Vec<f64>> = rows.iter().map(|r| apply(&inverse, r)).collect();
        let own: Vec<f64> = rows.iter().zip(&spread).map(|(r, v)| dot(r, v)).collect();
        let mut best = (1.0 + GAIN, None);
        for (place, &out) in chosen.iter().enumerate() {
            for (into, row) in rows.iter().enumerate() {
                let both = dot(row, &spread[out]);
                let gain = 1.0 + own[into] - own[out] + both * both - own[out] * own[into];
                if gain > best.0 {
                    best = (gain * (1.0 + GAIN), Some((place, into)));
                }
            }
        }
        match best.1 {
            Some((place, into)) => chosen[place] = into,
            None => return Ok(()),
        }
    }
    Ok(())
}

fn determinant(rows: &[Vec<f64>], chosen: &[usize], width: usize) -> Result<f64, TrialError> {
    let sum = information(chosen.iter().map(|at| &rows[*at]), width);
    let values = eigen(&sum).ok_or(TrialError::Numbers)?;
    Ok(values.iter().map(|(value, _)| value.max(0.0)).product())
}
