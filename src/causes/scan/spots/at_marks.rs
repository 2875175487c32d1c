//! Spots: discs around the marks themselves that hold more panels than chance.

use rayon::prelude::*;

use super::discs::{DiscScratch, Discs};
use super::look::Look;
use super::outlook::Outlook;
use super::screen::piece;
use crate::causes::scan::candidate::{Candidate, Centre};
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::field::point_index::within;
use crate::causes::scan::field::weighted::Crowding;
use crate::causes::scan::tail::chance_of_hits;

/// Radii of the discs, mm.
pub(crate) const RADII_MM: [f64; 3] = [4.0, 7.0, 12.0];

/// The field's disc backgrounds for the scan's radii.
pub(crate) fn discs(field: &Field) -> Discs<'_> {
    Discs::new(field, &RADII_MM.map(|r| r * field.unit), Crowding::AtAMark)
}

/// Discs around the given points with a p-value of at most `level`, in their
/// order, then by radius.
pub(crate) fn scan(discs: &Discs, level: f64, centres: &[usize]) -> Vec<Candidate> {
    looks(discs, Outlook::new(discs).as_ref(), level, centres).collect()
}

/// Whether there is any.
pub(crate) fn any(discs: &Discs, level: f64, centres: &[usize]) -> bool {
    looks(discs, Outlook::new(discs).as_ref(), level, centres).any(|_| true)
}

fn looks<'a>(
    discs: &'a Discs<'_>,
    outlook: Option<&'a Outlook<'_, '_>>,
    level: f64,
    centres: &'a [usize],
) -> impl ParallelIterator<Item = Candidate> {
    centres
        .par_iter()
        .with_min_len(piece(centres.len()))
        .map_init(
            move || (Look::new(discs, outlook), Visited::new(discs.field)),
            move |(look, visited), &point| {
                let others = visited.panels_within(discs.field, point);
                let own = discs.field.points[point];
                look.at(own.at, Some(own.panel));
                let tails = others.into_iter().enumerate();
                let found = tails.filter_map(|(radius, panels)| {
                    Some(Candidate {
                        centre: Centre::Mark(radius),
                        at: own.at,
                        point,
                        size_mm: RADII_MM[radius],
                        panels_hit: panels + 1,
                        tail: look.tail(radius, panels, level)?,
                    })
                });
                found.collect::<Vec<_>>()
            },
        )
        .flatten_iter()
}

/// The exact tail of one disc.
pub(crate) fn exact_tail(discs: &Discs, point: usize, radius: usize) -> f64 {
    let field = discs.field;
    let own = &field.points[point];
    let mut scratch = DiscScratch::new(field);
    let others = Visited::new(field).panels_within(field, point)[radius];
    discs.move_to(own.at, &mut scratch);
    discs.chances(own.at, radius, Some(own.panel), &mut scratch);
    chance_of_hits(&scratch.chances, others)
}

/// Counts distinct panels around a centre.
#[derive(Debug)]
pub(super) struct Visited {
    /// Per panel: number of the visit that saw it last, and the smallest
    /// radius index in which it has a mark, in one small number.
    seen: Vec<u32>,
    visit: u32,
}

/// Numbers that a visit takes up: the radii's indices, and none.
const OF_A_VISIT: u32 = RADII_MM.len() as u32 + 1;

impl Visited {
    pub(super) fn new(field: &Field) -> Self {
        Self {
            seen: vec![0; field.panels()],
            visit: 0,
        }
    }

    /// Panels other than the point's own with a mark in each of the discs.
    pub(super) fn panels_within(&mut self, field: &Field, point: usize) -> [usize; RADII_MM.len()] {
        let own = &field.points[point];
        let radii = RADII_MM.map(|radius| radius * field.unit);
        let limits = radii.map(within);
        let largest = radii.iter().copied().fold(0.0, f64::max);
        self.visit += OF_A_VISIT;
        if self.visit > u32::MAX - OF_A_VISIT {
            self.seen.fill(0);
            self.visit = OF_A_VISIT;
        }
        // by the smallest disc that a panel has a mark in
        let mut counts = [0; RADII_MM.len() + 1];
        for (entry, square) in field.index.in_disc(own.at, largest) {
            if entry.panel == own.panel {
                continue;
            }
            let smallest = limits.iter().filter(|limit| square > **limit).count();
            let known = self.seen[entry.panel].checked_sub(self.visit);
            if known.is_some_and(|known| known as usize <= smallest) {
                continue;
            }
            if let Some(known) = known {
                counts[known as usize] -= 1;
            }
            counts[smallest] += 1;
            self.seen[entry.panel] = self.visit + smallest as u32;
        }
        let mut so_far = 0;
        std::array::from_fn(|radius| {
            so_far += counts[radius];
            so_far
        })
    }
}
