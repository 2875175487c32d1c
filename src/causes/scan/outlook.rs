//! A quick look at what chance would put into a disc at least, without a look at
//! the marks around it: most centres of a large view need no more.
//!
//! The background is laid out on a grid for every kind of panel and summed up from
//! its low corner, and so are the marks' masses, so that a window is four look-ups.
//! Where the full test leaves the place's own marks out, all marks near it are
//! taken for its own.

use super::background::{LEFT_OUT_MM, RESERVE, WINDOW_MM, panel_axes};
use super::discs::Discs;
use crate::causes::scan::field::marks::Kind;
use crate::records::{Point, Rect};

/// Fewer marks than this are quicker looked at one by one.
const WORTHWHILE: usize = 1_500;

/// With more kinds of panels than this the grids would cost more than they save.
const MOST_KINDS: usize = 16;

/// Side of the grids' cells, mm, and most cells of a grid.
const CELL_MM: f64 = 5.0;
const MOST_CELLS: f64 = 15_000.0;

/// What is expected at least is taken this much smaller, for what the grids round.
const CAUTION: f64 = 0.7;

/// The grids of a field, for each radius and kind.
#[derive(Debug)]
pub(super) struct Outlook<'a, 'f> {
    discs: &'a Discs<'f>,
    /// Of all marks.
    counts: Summed,
    /// By radius, then by kind.
    masses: Vec<Vec<Summed>>,
    backgrounds: Vec<Vec<Summed>>,
}

impl<'a, 'f> Outlook<'a, 'f> {
    /// None where it is not worth its while.
    pub(super) fn new(discs: &'a Discs<'f>) -> Option<Self> {
        let field = discs.field;
        if field.points.len() < WORTHWHILE || field.kinds.len() > MOST_KINDS {
            return None;
        }
        let kinds = 0..field.kinds.len();
        let empty = || -> Vec<Summed> {
            let of = |kind: &Kind| Summed::over(kind.rect, field.unit, field.overhang_mm);
            field.kinds.iter().map(of).collect()
        };
        let mut counts = Summed::over(anywhere(&field.kinds), field.unit, field.overhang_mm);
        let mut masses: Vec<Vec<Summed>> = discs.backgrounds.iter().map(|_| empty()).collect();
        for (id, point) in field.points.iter().enumerate() {
            let Some(kind) = field.kind_of[point.panel] else {
                continue;
            };
            counts.add(point.at, 1.0);
            for (masses, background) in masses.iter_mut().zip(&discs.backgrounds) {
                masses[kind].add(point.at, background.masses[id]);
            }
        }
        let mut backgrounds: Vec<Vec<Summed>> = discs.backgrounds.iter().map(|_| empty()).collect();
        for (radius, grids) in backgrounds.iter_mut().enumerate() {
            for kind in kinds.clone() {
                let of = &field.kinds[kind];
                grids[kind].fill(of, |at| discs.shape_at(radius, of, at, 0.0));
            }
        }
        counts.sum_up();
        for grid in masses.iter_mut().chain(&mut backgrounds).flatten() {
            grid.sum_up();
        }
        Some(Self {
            discs,
            counts,
            masses,
            backgrounds,
        })
    }

    /// Panels that chance puts into the disc at least; one panel, whichever has the
    /// most marks, is left out if `but_one`.
    pub(super) fn least(&self, centre: Point, radius: usize, but_one: bool) -> f64 {
        let field = self.discs.field;
        let half = WINDOW_MM * field.unit;
        let size = self.discs.backgrounds[radius].radius;
        let largest = self.discs.largest_mass[radius];
        let own = self.counts.at_most(centre, LEFT_OUT_MM * field.unit);
        let mut spared = if but_one { largest } else { 0.0 };
        let mut sum = 0.0;
        for (kind, of) in field.kinds.iter().enumerate() {
            let all = self.masses[radius][kind].at_least(centre, half);
            let mass = (all - spared).max(0.0);
            spared -= all - mass;
            if mass <= 0.0 {
                continue;
            }
            let window = self.backgrounds[radius][kind].at_most(centre, half);
            let disc = self.disc(radius, of, centre, own) * std::f64::consts::PI * size * size;
            if window <= 0.0 || disc <= 0.0 {
                continue;
            }
            let q = (RESERVE * disc / window).min(1.0);
            let x = q * largest.min(mass);
            let share = if x > 0.0 { -(-x).exp_m1() / x } else { 1.0 };
            sum += q * mass * share;
        }
        CAUTION * sum
    }

