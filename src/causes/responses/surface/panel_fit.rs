//! The removal surface of one panel by least squares.

use crate::records::{Lay, Panel, Point};
use crate::stats::small_symmetric::{Square, add_outer, apply, dot, pseudo_inverse};

/// Terms of the full surface: 1, u, v, u², v², uv.
pub(crate) const TERMS: usize = 6;
/// Columns of the slopes.
pub(crate) const SLOPES: [usize; 2] = [1, 2];
/// Columns of crowns and twist.
pub(crate) const BENDS: [usize; 3] = [3, 4, 5];

/// Fewest readings for the full surface.
const FULL_READINGS: usize = 7;
/// Fewest readings for both slopes.
const PLANE_READINGS: usize = 3;
/// A term is fitted only if its variance is at most this many times that of one
/// reading: its error then stays below about three times the gauge's.
const LARGEST_VARIANCE: f64 = 10.0;
/// Readings that spread less than this across a line count as lying on it; the
/// panel is 2 wide.
const LINE_WIDTH: f64 = 0.2;

/// Which terms a panel's readings carry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    /// Level, slopes, crowns and twist.
    Full,
    /// Level and both slopes.
    Plane,
    /// Level and the slope along one machine axis (0 = x, 1 = y).
    Along(usize),
}

impl Shape {
    /// Whether column `term` is fitted.
    pub(crate) fn has(self, term: usize) -> bool {
        match self {
            Shape::Full => true,
            Shape::Plane => term <= 2,
            Shape::Along(axis) => term == 0 || term == SLOPES[axis],
        }
    }

    fn terms(self) -> usize {
        (0..TERMS).filter(|&t| self.has(t)).count()
    }
}

/// The surface fitted on one panel, machine axes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PanelFit {
    /// Index into `Records::panels`.
    pub(crate) panel: usize,
    /// How it lay.
    pub(crate) lay: Lay,
    /// Terms fitted.
    pub(crate) shape: Shape,
    /// Coefficients; 0 where not fitted.
    pub(crate) coefficients: [f64; TERMS],
    /// Variances of the coefficients per variance of a reading.
    pub(crate) variances: [f64; TERMS],
    /// Residual sum of squares, µm².
    pub(crate) residual: f64,
    /// Readings beyond the terms.
    pub(crate) dof: usize,
    /// Readings.
    pub(crate) readings: usize,
    /// What one unit of each bend adds to each slope where only the slopes are
    /// fitted: rows slopes, columns bends.
    pub(crate) alias: [[f64; 3]; 2],
    /// Cross products of the bends, slopes and level taken out.
    pub(crate) bend_cross: Square<3>,
    /// The same with removal.
    pub(crate) bend_product: [f64; 3],
}

/// A reading in normalised machine coordinates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spot {
    /// −1..1 along machine x over the panel as it lay.
    pub(crate) u: f64,
    /// −1..1 along machine y.
    pub(crate) v: f64,
    /// Removal, µm.
    pub(crate) removed_um: f64,
}

impl Spot {
    /// A reading at the panel point `place`.
    pub(crate) fn new(panel: &Panel, place: Point, removed_um: f64) -> Self {
        let at = panel.to_machine(place);
        let rect = panel.machine_rect();
        Self {
            u: 2.0 * (at.x - rect.x0) / rect.width() - 1.0,
            v: 2.0 * (at.y - rect.y0) / rect.height() - 1.0,
            removed_um,
        }
    }

    fn columns(&self) -> [f64; TERMS] {
        let (u, v) = (self.u, self.v);
        [1.0, u, v, u * u, v * v, u * v]
    }
}

