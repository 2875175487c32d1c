//! Spots: discs around the marks themselves that hold more panels than chance.

use rayon::prelude::*;

use super::background::WINDOW_MM;
use super::discs::{Crowding, DiscScratch, Discs};
use super::outlook::Outlook;
use super::tail::{Tail, chance_of_hits, poisson_tail, stands_out, tail_of_hits};
use crate::causes::scan::field::marks::Field;

/// Radii of the discs, mm.
pub(super) const RADII_MM: [f64; 3] = [4.0, 7.0, 12.0];

/// Panels a spot needs, its own included.
pub(super) const PANELS_NEEDED: usize = 3;

/// No background is so uneven that a disc in a window holds less than this share
/// of what an even one would put there: below it, a centre isn't worth the
/// full test. (A place with a fifth of the even share lies beside an edge that
/// takes nine tenths of all marks.)
const LEAST_SHARE: f64 = 0.2;

/// Reserve of the shortcut on the p-value.
const SCREEN_RESERVE: f64 = 1e3;

/// A tail above this, even at the least that can be expected, is no find.
pub(super) const UNREMARKABLE: f64 = 0.01;

/// A disc around a mark with more panels than chance allows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SpotCandidate {
    /// The centre, index into `Field::points`.
    pub(super) point: usize,
    /// Index into [`RADII_MM`].
    pub(super) radius: usize,
    /// Panels with a mark in the disc, the centre's own included.
    pub(super) panels_hit: usize,
    /// Panels expected without a repeat, the own left out.
    pub(super) expected: f64,
    /// Chance of so many others without a repeat.
    pub(super) tail: Tail,
}

/// The field's disc backgrounds for the scan's radii.
pub(super) fn discs(field: &Field) -> Discs<'_> {
    Discs::new(field, &RADII_MM.map(|r| r * field.unit), Crowding::AtAMark)
}

/// Discs around the given points with a p-value of at most `level`, in their
/// order, then by radius.
pub(super) fn scan(discs: &Discs, level: f64, centres: &[usize]) -> Vec<SpotCandidate> {
    let outlook = Outlook::new(discs);
    centres
        .par_iter()
        .with_min_len(32)
        .map_init(
            || (DiscScratch::new(discs.field), Visited::new(discs.field)),
            |(scratch, visited), &point| {
                at_centre(discs, outlook.as_ref(), point, level, scratch, visited)
            },
        )
        .flatten_iter()
        .collect()
}

fn at_centre(
    discs: &Discs,
    outlook: Option<&Outlook<'_, '_>>,
    point: usize,
    level: f64,
    scratch: &mut DiscScratch,
    visited: &mut Visited,
) -> Vec<SpotCandidate> {
    let centre = discs.field.points[point].at;
    let own = discs.field.points[point].panel;
    let others = visited.panels_within(discs, point);
    let mut found = Vec::new();
    let mut state = Looked::NotYet;
    for (radius, &others) in others.iter().enumerate() {
        if others + 1 < PANELS_NEEDED {
            continue;
        }
        let least = outlook.map_or(0.0, |o| o.least(centre, radius, true));
        if poisson_tail(least, others) > UNREMARKABLE.max(level) {
            continue;
        }
        if state == Looked::NotYet {
            discs.look_around(centre, scratch);
            state = Looked::Around;
        }
        if !worth_testing(discs, radius, Some(own), others, level, scratch) {
            continue;
        }
        if state == Looked::Around {
            discs.leave_out(centre, scratch);
            state = Looked::Closely;
        }
        discs.turn_to(radius, scratch);
        let least = discs.least_expected(centre, radius, Some(own), scratch);
        if poisson_tail(least, others) > UNREMARKABLE.max(level) {
            continue;
        }
        discs.turned_chances(centre, radius, Some(own), scratch);
        if !stands_out(&scratch.chances, others) {
            continue;
        }
        let tail = tail_of_hits(&scratch.chances, others, level);
        if tail.value() <= level {
            found.push(SpotCandidate {
                point,
                radius,
                panels_hit: others + 1,
                expected: scratch.chances.iter().sum(),
                tail,
            });
        }
    }
    found
}

/// The exact tail of one disc.
pub(super) fn exact_tail(discs: &Discs, point: usize, radius: usize) -> f64 {
    let field = discs.field;
    let own = &field.points[point];
    let mut scratch = DiscScratch::new(field);
    let others = Visited::new(field).panels_within(discs, point)[radius];
    discs.move_to(own.at, &mut scratch);
    discs.chances(own.at, radius, Some(own.panel), &mut scratch);
    chance_of_hits(&scratch.chances, others)
}

/// How far a centre has been looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Looked {
    NotYet,
    Around,
    Closely,
}

/// A cheap look that passes everything that could be significant: even at a
/// fifth of the even share the Poisson tail must come near the level.
pub(super) fn worth_testing(
    discs: &Discs,
    radius: usize,
    own: Option<usize>,
    others: usize,
    level: f64,
    scratch: &DiscScratch,
) -> bool {
    let size = discs.backgrounds[radius].radius;
    let window = 2.0 * WINDOW_MM * discs.field.unit;
    let even = std::f64::consts::PI * size * size / (window * window);
    let mass = discs.mass_around(radius, own, scratch);
    poisson_tail(LEAST_SHARE * even * mass, others) <= SCREEN_RESERVE * level
}

/// Counts distinct panels around a centre.
#[derive(Debug)]
struct Visited {
    /// Per panel: number of the visit that saw it last, and the smallest
    /// radius index in which it has a mark.
    seen: Vec<(usize, usize)>,
    visit: usize,
    touched: Vec<usize>,
}

impl Visited {
    fn new(field: &Field) -> Self {
        Self {
            seen: vec![(0, 0); field.panels()],
            visit: 0,
            touched: Vec::new(),
        }
    }

    /// Panels other than the point's own with a mark in each of the discs.
    fn panels_within(&mut self, discs: &Discs, point: usize) -> [usize; RADII_MM.len()] {
        let field = discs.field;
        let own = &field.points[point];
        let radii: [f64; RADII_MM.len()] = std::array::from_fn(|i| discs.backgrounds[i].radius);
        let largest = radii.iter().copied().fold(0.0, f64::max);
        self.visit += 1;
        self.touched.clear();
        for (entry, square) in field.index.in_disc(own.at, largest) {
            if entry.panel == own.panel {
                continue;
            }
            let smallest = radii
                .iter()
                .position(|&r| square <= crate::causes::scan::field::point_index::within(r))
                .unwrap_or(radii.len());
            let seen = &mut self.seen[entry.panel];
            if seen.0 != self.visit {
                *seen = (self.visit, smallest);
                self.touched.push(entry.panel);
            } else {
                seen.1 = seen.1.min(smallest);
            }
        }
        let mut counts = [0; RADII_MM.len()];
        for &panel in &self.touched {
            for count in counts.iter_mut().skip(self.seen[panel].1) {
                *count += 1;
            }
        }
        counts
    }
}
