//! Is it a place, or only a broad concentration? What lies just around it tells.

use super::LineAxis;
use super::axis::{across, stretch};
use super::spots::background::RESERVE;
use super::spots::discs::{DiscScratch, Discs};
use crate::causes::scan::field::marks::{Field, FieldPoint};
use crate::causes::scan::field::point_index::square_distance;
use crate::causes::scan::field::weighted::Crowding;
use crate::causes::scan::lines::background::{BandScratch, Bands};
use crate::causes::scan::lines::width::{NARROW_FROM, narrow_over_broad};
use crate::records::Point;

/// A repeat's surroundings may hold at most this share of its excess.
const RING_LIMIT: f64 = 0.6;

/// Radius of the disc and of the ring around it, mm.
const DISC_MM: f64 = 12.0;
pub(crate) const RING_MM: f64 = 24.0;

/// Half width of the band and of the strips beside it, mm.
const BAND_MM: f64 = 8.0;
const STRIPS_MM: f64 = 24.0;

/// Least length of the strip on either side, as a share of the band.
const LEAST_ROOM: f64 = 0.25;

/// Whether what was found is narrow enough for a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sharpness {
    /// A place.
    Sharp,
    /// A broad concentration without a place: no proof of a repeat.
    Broad,
}

impl Sharpness {
    fn from_sharp(sharp: bool) -> Self {
        if sharp { Self::Sharp } else { Self::Broad }
    }
}

/// A zone whose marks an earlier round has taken out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Zone {
    /// Everything within `radius` of `centre`.
    Disc { centre: Point, radius: f64 },
    /// Everything within `half_width` of `at` across the line.
    Band {
        along: LineAxis,
        at: f64,
        half_width: f64,
    },
}

impl Zone {
    pub(super) fn holds(&self, p: Point) -> bool {
        match *self {
            Self::Disc { centre, radius } => square_distance(p, centre) <= radius * radius,
            Self::Band {
                along,
                at,
                half_width,
            } => (across(along, p) - at).abs() <= half_width,
        }
    }

    /// Whether the whole stripe at `u` across lines along `line` is taken out.
    pub(super) fn blocks(&self, line: LineAxis, u: f64) -> bool {
        match *self {
            Self::Disc { .. } => false,
            Self::Band {
                along,
                at,
                half_width,
            } => along == line && (u - at).abs() <= half_width,
        }
    }
}

/// The excess in a ring around the place over the excess at the place:
/// (K_ring − a·E/1.5) / (K − E/1.5), K panels with a mark, E their expectation
/// in the disc, a the ring's area over the disc's, as far as both lie on panels
/// and outside the zones taken out before. None without an excess at the place.
fn spot_ring_ratio(field: &Field, centre: Point, taken: &[Zone]) -> Option<f64> {
    let (inner, outer) = (DISC_MM * field.unit, RING_MM * field.unit);
    let discs = Discs::new(field, &[inner], Crowding::AtAMark);
    let mut scratch = DiscScratch::new(field);
    discs.move_to(centre, &mut scratch);
    discs.chances(centre, 0, None, &mut scratch);
    let expected: f64 = scratch.chances.iter().sum::<f64>() / RESERVE;
    let mut panels = [Vec::new(), Vec::new()];
    for (entry, square) in field.index.in_disc(centre, outer) {
        panels[usize::from(square > inner * inner * (1.0 + 1e-9))].push(entry.panel);
    }
    let [disc, ring] = panels.map(distinct);
    let ratio = areas(field, taken, centre, (inner, outer));
    excess_ratio(disc, ring, expected, ratio)
}

/// The same for a line: weights of the marks in two strips beside the band over
/// those in the band, expectation taken off both.
///
/// None also where the strip on one side has no room on the panels: a band that
/// reaches down to an edge can't be told from an edge that takes more marks.
fn line_ring_ratio(field: &Field, along: LineAxis, at: f64, taken: &[Zone]) -> Option<f64> {
    let (inner, outer) = (BAND_MM * field.unit, STRIPS_MM * field.unit);
    let bands = Bands::new(field, along, &[inner], Crowding::AtAMark);
    let mut scratch = BandScratch::new(field);
    bands.move_to(at, &mut scratch);
    bands.chances(at, 0, None, &mut scratch);
    let expected = bands.expected_mass(&scratch) / RESERVE;
    let (mut band, mut strips) = (0.0, 0.0);
    for &i in bands.within(at, outer) {
        let weight = bands.weight(0, i);
        if (across(along, field.points[i].at) - at).abs() <= inner * (1.0 + 1e-9) {
            band += weight;
        } else {
            strips += weight;
        }
    }
    let ratio = strip_lengths(field, along, at, inner, outer, taken);
    excess_ratio(band, strips, expected, ratio)
}

