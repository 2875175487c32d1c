//! How likely each panel is to have a mark in a small disc without a repeat
//! there: its own marks nearby, shared out by the distance to the edges.
//!
//! The shape of the background is the smoothed density of all marks by their
//! distances to the two nearest edges, the marks near the place itself left
//! out; the level is each panel's own number of marks in a window around it.
//! So a lot with ten times the rate, or a clump on one panel, explains itself.
//! [`super::discs`] puts the two together at a place.

use crate::causes::scan::field::edge_profile::{BINS, Removed, Table, axis_lengths};
use crate::causes::scan::field::marks::{Field, Kind};
use crate::causes::scan::field::point_index::within;
use crate::causes::scan::field::weighted::Weighted;
use crate::records::{Point, Rect};

/// Half side of the window whose marks set a panel's level, mm.
pub(crate) const WINDOW_MM: f64 = 100.0;

/// Marks this near a place are left out of its own background, mm.
pub(crate) const LEFT_OUT_MM: f64 = 30.0;

/// Reserve for a background that is not quite alike on all four sides.
pub(crate) const RESERVE: f64 = 1.5;

/// Midpoints per side of the window's lattice.
pub(crate) const WINDOW_STEPS: usize = 20;

/// Midpoints per side of the disc's lattice.
const DISC_STEPS: usize = 9;

/// Areas of the panels by edge distances: the same for every radius.
#[derive(Debug, Clone)]
pub(crate) struct Areas {
    pub(crate) table: Table,
    /// Σ panels × area, mm².
    pub(crate) total: f64,
}

impl Areas {
    pub(crate) fn new(field: &Field) -> Self {
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

/// The background around one place with its own marks left out, worked out cell
/// by cell as it is asked for.
#[derive(Debug, Clone)]
pub(crate) struct LocalBackground {
    /// Areas and marks that the place's own background has to do without.
    pub(crate) no_areas: Removed,
    pub(crate) no_marks: Removed,
    /// What is left of the areas, the same for every radius.
    area: Vec<f64>,
    shape: Vec<f64>,
    shape_high: Vec<f64>,
    /// Cells that were asked for: of the areas, of the shapes.
    known_areas: Vec<usize>,
    known: Vec<usize>,
    /// An estimate is asked for, without caution and reserve.
    plain: bool,
}

impl LocalBackground {
    pub(crate) fn new(plain: bool) -> Self {
        Self {
            no_areas: Removed::nothing(),
            no_marks: Removed::nothing(),
            area: vec![f64::NAN; BINS * BINS],
            shape: vec![f64::NAN; BINS * BINS],
            shape_high: vec![f64::NAN; BINS * BINS],
            known_areas: Vec::new(),
            known: Vec::new(),
            plain,
        }
    }

    /// To be called whenever the areas left out have changed.
    pub(crate) fn forget_areas(&mut self) {
        self.no_areas.settle();
        for cell in self.known_areas.drain(..) {
            self.area[cell] = f64::NAN;
        }
        self.forget();
    }

    /// To be called whenever the marks left out have changed.
    pub(crate) fn forget_marks(&mut self) {
        self.no_marks.settle();
        self.forget();
    }

    fn forget(&mut self) {
        for cell in self.known.drain(..) {
            self.shape[cell] = f64::NAN;
            self.shape_high[cell] = f64::NAN;
        }
    }

    /// w = λ(C+½)/(λA+½), relative to the mean background.
    fn shape(&mut self, (row, column): (usize, usize), of: &Tables<'_>) -> f64 {
        let cell = row * BINS + column;
        if self.shape[cell].is_nan() {
            self.work_out(row, column, of);
        }
        self.shape[cell]
    }

    /// The same with half a standard deviation on top of the marks.
    fn shape_high(&mut self, (row, column): (usize, usize), of: &Tables<'_>) -> f64 {
        let cell = row * BINS + column;
        if self.shape[cell].is_nan() {
            self.work_out(row, column, of);
        }
        if self.plain {
            self.shape[cell]
        } else {
            self.shape_high[cell]
        }
    }

    fn work_out(&mut self, row: usize, column: usize, of: &Tables<'_>) {
        let cell = row * BINS + column;
        let marks = (of.marks.table).left_without(row, column, &self.no_marks);
        if self.area[cell].is_nan() {
            self.area[cell] = (of.areas.table).left_without(row, column, &self.no_areas);
            self.known_areas.push(cell);
        }
        let area = self.area[cell];
        self.shape[cell] = of.marks.shape(marks, area);
        self.shape_high[cell] = of.marks.shape(marks + 0.5 * marks.sqrt(), area);
        self.known.push(cell);
    }
}

/// The stream's background, the place's own marks not yet left out.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Tables<'a> {
    pub(crate) areas: &'a Areas,
    pub(crate) marks: &'a Weighted,
}

/// How many of a row of midpoints lie in each distance class.
#[derive(Debug, Clone, Copy)]
struct Classes {
    classes: [(u8, u8); WINDOW_STEPS],
    len: usize,
}

impl Classes {
    fn of(bins: impl Iterator<Item = usize>) -> Self {
        let mut out = Self {
            classes: [(0, 0); WINDOW_STEPS],
            len: 0,
        };
        for bin in bins {
            let bin = bin as u8;
            match out.classes[..out.len].iter_mut().find(|c| c.0 == bin) {
                Some(class) => class.1 += 1,
                None => {
                    out.classes[out.len] = (bin, 1);
                    out.len += 1;
                }
            }
        }
        out
    }

