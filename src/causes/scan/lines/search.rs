//! Lines: bands across a machine axis, around the nodes of a fixed lattice, that
//! hold more panels than chance and are spread along themselves.
//!
//! As with the discs of [`super::nodes`], a band at a node doesn't depend on the
//! marks: every panel counts, none has to be left out, and the number of tests is
//! bounded by the panels' length, which for lines is few however many marks there
//! are.

use rayon::prelude::*;

use crate::causes::scan::LineAxis;
use crate::causes::scan::axis::{across, lengthwise, moved_across, stretch};
use crate::causes::scan::candidate::{Candidate, Centre};
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::field::weighted::Crowding;
use crate::causes::scan::lines::background::{BandScratch, Bands};
use crate::causes::scan::lines::beside::{beside, beside_at_least};
use crate::causes::scan::lines::pooled::Pooled;
use crate::causes::scan::spots::screen::piece;
use crate::causes::scan::tail::{chance_of_hits, stands_out, tail_of_hits};

/// The axes along which lines are looked for.
pub(crate) const LINES: [LineAxis; 2] = [LineAxis::Y, LineAxis::X];

/// Half widths of the bands and the step between them, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Mesh {
    pub(crate) half_width_mm: f64,
    pub(crate) step_mm: f64,
}

/// The lattices: half width 4 takes in two thirds of a line whose marks scatter by
/// 4 mm, 8 nineteen twentieths of it and four fifths of one with 6.5 mm.
pub(crate) const MESHES: [Mesh; 2] = [
    Mesh {
        half_width_mm: 4.0,
        step_mm: 3.0,
    },
    Mesh {
        half_width_mm: 8.0,
        step_mm: 5.0,
    },
];

/// Panels a line needs.
pub(crate) const PANELS_NEEDED: usize = 4;

/// A stretch of a band this long that holds more than half of its panels makes
/// it a spot, not a line, mm.
const STRETCH_MM: f64 = 60.0;

/// A node: its lattice, and which one across the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct LineNode {
    /// Index into [`MESHES`].
    pub(crate) mesh: usize,
    number: i64,
}

impl LineNode {
    /// The coordinate across the line, mm.
    pub(crate) fn at(self, field: &Field) -> f64 {
        (self.number as f64 + 0.5) * MESHES[self.mesh].step_mm * field.unit
    }
}

/// The field across lines along `along`, for the scan's half widths.
pub(crate) fn bands(field: &Field, along: LineAxis) -> Bands<'_> {
    let half_widths = MESHES.map(|mesh| mesh.half_width_mm * field.unit);
    Bands::new(field, along, &half_widths, Crowding::Anywhere)
}

/// All nodes that lie on any panel, by lattice, in order across.
pub(crate) fn nodes(field: &Field, along: LineAxis) -> Vec<LineNode> {
    let mut all = Vec::new();
    for (mesh, Mesh { step_mm, .. }) in MESHES.into_iter().enumerate() {
        let step = step_mm * field.unit;
        let mut numbers = Vec::new();
        for kind in &field.kinds {
            let (low, high) = stretch(along, kind.rect);
            let (first, last) = ((low / step - 0.5).ceil(), (high / step - 0.5).floor());
            numbers.extend(first as i64..=last as i64);
        }
        numbers.sort_unstable();
        numbers.dedup();
        all.extend(numbers.into_iter().map(|number| LineNode { mesh, number }));
    }
    all
}

/// Bands around the given nodes with a p-value of at most `level` that are
/// spread along themselves, in their order.
pub(crate) fn scan(bands: &Bands, level: f64, nodes: &[LineNode]) -> Vec<Candidate> {
    looks(bands, level, nodes).collect()
}

/// Whether there is any.
pub(crate) fn any(bands: &Bands, level: f64, nodes: &[LineNode]) -> bool {
    looks(bands, level, nodes).any(|_| true)
}

fn looks<'a>(
    bands: &'a Bands<'_>,
    level: f64,
    nodes: &'a [LineNode],
) -> impl ParallelIterator<Item = Candidate> {
    nodes
        .par_iter()
        .with_min_len(piece(nodes.len()))
        .map_init(
            || BandScratch::new(bands.field),
            move |scratch, &node| at_node(bands, node, level, scratch),
        )
        .flatten_iter()
}

fn at_node(
    bands: &Bands,
    node: LineNode,
    level: f64,
    scratch: &mut BandScratch,
) -> Option<Candidate> {
    let field = bands.field;
    let at = node.at(field);
    let inside = bands.within(at, bands.half_width(node.mesh));
    let panels_hit = distinct_panels(field, inside);
    if panels_hit < PANELS_NEEDED {
        return None;
    }
    let half_width = bands.half_width(node.mesh);
    let ruled_out = match beside_at_least(bands, at, half_width, &mut scratch.shares) {
        Some(least) => !least.stands_out(panels_hit),
        None => {
            let least = bands.least_expected(at, node.mesh, scratch);
            least.never_stands_out(panels_hit) || least.tail(panels_hit) > level
        }
    };
    if ruled_out {
        return None;
    }
    let tail = match expected(bands, node, scratch) {
        Expected::Beside(pooled) => pooled
            .stands_out(panels_hit)
            .then(|| pooled.tail(panels_hit))?,
        Expected::ByPanel => stands_out(&scratch.chances, panels_hit)
            .then(|| tail_of_hits(&scratch.chances, panels_hit, level))?,
    };
    if tail.value() > level || !is_spread(bands, inside, panels_hit) {
        return None;
    }
    let distance = |&i: &usize| (across(bands.along, field.points[i].at) - at).abs();
    let nearest = |a: &usize, b: &usize| distance(a).total_cmp(&distance(b)).then(a.cmp(b));
    let point = inside.iter().copied().min_by(nearest)?;
    Some(Candidate {
        centre: Centre::Line(bands.along, node),
        at: moved_across(bands.along, field.points[point].at, at),
        point,
        size_mm: MESHES[node.mesh].half_width_mm,
        panels_hit,
        tail,
    })
}

/// What is expected of a band without a repeat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Expected {
    /// From the ground beside it.
    Beside(Pooled),
    /// Near an edge: from each panel's marks around it, in the scratch.
    ByPanel,
}

/// What is expected of the band around a node.
pub(crate) fn expected(bands: &Bands, node: LineNode, scratch: &mut BandScratch) -> Expected {
    let at = node.at(bands.field);
    if let Some(pooled) = beside(bands, at, bands.half_width(node.mesh), &mut scratch.shares) {
        return Expected::Beside(pooled);
    }
    bands.move_to(at, scratch);
    bands.chances(at, node.mesh, None, scratch);
    Expected::ByPanel
}

/// The exact tail of one band.
pub(crate) fn exact_tail(bands: &Bands, node: LineNode) -> f64 {
    let field = bands.field;
    let inside = bands.within(node.at(field), bands.half_width(node.mesh));
    let panels_hit = distinct_panels(field, inside);
    let mut scratch = BandScratch::new(field);
    match expected(bands, node, &mut scratch) {
        Expected::Beside(pooled) => pooled.tail(panels_hit).value(),
        Expected::ByPanel => chance_of_hits(&scratch.chances, panels_hit),
    }
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
