//! Edges and corners attract defects: the table of distances to the edges over
//! which the background is smoothed.

use std::sync::LazyLock;

/// Distance classes of each axis.
pub(crate) const BINS: usize = 40;

/// Width of a class on the log scale.
const STEP: f64 = 0.15;

/// Distance, mm, at which the scale turns from linear to logarithmic.
const TURN_MM: f64 = 10.0;

/// The smoothing kernel reaches this many classes either way.
const REACH: usize = 6;

/// What is left of a cell after subtraction below this is rounding, not marks.
const ROUNDING: f64 = 1e-10;

/// Lower limit of a class, mm.
fn lower_limit_mm(bin: usize) -> f64 {
    TURN_MM * ((STEP * bin as f64).exp() - 1.0)
}

/// exp(−½(k/2)²), k = 0…6.
static KERNEL: LazyLock<[f64; REACH + 1]> =
    LazyLock::new(|| std::array::from_fn(|k| (-0.5 * (k as f64 / 2.0).powi(2)).exp()));

/// Class of every whole mm, to start the search from.
static WHOLE_MM: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let last = lower_limit_mm(BINS - 1).ceil() as usize;
    (0..=last).map(|mm| slow_bin(mm as f64) as u8).collect()
});

static LOWER_LIMITS_MM: LazyLock<[f64; BINS]> =
    LazyLock::new(|| std::array::from_fn(lower_limit_mm));

fn slow_bin(distance_mm: f64) -> usize {
    let bin = ((1.0 + distance_mm / TURN_MM).ln() / STEP).floor();
    (bin as usize).min(BINS - 1)
}

/// Class of a distance to an edge: min(39, ⌊ln(1 + d/10 mm)/0.15⌋); 0 for
/// places off the panel.
pub(crate) fn edge_bin(distance_mm: f64) -> usize {
    if distance_mm <= 0.0 {
        return 0;
    }
    let whole = &*WHOLE_MM;
    let mm = distance_mm as usize;
    if mm + 1 >= whole.len() {
        return slow_bin(distance_mm);
    }
    let (low, high) = (whole[mm] as usize, whole[mm + 1] as usize);
    if low == high {
        return low;
    }
    let mut bin = low;
    while bin < high && distance_mm >= LOWER_LIMITS_MM[bin + 1] {
        bin += 1;
    }
    bin
}

/// Length, mm, of an axis of `length_mm` that falls in each class, both ends
/// together.
pub(crate) fn axis_lengths(length_mm: f64) -> [f64; BINS] {
    let half = length_mm / 2.0;
    std::array::from_fn(|bin| {
        let low = LOWER_LIMITS_MM[bin].min(half);
        let high = LOWER_LIMITS_MM.get(bin + 1).map_or(half, |h| h.min(half));
        2.0 * (high - low)
    })
}

/// A smoothed table over two edge distances, or over one (a single row).
#[derive(Debug, Clone)]
pub(crate) struct Table {
    rows: usize,
    cells: Vec<f64>,
}

impl Table {
    pub(crate) fn two_axes() -> Self {
        Self {
            rows: BINS,
            cells: vec![0.0; BINS * BINS],
        }
    }

    pub(crate) fn one_axis() -> Self {
        Self {
            rows: 1,
            cells: vec![0.0; BINS],
        }
    }

    pub(crate) fn copy_from(&mut self, other: &Self) {
        self.cells.copy_from_slice(&other.cells);
    }

    /// What is left of a cell when what is `removed` is taken out; 0 where that is
    /// everything but rounding.
    pub(crate) fn left_without(&self, row: usize, column: usize, removed: &Removed) -> f64 {
        let value = self.get(row, column) - removed.at(row, column);
        if value < ROUNDING { 0.0 } else { value }
    }

    pub(crate) fn get(&self, row: usize, column: usize) -> f64 {
        self.cells[row * BINS + column]
    }

    /// The same, where everything but rounding was subtracted: 0.
    pub(crate) fn left(&self, row: usize, column: usize) -> f64 {
        let value = self.get(row, column);
        if value < ROUNDING { 0.0 } else { value }
    }

