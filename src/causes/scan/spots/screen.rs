//! Which centres are worth the full test when there are very many marks.
//!
//! One mark per small square stands for its neighbours, so that the number of
//! centres is bounded by the panel's area; of these, only discs with more
//! panels than an even density would put there (or nearly so) go on.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::at_marks::{RADII_MM, Visited};
use super::background::WINDOW_MM;
use super::summed::Summed;
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::tail::poisson_tail;
use crate::records::{Point, Rect};

/// More marks than this are screened.
pub(crate) const SCREENED_ABOVE: usize = 20_000;

/// Side of the squares that one centre stands for: half the smallest radius, mm.
const SQUARE_MM: f64 = 2.0;

/// Centres with a Poisson tail above this are not worth the full test.
const WORTH: f64 = 0.05;

/// Half side of the square that measures the density close by, and of the
/// square around the place itself that is left out of it, mm.
const NEAR_MM: f64 = 30.0;
const ITSELF_MM: f64 = 15.0;

/// Side of a cell of the grid of counts, mm, unless that would make too many.
const CELL_MM: f64 = 5.0;
const MOST_CELLS: f64 = 4e6;

/// So many points of a square stand for all of a crowd, where marks are fewer.
const OF_A_CROWD: usize = 10;

/// Centres for the spot scan: the first point of every place and the first few of
/// every square, or the first of every square where there are very many.
pub(crate) fn spot_centres(field: &Field) -> Vec<usize> {
    let all: Vec<usize> = (0..field.points.len()).collect();
    let side = SQUARE_MM * field.unit;
    let square = |i: usize| {
        let Point { x, y } = field.points[i].at;
        ((x / side).floor() as i64, (y / side).floor() as i64)
    };
    if all.len() > SCREENED_ABOVE {
        return first_of_each(&all, square);
    }
    let place = |i: usize| {
        let Point { x, y } = field.points[i].at;
        (x.to_bits() as i64, y.to_bits() as i64)
    };
    let mut of_square: BTreeMap<(i64, i64), usize> = BTreeMap::new();
    let mut kept = first_of_each(&all, place);
    kept.retain(|&i| {
        let seen = of_square.entry(square(i)).or_default();
        *seen += 1;
        *seen <= OF_A_CROWD
    });
    kept
}

/// Those of the centres that pass the screen at one of the radii.
pub(crate) fn worth_testing(field: &Field, centres: &[usize]) -> Vec<usize> {
    let Some(grid) = CountGrid::new(field) else {
        return centres.to_vec();
    };
    let passes = |visited: &mut Visited, i: usize| {
        let others = visited.panels_within(field, i);
        let density = grid.density(field.points[i].at, field.unit);
        others.into_iter().zip(RADII_MM).any(|(others, radius)| {
            let area = std::f64::consts::PI * (radius * field.unit).powi(2);
            others > 0 && poisson_tail(area * density, others) <= WORTH
        })
    };
    centres
        .par_iter()
        .with_min_len(piece(centres.len()))
        .map_init(
            || Visited::new(field),
            |visited, &i| passes(visited, i).then_some(i),
        )
        .flatten_iter()
        .collect()
}

/// How many of so many centres one after the other share what a thread needs to
/// look at them: it has room for every panel.
pub(in crate::causes::scan) fn piece(centres: usize) -> usize {
    (centres / 128).max(32)
}

fn first_of_each(points: &[usize], key: impl Fn(usize) -> (i64, i64)) -> Vec<usize> {
    let mut first = BTreeMap::new();
    for &i in points {
        first.entry(key(i)).or_insert(i);
    }
    let mut kept: Vec<usize> = first.into_values().collect();
    kept.sort_unstable();
    kept
}

/// Counts of marks.
struct CountGrid(Summed);

impl CountGrid {
    fn new(field: &Field) -> Option<Self> {
        let first = field.points.first()?.at;
        let (mut low, mut high) = (first, first);
        for point in &field.points {
            low.x = low.x.min(point.at.x);
            low.y = low.y.min(point.at.y);
            high.x = high.x.max(point.at.x);
            high.y = high.y.max(point.at.y);
        }
        let rect = Rect {
            x0: low.x,
            y0: low.y,
            x1: high.x + 1.0,
            y1: high.y + 1.0,
        };
        let cell = (rect.width() * rect.height() / MOST_CELLS).sqrt();
        let mut grid = Summed::over(rect, (CELL_MM * field.unit).max(cell));
        for point in &field.points {
            grid.add(point.at, 1.0);
        }
        grid.sum_up();
        Some(Self(grid))
    }

    /// Marks in the cells that a square around the centre touches.
    fn count(&self, centre: Point, half: f64) -> f64 {
        self.0.at_most(centre, half)
    }

    /// Marks per mm² around a place: the smaller of the density in the window
    /// and that close by, the place itself left out.
    fn density(&self, centre: Point, unit: f64) -> f64 {
        let square = |half: f64| 4.0 * half * half * unit * unit;
        let itself = self.count(centre, ITSELF_MM * unit);
        let close = (self.count(centre, NEAR_MM * unit) - itself).max(0.0);
        let window = self.count(centre, WINDOW_MM * unit) / square(WINDOW_MM);
        window.min(close / (square(NEAR_MM) - square(ITSELF_MM)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::scan::worked_cases::{PLAIN, panel, view};

    #[test]
    fn one_centre_stands_for_its_square_and_a_crowd_passes() {
        let panels = [PLAIN; 40];
        let marks: Vec<(usize, f64, f64)> = (0..24_000_usize)
            .map(|i| {
                let (x, y) = (
                    (i * 137 % 6000) as f64 / 10.0,
                    (i * 89 % 3989) as f64 / 10.0,
                );
                (i % 40, x, y)
            })
            .chain((0..200).map(|i| (i % 40, 300.2, 200.3)))
            .collect();
        let field = Field::whole(&view(&panels, &marks, 0.0));
        let centres = spot_centres(&field);
        assert!(centres.len() <= 60_000 && centres.len() > 10_000);
        let kept = worth_testing(&field, &centres);
        assert!(kept.len() < centres.len());
        let near = |&i: &usize| (field.points[i].at.x - 300.2).abs() < 2.0;
        assert!(kept.iter().any(near));
    }

    #[test]
    fn counts_of_a_square_are_those_of_looking_at_all() {
        let panels = [panel(100.0, 100.0)];
        let marks: Vec<(usize, f64, f64)> = (0..500)
            .map(|i| {
                (
                    0,
                    f64::from(i * 37 % 100) + 0.5,
                    f64::from(i * 53 % 97) + 0.5,
                )
            })
            .collect();
        let field = Field::whole(&view(&panels, &marks, 0.0));
        let grid = CountGrid::new(&field).unwrap();
        assert_eq!(grid.count(Point::new(50.0, 50.0), 500.0), 500.0);
        let centre = Point::new(40.0, 30.0);
        let inside = |half: f64| {
            let near = |p: Point| (p.x - centre.x).abs() <= half && (p.y - centre.y).abs() <= half;
            field.points.iter().filter(|p| near(p.at)).count() as f64
        };
        let got = grid.count(centre, 20.0);
        assert!(got >= inside(20.0) && got <= inside(25.0));
    }
}
