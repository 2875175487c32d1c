//! Lines: bands across a machine axis that hold more panels than chance and
//! are spread along themselves.

use rayon::prelude::*;

use super::LineAxis;
use super::band_background::{BandScratch, Bands, across, lengthwise};
use super::field::Field;
use super::tail::{Tail, chance_of_hits, stands_out, tail_of_hits};

/// Half widths of the bands, mm.
pub(super) const HALF_WIDTHS_MM: [f64; 2] = [4.0, 8.0];

/// Panels a line needs, its own included.
pub(super) const PANELS_NEEDED: usize = 4;

/// A stretch of a band this long that holds more than half of its panels makes
/// it a spot, not a line, mm.
const STRETCH_MM: f64 = 60.0;

/// A band around a mark with more panels than chance allows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LineCandidate {
    pub(super) along: LineAxis,
    /// The centre, index into `Field::points`.
    pub(super) point: usize,
    /// Index into [`HALF_WIDTHS_MM`].
    pub(super) width: usize,
    /// Panels with a mark in the band, the centre's own included.
    pub(super) panels_hit: usize,
    /// Panels expected without a repeat, the own left out.
    pub(super) expected: f64,
    /// Chance of so many others without a repeat.
    pub(super) tail: Tail,
}

/// The field across lines along `along`, for the scan's half widths.
pub(super) fn bands(field: &Field, along: LineAxis) -> Bands<'_> {
    Bands::new(field, along, &HALF_WIDTHS_MM.map(|r| r * field.unit))
}

/// Bands around the given points with a p-value of at most `level` that are
/// spread along themselves, in their order, then by half width.
pub(super) fn scan(bands: &Bands, level: f64, centres: &[usize]) -> Vec<LineCandidate> {
    centres
        .par_iter()
        .with_min_len(32)
        .map_init(
            || BandScratch::new(bands.field),
            |scratch, &point| at_centre(bands, point, level, scratch),
        )
        .flatten_iter()
        .collect()
}

fn at_centre(
    bands: &Bands,
    point: usize,
    level: f64,
    scratch: &mut BandScratch,
) -> Vec<LineCandidate> {
    let field = bands.field;
    let own = field.points[point].panel;
    let centre = across(bands.along, field.points[point].at);
    let mut found = Vec::new();
    let mut moved = false;
    for width in 0..HALF_WIDTHS_MM.len() {
        let inside = bands.within(centre, bands.half_width(width));
        let panels_hit = distinct_panels(field, inside);
        if panels_hit < PANELS_NEEDED {
            continue;
        }
        if !moved {
            bands.move_to(centre, scratch);
            moved = true;
        }
        bands.chances(centre, width, Some(own), scratch);
        let chances = &scratch.chances;
        if !stands_out(chances, panels_hit - 1) {
            continue;
        }
        let tail = tail_of_hits(chances, panels_hit - 1, level);
        if tail.value() <= level && is_spread(bands, inside, panels_hit) {
            found.push(LineCandidate {
                along: bands.along,
                point,
                width,
                panels_hit,
                expected: chances.iter().sum(),
                tail,
            });
        }
    }
    found
}

/// The exact tail of one band.
pub(super) fn exact_tail(bands: &Bands, point: usize, width: usize) -> f64 {
    let field = bands.field;
    let centre = across(bands.along, field.points[point].at);
    let inside = bands.within(centre, bands.half_width(width));
    let others = distinct_panels(field, inside) - 1;
    let mut scratch = BandScratch::new(field);
    bands.move_to(centre, &mut scratch);
    bands.chances(centre, width, Some(field.points[point].panel), &mut scratch);
    chance_of_hits(&scratch.chances, others)
}

fn distinct_panels(field: &Field, points: &[usize]) -> usize {
    let mut panels: Vec<usize> = points.iter().map(|&i| field.points[i].panel).collect();
    panels.sort_unstable();
    panels.dedup();
    panels.len()
}

/// Whether no stretch of 60 mm holds more than half of the panels hit.
fn is_spread(bands: &Bands, inside: &[usize], panels_hit: usize) -> bool {
    let field = bands.field;
    let mut along: Vec<(f64, usize)> = inside
        .iter()
        .map(|&i| {
            (
                lengthwise(bands.along, field.points[i].at),
                field.points[i].panel,
            )
        })
        .collect();
    along.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let length = STRETCH_MM * field.unit;
    let mut count = vec![0_u32; field.panels()];
    let (mut from, mut held) = (0, 0);
    for to in 0..along.len() {
        let slot = &mut count[along[to].1];
        held += usize::from(*slot == 0);
        *slot += 1;
        while along[to].0 - along[from].0 > length {
            let slot = &mut count[along[from].1];
            *slot -= 1;
            held -= usize::from(*slot == 0);
            from += 1;
        }
        if 2 * held > panels_hit {
            return false;
        }
    }
    true
}