    /// Adds a mark (or an area) of `weight` at a cell, spread by the kernel;
    /// what would fall outside the table is dropped.
    pub(crate) fn spread(&mut self, row: usize, column: usize, weight: f64) {
        let kernel = &*KERNEL;
        let columns = column.saturating_sub(REACH)..=(column + REACH).min(BINS - 1);
        let rows = row.saturating_sub(REACH)..=(row + REACH).min(self.rows - 1);
        for r in rows {
            let share = weight * kernel[r.abs_diff(row)];
            let line = &mut self.cells[r * BINS..(r + 1) * BINS];
            for c in columns.clone() {
                line[c] += share * kernel[c.abs_diff(column)];
            }
        }
    }

    /// The table with every cell of `raw` spread by the kernel.
    pub(crate) fn smoothed(raw: &Self) -> Self {
        let mut smooth = Self {
            rows: raw.rows,
            cells: vec![0.0; raw.cells.len()],
        };
        for row in 0..raw.rows {
            for column in 0..BINS {
                let weight = raw.get(row, column);
                if weight != 0.0 {
                    smooth.spread(row, column, weight);
                }
            }
        }
        smooth
    }

    /// Adds to one cell, unspread.
    pub(crate) fn add(&mut self, row: usize, column: usize, weight: f64) {
        self.cells[row * BINS + column] += weight;
    }
}

/// Weights to be taken out of a [`Table`] of two axes, spread by the kernel: along
/// the rows once, across them for the cells that are asked for.
#[derive(Debug, Clone)]
pub(crate) struct Removed {
    /// Not yet spread, and the cells that have any.
    weights: Vec<f64>,
    cells: Vec<usize>,
    /// Spread along the rows, and the rows that have any.
    lines: Vec<f64>,
    rows: Vec<usize>,
}

impl Removed {
    pub(crate) fn nothing() -> Self {
        Self {
            weights: vec![0.0; BINS * BINS],
            cells: Vec::new(),
            lines: vec![0.0; BINS * BINS],
            rows: Vec::new(),
        }
    }

    /// Adds a weight at a cell, by its number in the table.
    pub(crate) fn add(&mut self, cell: usize, weight: f64) {
        if self.weights[cell] == 0.0 {
            self.cells.push(cell);
        }
        self.weights[cell] += weight;
    }

    /// Takes what was added since for all that is removed.
    pub(crate) fn settle(&mut self) {
        let kernel = &*KERNEL;
        for row in self.rows.drain(..) {
            self.lines[row * BINS..(row + 1) * BINS].fill(0.0);
        }
        for cell in self.cells.drain(..) {
            let (row, column) = (cell / BINS, cell % BINS);
            let weight = std::mem::take(&mut self.weights[cell]);
            if !self.rows.contains(&row) {
                self.rows.push(row);
            }
            let line = &mut self.lines[row * BINS..(row + 1) * BINS];
            for c in column.saturating_sub(REACH)..=(column + REACH).min(BINS - 1) {
                line[c] += weight * kernel[c.abs_diff(column)];
            }
        }
    }

    fn at(&self, row: usize, column: usize) -> f64 {
        let kernel = &*KERNEL;
        let near = self.rows.iter().filter(|r| r.abs_diff(row) <= REACH);
        near.map(|&r| self.lines[r * BINS + column] * kernel[r.abs_diff(row)])
            .sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Values of an independent slow reference implementation.
    #[test]
    fn classes_of_the_reference_distances() {
        let distances = [0.0, 1.7, 10.0, 50.0, 200.0, 5000.0];
        assert_eq!(distances.map(edge_bin), [0, 1, 4, 11, 20, 39]);
    }

    #[test]
    fn the_short_cut_agrees_with_the_formula() {
        for i in 0..60_000 {
            let distance = f64::from(i) * 0.0637;
            assert_eq!(edge_bin(distance), slow_bin(distance), "at {distance} mm");
        }
    }

    #[test]
    fn the_classes_share_out_the_whole_axis() {
        for length in [0.0, 3.0, 600.0, 20_000.0] {
            let sum: f64 = axis_lengths(length).iter().sum();
            assert_relative_eq!(sum, length, max_relative = 1e-12);
        }
    }
}