/// The ring ratio of a spot, and what it says.
pub(super) fn of_spot(field: &Field, centre: Point, taken: &[Zone]) -> (Option<f64>, Sharpness) {
    let ratio = spot_ring_ratio(field, centre, taken);
    let sharp = ratio.is_some_and(|ratio| ratio <= RING_LIMIT);
    (ratio, Sharpness::from_sharp(sharp))
}

/// The ratio of a line's strips, and whether it is a line: with room on both
/// sides and marks that fit a narrow scatter better than a broad one.
pub(super) fn of_line(
    field: &Field,
    along: LineAxis,
    at: f64,
    taken: &[Zone],
) -> (Option<f64>, Sharpness) {
    let ratio = line_ring_ratio(field, along, at, taken);
    let narrow = narrow_over_broad(field, along, at, taken);
    let sharp = ratio.is_some() && narrow.is_some_and(|r| r >= NARROW_FROM);
    (ratio, Sharpness::from_sharp(sharp))
}

fn excess_ratio(inside: f64, around: f64, expected: f64, areas: Option<f64>) -> Option<f64> {
    let excess = inside - expected;
    (excess > 0.0).then_some((around - areas? * expected) / excess)
}

fn distinct(mut panels: Vec<usize>) -> f64 {
    panels.sort_unstable();
    panels.dedup();
    panels.len() as f64
}

/// Area of the ring over the area of the disc, by a lattice over both.
fn areas(field: &Field, taken: &[Zone], centre: Point, (inner, outer): (f64, f64)) -> Option<f64> {
    const STEPS: i32 = 24;
    let step = outer / f64::from(STEPS);
    let (mut inside, mut around) = (0.0, 0.0);
    for a in -STEPS..STEPS {
        for b in -STEPS..STEPS {
            let offset = |k: i32| (f64::from(k) + 0.5) * step;
            let (dx, dy) = (offset(a), offset(b));
            let square = dx * dx + dy * dy;
            let at = Point::new(centre.x + dx, centre.y + dy);
            if square > outer * outer || taken.iter().any(|zone| zone.holds(at)) {
                continue;
            }
            let covering = field.kinds.iter().filter(|k| k.rect.contains(at));
            let panels: f64 = covering.map(|k| k.panels).sum();
            if square <= inner * inner {
                inside += panels;
            } else {
                around += panels;
            }
        }
    }
    (inside > 0.0).then_some(around / inside)
}

/// Length of the strips over the length of the band across the line.
fn strip_lengths(
    field: &Field,
    along: LineAxis,
    at: f64,
    inner: f64,
    outer: f64,
    taken: &[Zone],
) -> Option<f64> {
    const STEPS: i32 = 48;
    let step = outer / f64::from(STEPS);
    let blocked = |u: f64| taken.iter().any(|zone| zone.blocks(along, u));
    let (mut inside, mut sides) = (0.0, [0.0; 2]);
    for k in -STEPS..STEPS {
        let offset = (f64::from(k) + 0.5) * step;
        if blocked(at + offset) {
            continue;
        }
        let covers = |rect| {
            let (low, high) = stretch(along, rect);
            (low..=high).contains(&(at + offset))
        };
        let covering = field.kinds.iter().filter(|k| covers(k.rect));
        let panels: f64 = covering.map(|k| k.panels).sum();
        if offset.abs() <= inner {
            inside += panels;
        } else {
            sides[usize::from(offset > 0.0)] += panels;
        }
    }
    let room = sides.iter().all(|side| *side >= LEAST_ROOM * inside);
    (inside > 0.0 && room).then_some(sides.iter().sum::<f64>() / inside)
}

/// Distance within which nine tenths of the points lie of the place.
pub(super) fn nine_tenths(mut distances: Vec<f64>) -> f64 {
    distances.sort_by(f64::total_cmp);
    let rank = (0.9 * distances.len() as f64).ceil() as usize;
    distances
        .get(rank.saturating_sub(1))
        .copied()
        .unwrap_or(0.0)
}

/// Panels of the field's points whose distance (by `distance`) is at most
/// `reach`, each with its nearest point: (panel, index into `Field::points`,
/// distance), by panel.
pub(super) fn nearest_by_panel(
    points: impl Iterator<Item = (usize, FieldPoint)>,
    reach: f64,
    distance: impl Fn(Point) -> f64,
) -> Vec<(usize, usize, f64)> {
    let mut near: Vec<(usize, usize, f64)> = points
        .map(|(i, p)| (p.panel, i, distance(p.at)))
        .filter(|hit| hit.2 <= reach * (1.0 + 1e-9))
        .collect();
    near.sort_by(|a, b| a.0.cmp(&b.0).then(a.2.total_cmp(&b.2)).then(a.1.cmp(&b.1)));
    near.dedup_by_key(|hit| hit.0);
    near
}
