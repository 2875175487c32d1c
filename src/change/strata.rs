//! Sums by stratum and side.

use super::Side;
use super::items::Item;

/// Sums of one side of a stratum.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Sums {
    /// Sum of the values: defects.
    pub sum: f64,
    /// Sum of the exposures: m².
    pub exposure: f64,
    /// Panels.
    pub panels: usize,
}

/// Both sides of a stratum.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Cell {
    /// Before.
    pub before: Sums,
    /// After.
    pub after: Sums,
}

impl Cell {
    pub(super) fn side(&self, side: Side) -> &Sums {
        match side {
            Side::Before => &self.before,
            Side::After => &self.after,
        }
    }

    fn side_mut(&mut self, side: Side) -> &mut Sums {
        match side {
            Side::Before => &mut self.before,
            Side::After => &mut self.after,
        }
    }

    pub(super) fn add(&mut self, item: &Item) {
        let sums = self.side_mut(item.side);
        sums.sum += item.value;
        sums.exposure += item.exposure;
        sums.panels += 1;
    }

    /// Whether both sides have panels; else the stratum adds nothing.
    pub(super) fn compares(&self) -> bool {
        self.before.panels > 0 && self.after.panels > 0
    }

    pub(super) fn total(&self) -> f64 {
        self.before.sum + self.after.sum
    }

    pub(super) fn exposure(&self) -> f64 {
        self.before.exposure + self.after.exposure
    }

    pub(super) fn panels(&self) -> usize {
        self.before.panels + self.after.panels
    }

    /// The cell without the panels of `other`.
    pub(super) fn without(&self, other: &Cell) -> Cell {
        let less = |x: &Sums, y: &Sums| Sums {
            sum: x.sum - y.sum,
            exposure: x.exposure - y.exposure,
            panels: x.panels - y.panels,
        };
        Cell {
            before: less(&self.before, &other.before),
            after: less(&self.after, &other.after),
        }
    }
}

/// The cells of all strata, by stratum index.
pub(super) fn cells(items: &[Item]) -> Vec<Cell> {
    let strata = items.iter().map(|i| i.stratum + 1).max().unwrap_or(0);
    let mut cells = vec![Cell::default(); strata];
    for item in items {
        cells[item.stratum].add(item);
    }
    cells
}

/// a·T₀/T and b·T₁/T of a cell; zeros where a side is missing.
pub(super) fn parts(cell: &Cell) -> (f64, f64) {
    if !cell.compares() {
        return (0.0, 0.0);
    }
    (
        cell.after.sum * cell.before.exposure / cell.exposure(),
        cell.before.sum * cell.after.exposure / cell.exposure(),
    )
}

/// (a+b)·T₁T₀/T² of a cell; 0 where a side is missing.
pub(super) fn information(cell: &Cell) -> f64 {
    if !cell.compares() {
        return 0.0;
    }
    cell.total() * cell.after.exposure * cell.before.exposure / cell.exposure().powi(2)
}
