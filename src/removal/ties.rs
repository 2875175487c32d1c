//! Factors that moved together, and what can still be told of them.

use faer::Mat;

use super::block::{Block, columns};
use super::coding::Coding;
use super::result::{Alias, Factor};
use super::setting::{Factors, Setting, standard_deviation};
use crate::stats::matrix::{dot, eigen, pseudo_inverse, quadratic};

/// R² above which two factors count as moved together (a variance inflation of
/// five), and above which one counts as tied to several, or to the machine
/// (twenty): with few settings some of the latter come by chance, and the
/// intervals are wide enough to say so. Usual limits are five to ten.
pub(super) const PAIR_TIED: f64 = 0.8;
const TIED: f64 = 0.95;
/// Directions of a common movement that carry less than this share of the
/// strongest are no movement.
const FLAT: f64 = 0.12;
/// Exposure is a factor of its own if its logs spread at least so much.
const EXPOSURE_MOVES: f64 = 0.03;

/// What is allowed for only as far as the panels carry it, the first to go first.
pub(super) const SPARED: [Factor; 3] = [Factor::Size, Factor::Inspector, Factor::Part];

/// Replaces tied factors by what can be told of them.
pub(super) fn untie(
    blocks: &mut Vec<Block>,
    aliases: &mut Vec<Alias>,
    settings: &[&Setting],
    factors: &Factors,
) {
    // Every round removes a block or merges two.
    while let Some(tie) = worst_tie(blocks, settings) {
        let mut tied: Vec<usize> = tie.blocks.clone();
        tied.sort_unstable();
        let holds = |f: &Factor| tied.iter().any(|&b| blocks[b].holds(f));
        if holds(&Factor::FreshAbrasive) {
            blocks.retain(|b| !b.holds(&Factor::FreshAbrasive));
            continue;
        }
        if tied.iter().all(|&b| blocks[b].is_nuisance()) {
            if let Some(spare) = SPARED.iter().find(|f| holds(f)) {
                blocks.retain(|b| !b.holds(spare));
            }
            continue;
        }
        let names: Vec<Factor> = tied
            .iter()
            .flat_map(|&b| blocks[b].factors.clone())
            .collect();
        let nuisance = tied.iter().any(|&b| blocks[b].is_nuisance());
        aliases.retain(|a| !a.factors.iter().all(|f| names.contains(f)));
        aliases.push(Alias {
            factors: names.clone(),
            r_squared: Some(tie.r_squared),
            condition: tie.condition,
            together: None,
        });
        let taken: Vec<Block> = tied.iter().map(|&b| blocks[b].clone()).collect();
        let first = tied[0];
        let mut index = 0;
        blocks.retain(|b| {
            let drop = tied.contains(&index) && !(nuisance && b.is_nuisance());
            index += 1;
            !drop
        });
        if nuisance {
            continue;
        }
        let replacement = if names == [Factor::Feed, Factor::Passes] {
            exposure(settings, factors)
        } else {
            None
        };
        if let Some(block) = replacement.or_else(|| joint(taken, names, settings)) {
            blocks.insert(first.min(blocks.len()), block);
        }
    }
}

/// Feed and passes as passes / feed, if that moves at all.
fn exposure(settings: &[&Setting], factors: &Factors) -> Option<Block> {
    let coded = Coding::Exposure {
        feed: factors.position(&Factor::Feed)?,
        passes: factors.position(&Factor::Passes)?,
        mean: 0.0,
    };
    let block = Block {
        factors: vec![Factor::Exposure],
        codings: vec![coded.centred(settings)],
        directions: None,
    };
    let values = columns(std::slice::from_ref(&block), settings);
    (standard_deviation(values.first()?) >= EXPOSURE_MOVES).then_some(block)
}

/// The common movement of the blocks' factors: principal directions of their
/// scaled columns.
pub(super) fn joint(
    taken: Vec<Block>,
    factors: Vec<Factor>,
    settings: &[&Setting],
) -> Option<Block> {
    let codings: Vec<Coding> = taken.into_iter().flat_map(|b| b.codings).collect();
    let mut block = Block {
        factors,
        codings,
        directions: None,
    };
    let columns = columns(std::slice::from_ref(&block), settings);
    let deviations: Vec<f64> = columns.iter().map(|c| standard_deviation(c)).collect();
    let mut ways = eigen(&correlations(&columns))?;
    ways.sort_by(|a, b| b.0.total_cmp(&a.0));
    let strongest = ways.first()?.0;
    let scaled = |way: Vec<f64>| -> Vec<f64> {
        let each = way.iter().zip(&deviations);
        each.map(|(w, sd)| if *sd > 0.0 { w / sd } else { 0.0 })
            .collect()
    };
    let directions = (ways.into_iter())
        .filter(|(value, _)| *value > FLAT * strongest)
        .map(|(_, way)| scaled(way))
        .collect();
    block.directions = Some(directions);
    Some(block)
}

