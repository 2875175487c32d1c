//! Spots: discs around the nodes of a fixed lattice that hold more panels than
//! chance.
//!
//! A node does not depend on the marks, so every panel counts and none has to be
//! left out; and of the marks of a place more lie within a disc's radius of the
//! place than of one of themselves. That outweighs the larger number of tests,
//! which is bounded by the panels' area.

use rayon::prelude::*;

use super::discs::{DiscScratch, Discs};
use super::look::{Look, PANELS_NEEDED};
use super::outlook::Outlook;
use super::screen::piece;
use crate::causes::scan::candidate::{Candidate, Centre};
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::field::weighted::Crowding;
use crate::causes::scan::tail::chance_of_hits;
use crate::records::{Point, Rect};

/// A radius and the step of its lattice, mm. Radius 7 takes in four fifths of a
/// place whose marks scatter by 4 mm, 11 three quarters of one with 6.5 mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Mesh {
    pub(crate) radius_mm: f64,
    pub(crate) step_mm: f64,
}

/// The lattices.
pub(crate) const MESHES: [Mesh; 2] = [
    Mesh {
        radius_mm: 7.0,
        step_mm: 4.5,
    },
    Mesh {
        radius_mm: 11.0,
        step_mm: 7.0,
    },
];

/// A node: its lattice, and where on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Node {
    /// Index into [`MESHES`].
    pub(crate) mesh: usize,
    row: i64,
    column: i64,
}

impl Node {
    pub(crate) fn at(self, field: &Field) -> Point {
        let step = MESHES[self.mesh].step_mm * field.unit;
        Point::new(
            (self.column as f64 + 0.5) * step,
            (self.row as f64 + 0.5) * step,
        )
    }
}

/// The field's disc backgrounds for the lattices' radii.
pub(crate) fn discs(field: &Field) -> Discs<'_> {
    let radii = MESHES.map(|mesh| mesh.radius_mm * field.unit);
    Discs::new(field, &radii, Crowding::Anywhere)
}

/// Nodes whose disc holds marks of enough panels for a spot, in order.
pub(crate) fn occupied(field: &Field) -> Vec<Node> {
    let mut out = Vec::new();
    for (mesh, Mesh { radius_mm, step_mm }) in MESHES.into_iter().enumerate() {
        let (radius, step) = (radius_mm * field.unit, step_mm * field.unit);
        let mut seen: Vec<(Node, usize)> = Vec::new();
        for point in &field.points {
            let from = |v: f64| ((v - radius) / step - 0.5).ceil() as i64;
            let to = |v: f64| ((v + radius) / step - 0.5).floor() as i64;
            for row in from(point.at.y)..=to(point.at.y) {
                for column in from(point.at.x)..=to(point.at.x) {
                    let node = Node { mesh, row, column };
                    let at = node.at(field);
                    if (at.x - point.at.x).hypot(at.y - point.at.y) <= radius {
                        seen.push((node, point.panel));
                    }
                }
            }
        }
        seen.sort_unstable();
        seen.dedup();
        let enough = seen.chunk_by(|a, b| a.0 == b.0);
        out.extend(
            enough
                .filter(|of_node| of_node.len() >= PANELS_NEEDED)
                .map(|of_node| of_node[0].0)
                .filter(|node| on_a_panel(field, node.at(field))),
        );
    }
    out
}

fn on_a_panel(field: &Field, at: Point) -> bool {
    field.kinds.iter().any(|kind| kind.rect.contains(at))
}

/// Number of nodes of all lattices that lie on any panel.
pub(crate) fn number(field: &Field) -> f64 {
    (0..MESHES.len()).map(|mesh| number_of(field, mesh)).sum()
}

/// Number of nodes of one lattice that lie on any panel.
pub(crate) fn number_of(field: &Field, mesh: usize) -> f64 {
    covered_mm2(field) / (MESHES[mesh].step_mm * field.unit).powi(2)
}

/// Area that any panel covers.
fn covered_mm2(field: &Field) -> f64 {
    let rects = || field.kinds.iter().map(|kind| kind.rect);
    let mut cuts: Vec<f64> = rects().flat_map(|r| [r.x0, r.x1]).collect();
    cuts.sort_by(f64::total_cmp);
    cuts.dedup();
    let mut heights: Vec<Rect> = rects().collect();
    heights.sort_by(|a, b| a.y0.total_cmp(&b.y0));
    let mut area = 0.0;
    for slab in cuts.windows(2) {
        let (mut height, mut top) = (0.0, f64::NEG_INFINITY);
        for rect in (heights.iter()).filter(|r| r.x0 <= slab[0] && r.x1 >= slab[1]) {
            height += (rect.y1 - rect.y0.max(top)).max(0.0);
            top = top.max(rect.y1);
        }
        area += (slab[1] - slab[0]) * height;
    }
    area
}