/// Fits the largest surface that the readings carry; none where they lie at one
/// place or are too few for a single slope.
pub(crate) fn fit(panel: usize, lay: Lay, spots: &[Spot]) -> Option<PanelFit> {
    let mut cross = [[0.0; TERMS]; TERMS];
    let mut right = [0.0; TERMS];
    for spot in spots {
        let columns = spot.columns();
        add_outer(&mut cross, &columns, 1.0);
        for (r, c) in right.iter_mut().zip(columns) {
            *r += c * spot.removed_um;
        }
    }
    let shapes = [
        (Shape::Full, FULL_READINGS),
        (Shape::Plane, PLANE_READINGS),
        (Shape::Along(0), 2),
        (Shape::Along(1), 2),
    ];
    let (shape, inverse) = shapes.into_iter().find_map(|(shape, least)| {
        if spots.len() < least || !lies_along(shape, spots) {
            return None;
        }
        let (inverse, rank) = pseudo_inverse(&masked(&cross, shape));
        let sound = (0..TERMS).all(|t| !shape.has(t) || inverse[t][t] <= LARGEST_VARIANCE);
        (rank == shape.terms() && sound).then_some((shape, inverse))
    })?;
    let mut known = right;
    for (t, value) in known.iter_mut().enumerate() {
        if !shape.has(t) {
            *value = 0.0;
        }
    }
    let coefficients = apply(&inverse, &known);
    let residual = spots
        .iter()
        .map(|s| (s.removed_um - dot(&s.columns(), &coefficients)).powi(2))
        .sum();
    let mut variances = [0.0; TERMS];
    for t in 0..TERMS {
        if shape.has(t) {
            variances[t] = inverse[t][t];
        }
    }
    let mut out = PanelFit {
        panel,
        lay,
        shape,
        coefficients,
        variances,
        residual,
        dof: spots.len() - shape.terms(),
        readings: spots.len(),
        alias: [[0.0; 3]; 2],
        bend_cross: [[0.0; 3]; 3],
        bend_product: [0.0; 3],
    };
    if shape != Shape::Full {
        out.take_bends(&inverse, &cross, spots);
    }
    Some(out)
}

impl PanelFit {
    /// How the bends that are not fitted lean on the slopes and on the residuals.
    fn take_bends(&mut self, inverse: &Square<TERMS>, cross: &Square<TERMS>, spots: &[Spot]) {
        let mut fitted = [[0.0; TERMS]; 3];
        for (b, &bend) in BENDS.iter().enumerate() {
            let mut column = [0.0; TERMS];
            for (t, value) in column.iter_mut().enumerate() {
                if self.shape.has(t) {
                    *value = cross[t][bend];
                }
            }
            fitted[b] = apply(inverse, &column);
            for (s, &slope) in SLOPES.iter().enumerate() {
                self.alias[s][b] = fitted[b][slope];
            }
        }
        for spot in spots {
            let columns = spot.columns();
            let mut rest = [0.0; 3];
            for (b, &bend) in BENDS.iter().enumerate() {
                rest[b] = columns[bend] - dot(&columns, &fitted[b]);
            }
            add_outer(&mut self.bend_cross, &rest, 1.0);
            let residual = spot.removed_um - dot(&columns, &self.coefficients);
            for (p, r) in self.bend_product.iter_mut().zip(rest) {
                *p += r * residual;
            }
        }
    }
}

fn masked(cross: &Square<TERMS>, shape: Shape) -> Square<TERMS> {
    let mut out = *cross;
    for (i, row) in out.iter_mut().enumerate() {
        for (j, value) in row.iter_mut().enumerate() {
            if !shape.has(i) || !shape.has(j) {
                *value = 0.0;
            }
        }
    }
    out
}

/// A single slope is fitted only where the readings lie along its axis: on a
/// diagonal the other slope would read as this one.
fn lies_along(shape: Shape, spots: &[Spot]) -> bool {
    let Shape::Along(axis) = shape else {
        return true;
    };
    let across = spots.iter().map(|s| if axis == 0 { s.v } else { s.u });
    let (low, high) = across.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| {
        (l.min(x), h.max(x))
    });
    high - low <= LINE_WIDTH
}
