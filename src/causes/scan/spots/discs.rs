//! Discs at a place: each panel's chance of a mark in them without a repeat.

use super::background::{
    Areas, KindWindow, LEFT_OUT_MM, LocalBackground, Tables, WINDOW_MM, chance_per_mass, near,
    panel_axes,
};
use crate::causes::scan::field::edge_profile::BINS;
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::field::weighted::{Crowding, SeenBy, Weighted};
use crate::causes::scan::tail::Least;
use crate::records::{Point, Rect};

/// Points, along one axis either way, of the lattice that measures the area left out.
const LEFT_OUT_STEPS: i32 = 4;

/// Points of that lattice that lie in its disc.
const LEFT_OUT_POINTS: f64 = 49.0;

/// Stands for the cell of a point that lies in none.
const NO_CELL: u16 = u16::MAX;

/// The field with its background for discs of several radii.
#[derive(Debug, Clone)]
pub(crate) struct Discs<'a> {
    pub(crate) field: &'a Field,
    areas: Areas,
    /// Cell of each of the field's points, [`NO_CELL`] where it lies in none.
    cells: Vec<u16>,
    pub(crate) backgrounds: Vec<Weighted>,
}

/// What a thread needs to look at one place after the other.
#[derive(Debug, Clone)]
pub(crate) struct DiscScratch {
    local: LocalBackground,
    /// Points of the window and their panels.
    window: Vec<(usize, usize)>,
    /// Cells and points.
    left_out: Vec<(u16, u32)>,
    kind_windows: Vec<Option<Option<KindWindow>>>,
    chance_per_mass: Vec<f64>,
    kind_mass: Vec<f64>,
    mass: Vec<f64>,
    touched: Vec<usize>,
    /// Panels that have any chance, after [`Discs::chances`].
    pub(crate) panels: Vec<usize>,
    /// Their chances.
    pub(crate) chances: Vec<f64>,
}

impl DiscScratch {
    pub(crate) fn new(field: &Field) -> Self {
        Self::with(field, LocalBackground::new(false))
    }

    /// For estimates, without caution.
    pub(crate) fn plain(field: &Field) -> Self {
        Self::with(field, LocalBackground::new(true))
    }

    /// The mass of a panel's marks in the window, after [`Discs::chances`].
    pub(crate) fn mass(&self, panel: usize) -> f64 {
        self.mass[panel]
    }

    fn with(field: &Field, local: LocalBackground) -> Self {
        Self {
            local,
            window: Vec::new(),
            left_out: Vec::new(),
            kind_windows: vec![None; field.kinds.len()],
            chance_per_mass: vec![f64::NAN; field.kinds.len()],
            kind_mass: vec![0.0; field.kinds.len()],
            mass: vec![0.0; field.panels()],
            touched: Vec::new(),
            panels: Vec::new(),
            chances: Vec::new(),
        }
    }
}

/// Marks of the window on panels that cover the place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Around {
    pub(crate) mass: f64,
    /// Σ chance per mass × mass.
    pub(crate) expected: f64,
    /// Panels with any.
    pub(crate) panels: usize,
}

impl<'a> Discs<'a> {
    /// `radii` in mm, as they are (not multiplied by the field's unit).
    pub(crate) fn new(field: &'a Field, radii: &[f64], crowding: Crowding) -> Self {
        let areas = Areas::new(field);
        let backgrounds = radii
            .iter()
            .map(|&radius| Weighted::new(field, SeenBy::Discs, areas.total, radius, crowding));
        let cells = field.points.iter().map(|point| {
            let (row, column) = SeenBy::Discs.cell(field, point)?;
            u16::try_from(row * BINS + column).ok()
        });
        Self {
            field,
            cells: cells.map(|cell| cell.unwrap_or(NO_CELL)).collect(),
            backgrounds: backgrounds.collect(),
            areas,
        }
    }

    /// Background of a class relative to the mean, with at most `own` marks left out
    /// and without their area: never more than the place's own background.
    pub(crate) fn shape(&self, radius: usize, row: usize, column: usize, own: f64) -> f64 {
        let background = &self.backgrounds[radius];
        let marks = (background.table.get(row, column) - own).max(0.0);
        background.shape(marks, self.areas.table.get(row, column))
    }

    /// Finds the marks of the window around a place.
    pub(crate) fn look_around(&self, centre: Point, scratch: &mut DiscScratch) {
        let half = WINDOW_MM * self.field.unit;
        scratch.window.clear();
        let window = self.field.index.in_square(centre, half);
        scratch.window.extend(window.map(|e| (e.id, e.panel)));
    }

