//! What all streams of the records share: marks by kind, panels by machine and head.

use std::collections::BTreeMap;

use super::StreamData;
use super::responses::place::Marks;
use super::streams::{Cell, cell_of};
use crate::records::Records;

/// What all streams share.
pub(super) struct Plant {
    /// Marks of each kind of defect, by index into `Records::defect_names`.
    pub marks: Vec<Marks>,
    /// Number of every panel in the order of its machine and head.
    pub numbers: Vec<usize>,
    /// Inspected panels of each machine and head.
    cells: BTreeMap<Cell, Vec<usize>>,
}

impl Plant {
    pub(super) fn new(records: &Records) -> Self {
        let mut numbers = Vec::with_capacity(records.panels.len());
        let mut cells: BTreeMap<Cell, Vec<usize>> = BTreeMap::new();
        let mut next: BTreeMap<Cell, usize> = BTreeMap::new();
        for (i, panel) in records.panels.iter().enumerate() {
            let cell = cell_of(panel);
            if panel.inspected {
                cells.entry(cell.clone()).or_default().push(i);
            }
            let number = next.entry(cell).or_default();
            numbers.push(*number);
            *number += 1;
        }
        Self {
            marks: (0..records.defect_names.len())
                .map(|name| Marks::of(records, name))
                .collect(),
            numbers,
            cells,
        }
    }

    /// Inspected panels of all other machines and heads.
    pub(super) fn others(&self, data: &StreamData) -> Vec<usize> {
        let own = (data.machine.clone(), data.head.clone());
        let others = self.cells.iter().filter(|(cell, _)| **cell != own);
        others.flat_map(|(_, panels)| panels.clone()).collect()
    }
}
