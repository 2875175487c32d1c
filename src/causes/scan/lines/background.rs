//! The same as the disc's background, in one dimension: how likely each panel
//! is to have a mark in a band across one machine axis.

use std::ops::Range;

use crate::causes::scan::axis::{LineAxis, across, stretch};
use crate::causes::scan::field::edge_profile::{BINS, Table, axis_lengths, edge_bin};
use crate::causes::scan::field::marks::{Field, FieldPoint, Kind};
use crate::causes::scan::field::weighted::{Crowding, SeenBy, Weighted};
use crate::causes::scan::lines::beside::PanelShares;
use crate::causes::scan::spots::background::{LEFT_OUT_MM, RESERVE, WINDOW_MM, clip, midpoints};
use crate::causes::scan::spots::discs::{chance_of_mass, least_of_mass};
use crate::causes::scan::tail::Least;

/// Midpoints of the window.
const WINDOW_STEPS: usize = 200;

/// Midpoints of the band.
const BAND_STEPS: usize = 20;

/// Points, either way, of the lattice that measures the stretch left out.
const LEFT_OUT_STEPS: i32 = 10;

/// The field as seen across the lines along one axis.
#[derive(Debug, Clone)]
pub(crate) struct Bands<'a> {
    pub(crate) field: &'a Field,
    pub(crate) along: LineAxis,
    /// Indices of `field.points` sorted by the coordinate across.
    pub(crate) order: Vec<usize>,
    /// Kinds of their panels.
    kinds: Vec<Option<usize>>,
    lengths: Table,
    /// Distance class of each of the field's points.
    bins: Vec<Option<usize>>,
    backgrounds: Vec<Weighted>,
    /// Their masses in the order across.
    in_order: Vec<Vec<f64>>,
}

/// What a thread needs to look at one place after the other.
#[derive(Debug, Clone)]
pub(crate) struct BandScratch {
    lengths: Table,
    marks: Table,
    /// Midpoints of each kind's window by distance class, and the window's length.
    kind_windows: Vec<Option<([f64; BINS], f64)>>,
    chance_per_mass: Vec<f64>,
    kind_mass: Vec<f64>,
    mass: Vec<f64>,
    touched: Vec<usize>,
    /// For [`crate::causes::scan::lines::beside::beside`].
    pub(crate) shares: PanelShares,
    /// Panels that have any chance, after [`Bands::chances`].
    pub(crate) panels: Vec<usize>,
    /// Their chances.
    pub(crate) chances: Vec<f64>,
}

impl BandScratch {
    pub(crate) fn new(field: &Field) -> Self {
        Self {
            lengths: Table::one_axis(),
            marks: Table::one_axis(),
            kind_windows: vec![None; field.kinds.len()],
            chance_per_mass: vec![f64::NAN; field.kinds.len()],
            kind_mass: vec![0.0; field.kinds.len()],
            mass: vec![0.0; field.panels()],
            touched: Vec::new(),
            shares: PanelShares::new(field.panels()),
            panels: Vec::new(),
            chances: Vec::new(),
        }
    }
}

impl<'a> Bands<'a> {
    /// `half_widths` in mm, as they are.
    pub(crate) fn new(
        field: &'a Field,
        along: LineAxis,
        half_widths: &[f64],
        crowding: Crowding,
    ) -> Self {
        let u = |point: &FieldPoint| across(along, point.at);
        let mut order: Vec<usize> = (0..field.points.len()).collect();
        order.sort_by(|&a, &b| {
            u(&field.points[a])
                .total_cmp(&u(&field.points[b]))
                .then(a.cmp(&b))
        });
        let mut lengths = Table::one_axis();
        let mut total = 0.0;
        for kind in &field.kinds {
            let (low, high) = stretch(along, kind.rect);
            for (bin, length) in axis_lengths(high - low).iter().enumerate() {
                lengths.add(0, bin, kind.panels * length);
            }
            total += kind.panels * (high - low);
        }
        let by = SeenBy::Bands(along);
        let backgrounds: Vec<Weighted> = half_widths
            .iter()
            .map(|&half_width| Weighted::new(field, by, total, half_width, crowding))
            .collect();
        let in_order = |b: &Weighted| order.iter().map(|&i| b.masses[i]).collect();
        let kind_of = |&i: &usize| field.kind_of[field.points[i].panel];
        let bin = |p| Some(by.cell(field, p)?.1);
        let bins = field.points.iter().map(bin).collect();
        Self {
            field,
            along,
            kinds: order.iter().map(kind_of).collect(),
            lengths: Table::smoothed(&lengths),
            bins,
            in_order: backgrounds.iter().map(in_order).collect(),
            backgrounds,
            order,
        }
    }

