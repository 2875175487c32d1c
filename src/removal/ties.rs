//! Factors that moved together: which, and how closely.

use faer::{Mat, Side};

use super::block::{Block, columns};
use super::setting::Setting;

/// R² above which two factors count as moved together (a variance inflation of
/// five), and above which one counts as tied to several, or to the machine
/// (twenty): with few settings some of the latter come by chance, and the
/// intervals are wide enough to say so. Usual limits are five to ten.
pub(super) const PAIR_TIED: f64 = 0.8;
const TIED: f64 = 0.95;

/// Correlations; a column that does not move is correlated with nothing.
pub(super) fn correlations(columns: &[Vec<f64>]) -> Mat<f64> {
    let scaled: Vec<Vec<f64>> = columns
        .iter()
        .map(|c| {
            let mean = c.iter().sum::<f64>() / c.len().max(1) as f64;
            let length = c.iter().map(|v| (v - mean).powi(2)).sum::<f64>().sqrt();
            c.iter()
                .map(|v| {
                    if length > 0.0 {
                        (v - mean) / length
                    } else {
                        0.0
                    }
                })
                .collect()
        })
        .collect();
    let k = columns.len();
    Mat::from_fn(k, k, |a, b| {
        if a == b {
            1.0
        } else {
            scaled[a].iter().zip(&scaled[b]).map(|(x, y)| x * y).sum()
        }
    })
}

/// Share of a column's movement that the others explain.
pub(super) fn r_squared(correlation: &Mat<f64>, column: usize, others: &[usize]) -> f64 {
    let k = others.len();
    if k == 0 {
        return 0.0;
    }
    let inner = Mat::from_fn(k, k, |a, b| correlation[(others[a], others[b])]);
    let Ok(eigen) = inner.self_adjoint_eigen(Side::Lower) else {
        return 0.0;
    };
    let (vectors, values) = (eigen.U(), eigen.S());
    let mut explained = 0.0;
    for i in 0..k {
        if values[i] > 1e-10 {
            let along: f64 = (0..k)
                .map(|a| vectors[(a, i)] * correlation[(others[a], column)])
                .sum();
            explained += along * along / values[i];
        }
    }
    explained.clamp(0.0, 1.0)
}

/// Square root of the ratio of extreme eigenvalues; none if singular.
pub(super) fn condition(correlation: &Mat<f64>) -> Option<f64> {
    let values = correlation.self_adjoint_eigenvalues(Side::Lower).ok()?;
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(0.0, f64::max);
    (low > 1e-10).then(|| (high / low).sqrt())
}

pub(super) struct Tie {
    /// The tied block first, then those that explain it.
    pub(super) blocks: Vec<usize>,
    pub(super) r_squared: f64,
    pub(super) condition: Option<f64>,
}

/// The factor that the others explain best, with the fewest others that do, if
/// it is tied at all.
pub(super) fn worst_tie(blocks: &[Block], settings: &[&Setting]) -> Option<Tie> {
    let columns = columns(blocks, settings);
    let correlation = correlations(&columns);
    let mut start = 0;
    let ranges: Vec<std::ops::Range<usize>> = blocks
        .iter()
        .map(|b| {
            start += b.width();
            start - b.width()..start
        })
        .collect();
    let explained = |block: usize, by: &[usize]| {
        let others: Vec<usize> = by.iter().flat_map(|&b| ranges[b].clone()).collect();
        ranges[block]
            .clone()
            .map(|c| r_squared(&correlation, c, &others))
            .fold(0.0, f64::max)
    };
    let finish = |tied: Vec<usize>, r_squared: f64| {
        let inside: Vec<usize> = tied.iter().flat_map(|&b| ranges[b].clone()).collect();
        let part = Mat::from_fn(inside.len(), inside.len(), |a, b| {
            correlation[(inside[a], inside[b])]
        });
        Some(Tie {
            blocks: tied,
            r_squared,
            condition: condition(&part),
        })
    };
    let free: Vec<usize> = (0..blocks.len())
        .filter(|&b| !blocks[b].is_nuisance())
        .collect();
    let mut pair = (0, 0, 0.0);
    for &a in &free {
        for &b in &free {
            if a != b {
                let r2 = explained(a, &[b]);
                if r2 > pair.2 {
                    pair = (a, b, r2);
                }
            }
        }
    }
    if pair.2 > PAIR_TIED {
        return finish(vec![pair.0, pair.1], pair.2);
    }
    let rest = |block: usize| -> Vec<usize> { (0..blocks.len()).filter(|&b| b != block).collect() };
    let mut worst = (0, 0.0);
    for block in 0..blocks.len() {
        let r2 = explained(block, &rest(block));
        // Cells and parts may be tied to each other as long as the fit exists.
        let limit_met = !blocks[block].is_nuisance() || r2 > 1.0 - 1e-6;
        if limit_met && r2 > worst.1 {
            worst = (block, r2);
        }
    }
    let (block, r2) = worst;
    if r2 <= TIED {
        return None;
    }
    let mut by: Vec<usize> = Vec::new();
    let mut reached = 0.0;
    while reached <= TIED {
        let next = rest(block)
            .into_iter()
            .filter(|b| !by.contains(b))
            .map(|b| {
                let with: Vec<usize> = by.iter().copied().chain([b]).collect();
                (b, explained(block, &with))
            })
            .fold(None, |best: Option<(usize, f64)>, x| match best {
                Some(b) if b.1 >= x.1 => Some(b),
                _ => Some(x),
            });
        let Some((b, r)) = next else { break };
        by.push(b);
        reached = r;
    }
    let mut tied = vec![block];
    tied.extend(by);
    finish(tied, reached)
}
