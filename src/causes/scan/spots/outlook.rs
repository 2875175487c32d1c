//! A quick look at what chance would put into a disc at least, without a look at
//! the marks around it: most centres of a large view need no more.
//!
//! The background is laid out on a grid for every kind of panel, and so are the
//! marks' masses.
//! Where the full test leaves the place's own marks out, all marks near it are
//! taken for its own.

use super::background::{LEFT_OUT_MM, RESERVE, WINDOW_MM};
use super::discs::{DiscScratch, Discs, chance_of_mass, least_of_mass};
use super::summed::Summed;
use crate::causes::scan::field::marks::{Field, Kind};
use crate::causes::scan::tail::Least;
use crate::records::{Point, Rect};

/// Fewer marks than this are quicker looked at one by one.
const WORTHWHILE: usize = 1_500;

/// With more kinds of panels than this the grids would cost more than they save.
const MOST_KINDS: usize = 16;

/// Side of the grids' cells, mm, and most cells of a grid.
const CELL_MM: f64 = 5.0;
const MOST_CELLS: f64 = 15_000.0;

/// Chances are taken this much smaller, for what the grids round.
const CAUTION: f64 = 0.8;

/// The grids of a field, for each radius and kind.
#[derive(Debug)]
pub(crate) struct Outlook<'a, 'f> {
    discs: &'a Discs<'f>,
    /// Of all marks.
    counts: Summed,
    /// By radius, then by kind.
    masses: Vec<Vec<Summed>>,
    backgrounds: Vec<Vec<Summed>>,
}

