//! How likely each panel is to have a mark in a small disc without a repeat
//! there: its own marks nearby, shared out by the distance to the edges.
//!
//! The shape of the background is the smoothed density of all marks by their
//! distances to the two nearest edges, the marks near the place itself left
//! out; the level is each panel's own number of marks in a window around it.
//! So a lot with ten times the rate, or a clump on one panel, explains itself.

use super::edge_profile::{BINS, Table, axis_lengths, edge_bin};
use super::field::{Field, Kind};
use super::point_index::{Entry, square_distance, within};
use super::weights::{disc_crowding, lens, overlap_weights};
use crate::records::{Point, Rect};

/// Half side of the window whose marks set a panel's level, mm.
pub(super) const WINDOW_MM: f64 = 100.0;

/// Marks this near a place are left out of its own background, mm.
pub(super) const LEFT_OUT_MM: f64 = 30.0;

/// A disc reaches this far over a panel's edge, mm: marks clipped onto an edge
/// would otherwise meet the disc in measure zero.
pub(super) const OVERHANG_MM: f64 = 2.0;

/// Reserve for a background that is not quite alike on all four sides.
pub(super) const RESERVE: f64 = 1.5;

/// Midpoints per side of the window's lattice.
const WINDOW_STEPS: usize = 20;

/// Midpoints per side of the disc's lattice.
const DISC_STEPS: usize = 9;

/// Points, along one axis either way, of the lattice that measures the area left out.
const LEFT_OUT_STEPS: i32 = 4;

/// Points of that lattice that lie in its disc.
const LEFT_OUT_POINTS: f64 = 49.0;

/// Areas of the panels by edge distances: the same for every radius.
#[derive(Debug, Clone)]
pub(super) struct Areas {
    table: Table,
    /// Σ panels × area, mm².
    total: f64,
}

impl Areas {
    pub(super) fn new(field: &Field) -> Self {
        let mut raw = Table::two_axes();
        let mut total = 0.0;
        for kind in &field.kinds {
            let (along, across) = panel_axes(kind.rect.width(), kind.rect.height(), kind.swapped);
            let (rows, columns) = (axis_lengths(along), axis_lengths(across));
            for (a, row) in rows.iter().enumerate() {
                for (b, column) in columns.iter().enumerate() {
                    raw.add(a, b, kind.panels * row * column);
                }
            }
            total += kind.panels * kind.rect.width() * kind.rect.height();
        }
        Self {
            table: Table::smoothed(&raw),
            total,
        }
    }
}

/// Marks by edge distances, weighted for one radius.
#[derive(Debug, Clone)]
pub(super) struct DiscBackground {
    pub(super) radius: f64,
    /// Overlap weight of each of the field's points.
    weights: Vec<f64>,
    /// Weight times crowding by round numbers.
    masses: Vec<f64>,
    table: Table,
    /// Marks per mm² of panel.
    density: f64,
}

impl DiscBackground {
    pub(super) fn new(field: &Field, areas: &Areas, radius: f64) -> Self {
        let mut weights = Vec::with_capacity(field.points.len());
        for points in field.by_panel() {
            let at: Vec<Point> = points.iter().map(|p| p.at).collect();
            weights.extend(overlap_weights(
                &at,
                2.0 * radius,
                |p, q| square_distance(p, q).sqrt(),
                |d| lens(d, radius),
                |p| p.x,
            ));
        }
        let mut raw = Table::two_axes();
        for (point, weight) in field.points.iter().zip(&weights) {
            if let Some(kind) = field.kind_of[point.panel] {
                let (row, column) = cell(&field.kinds[kind], point.at);
                raw.add(row, column, *weight);
            }
        }
        let sum: f64 = weights.iter().sum();
        Self {
            radius,
            masses: field
                .points
                .iter()
                .zip(&weights)
                .map(|(p, w)| w * disc_crowding(radius, p.grain_mm))
                .collect(),
            weights,
            table: Table::smoothed(&raw),
            density: if areas.total > 0.0 {
                sum / areas.total
            } else {
                0.0
            },
        }
    }
}

