//! Columns of one factor, or the common movement of several.

use super::coding::Coding;
use super::result::Factor;
use super::setting::Setting;

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

/// The blocks' columns over the settings.
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