    /// Mean background in the disc without `own` marks.
    fn disc(&self, radius: usize, kind: &Kind, centre: Point, own: f64) -> f64 {
        let step = 0.75 * self.discs.backgrounds[radius].radius;
        let offsets = [-step, 0.0, step];
        let mut sum = 0.0;
        for dx in offsets {
            for dy in offsets {
                let at = Point {
                    x: centre.x + dx,
                    y: centre.y + dy,
                };
                if kind.rect.contains(at) {
                    sum += self.discs.shape_at(radius, kind, at, own);
                }
            }
        }
        sum / 9.0
    }
}

/// The rectangle that holds all panels.
fn anywhere(kinds: &[Kind]) -> Rect {
    let nowhere = Rect {
        x0: f64::INFINITY,
        y0: f64::INFINITY,
        x1: f64::NEG_INFINITY,
        y1: f64::NEG_INFINITY,
    };
    kinds.iter().fold(nowhere, |all, kind| Rect {
        x0: all.x0.min(kind.rect.x0),
        y0: all.y0.min(kind.rect.y0),
        x1: all.x1.max(kind.rect.x1),
        y1: all.y1.max(kind.rect.y1),
    })
}

impl Discs<'_> {
    /// Background at a place of a kind of panel, relative to the mean, with so many
    /// marks of its class left out.
    fn shape_at(&self, radius: usize, kind: &Kind, at: Point, own: f64) -> f64 {
        let (row, column) = panel_axes(kind.x_bin(at.x), kind.y_bin(at.y), kind.swapped);
        self.shape(radius, row, column, own)
    }
}

/// A grid over the panels of a kind, summed up from its low corner.
#[derive(Debug)]
struct Summed {
    low: Point,
    cell: f64,
    columns: usize,
    rows: usize,
    sums: Vec<f64>,
}

impl Summed {
    /// With nothing in it.
    fn over(rect: Rect, unit: f64, overhang_mm: f64) -> Self {
        let (width, height) = (
            rect.width() + 2.0 * overhang_mm,
            rect.height() + 2.0 * overhang_mm,
        );
        let cell = (CELL_MM * unit).max((width * height / MOST_CELLS).sqrt());
        let cells = |length: f64| (length / cell).ceil().max(1.0) as usize;
        let (columns, rows) = (cells(width), cells(height));
        Self {
            low: Point {
                x: rect.x0 - overhang_mm,
                y: rect.y0 - overhang_mm,
            },
            cell,
            columns,
            rows,
            // a row and a column of zeros before the first
            sums: vec![0.0; (columns + 1) * (rows + 1)],
        }
    }

    /// Adds at a place; what lies off the grid is not counted.
    fn add(&mut self, at: Point, value: f64) {
        let index = |v: f64| (v / self.cell).floor();
        let (column, row) = (index(at.x - self.low.x), index(at.y - self.low.y));
        let inside = |i: f64, count: usize| (0.0..count as f64).contains(&i);
        if inside(column, self.columns) && inside(row, self.rows) {
            self.sums[(row as usize + 1) * (self.columns + 1) + column as usize + 1] += value;
        }
    }