    /// Half width with index `width`, mm.
    pub(crate) fn half_width(&self, width: usize) -> f64 {
        self.backgrounds[width].size
    }

    /// Points with |u − centre| ≤ reach, in order of u.
    pub(crate) fn within(&self, centre: f64, reach: f64) -> &[usize] {
        &self.order[self.span(centre, reach)]
    }

    fn span(&self, centre: f64, reach: f64) -> Range<usize> {
        let u = |&i: &usize| across(self.along, self.field.points[i].at);
        let slack = reach * (1.0 + 1e-9);
        let from = self.order.partition_point(|i| u(i) < centre - slack);
        let to = self.order.partition_point(|i| u(i) <= centre + slack);
        from..to
    }

    /// Finds the lengths that the place's own background has to do without; to
    /// be called before [`Self::chances`].
    pub(crate) fn move_to(&self, centre: f64, scratch: &mut BandScratch) {
        let reach = LEFT_OUT_MM * self.field.unit;
        let mut removed = [0.0; BINS];
        for kind in &self.field.kinds {
            let (low, high) = stretch(self.along, kind.rect);
            for step in -LEFT_OUT_STEPS..=LEFT_OUT_STEPS {
                let u = centre + f64::from(step) * reach / (f64::from(LEFT_OUT_STEPS) + 0.5);
                if u >= low && u <= high {
                    let share = 2.0 * reach / f64::from(2 * LEFT_OUT_STEPS + 1);
                    removed[edge_bin((u - low).min(high - u))] += kind.panels * share;
                }
            }
        }
        scratch.lengths.copy_from(&self.lengths);
        subtract(&mut scratch.lengths, &removed);
        scratch.kind_windows.fill(None);
    }

    /// Chance of each panel to have a mark in the band of half width number
    /// `width` around `centre` without a repeat, the `own` panel left out.
    pub(crate) fn chances(
        &self,
        centre: f64,
        width: usize,
        own: Option<usize>,
        scratch: &mut BandScratch,
    ) {
        let field = self.field;
        let background = &self.backgrounds[width];
        self.turn_to(centre, width, scratch);
        for panel in scratch.touched.drain(..) {
            scratch.mass[panel] = 0.0;
        }
        for &i in self.within(centre, WINDOW_MM * field.unit) {
            let panel = field.points[i].panel;
            if scratch.mass[panel] == 0.0 {
                scratch.touched.push(panel);
            }
            scratch.mass[panel] += background.masses[i];
        }
        scratch.panels.clear();
        scratch.chances.clear();
        for i in 0..scratch.touched.len() {
            let panel = scratch.touched[i];
            let Some(kind) = field.kind_of[panel] else {
                continue;
            };
            if Some(panel) == own {
                continue;
            }
            if scratch.chance_per_mass[kind].is_nan() {
                scratch.chance_per_mass[kind] = self.chance_per_mass(kind, centre, width, scratch);
            }
            let p = chance_of_mass(scratch.chance_per_mass[kind], scratch.mass[panel]);
            if p > 0.0 {
                scratch.panels.push(panel);
                scratch.chances.push(p);
            }
        }
    }

    /// Turns to one of the half widths, after [`Self::move_to`].
    fn turn_to(&self, centre: f64, width: usize, scratch: &mut BandScratch) {
        let background = &self.backgrounds[width];
        let mut removed = [0.0; BINS];
        for &i in self.within(centre, LEFT_OUT_MM * self.field.unit) {
            if let Some(bin) = self.bins[i] {
                removed[bin] += background.weights[i];
            }
        }
        scratch.marks.copy_from(&background.table);
        subtract(&mut scratch.marks, &removed);
        scratch.chance_per_mass.fill(f64::NAN);
    }