/// What one panel kind makes of a disc: chance per unit of mass.
///
/// Everything a thread needs to look at one centre, so that nothing is
/// allocated per centre.
#[derive(Debug, Clone)]
pub(super) struct DiscScratch {
    areas: Table,
    marks: Table,
    removed: Vec<f64>,
    removed_cells: Vec<usize>,
    shape: Vec<f64>,
    shape_high: Vec<f64>,
    chance_per_mass: Vec<f64>,
    mass: Vec<f64>,
    touched: Vec<usize>,
    window: Vec<Entry>,
    left_out: Vec<usize>,
    /// Chances of the panels that have any, after [`Discs::chances`].
    pub(super) chances: Vec<(usize, f64)>,
}

impl DiscScratch {
    pub(super) fn new(field: &Field) -> Self {
        Self {
            areas: Table::two_axes(),
            marks: Table::two_axes(),
            removed: vec![0.0; BINS * BINS],
            removed_cells: Vec::new(),
            shape: vec![f64::NAN; BINS * BINS],
            shape_high: vec![f64::NAN; BINS * BINS],
            chance_per_mass: vec![f64::NAN; field.kinds.len()],
            mass: vec![0.0; field.panels()],
            touched: Vec::new(),
            window: Vec::new(),
            left_out: Vec::new(),
            chances: Vec::new(),
        }
    }
}

/// The field with its background for discs of several radii.
#[derive(Debug, Clone)]
pub(super) struct Discs<'a> {
    pub(super) field: &'a Field,
    areas: Areas,
    pub(super) backgrounds: Vec<DiscBackground>,
}

impl<'a> Discs<'a> {
    /// `radii` in mm, as they are (not multiplied by the field's unit).
    pub(super) fn new(field: &'a Field, radii: &[f64]) -> Self {
        let areas = Areas::new(field);
        let backgrounds = radii
            .iter()
            .map(|&radius| DiscBackground::new(field, &areas, radius))
            .collect();
        Self {
            field,
            areas,
            backgrounds,
        }
    }

    /// Moves to a centre: finds the marks of its window and what its own
    /// background has to do without. Call before [`Self::chances`].
    pub(super) fn move_to(&self, centre: Point, scratch: &mut DiscScratch) {
        let field = self.field;
        let reach = LEFT_OUT_MM * field.unit;
        scratch.window.clear();
        let window = field.index.in_square(centre, WINDOW_MM * field.unit);
        scratch.window.extend(window);
        scratch.left_out.clear();
        for entry in &scratch.window {
            if square_distance(entry.at, centre) <= within(reach) {
                scratch.left_out.push(entry.id);
            }
        }
        scratch.areas.copy_from(&self.areas.table);
        self.leave_areas_out(centre, reach, scratch);
    }

    fn leave_areas_out(&self, centre: Point, reach: f64, scratch: &mut DiscScratch) {
        let step = reach / LEFT_OUT_STEPS as f64;
        let share = std::f64::consts::PI * reach * reach / LEFT_OUT_POINTS;
        for kind in &self.field.kinds {
            if !near(kind.rect, centre, reach) {
                continue;
            }
            for a in -LEFT_OUT_STEPS..=LEFT_OUT_STEPS {
                for b in -LEFT_OUT_STEPS..=LEFT_OUT_STEPS {
                    let at = Point {
                        x: centre.x + step * f64::from(a),
                        y: centre.y + step * f64::from(b),
                    };
                    if a * a + b * b <= LEFT_OUT_STEPS * LEFT_OUT_STEPS && kind.rect.contains(at) {
                        let (row, column) = cell(kind, at);
                        let cell = row * BINS + column;
                        if scratch.removed[cell] == 0.0 {
                            scratch.removed_cells.push(cell);
                        }
                        scratch.removed[cell] += kind.panels * share;
                    }
                }
            }
        }
        subtract(
            &mut scratch.areas,
            &mut scratch.removed,
            &mut scratch.removed_cells,
        );
    }