    /// Mass of the marks in the window that are not the `own` panel's, after
    /// [`Self::look_around`].
    pub(crate) fn mass_around(
        &self,
        radius: usize,
        own: Option<usize>,
        scratch: &DiscScratch,
    ) -> f64 {
        let masses = &self.backgrounds[radius].masses;
        let others = scratch
            .window
            .iter()
            .filter(|(_, panel)| Some(*panel) != own);
        others.map(|&(id, _)| masses[id]).sum()
    }

    /// Finds what the place's own background has to do without, before
    /// [`Self::chances`].
    pub(crate) fn leave_out(&self, centre: Point, scratch: &mut DiscScratch) {
        let field = self.field;
        let reach = LEFT_OUT_MM * field.unit;
        scratch.left_out.clear();
        let near_by = field.index.in_disc(centre, reach);
        let with_cells = near_by.map(|(entry, _)| (self.cells[entry.id], entry.id as u32));
        (scratch.left_out).extend(with_cells.filter(|(cell, _)| *cell != NO_CELL));
        scratch.kind_windows.fill(None);
        let step = reach / f64::from(LEFT_OUT_STEPS);
        let share = std::f64::consts::PI * reach * reach / LEFT_OUT_POINTS;
        let steps = -LEFT_OUT_STEPS..=LEFT_OUT_STEPS;
        for kind in field.kinds.iter().filter(|k| near(k.rect, centre, reach)) {
            let lattice = |from: f64| steps.clone().map(move |i| (i, from + step * f64::from(i)));
            let inside = |at: f64, low: f64, high: f64| (low..=high).contains(&at);
            let Rect { x0, y0, x1, y1 } = kind.rect;
            let rows: Vec<(i32, usize)> = lattice(centre.y)
                .filter(|(_, y)| inside(*y, y0, y1))
                .map(|(b, y)| (b, kind.y_bin(y)))
                .collect();
            for (a, x) in lattice(centre.x).filter(|(_, x)| inside(*x, x0, x1)) {
                let x_bin = kind.x_bin(x);
                for &(b, y_bin) in &rows {
                    if a * a + b * b <= LEFT_OUT_STEPS * LEFT_OUT_STEPS {
                        let (row, column) = panel_axes(x_bin, y_bin, kind.swapped);
                        let removed = &mut scratch.local.no_areas;
                        removed.add(row * BINS + column, kind.panels * share);
                    }
                }
            }
        }
        scratch.local.forget_areas();
    }

    /// [`Self::look_around`] and [`Self::leave_out`].
    pub(crate) fn move_to(&self, centre: Point, scratch: &mut DiscScratch) {
        self.look_around(centre, scratch);
        self.leave_out(centre, scratch);
    }

    /// Turns to one of the radii, after [`Self::leave_out`].
    pub(crate) fn turn_to(&self, radius: usize, scratch: &mut DiscScratch) {
        let background = &self.backgrounds[radius];
        for &(cell, id) in &scratch.left_out {
            let weight = background.weights[id as usize];
            scratch.local.no_marks.add(usize::from(cell), weight);
        }
        scratch.local.forget_marks();
        scratch.chance_per_mass.fill(f64::NAN);
    }

    /// A lower bound on the panels expected without a repeat, without a look at
    /// every panel; after [`Self::turn_to`].
    pub(crate) fn least_expected(
        &self,
        centre: Point,
        radius: usize,
        own: Option<usize>,
        scratch: &mut DiscScratch,
    ) -> Least {
        let masses = &self.backgrounds[radius].masses;
        scratch.kind_mass.fill(0.0);
        for &(id, panel) in &scratch.window {
            if let Some(kind) = self.field.kind_of[panel].filter(|_| Some(panel) != own) {
                scratch.kind_mass[kind] += masses[id];
            }
        }
        let mut least = Least {
            expected: 0.0,
            largest: 0.0,
        };
        for kind in 0..self.field.kinds.len() {
            let mass = scratch.kind_mass[kind];
            if mass > 0.0 {
                let q = self.chance_per_mass(kind, centre, radius, scratch);
                let largest = self.backgrounds[radius].largest_mass.min(mass);
                least.expected += least_of_mass(q, mass, largest);
                least.largest = least.largest.max(chance_of_mass(q, largest));
            }
        }
        least
    }

    /// An upper bound on the panels expected; after [`Self::least_expected`].
    ///
    /// 1 − (1−q)^m ≤ −m·ln(1−q).
    pub(crate) fn most_expected(&self, scratch: &DiscScratch) -> f64 {
        let kinds = scratch.kind_mass.iter().zip(&scratch.chance_per_mass);
        let masses = kinds.filter(|(mass, _)| **mass > 0.0);
        masses.map(|(mass, q)| -mass * (-q).ln_1p()).sum()
    }