    /// What is expected at least, without a look at every panel, as
    /// [`crate::causes::scan::spots::discs::Discs::least_expected`] tells it of discs.
    pub(crate) fn least_expected(
        &self,
        centre: f64,
        width: usize,
        scratch: &mut BandScratch,
    ) -> Least {
        self.move_to(centre, scratch);
        self.turn_to(centre, width, scratch);
        let background = &self.backgrounds[width];
        scratch.kind_mass.fill(0.0);
        for at in self.span(centre, WINDOW_MM * self.field.unit) {
            if let Some(kind) = self.kinds[at] {
                scratch.kind_mass[kind] += self.in_order[width][at];
            }
        }
        let mut least = Least {
            expected: 0.0,
            largest: 0.0,
        };
        for kind in 0..self.field.kinds.len() {
            let mass = scratch.kind_mass[kind];
            if mass > 0.0 {
                let q = self.chance_per_mass(kind, centre, width, scratch);
                let largest = background.largest_mass.min(mass);
                least.expected += least_of_mass(q, mass, largest);
                least.largest = least.largest.max(chance_of_mass(q, largest));
            }
        }
        // the last bits may differ
        least.expected *= 1.0 - 1e-9;
        least
    }

    /// Weight of a point for half width number `width`.
    pub(crate) fn weight(&self, width: usize, point: usize) -> f64 {
        self.backgrounds[width].weights[point]
    }

    /// Density of the ground at `u` across the line, up to a factor; after
    /// [`Self::chances`] with the only half width.
    pub(crate) fn ground(&self, u: f64, scratch: &BandScratch) -> f64 {
        let density = self.backgrounds[0].density;
        let of_kind = |kind: &Kind| {
            let (low, high) = stretch(self.along, kind.rect);
            if u < low || u > high {
                return 0.0;
            }
            let bin = edge_bin((u - low).min(high - u));
            let marks = scratch.marks.left(0, bin);
            let area = scratch.lengths.left(0, bin);
            kind.panels * density * (marks + 0.5) / (density * area + 0.5)
        };
        self.field.kinds.iter().map(of_kind).sum()
    }

    /// Mass expected in the band without a repeat, with its reserves: chance
    /// per mass times the window's mass. After [`Self::chances`].
    pub(crate) fn expected_mass(&self, scratch: &BandScratch) -> f64 {
        let mass = |&panel: &usize| {
            let q = scratch.chance_per_mass[self.field.kind_of[panel]?];
            (!q.is_nan()).then_some(q * scratch.mass[panel])
        };
        scratch.touched.iter().filter_map(mass).sum()
    }

    fn chance_per_mass(
        &self,
        kind: usize,
        centre: f64,
        width: usize,
        scratch: &mut BandScratch,
    ) -> f64 {
        let background = &self.backgrounds[width];
        let (low, high) = stretch(self.along, self.field.kinds[kind].rect);
        let (u0, u1) = clip(centre, WINDOW_MM * self.field.unit, low, high);
        if u1 <= u0 {
            return 0.0;
        }
        let bin = |u: f64| edge_bin((u - low).min(high - u));
        let (counts, length) = scratch.kind_windows[kind].get_or_insert_with(|| {
            let mut counts = [0.0; BINS];
            for u in midpoints::<WINDOW_STEPS>(u0, u1) {
                counts[bin(u)] += 1.0;
            }
            (counts, u1 - u0)
        });
        let shape = |bin: usize, reserve: f64| {
            let marks = scratch.marks.left(0, bin);
            let area = scratch.lengths.left(0, bin);
            background.shape(marks + reserve * marks.sqrt(), area)
        };
        let window: f64 = counts
            .iter()
            .enumerate()
            .filter(|(_, count)| **count > 0.0)
            .map(|(bin, count)| count * shape(bin, 0.0))
            .sum::<f64>()
            * *length
            / WINDOW_STEPS as f64;
        let half_width = background.size;
        let overhang = self.field.overhang_mm;
        let band: f64 = midpoints::<BAND_STEPS>(centre - half_width, centre + half_width)
            .iter()
            .filter(|&&u| u >= low - overhang && u <= high + overhang)
            .map(|&u| shape(bin(u), 0.5))
            .sum::<f64>()
            * 2.0
            * half_width
            / BAND_STEPS as f64;
        (RESERVE * band / window).min(1.0)
    }
}

fn subtract(table: &mut Table, removed: &[f64; BINS]) {
    for (bin, weight) in removed.iter().enumerate() {
        if *weight != 0.0 {
            table.spread(0, bin, -weight);
        }
    }
}