impl<'a, 'f> Outlook<'a, 'f> {
    /// None where it is not worth its while.
    pub(crate) fn new(discs: &'a Discs<'f>) -> Option<Self> {
        let field = discs.field;
        if field.points.len() < WORTHWHILE || field.kinds.len() > MOST_KINDS {
            return None;
        }
        let kinds = 0..field.kinds.len();
        let empty = || -> Vec<Summed> {
            let over = |kind: &Kind| grid(kind.rect, field);
            field.kinds.iter().map(over).collect()
        };
        let mut counts = grid(anywhere(&field.kinds), field);
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
                grids[kind].fill(of.rect, |at| discs.shape_at(radius, of, at, 0.0));
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

    /// Panels that chance puts into the disc at least, the `own` panel left out.
    pub(crate) fn least(&self, centre: Point, radius: usize, own: Option<usize>) -> Least {
        let near_by = self.near_by(centre);
        self.with_chances(centre, radius, own, |kind| {
            self.chance_per_mass(kind, centre, radius, near_by)
        })
    }

    /// Marks that the place may take for its own.
    fn near_by(&self, centre: Point) -> f64 {
        (self.counts).at_most(centre, LEFT_OUT_MM * self.discs.field.unit)
    }

    /// Of one kind of panel, at least.
    fn chance_per_mass(&self, kind: usize, centre: Point, radius: usize, near_by: f64) -> f64 {
        let field = self.discs.field;
        let size = self.discs.backgrounds[radius].size;
        let window = self.backgrounds[radius][kind].at_most(centre, WINDOW_MM * field.unit);
        let of = &field.kinds[kind];
        let disc = self.disc(radius, of, centre, near_by) * std::f64::consts::PI * size * size;
        if window > 0.0 {
            (CAUTION * RESERVE * disc / window).min(1.0)
        } else {
            0.0
        }
    }

    /// The same with the place's own background, after [`Discs::turn_to`]; only the
    /// masses of the window are taken from the grids.
    pub(crate) fn closer(
        &self,
        centre: Point,
        radius: usize,
        own: Option<usize>,
        scratch: &mut DiscScratch,
    ) -> Least {
        self.with_chances(centre, radius, own, |kind| {
            self.discs.chance_per_mass(kind, centre, radius, scratch)
        })
    }

    /// With a chance per mass for each kind that has any mass.
    fn with_chances(
        &self,
        centre: Point,
        radius: usize,
        own: Option<usize>,
        mut chance_per_mass: impl FnMut(usize) -> f64,
    ) -> Least {
        let field = self.discs.field;
        let half = WINDOW_MM * field.unit;
        let largest = self.discs.backgrounds[radius].largest_mass;
        let of_own = own.and_then(|panel| field.kind_of[panel]);
        let mut least = Least {
            expected: 0.0,
            largest: 0.0,
        };
        for kind in 0..field.kinds.len() {
            let all = self.masses[radius][kind].at_least(centre, half);
            let spared = if of_own == Some(kind) { largest } else { 0.0 };
            let mass = all - spared;
            if mass > 0.0 {
                let q = chance_per_mass(kind);
                let largest = largest.min(mass);
                least.expected += least_of_mass(q, mass, largest);
                least.largest = least.largest.max(chance_of_mass(q, largest));
            }
        }
        least
    }

    /// Mean background in the disc without `own` marks.
    fn disc(&self, radius: usize, kind: &Kind, centre: Point, own: f64) -> f64 {
        let step = 0.75 * self.discs.backgrounds[radius].size;
        let offsets = [-step, 0.0, step];
        let mut sum = 0.0;
        for dx in offsets {
            for dy in offsets {
                let at = Point::new(centre.x + dx, centre.y + dy);
                if kind.rect.contains(at) {
                    sum += self.discs.shape_at(radius, kind, at, own);
                }
            }
        }
        sum / 9.0
    }
}

/// A grid over panels and a little beyond their edges.
fn grid(panels: Rect, field: &Field) -> Summed {
    let more = field.overhang_mm;
    let rect = Rect {
        x0: panels.x0 - more,
        y0: panels.y0 - more,
        x1: panels.x1 + more,
        y1: panels.y1 + more,
    };
    let area = rect.width() * rect.height();
    Summed::over(rect, (CELL_MM * field.unit).max((area / MOST_CELLS).sqrt()))
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
        let (row, column) = kind.cell(at);
        self.shape(radius, row, column, own)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::scan::candidate::Candidate;
    use crate::causes::scan::field::marks::Field;
    use crate::causes::scan::spots::discs::DiscScratch;
    use crate::causes::scan::spots::{at_marks, nodes};
    use crate::causes::scan::view::ViewPanel;
    use crate::causes::scan::worked_cases::view;

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
            for (discs, but_one) in [
                (at_marks::discs(&field), true),
                (nodes::discs(&field), false),
            ] {
                let outlook = Outlook::new(&discs).unwrap();
                let mut scratch = DiscScratch::new(&field);
                for point in field.points.iter().step_by(37) {
                    discs.move_to(point.at, &mut scratch);
                    let own = but_one.then_some(point.panel);
                    for radius in 0..discs.backgrounds.len() {
                        discs.turn_to(radius, &mut scratch);
                        let close = discs.least_expected(point.at, radius, own, &mut scratch);
                        let quick = outlook.least(point.at, radius, own);
                        assert!(
                            quick.expected <= close.expected,
                            "shape {shape} at {:?}, radius {radius}: {quick:?} > {close:?}",
                            point.at
                        );
                        let near_by = outlook.near_by(point.at);
                        for kind in 0..field.kinds.len() {
                            let quick = outlook.chance_per_mass(kind, point.at, radius, near_by);
                            let q = discs.chance_per_mass(kind, point.at, radius, &mut scratch);
                            assert!(quick <= q, "shape {shape}, kind {kind}: {quick} > {q}");
                        }
                        let closer = outlook.closer(point.at, radius, own, &mut scratch);
                        assert!(closer.expected <= close.expected * (1.0 + 1e-12));
                        looks += 1;
                        share += quick.expected / close.expected;
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

    /// Of every seventh centre of 210 views: at a level at which nothing is ruled out
    /// every disc is looked at, so nothing that is below the level may be missing.
    #[test]
    fn what_the_looks_rule_out_is_never_significant() {
        const LEVEL: f64 = 1e-4;
        let mut found = 0;
        for (shape, seed) in (0..21).flat_map(|s| (0..10).map(move |seed| (s, 100 + seed))) {
            let field = made(shape, seed);
            let discs = at_marks::discs(&field);
            let centres: Vec<usize> = (0..field.points.len()).step_by(7).collect();
            let key = |c: &Candidate| (c.centre, c.point, c.panels_hit);
            let all = at_marks::scan(&discs, 1.0, &centres);
            let all: Vec<_> = (all.iter().filter(|c| c.tail.value() <= LEVEL))
                .map(key)
                .collect();
            let quick = at_marks::scan(&discs, LEVEL, &centres);
            assert_eq!(
                quick.iter().map(key).collect::<Vec<_>>(),
                all,
                "shape {shape}"
            );
            let discs = nodes::discs(&field);
            let centres: Vec<nodes::Node> =
                nodes::occupied(&field).into_iter().step_by(7).collect();
            let on_nodes = nodes::scan(&discs, 1.0, &centres);
            let on_nodes: Vec<_> = (on_nodes.iter().filter(|c| c.tail.value() <= LEVEL))
                .map(key)
                .collect();
            let quick = nodes::scan(&discs, LEVEL, &centres);
            assert_eq!(
                quick.iter().map(key).collect::<Vec<_>>(),
                on_nodes,
                "shape {shape}"
            );
            found += all.len() + on_nodes.len();
        }
        assert!(found > 1_000, "{found}");
    }
}
