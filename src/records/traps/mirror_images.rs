//! Places where marks of a kind heap up, spots and lines, and the panels that
//! show each of them or its mirror image about their middle. Distances and
//! counts are common practice, no source.

use std::collections::{BTreeSet, HashMap};

use crate::records::{Panel, Point, Records, Rect};

/// Marks so near a spot belong to it, mm.
const SPOT_MM: f64 = 12.0;
/// The same for a line.
const LINE_MM: f64 = 6.0;
/// So many times denser than around it is a heap.
const DENSER: f64 = 3.0;
/// And so many standard deviations more than chance scatters there.
const BEYOND: f64 = 5.0;
/// Fewer panels than this are no heap.
const PANELS: usize = 5;
/// Heaps looked at of one kind and frame: the highest spots, and lines along
/// each axis.
const SPOTS: usize = 8;
const LINES: usize = 4;
/// Marks of a line spread so far along it, mm.
const LONG_MM: f64 = 100.0;
/// And so few of them at one spot of it, as a share.
const IN_SPOT: f64 = 0.3;
/// Corners and edges are mirror images of each other on every panel: spots so
/// near a corner and lines so near an edge tell nothing, mm.
const CORNER_MM: f64 = 30.0;
/// A place nearer its mirror image than this, in distances that its marks
/// keep, is its own.
const OWN: f64 = 2.5;
/// Two means so near each other are one beyond their own scatter, mm.
const EXACT_MM: f64 = 1.0;

/// From which other corner a panel may be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Flip {
    X,
    Y,
    Both,
}

impl Flip {
    pub(super) const ALL: [Flip; 3] = [Flip::X, Flip::Y, Flip::Both];

    pub(super) fn of(self, p: Point, panel: &Panel) -> Point {
        let (x, y) = (panel.length_mm - p.x, panel.width_mm - p.y);
        match self {
            Flip::X => Point { x, y: p.y },
            Flip::Y => Point { x: p.x, y },
            Flip::Both => Point { x, y },
        }
    }

    pub(super) fn words(self) -> &'static str {
        match self {
            Flip::X => "x counted from the other end",
            Flip::Y => "y counted from the other side",
            Flip::Both => "x and y counted from the opposite corner",
        }
    }

    pub(super) fn columns(self) -> &'static str {
        match self {
            Flip::X => "x_mm",
            Flip::Y => "y_mm",
            Flip::Both => "x_mm and y_mm",
        }
    }
}

/// In what a place may keep still.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Frame {
    Panel,
    Machine,
}

impl Frame {
    fn at(self, p: Point, panel: &Panel) -> Point {
        match self {
            Frame::Panel => p,
            Frame::Machine => panel.to_machine(p),
        }
    }

    fn rect(self, panel: &Panel) -> Rect {
        match self {
            Frame::Panel => panel.rect(),
            Frame::Machine => panel.machine_rect(),
        }
    }
}

/// What a heap looks like.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Shape {
    Spot,
    /// At one x, whatever y.
    AtX,
    AtY,
}

impl Shape {
    fn off(self, p: Point, centre: Point) -> f64 {
        match self {
            Shape::Spot => (p.x - centre.x).hypot(p.y - centre.y),
            Shape::AtX => (p.x - centre.x).abs(),
            Shape::AtY => (p.y - centre.y).abs(),
        }
    }

    /// No more than [`Self::off`], without a root.
    fn beyond(self, p: Point, centre: Point) -> f64 {
        match self {
            Shape::Spot => (p.x - centre.x).abs().max((p.y - centre.y).abs()),
            _ => self.off(p, centre),
        }
    }

    fn within(self) -> f64 {
        match self {
            Shape::Spot => SPOT_MM,
            _ => LINE_MM,
        }
    }

    /// How much larger the ring of thrice the distance is than the heap.
    fn ring(self) -> f64 {
        match self {
            Shape::Spot => 8.0,
            _ => 2.0,
        }
    }
}

/// The panels with a place, and those with its mirror image.
#[derive(Debug)]
pub(super) struct Sides {
    pub here: BTreeSet<usize>,
    pub there: BTreeSet<usize>,
    /// Whether the mirror image is a heap itself, at the very place.
    pub is_exact: bool,
}

/// A place where marks of a kind heap up.
pub(super) struct Heap {
    pub kind: usize,
    shape: Shape,
    /// By `Flip::ALL`; none where the place and its mirror image tell nothing.
    sides: [Option<Sides>; 3],
}