    fn iter(&self) -> impl Iterator<Item = (usize, f64)> {
        let classes = self.classes[..self.len].iter();
        classes.map(|&(bin, count)| (usize::from(bin), f64::from(count)))
    }
}

/// The window around a place as far as it lies on panels of one kind.
#[derive(Debug, Clone, Copy)]
pub(crate) struct KindWindow {
    /// Distance classes of the midpoints along frame x and frame y.
    x: Classes,
    y: Classes,
    area: f64,
}

impl KindWindow {
    /// None where the window misses the panels.
    pub(crate) fn new(kind: &Kind, centre: Point, half: f64) -> Option<Self> {
        let (x0, x1) = clip(centre.x, half, kind.rect.x0, kind.rect.x1);
        let (y0, y1) = clip(centre.y, half, kind.rect.y0, kind.rect.y1);
        let midpoints = |low, high| midpoints::<WINDOW_STEPS>(low, high).into_iter();
        (x1 > x0 && y1 > y0).then(|| Self {
            x: Classes::of(midpoints(x0, x1).map(|x| kind.x_bin(x))),
            y: Classes::of(midpoints(y0, y1).map(|y| kind.y_bin(y))),
            area: (x1 - x0) * (y1 - y0),
        })
    }

    /// Background in the window.
    fn mass(&self, swapped: bool, of: &Tables<'_>, local: &mut LocalBackground) -> f64 {
        let mut sum = 0.0;
        for (a, rows) in self.x.iter() {
            for (b, columns) in self.y.iter() {
                sum += rows * columns * local.shape(panel_axes(a, b, swapped), of);
            }
        }
        sum * self.area / (WINDOW_STEPS * WINDOW_STEPS) as f64
    }
}

/// Chance q of a mark of unit mass in the window to lie in the disc: the disc's
/// share of the window's background, with reserve; 0 where the window misses
/// the panels.
pub(crate) fn chance_per_mass(
    kind: &Kind,
    window: Option<&KindWindow>,
    centre: Point,
    overhang_mm: f64,
    of: &Tables<'_>,
    local: &mut LocalBackground,
) -> f64 {
    let Some(window) = window else {
        return 0.0;
    };
    let all = window.mass(kind.swapped, of, local);
    let disc = disc_mass(kind, centre, overhang_mm, of, local);
    let reserve = if local.plain { 1.0 } else { RESERVE };
    (reserve * disc / all).min(1.0)
}

/// Background in the disc, as far as it lies on the panel or just over its edge.
fn disc_mass(
    kind: &Kind,
    centre: Point,
    overhang_mm: f64,
    of: &Tables<'_>,
    local: &mut LocalBackground,
) -> f64 {
    let radius = of.marks.size;
    let offsets: [f64; DISC_STEPS] = midpoints(-radius, radius);
    let Rect { x0, y0, x1, y1 } = kind.rect;
    let class = |at: f64, low: f64, high: f64, bin: usize| {
        (at >= low - overhang_mm && at <= high + overhang_mm).then_some(bin)
    };
    let columns = offsets.map(|dx| class(centre.x + dx, x0, x1, kind.x_bin(centre.x + dx)));
    let rows = offsets.map(|dy| class(centre.y + dy, y0, y1, kind.y_bin(centre.y + dy)));
    let mut inside = 0.0;
    let mut sum = 0.0;
    for (dx, a) in offsets.iter().zip(columns) {
        for (dy, b) in offsets.iter().zip(rows) {
            if dx * dx + dy * dy > within(radius) {
                continue;
            }
            inside += 1.0;
            if let (Some(a), Some(b)) = (a, b) {
                sum += local.shape_high(panel_axes(a, b, kind.swapped), of);
            }
        }
    }
    sum * std::f64::consts::PI * radius * radius / inside
}

/// From frame axes to panel axes.
pub(crate) fn panel_axes<T>(x: T, y: T, swapped: bool) -> (T, T) {
    if swapped { (y, x) } else { (x, y) }
}

/// Whether the place lies within `reach` of the rectangle along both axes.
pub(crate) fn near(rect: Rect, at: Point, reach: f64) -> bool {
    at.x >= rect.x0 - reach
        && at.x <= rect.x1 + reach
        && at.y >= rect.y0 - reach
        && at.y <= rect.y1 + reach
}

/// The stretch centre ± half as far as it lies between the limits.
pub(crate) fn clip(centre: f64, half: f64, low: f64, high: f64) -> (f64, f64) {
    ((centre - half).max(low), (centre + half).min(high))
}

/// Midpoints of N equal parts of a stretch.
pub(crate) fn midpoints<const N: usize>(low: f64, high: f64) -> [f64; N] {
    std::array::from_fn(|i| low + (high - low) * (i as f64 + 0.5) / N as f64)
}
