//! Sums over squares of a grid: summed up from its low corner, four look-ups each.

use crate::records::{Point, Rect};

/// Values in the cells of a grid.
#[derive(Debug, Clone)]
pub(crate) struct Summed {
    low: Point,
    cell: f64,
    columns: usize,
    rows: usize,
    sums: Vec<f64>,
}

impl Summed {
    /// With nothing in it, in cells so wide.
    pub(crate) fn over(rect: Rect, cell: f64) -> Self {
        let cells = |length: f64| (length / cell).ceil().max(1.0) as usize;
        let (columns, rows) = (cells(rect.width()), cells(rect.height()));
        Self {
            low: Point::new(rect.x0, rect.y0),
            cell,
            columns,
            rows,
            // a row and a column of zeros before the first
            sums: vec![0.0; (columns + 1) * (rows + 1)],
        }
    }

    /// Adds at a place; what lies off the grid is not counted.
    pub(crate) fn add(&mut self, at: Point, value: f64) {
        let index = |v: f64| (v / self.cell).floor();
        let (column, row) = (index(at.x - self.low.x), index(at.y - self.low.y));
        let inside = |i: f64, count: usize| (0.0..count as f64).contains(&i);
        if inside(column, self.columns) && inside(row, self.rows) {
            self.sums[(row as usize + 1) * (self.columns + 1) + column as usize + 1] += value;
        }
    }

    /// Puts the value at the middle of each cell, times the area of the cell that
    /// lies in the rectangle, into it.
    pub(crate) fn fill(&mut self, rect: Rect, value: impl Fn(Point) -> f64) {
        let overlap =
            |low: f64, from: f64, to: f64| ((low + self.cell).min(to) - low.max(from)).max(0.0);
        for row in 0..self.rows {
            let y = self.low.y + row as f64 * self.cell;
            let height = overlap(y, rect.y0, rect.y1);
            for column in 0..self.columns {
                let x = self.low.x + column as f64 * self.cell;
                let area = height * overlap(x, rect.x0, rect.x1);
                if area > 0.0 {
                    let middle =
                        |v: f64, from: f64, to: f64| 0.5 * (v.max(from) + (v + self.cell).min(to));
                    let at = Point::new(middle(x, rect.x0, rect.x1), middle(y, rect.y0, rect.y1));
                    self.sums[(row + 1) * (self.columns + 1) + column + 1] = area * value(at);
                }
            }
        }
    }

    /// To be called when all is in.
    pub(crate) fn sum_up(&mut self) {
        let width = self.columns + 1;
        for row in 1..=self.rows {
            let mut line = 0.0;
            for column in 1..width {
                line += self.sums[row * width + column];
                self.sums[row * width + column] = line + self.sums[(row - 1) * width + column];
            }
        }
    }

    /// Sum over the cells of a square that lie in it, or that it touches.
    fn sum(&self, centre: Point, half: f64, touched: bool) -> f64 {
        let limits = |at: f64, low: f64, count: usize| {
            let from = (at - half - low) / self.cell;
            let to = (at + half - low) / self.cell;
            let (from, to) = if touched {
                (from.floor(), to.floor() + 1.0)
            } else {
                (from.ceil(), to.floor())
            };
            let limit = |v: f64| v.clamp(0.0, count as f64) as usize;
            (limit(from), limit(to))
        };
        let (c0, c1) = limits(centre.x, self.low.x, self.columns);
        let (r0, r1) = limits(centre.y, self.low.y, self.rows);
        if c1 <= c0 || r1 <= r0 {
            return 0.0;
        }
        let at = |row: usize, column: usize| self.sums[row * (self.columns + 1) + column];
        at(r1, c1) - at(r0, c1) - at(r1, c0) + at(r0, c0)
    }

    pub(crate) fn at_least(&self, centre: Point, half: f64) -> f64 {
        self.sum(centre, half, false).max(0.0)
    }

    pub(crate) fn at_most(&self, centre: Point, half: f64) -> f64 {
        self.sum(centre, half, true)
    }
}