/// All heaps of all kinds, in both frames.
pub(super) fn heaps(records: &Records) -> Vec<Heap> {
    let mut by_kind: Vec<Vec<usize>> = vec![Vec::new(); records.defect_names.len()];
    for (nth, defect) in records.defects.iter().enumerate() {
        if defect.place.is_some() {
            by_kind[defect.name].push(nth);
        }
    }
    let lay = |p: &Panel| (p.lay, p.lay_x_mm.to_bits(), p.lay_y_mm.to_bits());
    let one_lay = (records.panels.windows(2)).all(|two| lay(&two[0]) == lay(&two[1]));
    let frames: &[Frame] = if one_lay {
        &[Frame::Panel]
    } else {
        &[Frame::Panel, Frame::Machine]
    };
    let mut all = Vec::new();
    for (kind, marks) in by_kind.iter().enumerate() {
        for frame in frames {
            let marks = Marks::new(records, marks, *frame);
            let spots = marks.centres(Shape::Spot, SPOTS);
            let lines = [Shape::AtX, Shape::AtY]
                .into_iter()
                .flat_map(|shape| marks.centres(shape, LINES));
            for (shape, centre) in spots.into_iter().chain(lines) {
                all.extend(marks.heap(kind, shape, centre));
            }
        }
    }
    all
}

/// The placed marks of one kind as they lie in a frame.
struct Marks<'a> {
    records: &'a Records,
    frame: Frame,
    all: Vec<Placed>,
}

/// A mark and its mirror images in a frame.
struct Placed {
    panel: usize,
    at: Point,
    /// By `Flip::ALL`.
    images: [Point; 3],
}

/// What lies about a centre.
#[derive(Default)]
struct About {
    panels: BTreeSet<usize>,
    ring: usize,
    count: f64,
    sum: (f64, f64),
    squares: (f64, f64),
}

impl About {
    fn add(&mut self, panel: usize, p: Point, centre: Point, shape: Shape) {
        // most marks are far from it
        if shape.beyond(p, centre) > 3.0 * shape.within() {
            return;
        }
        let off = shape.off(p, centre);
        if off <= shape.within() {
            let (x, y) = (p.x - centre.x, p.y - centre.y);
            self.panels.insert(panel);
            self.count += 1.0;
            self.sum = (self.sum.0 + x, self.sum.1 + y);
            self.squares = (self.squares.0 + x * x, self.squares.1 + y * y);
        } else if off <= 3.0 * shape.within() {
            self.ring += 1;
        }
    }

    fn is_heap(&self, shape: Shape) -> bool {
        let around = self.ring as f64 / shape.ring();
        let panels = self.panels.len();
        panels >= PANELS
            && panels as f64 >= (DENSER * around).max(around + BEYOND * (around + 1.0).sqrt())
    }

    /// Mean off the centre and its squared error along an axis.
    fn mean(&self, of: fn((f64, f64)) -> f64) -> (f64, f64) {
        let mean = of(self.sum) / self.count;
        let variance = (of(self.squares) / self.count - mean * mean).max(0.0);
        (mean, variance / self.count)
    }

    /// Whether two are at one place but for their scatter.
    fn is_at(&self, other: &About, shape: Shape) -> bool {
        let near = |of: fn((f64, f64)) -> f64| {
            let ((a, va), (b, vb)) = (self.mean(of), other.mean(of));
            (a - b).abs() <= EXACT_MM + 3.0 * (va + vb).sqrt()
        };
        (shape == Shape::AtY || near(|p| p.0)) && (shape == Shape::AtX || near(|p| p.1))
    }
}

impl<'a> Marks<'a> {
    fn new(records: &'a Records, marks: &[usize], frame: Frame) -> Self {
        let placed = |nth: &usize| {
            let defect = &records.defects[*nth];
            let panel = &records.panels[defect.panel];
            let p = defect.place?;
            Some(Placed {
                panel: defect.panel,
                at: frame.at(p, panel),
                images: Flip::ALL.map(|flip| frame.at(flip.of(p, panel), panel)),
            })
        };
        Self {
            records,
            frame,
            all: marks.iter().filter_map(placed).collect(),
        }
    }