/// Nodes on panels, about `most` of them spread evenly: every m-th of a row,
/// shifted from row to row so that all distances from all edges occur.
pub(crate) fn sample(field: &Field, mesh: usize, most: f64) -> Vec<Node> {
    let step = MESHES[mesh].step_mm * field.unit;
    let every = (covered_mm2(field) / (step * step) / most).ceil().max(1.0) as i64;
    let shift = (1..=every)
        .filter(|s| s * 13 >= every * 8 && coprime(*s, every))
        .min()
        .unwrap_or(1);
    let first = |v: f64| (v / step - 0.5).ceil() as i64;
    let last = |v: f64| (v / step - 0.5).floor() as i64;
    let mut out = Vec::new();
    for kind in &field.kinds {
        for row in first(kind.rect.y0)..=last(kind.rect.y1) {
            let low = first(kind.rect.x0);
            let start = low + (row * shift - low).rem_euclid(every);
            for column in (start..=last(kind.rect.x1)).step_by(every as usize) {
                out.push(Node { mesh, row, column });
            }
        }
    }
    out.sort_unstable();
    out.dedup();
    out
}

fn coprime(a: i64, b: i64) -> bool {
    let (mut a, mut b) = (a, b);
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a == 1
}

/// Discs around the given nodes with a p-value of at most `level`, in their order.
pub(crate) fn scan(discs: &Discs, level: f64, nodes: &[Node]) -> Vec<Candidate> {
    looks(discs, Outlook::new(discs).as_ref(), level, nodes).collect()
}

/// Whether there is any.
pub(crate) fn any(discs: &Discs, level: f64, nodes: &[Node]) -> bool {
    looks(discs, Outlook::new(discs).as_ref(), level, nodes).any(|_| true)
}

fn looks<'a>(
    discs: &'a Discs<'_>,
    outlook: Option<&'a Outlook<'_, '_>>,
    level: f64,
    nodes: &'a [Node],
) -> impl ParallelIterator<Item = Candidate> {
    nodes
        .par_iter()
        .with_min_len(piece(nodes.len()))
        .map_init(
            move || Look::new(discs, outlook),
            move |look, &node| {
                let at = node.at(discs.field);
                let panels_hit = panels_in_disc(discs, node);
                look.at(at, None);
                Some(Candidate {
                    centre: Centre::Node(node),
                    at,
                    tail: look.tail(node.mesh, panels_hit, level)?,
                    point: nearest_point(discs.field, node)?,
                    size_mm: MESHES[node.mesh].radius_mm,
                    panels_hit,
                })
            },
        )
        .flatten_iter()
}

/// The exact tail of one disc.
pub(crate) fn exact_tail(discs: &Discs, node: Node) -> f64 {
    let mut scratch = DiscScratch::new(discs.field);
    let at = node.at(discs.field);
    discs.move_to(at, &mut scratch);
    discs.chances(at, node.mesh, None, &mut scratch);
    chance_of_hits(&scratch.chances, panels_in_disc(discs, node))
}

fn panels_in_disc(discs: &Discs, node: Node) -> usize {
    let field = discs.field;
    let radius = discs.backgrounds[node.mesh].size;
    let mut panels: Vec<usize> = field
        .index
        .in_disc(node.at(field), radius)
        .map(|(entry, _)| entry.panel)
        .collect();
    panels.sort_unstable();
    panels.dedup();
    panels.len()
}

/// The mark nearest to a node.
fn nearest_point(field: &Field, node: Node) -> Option<usize> {
    let radius = MESHES[node.mesh].radius_mm * field.unit;
    field
        .index
        .in_disc(node.at(field), radius)
        .min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.id.cmp(&b.0.id)))
        .map(|(entry, _)| entry.id)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::scan::worked_cases::{panel, view};

    #[test]
    fn nodes_are_as_many_as_the_covered_area_holds() {
        let panels = [panel(600.0, 400.0), panel(450.0, 500.0)];
        let field = Field::whole(&view(&panels, &[(0, 1.0, 1.0)], 0.0));
        assert_eq!(covered_mm2(&field), 600.0 * 400.0 + 450.0 * 100.0);
        for mesh in 0..MESHES.len() {
            let all = sample(&field, mesh, f64::INFINITY).len() as f64;
            let expected = covered_mm2(&field) / MESHES[mesh].step_mm.powi(2);
            assert!((all / expected - 1.0).abs() < 0.02, "{all} {expected}");
            let some = sample(&field, mesh, 500.0);
            assert!(some.len() > 400 && some.len() < 520, "{}", some.len());
            // every column next to an edge is met
            let columns = |c: i64| some.iter().filter(|n| n.column == c).count();
            assert!((0..8).all(|c| columns(c) > 0));
        }
    }

    #[test]
    fn a_disc_counts_every_panel_once_and_no_node_lies_off_the_panels() {
        let marks = [
            (0, 1.0, 1.0),
            (1, 2.0, 1.0),
            (2, 1.0, 3.0),
            (2, 1.0, 2.0),
            (0, 300.0, 200.0),
        ];
        let field = Field::whole(&view(&[panel(600.0, 400.0); 3], &marks, 0.0));
        let discs = discs(&field);
        let nodes = occupied(&field);
        assert!(!nodes.is_empty());
        for node in nodes {
            let at = node.at(&field);
            assert!(at.x > 0.0 && at.y > 0.0);
            assert_eq!(panels_in_disc(&discs, node), 3);
        }
    }
}