    /// Puts the value at the middle of each cell, times the area of the cell that
    /// lies on the panel, into it.
    fn fill(&mut self, kind: &Kind, value: impl Fn(Point) -> f64) {
        let rect = kind.rect;
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
                    let at = Point {
                        x: middle(x, rect.x0, rect.x1),
                        y: middle(y, rect.y0, rect.y1),
                    };
                    self.sums[(row + 1) * (self.columns + 1) + column + 1] = area * value(at);
                }
            }
        }
    }

    fn sum_up(&mut self) {
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
                (from.floor(), to.ceil())
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

    fn at_least(&self, centre: Point, half: f64) -> f64 {
        self.sum(centre, half, false).max(0.0)
    }

    fn at_most(&self, centre: Point, half: f64) -> f64 {
        self.sum(centre, half, true)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::scan::discs::DiscScratch;
    use crate::causes::scan::field::marks::Field;
    use crate::causes::scan::view::ViewPanel;
    use crate::causes::scan::worked_cases::view;
    use crate::causes::scan::{nodes, spots};

    fn panel(x0: f64, x1: f64, y1: f64, swapped: bool) -> ViewPanel {
        let rect = Rect {
            x0,
            y0: 0.0,
            x1,
            y1,
        };
        ViewPanel { rect, swapped }
    }

    /// Marks anywhere, near edges, in corners, at one place, in stripes and clumps.
    fn made(shape: u64, seed: u64) -> Field {
        let mut state = 7 + 1_000 * shape + seed;
        let mut next = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / f64::from(1_u32 << 31)
        };
        let kinds = [
            panel(0.0, 600.0, 400.0, false),
            panel(0.0, 450.0, 700.0, true),
            panel(150.0, 600.0, 250.0, false),
        ];
        let panels: Vec<ViewPanel> = (0..400)
            .map(|i| kinds[i % (1 + shape as usize % 3)])
            .collect();
        let mut marks = Vec::new();
        for i in 0..2_600 {
            let on = i % 400;
            let Rect { x0, y0, x1, y1 } = panels[on].rect;
            let (mut u, mut v) = (next(), next());
            match shape % 7 {
                1 => u = 0.1 * u * u,
                2 => (u, v) = (0.2 * u * u, 1.0 - 0.2 * v * v),
                3 if next() < 0.5 => (u, v) = (0.4 + 0.01 * u, 0.3 + 0.02 * v),
                4 if next() < 0.3 => u = 0.6 + 0.02 * u,
                5 => v = (10.0 * v).floor() / 10.0 + 0.01 * next(),
                6 if next() < 0.1 => (u, v) = (0.03 * u, 0.04 * v),
                _ => {}
            }
            marks.push((on, x0 + u * (x1 - x0), y0 + v * (y1 - y0)));
        }
        marks.sort_by_key(|m| m.0);
        Field::whole(&view(&panels, &marks, 0.0))
    }

    /// So the quick look takes nothing out that the close one keeps.
    #[test]
    fn the_quick_look_never_expects_more_than_the_close_one() {
        let (mut looks, mut share) = (0, 0.0);
        for (shape, seed) in (0..21).flat_map(|s| (0..4).map(move |seed| (s, seed))) {
            let field = made(shape, seed);
            for (discs, but_one) in [(spots::discs(&field), true), (nodes::discs(&field), false)] {
                let outlook = Outlook::new(&discs).unwrap();
                let mut scratch = DiscScratch::new(&field);
                for point in field.points.iter().step_by(37) {
                    discs.move_to(point.at, &mut scratch);
                    let own = but_one.then_some(point.panel);
                    for radius in 0..discs.backgrounds.len() {
                        discs.turn_to(radius, &mut scratch);
                        let close = discs.least_expected(point.at, radius, own, &mut scratch);
                        let quick = outlook.least(point.at, radius, but_one);
                        assert!(
                            quick <= close,
                            "shape {shape} at {:?}, radius {radius}: {quick} > {close}",
                            point.at
                        );
                        looks += 1;
                        share += quick / close;
                    }
                }
            }
        }
        // and it is worth having
        assert!(
            share / f64::from(looks) > 0.3,
            "{}",
            share / f64::from(looks)
        );
    }
}