    /// Chance of each panel to have a mark in the disc of the radius with index
    /// `radius` around `centre` without a repeat, `own` panel left out; panels
    /// without a mark in the window have none and are not listed. In the order
    /// of the panels' first marks in the window.
    pub(super) fn chances(
        &self,
        centre: Point,
        radius: usize,
        own: Option<usize>,
        scratch: &mut DiscScratch,
    ) {
        let field = self.field;
        let background = &self.backgrounds[radius];
        scratch.marks.copy_from(&background.table);
        for &id in &scratch.left_out {
            let point = &field.points[id];
            if let Some(kind) = field.kind_of[point.panel] {
                let (row, column) = cell(&field.kinds[kind], point.at);
                let cell = row * BINS + column;
                if scratch.removed[cell] == 0.0 {
                    scratch.removed_cells.push(cell);
                }
                scratch.removed[cell] += background.weights[id];
            }
        }
        subtract(
            &mut scratch.marks,
            &mut scratch.removed,
            &mut scratch.removed_cells,
        );
        scratch.shape.fill(f64::NAN);
        scratch.shape_high.fill(f64::NAN);
        scratch.chance_per_mass.fill(f64::NAN);
        for panel in scratch.touched.drain(..) {
            scratch.mass[panel] = 0.0;
        }
        for entry in &scratch.window {
            let mass = &mut scratch.mass[entry.panel];
            if *mass == 0.0 {
                scratch.touched.push(entry.panel);
            }
            *mass += background.masses[entry.id];
        }
        scratch.chances.clear();
        for i in 0..scratch.touched.len() {
            let panel = scratch.touched[i];
            let Some(kind) = field.kind_of[panel] else {
                continue;
            };
            if Some(panel) == own {
                continue;
            }
            let mut q = scratch.chance_per_mass[kind];
            if q.is_nan() {
                q = chance_per_mass(&field.kinds[kind], centre, field.unit, background, scratch);
                scratch.chance_per_mass[kind] = q;
            }
            let p = chance_of_mass(q, scratch.mass[panel]);
            if p > 0.0 {
                scratch.chances.push((panel, p));
            }
        }
    }

    /// Chance per unit of mass of the panels of each kind, after [`Self::move_to`]
    /// and [`Self::chances`]; also of kinds without a mark in the window.
    pub(super) fn chance_per_mass(
        &self,
        kind: usize,
        centre: Point,
        radius: usize,
        scratch: &mut DiscScratch,
    ) -> f64 {
        let background = &self.backgrounds[radius];
        chance_per_mass(
            &self.field.kinds[kind],
            centre,
            self.field.unit,
            background,
            scratch,
        )
    }

    /// Total mass in the window and the number of panels that have any, after
    /// [`Self::chances`].
    pub(super) fn window_mass(scratch: &DiscScratch) -> (f64, usize) {
        let sum = scratch
            .touched
            .iter()
            .map(|&panel| scratch.mass[panel])
            .sum();
        (sum, scratch.touched.len())
    }
}

/// 1 − (1−q)^mass; 1 if q is 1 and there is any mass.
pub(super) fn chance_of_mass(q: f64, mass: f64) -> f64 {
    if mass <= 0.0 || q <= 0.0 {
        0.0
    } else if q >= 1.0 {
        1.0
    } else {
        -(mass * (-q).ln_1p()).exp_m1()
    }
}

/// q = min(1, 1.5·D/S): D the background in the disc with its reserves, S the
/// background in the window, both on the panel.
fn chance_per_mass(
    kind: &Kind,
    centre: Point,
    unit: f64,
    background: &DiscBackground,
    scratch: &mut DiscScratch,
) -> f64 {
    let half = WINDOW_MM * unit;
    let (x0, x1) = clip(centre.x, half, kind.rect.x0, kind.rect.x1);
    let (y0, y1) = clip(centre.y, half, kind.rect.y0, kind.rect.y1);
    if x1 <= x0 || y1 <= y0 {
        return 0.0;
    }
    let rows: [usize; WINDOW_STEPS] =
        midpoints(x0, x1).map(|x| edge_bin((x - kind.rect.x0).min(kind.rect.x1 - x)));
    let columns: [usize; WINDOW_STEPS] =
        midpoints(y0, y1).map(|y| edge_bin((y - kind.rect.y0).min(kind.rect.y1 - y)));
    let mut window = 0.0;
    for &a in &rows {
        for &b in &columns {
            let (row, column) = panel_axes(a, b, kind.swapped);
            window += shape(row, column, background.density, scratch);
        }
    }
    window *= (x1 - x0) * (y1 - y0) / (WINDOW_STEPS * WINDOW_STEPS) as f64;
    let disc = disc_mass(kind, centre, background, scratch);
    (RESERVE * disc / window).min(1.0)
}