/// Correlations; a column that does not move is correlated with nothing.
fn correlations(columns: &[Vec<f64>]) -> Mat<f64> {
    let scaled: Vec<Vec<f64>> = columns
        .iter()
        .map(|c| {
            let mean = c.iter().sum::<f64>() / c.len().max(1) as f64;
            let length = c.iter().map(|v| (v - mean).powi(2)).sum::<f64>().sqrt();
            let unit = if length > 0.0 { 1.0 / length } else { 0.0 };
            c.iter().map(|v| unit * (v - mean)).collect()
        })
        .collect();
    let k = columns.len();
    Mat::from_fn(k, k, |a, b| {
        if a == b {
            1.0
        } else {
            dot(&scaled[a], &scaled[b])
        }
    })
}

/// Share of a column's movement that the others explain.
fn r_squared(correlation: &Mat<f64>, column: usize, others: &[usize]) -> f64 {
    let across: Vec<f64> = others.iter().map(|&o| correlation[(o, column)]).collect();
    let inverse = pseudo_inverse(&part(correlation, others));
    inverse.map_or(0.0, |m| quadratic(&m, &across).clamp(0.0, 1.0))
}

fn part(correlation: &Mat<f64>, of: &[usize]) -> Mat<f64> {
    Mat::from_fn(of.len(), of.len(), |a, b| correlation[(of[a], of[b])])
}

/// Square root of the ratio of extreme eigenvalues; none if singular.
fn condition(correlation: &Mat<f64>) -> Option<f64> {
    let values = eigen(correlation)?.into_iter().map(|(value, _)| value);
    let (low, high) = values.fold((f64::INFINITY, 0.0_f64), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    (low > 1e-10).then(|| (high / low).sqrt())
}

/// Variance inflation of every column of the blocks, and their condition number.
pub(super) fn inflation(blocks: &[Block], settings: &[&Setting]) -> (Vec<f64>, f64) {
    let correlation = correlations(&columns(blocks, settings));
    let all = 0..correlation.nrows();
    let inflation = ranges(blocks).into_iter().flat_map(|own| {
        let others: Vec<usize> = all.clone().filter(|c| !own.contains(c)).collect();
        let correlation = &correlation;
        own.map(move |c| 1.0 / (1.0 - r_squared(correlation, c, &others)).max(1e-12))
    });
    let inflation = inflation.collect();
    (inflation, condition(&correlation).unwrap_or(f64::INFINITY))
}

/// Columns of every block, without the intercept's.
fn ranges(blocks: &[Block]) -> Vec<std::ops::Range<usize>> {
    let mut start = 0;
    let each = blocks.iter().map(|b| {
        start += b.width();
        start - b.width()..start
    });
    each.collect()
}

struct Tie {
    /// The tied block first, then those that explain it.
    blocks: Vec<usize>,
    r_squared: f64,
    condition: Option<f64>,
}

/// The factor that the others explain best, with the fewest others that do, if
/// it is tied at all.
fn worst_tie(blocks: &[Block], settings: &[&Setting]) -> Option<Tie> {
    let columns = columns(blocks, settings);
    let correlation = correlations(&columns);
    let ranges = ranges(blocks);
    let explained = |block: usize, by: &[usize]| {
        let others: Vec<usize> = by.iter().flat_map(|&b| ranges[b].clone()).collect();
        ranges[block]
            .clone()
            .map(|c| r_squared(&correlation, c, &others))
            .fold(0.0, f64::max)
    };
    let finish = |tied: Vec<usize>, r_squared: f64| {
        let inside: Vec<usize> = tied.iter().flat_map(|&b| ranges[b].clone()).collect();
        Some(Tie {
            blocks: tied,
            r_squared,
            condition: condition(&part(&correlation, &inside)),
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
