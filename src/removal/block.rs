//! Blocks of columns: one factor's, or the common movement of several.

use faer::Side;

use super::coding::Coding;
use super::result::Factor;
use super::setting::{Factors, Setting, standard_deviation};
use super::ties::correlations;

/// Directions of a common movement that carry less than this share of the
/// strongest are no movement.
const FLAT: f64 = 0.12;
/// Exposure is a factor of its own if its logs spread at least so much.
const EXPOSURE_MOVES: f64 = 0.03;

/// Columns of one factor, or the common movement of several.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Block {
    pub(super) factors: Vec<Factor>,
    pub(super) codings: Vec<Coding>,
    /// For factors that only moved together: each direction's weights over the
    /// codings' columns.
    pub(super) directions: Option<Vec<Vec<f64>>>,
}

impl Block {
    pub(super) fn width(&self) -> usize {
        self.directions
            .as_ref()
            .map_or_else(|| self.codings.iter().map(Coding::width).sum(), Vec::len)
    }

    /// The coding of a block of one factor.
    pub(super) fn coding(&self) -> Option<&Coding> {
        match (&self.directions, self.codings.as_slice()) {
            (None, [one]) => Some(one),
            _ => None,
        }
    }

    pub(super) fn is_joint(&self) -> bool {
        self.directions.is_some()
    }

    pub(super) fn encode(&self, setting: &Setting, row: &mut Vec<f64>) {
        let Some(directions) = &self.directions else {
            for coding in &self.codings {
                coding.encode(setting, row);
            }
            return;
        };
        let mut raw = Vec::new();
        for coding in &self.codings {
            coding.encode(setting, &mut raw);
        }
        row.extend(
            directions
                .iter()
                .map(|d| d.iter().zip(&raw).map(|(w, v)| w * v).sum::<f64>()),
        );
    }

    pub(super) fn holds(&self, factor: &Factor) -> bool {
        self.factors.contains(factor)
    }

    /// Cells, parts and the like are there to be allowed for, not to be moved.
    pub(super) fn is_nuisance(&self) -> bool {
        self.factors.iter().all(Factor::is_allowed_for)
    }
}

/// Feed and passes as passes / feed, if that moves at all.
pub(super) fn exposure(settings: &[&Setting], factors: &Factors) -> Option<Block> {
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
    let eigen = correlations(&columns)
        .self_adjoint_eigen(Side::Lower)
        .ok()?;
    let (vectors, values) = (eigen.U(), eigen.S());
    let k = columns.len();
    let strongest = (0..k).map(|i| values[i]).fold(0.0, f64::max);
    let directions: Vec<Vec<f64>> = (0..k)
        .rev()
        .filter(|&i| values[i] > FLAT * strongest)
        .map(|i| {
            (0..k)
                .map(|c| {
                    if deviations[c] > 0.0 {
                        vectors[(c, i)] / deviations[c]
                    } else {
                        0.0
                    }
                })
                .collect()
        })
        .collect();
    block.directions = Some(directions);
    Some(block)
}

pub(super) fn columns(blocks: &[Block], settings: &[&Setting]) -> Vec<Vec<f64>> {
    let width = blocks.iter().map(Block::width).sum();
    let mut columns = vec![Vec::with_capacity(settings.len()); width];
    let mut row = Vec::with_capacity(width);
    for setting in settings {
        row.clear();
        for block in blocks {
            block.encode(setting, &mut row);
        }
        for (column, value) in columns.iter_mut().zip(&row) {
            column.push(*value);
        }
    }
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Passes over feed that spread by so much on the log scale, with n − 1.
    fn spread(by: f64) -> Option<Block> {
        let factors = Factors {
            list: vec![Factor::Feed, Factor::Passes],
        };
        let setting = |i: usize| {
            let (passes, up) = ([1.0, 2.0][i % 2], [1.0, -1.0][i / 2 % 2]);
            let deviation = by * (39.0_f64 / 40.0).sqrt();
            let feed = 100.0 * passes * f64::exp(up * deviation);
            [feed, passes]
                .map(|v| Some(super::super::setting::Value::Number(v)))
                .to_vec()
        };
        let settings: Vec<Setting> = (0..40).map(setting).collect();
        exposure(&settings.iter().collect::<Vec<_>>(), &factors)
    }

    #[test]
    fn feed_and_passes_that_make_up_for_each_other_are_no_exposure() {
        assert_eq!(spread(0.029), None);
        assert!(spread(0.031).is_some());
    }
}