    /// Where marks of most panels lie close together, highest first.
    fn centres(&self, shape: Shape, most: usize) -> Vec<(Shape, Point)> {
        let side = shape.within();
        let field = |p: Point| {
            let at = |v: f64| (v / side).floor() as i64;
            match shape {
                Shape::Spot => (at(p.x), at(p.y)),
                Shape::AtX => (at(p.x), 0),
                Shape::AtY => (0, at(p.y)),
            }
        };
        // Panels with a mark in each field, and the last of them.
        let mut fields: HashMap<(i64, i64), (usize, usize)> = HashMap::new();
        for mark in &self.all {
            let held = fields.entry(field(mark.at)).or_default();
            if held.0 == 0 || held.1 != mark.panel {
                *held = (held.0 + 1, mark.panel);
            }
        }
        let mut highest: Vec<(usize, (i64, i64))> = fields
            .iter()
            .map(|(at, (panels, _))| (*panels, *at))
            .filter(|(panels, _)| 4 * panels >= PANELS)
            .map(|(_, (x, y))| {
                let around = (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (x + dx, y + dy)));
                let all = around.filter_map(|at| fields.get(&at)).map(|held| held.0);
                (all.sum(), (x, y))
            })
            .filter(|(panels, _)| *panels >= PANELS)
            .collect();
        highest.sort_unstable_by_key(|(panels, at)| (std::cmp::Reverse(*panels), *at));
        let mut taken: Vec<(i64, i64)> = Vec::new();
        for (_, at) in highest {
            let near = |t: &(i64, i64)| (t.0 - at.0).abs() <= 2 && (t.1 - at.1).abs() <= 2;
            if !taken.iter().any(near) {
                taken.push(at);
            }
            if taken.len() == most {
                break;
            }
        }
        let middle = |at: i64| (at as f64 + 0.5) * side;
        taken
            .into_iter()
            .map(|(x, y)| (shape, self.settle(shape, Point::new(middle(x), middle(y)))))
            .collect()
    }

    /// Moves a centre to the mean of the marks about it.
    fn settle(&self, shape: Shape, mut centre: Point) -> Point {
        for _ in 0..2 {
            let mut about = About::default();
            for mark in &self.all {
                about.add(mark.panel, mark.at, centre, shape);
            }
            if about.count > 0.0 {
                centre.x += about.mean(|p| p.0).0;
                centre.y += about.mean(|p| p.1).0;
            }
        }
        centre
    }

    /// The heap at a centre, if it is one and tells anything.
    fn heap(&self, kind: usize, shape: Shape, centre: Point) -> Option<Heap> {
        let mut here = About::default();
        let mut there: [About; 3] = Default::default();
        let mut apart = [0.0; 3];
        let mut along = Vec::new();
        let mut at_edge = 0;
        for &Placed { panel, at, images } in &self.all {
            here.add(panel, at, centre, shape);
            let within = shape.within();
            let inside = shape.beyond(at, centre) <= within && shape.off(at, centre) <= within;
            if inside {
                let rect = self.frame.rect(&self.records.panels[panel]);
                along.push(if shape == Shape::AtX { at.y } else { at.x });
                at_edge += usize::from(is_at_edge(shape, at, &rect));
            }
            for (nth, image) in images.into_iter().enumerate() {
                there[nth].add(panel, image, centre, shape);
                if inside {
                    apart[nth] += shape.off(image, at);
                }
            }
        }
        along.sort_unstable_by(f64::total_cmp);
        let is_long = is_spread(&along);
        if !here.is_heap(shape) || 2 * at_edge > along.len() || (shape != Shape::Spot && !is_long) {
            return None;
        }
        let mut apart = apart.into_iter();
        let sides = there.map(|there| {
            let apart = apart.next().unwrap_or_default() / here.count;
            (apart >= OWN * shape.within()).then(|| Sides {
                here: here.panels.clone(),
                is_exact: there.is_heap(shape) && here.is_at(&there, shape),
                there: there.panels,
            })
        });
        Some(Heap { kind, shape, sides })
    }
}

/// Whether the marks of a line, in order, lie along it and not in spots of it.
fn is_spread(along: &[f64]) -> bool {
    let tenth = along.len() / 10;
    let ends = along
        .get(along.len().saturating_sub(1 + tenth))
        .zip(along.get(tenth));
    let in_spot = |low: &f64| along.partition_point(|v| *v <= low + 2.0 * SPOT_MM);
    let most = along
        .iter()
        .enumerate()
        .map(|(nth, low)| in_spot(low) - nth);
    ends.is_some_and(|(high, low)| high - low >= LONG_MM)
        && most.max().unwrap_or_default() as f64 <= IN_SPOT * along.len() as f64
}

/// Whether a mark lies where every panel has its mirror image.
fn is_at_edge(shape: Shape, at: Point, rect: &Rect) -> bool {
    let x = (at.x - rect.x0).min(rect.x1 - at.x) < CORNER_MM;
    let y = (at.y - rect.y0).min(rect.y1 - at.y) < CORNER_MM;
    match shape {
        Shape::Spot => x && y,
        Shape::AtX => x,
        Shape::AtY => y,
    }
}

impl Heap {
    /// The panels that show it and those that show its mirror image; none
    /// where it is its own.
    pub(super) fn sides(&self, flip: Flip) -> Option<&Sides> {
        self.sides[flip as usize].as_ref()
    }

    /// Its shape, as a sentence begins.
    pub(super) fn shape(&self) -> &'static str {
        match self.shape {
            Shape::Spot => "A spot",
            _ => "A line",
        }
    }
}