/// Background in the disc, as far as it lies on the panel or just over its edge.
fn disc_mass(
    kind: &Kind,
    centre: Point,
    background: &DiscBackground,
    scratch: &mut DiscScratch,
) -> f64 {
    let radius = background.radius;
    let offsets: [f64; DISC_STEPS] = midpoints(-radius, radius);
    let mut inside = 0.0;
    let mut sum = 0.0;
    for dx in offsets {
        for dy in offsets {
            if dx * dx + dy * dy > within(radius) {
                continue;
            }
            inside += 1.0;
            let at = Point {
                x: centre.x + dx,
                y: centre.y + dy,
            };
            if !near(kind.rect, at, OVERHANG_MM) {
                continue;
            }
            let (row, column) = cell(kind, at);
            sum += shape_high(row, column, background.density, scratch);
        }
    }
    sum * std::f64::consts::PI * radius * radius / inside
}

/// w = λ(C+½)/(λA+½), relative to the mean background.
fn shape(row: usize, column: usize, density: f64, scratch: &mut DiscScratch) -> f64 {
    let known = &mut scratch.shape[row * BINS + column];
    if known.is_nan() {
        let marks = scratch.marks.left(row, column);
        let area = scratch.areas.left(row, column);
        *known = density * (marks + 0.5) / (density * area + 0.5);
    }
    *known
}

/// The same with half a standard deviation on top of the marks.
fn shape_high(row: usize, column: usize, density: f64, scratch: &mut DiscScratch) -> f64 {
    let known = &mut scratch.shape_high[row * BINS + column];
    if known.is_nan() {
        let marks = scratch.marks.left(row, column);
        let area = scratch.areas.left(row, column);
        *known = density * (marks + 0.5 * marks.sqrt() + 0.5) / (density * area + 0.5);
    }
    *known
}

/// Cell of a place: classes of its distances to the nearest panel-x and panel-y edge.
fn cell(kind: &Kind, at: Point) -> (usize, usize) {
    let x = edge_bin((at.x - kind.rect.x0).min(kind.rect.x1 - at.x));
    let y = edge_bin((at.y - kind.rect.y0).min(kind.rect.y1 - at.y));
    panel_axes(x, y, kind.swapped)
}

/// From frame axes to panel axes.
fn panel_axes<T>(x: T, y: T, swapped: bool) -> (T, T) {
    if swapped { (y, x) } else { (x, y) }
}

fn near(rect: Rect, at: Point, reach: f64) -> bool {
    at.x >= rect.x0 - reach
        && at.x <= rect.x1 + reach
        && at.y >= rect.y0 - reach
        && at.y <= rect.y1 + reach
}

/// The stretch centre ± half as far as it lies between the limits.
pub(super) fn clip(centre: f64, half: f64, low: f64, high: f64) -> (f64, f64) {
    ((centre - half).max(low), (centre + half).min(high))
}

/// Midpoints of N equal parts of a stretch.
pub(super) fn midpoints<const N: usize>(low: f64, high: f64) -> [f64; N] {
    std::array::from_fn(|i| low + (high - low) * (i as f64 + 0.5) / N as f64)
}

/// Takes the smoothed weight of the removed cells out of a table and empties
/// the list.
fn subtract(table: &mut Table, removed: &mut [f64], cells: &mut Vec<usize>) {
    for cell in cells.drain(..) {
        table.spread(cell / BINS, cell % BINS, -removed[cell]);
        removed[cell] = 0.0;
    }
}
