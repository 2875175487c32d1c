//! The marks of a field as discs or bands of one size see them: what each weighs,
//! and how many lie how far from the edges.

use super::edge_profile::{Table, edge_bin};
use super::marks::{Field, FieldPoint};
use super::point_index::square_distance;
use super::weights::{
    band_crowding, band_crowding_anywhere, band_overlap, disc_crowding, disc_crowding_anywhere,
    lens, overlap_weights,
};
use crate::causes::LineAxis;
use crate::causes::scan::axis::{across, stretch};
use crate::records::Point;

/// What marks are seen by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SeenBy {
    /// Discs: on the panel, by the distances to its two nearest edges.
    Discs,
    /// Bands: across lines along an axis, by the distance to the nearest edge.
    Bands(LineAxis),
}

/// Where the centre of a disc or band lies among marks that are written in round
/// numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Crowding {
    /// On one of them, or where such marks are many.
    AtAMark,
    /// Anywhere between.
    Anywhere,
}

impl SeenBy {
    fn distance(self, p: Point, q: Point) -> f64 {
        match self {
            Self::Discs => square_distance(p, q).sqrt(),
            Self::Bands(along) => (across(along, p) - across(along, q)).abs(),
        }
    }

    fn overlap(self, distance: f64, size: f64) -> f64 {
        match self {
            Self::Discs => lens(distance, size),
            Self::Bands(_) => band_overlap(distance, size),
        }
    }

    fn crowding(self, size: f64, grain_mm: f64, crowding: Crowding) -> f64 {
        let of = match (self, crowding) {
            (Self::Discs, Crowding::AtAMark) => disc_crowding,
            (Self::Discs, Crowding::Anywhere) => disc_crowding_anywhere,
            (Self::Bands(_), Crowding::AtAMark) => band_crowding,
            (Self::Bands(_), Crowding::Anywhere) => band_crowding_anywhere,
        };
        of(size, grain_mm)
    }

    fn along_x(self, p: Point) -> f64 {
        match self {
            Self::Discs => p.x,
            Self::Bands(along) => across(along, p),
        }
    }

    /// The distance classes of a mark, row and column of [`Self::table`]; none where
    /// its panel has no place in the frame.
    pub(crate) fn cell(self, field: &Field, point: &FieldPoint) -> Option<(usize, usize)> {
        let kind = &field.kinds[field.kind_of[point.panel]?];
        Some(match self {
            Self::Discs => kind.cell(point.at),
            Self::Bands(along) => {
                let (low, high) = stretch(along, kind.rect);
                let u = across(along, point.at);
                (0, edge_bin((u - low).min(high - u)))
            }
        })
    }

    /// An empty table of distance classes.
    pub(crate) fn table(self) -> Table {
        match self {
            Self::Discs => Table::two_axes(),
            Self::Bands(_) => Table::one_axis(),
        }
    }
}

/// The marks for one radius or half width.
#[derive(Debug, Clone)]
pub(crate) struct Weighted {
    /// Radius or half width, mm.
    pub(crate) size: f64,
    /// Overlap weight of each of the field's points.
    pub(crate) weights: Vec<f64>,
    /// Weight times crowding by round numbers.
    pub(crate) masses: Vec<f64>,
    /// Largest mass that any panel has in all.
    pub(crate) largest_mass: f64,
    /// By distances to the edges.
    pub(crate) table: Table,
    /// Marks per mm² of panel, or per mm across.
    pub(crate) density: f64,
}

impl Weighted {
    /// `extent`: area of all panels, mm², or their length across, mm.
    pub(crate) fn new(
        field: &Field,
        by: SeenBy,
        extent: f64,
        size: f64,
        crowding: Crowding,
    ) -> Self {
        let mut weights = Vec::with_capacity(field.points.len());
        let mut at: Vec<Point> = Vec::new();
        for points in field.by_panel() {
            // most panels have one mark of a kind
            if points.len() == 1 {
                weights.push(1.0);
                continue;
            }
            at.clear();
            at.extend(points.iter().map(|p| p.at));
            weights.extend(overlap_weights(
                &at,
                2.0 * size,
                |p, q| by.distance(p, q),
                |d| by.overlap(d, size),
                |p| by.along_x(p),
            ));
        }
        let mut raw = by.table();
        for (point, weight) in field.points.iter().zip(&weights) {
            if let Some((row, column)) = by.cell(field, point) {
                raw.add(row, column, *weight);
            }
        }
        let sum: f64 = weights.iter().sum();
        // each grain worked out once
        let mut known: Vec<(f64, f64)> = Vec::new();
        let mut crowded = |grain_mm: f64| match known.iter().find(|k| k.0 == grain_mm) {
            Some(known) => known.1,
            None => {
                let factor = by.crowding(size, grain_mm, crowding);
                known.push((grain_mm, factor));
                factor
            }
        };
        let weighed = field.points.iter().zip(&weights);
        let masses: Vec<f64> = weighed.map(|(p, w)| w * crowded(p.grain_mm)).collect();
        Self {
            size,
            largest_mass: largest_mass(field, &masses),
            masses,
            weights,
            table: Table::smoothed(&raw),
            density: if extent > 0.0 { sum / extent } else { 0.0 },
        }
    }

    /// Background of a class relative to the mean, λ(C+½)/(λA+½): `marks` and area of
    /// it; 1 without a mark anywhere.
    pub(crate) fn shape(&self, marks: f64, area: f64) -> f64 {
        if self.density <= 0.0 {
            return 1.0;
        }
        self.density * (marks + 0.5) / (self.density * area + 0.5)
    }
}

/// Largest mass that any panel has in all, of the points' masses.
fn largest_mass(field: &Field, masses: &[f64]) -> f64 {
    let mut at = 0;
    let of_panel = field.by_panel().map(|points| {
        at += points.len();
        masses[at - points.len()..at].iter().sum()
    });
    of_panel.fold(0.0, f64::max)
}