    /// Finds the mass of each panel's marks in the window, after
    /// [`Self::look_around`].
    pub(crate) fn weigh(&self, radius: usize, scratch: &mut DiscScratch) {
        let masses = &self.backgrounds[radius].masses;
        for panel in scratch.touched.drain(..) {
            scratch.mass[panel] = 0.0;
        }
        for &(id, panel) in &scratch.window {
            if scratch.mass[panel] == 0.0 {
                scratch.touched.push(panel);
            }
            scratch.mass[panel] += masses[id];
        }
    }

    /// Chance of each panel to have a mark in the disc of the radius with index
    /// `radius` around `centre` without a repeat, the `own` panel left out;
    /// panels without a mark in the window have none and are not listed. In
    /// the order of the panels' first marks in the window. After [`Self::turn_to`].
    pub(crate) fn turned_chances(
        &self,
        centre: Point,
        radius: usize,
        own: Option<usize>,
        scratch: &mut DiscScratch,
    ) {
        self.weigh(radius, scratch);
        scratch.panels.clear();
        scratch.chances.clear();
        for i in 0..scratch.touched.len() {
            let panel = scratch.touched[i];
            let Some(kind) = self.field.kind_of[panel] else {
                continue;
            };
            if Some(panel) == own {
                continue;
            }
            let q = self.chance_per_mass(kind, centre, radius, scratch);
            let p = chance_of_mass(q, scratch.mass[panel]);
            if p > 0.0 {
                scratch.panels.push(panel);
                scratch.chances.push(p);
            }
        }
    }

    /// [`Self::turn_to`] and [`Self::turned_chances`].
    pub(crate) fn chances(
        &self,
        centre: Point,
        radius: usize,
        own: Option<usize>,
        scratch: &mut DiscScratch,
    ) {
        self.turn_to(radius, scratch);
        self.turned_chances(centre, radius, own, scratch);
    }

    /// Marks of the window on panels that cover the place, after [`Self::weigh`] and
    /// [`Self::chance_per_mass`] of their kinds.
    pub(crate) fn exposed_mass(&self, place: Point, scratch: &DiscScratch) -> Around {
        let mut around = Around {
            mass: 0.0,
            expected: 0.0,
            panels: 0,
        };
        for &panel in &scratch.touched {
            let Some(kind) = self.field.kind_of[panel] else {
                continue;
            };
            let q = scratch.chance_per_mass[kind];
            if self.field.kinds[kind].rect.contains(place) && !q.is_nan() {
                around.mass += scratch.mass[panel];
                around.expected += q * scratch.mass[panel];
                around.panels += 1;
            }
        }
        around
    }

    /// Chance per unit of mass of the panels of each kind, after [`Self::chances`];
    /// also of kinds without a mark in the window.
    pub(crate) fn chance_per_mass(
        &self,
        kind: usize,
        centre: Point,
        radius: usize,
        scratch: &mut DiscScratch,
    ) -> f64 {
        let known = scratch.chance_per_mass[kind];
        if !known.is_nan() {
            return known;
        }
        let field = self.field;
        let window = *scratch.kind_windows[kind].get_or_insert_with(|| {
            KindWindow::new(&field.kinds[kind], centre, WINDOW_MM * field.unit)
        });
        let q = chance_per_mass(
            &field.kinds[kind],
            window.as_ref(),
            centre,
            field.overhang_mm,
            &Tables {
                areas: &self.areas,
                marks: &self.backgrounds[radius],
            },
            &mut scratch.local,
        );
        scratch.chance_per_mass[kind] = q;
        q
    }
}

/// A lower bound on Σ (1 − (1−q)^m) over panels whose masses m, none above `largest`,
/// sum up to `mass`.
///
/// 1 − (1−q)^m ≥ 1 − e^(−qm) ≥ qm·(1 − e^(−x))/x for every m ≤ x/q.
pub(crate) fn least_of_mass(q: f64, mass: f64, largest: f64) -> f64 {
    let x = q * largest;
    let share = if x > 0.0 { -(-x).exp_m1() / x } else { 1.0 };
    q * mass * share
}

/// 1 − (1−q)^mass; 1 if q is 1 and there is any mass.
pub(crate) fn chance_of_mass(q: f64, mass: f64) -> f64 {
    if mass <= 0.0 || q <= 0.0 {
        0.0
    } else if q >= 1.0 {
        1.0
    } else if mass == 1.0 {
        q
    } else {
        -(mass * (-q).ln_1p()).exp_m1()
    }
}
