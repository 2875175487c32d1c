//! What one round of the scan looks at: the marks left, the panels they could
//! have lain on, and where to find them.

use std::collections::BTreeMap;

use super::edge_profile::edge_bin;
use crate::causes::scan::field::point_index::PointIndex;
use crate::causes::scan::field::weights::common_grain_mm;
use crate::causes::scan::sharpness::Zone;
use crate::causes::scan::view::{View, ViewPanel};
use crate::records::{Point, Rect};

/// Grain, mm, at which the scan's lengths are as published; coarser records
/// scale them up.
const FINE_GRAIN_MM: f64 = 5.0;

/// Kinds of panels beyond which rectangles are told apart more coarsely, so that
/// the work per place stays bounded.
const MOST_KINDS: usize = 128;

/// Coarsest rounding of rectangles, mm.
const COARSEST_MM: f64 = 32.0;

/// A disc reaches this far over a panel's edge, mm: marks clipped onto an edge
/// would otherwise meet the disc in measure zero.
const OVERHANG_MM: f64 = 2.0;

/// Panels with the same rectangle, to 1 mm, and the same turn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Kind {
    pub(crate) rect: Rect,
    pub(crate) swapped: bool,
    /// How many panels.
    pub(crate) panels: f64,
}

impl Kind {
    /// Distance class of a place along frame x: to the nearer edge, 0 off the panel.
    pub(crate) fn x_bin(&self, x: f64) -> usize {
        edge_bin((x - self.rect.x0).min(self.rect.x1 - x))
    }

    /// The same along frame y.
    pub(crate) fn y_bin(&self, y: f64) -> usize {
        edge_bin((y - self.rect.y0).min(self.rect.y1 - y))
    }

    /// Cell of a place: classes of its distances to the nearest panel-x and panel-y
    /// edge.
    pub(crate) fn cell(&self, at: Point) -> (usize, usize) {
        let (x, y) = (self.x_bin(at.x), self.y_bin(at.y));
        if self.swapped { (y, x) } else { (x, y) }
    }
}

/// A mark still in play.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FieldPoint {
    pub(crate) at: Point,
    pub(crate) panel: usize,
    pub(crate) grain_mm: f64,
    /// Index into `View::marks`.
    pub(crate) mark: usize,
}

/// Marks left in a round, and the panels.
#[derive(Debug, Clone)]
pub(crate) struct Field {
    /// By panel, then in the order of the view.
    pub(crate) points: Vec<FieldPoint>,
    pub(crate) index: PointIndex,
    pub(crate) kinds: Vec<Kind>,
    /// Kind of each panel; panels without a place in the frame have none.
    pub(crate) kind_of: Vec<Option<usize>>,
    /// All lengths of the scan are multiplied by this: 1 unless four fifths of
    /// the marks are written in steps of 10 mm or more.
    pub(crate) unit: f64,
    /// How far a disc reaches over a panel's edge, mm.
    pub(crate) overhang_mm: f64,
    /// Zones whose marks earlier rounds took out.
    pub(crate) emptied: Vec<Zone>,
}

impl Field {
    /// The marks of `view` for which `left` is true.
    pub(crate) fn new(view: &View, left: &[bool]) -> Self {
        let (kinds, kind_of, rounding) = kinds(&view.panels);
        let points: Vec<FieldPoint> = view
            .marks
            .iter()
            .enumerate()
            .filter(|(mark, _)| left[*mark])
            .map(|(mark, m)| FieldPoint {
                at: m.at,
                panel: m.panel,
                grain_mm: m.grain_mm,
                mark,
            })
            .collect();
        let unit = unit(view);
        Self {
            index: PointIndex::new(points.iter().map(|p| (p.at, p.panel)), 25.0 * unit),
            points,
            kinds,
            kind_of,
            unit,
            overhang_mm: OVERHANG_MM.max(rounding),
            emptied: Vec::new(),
        }
    }

    /// All marks of `view`.
    pub(crate) fn whole(view: &View) -> Self {
        Self::new(view, &vec![true; view.marks.len()])
    }

    /// Number of panels.
    pub(crate) fn panels(&self) -> usize {
        self.kind_of.len()
    }

    /// The points of one panel after the other, as ranges of `points`.
    pub(crate) fn by_panel(&self) -> impl Iterator<Item = &[FieldPoint]> {
        self.points.chunk_by(|a, b| a.panel == b.panel)
    }
}

/// Multiplier of all lengths of the scan: a fifth of the common grain in mm.
pub(crate) fn unit(view: &View) -> f64 {
    common_grain_mm(view.marks.iter().map(|m| m.grain_mm)).map_or(1.0, |g| g / FINE_GRAIN_MM)
}

/// Panels sorted into kinds. Corners are rounded to 1 mm; where panels lie in so
/// many ways that there are more kinds than [`MOST_KINDS`], to 2, 4, … 32 mm.
fn kinds(panels: &[ViewPanel]) -> (Vec<Kind>, Vec<Option<usize>>, f64) {
    let mut step = 1.0;
    loop {
        let (kinds, kind_of) = kinds_rounded(panels, step);
        if kinds.len() <= MOST_KINDS || step >= COARSEST_MM {
            return (kinds, kind_of, step);
        }
        step *= 2.0;
    }
}

fn kinds_rounded(panels: &[ViewPanel], step: f64) -> (Vec<Kind>, Vec<Option<usize>>) {
    let mut known: BTreeMap<([i64; 4], bool), usize> = BTreeMap::new();
    let mut kinds: Vec<Kind> = Vec::new();
    let kind_of = panels
        .iter()
        .map(|panel| {
            if !panel.has_place() {
                return None;
            }
            let Rect { x0, y0, x1, y1 } = panel.rect;
            let key = (
                [x0, y0, x1, y1].map(|v| (v / step).round() as i64),
                panel.swapped,
            );
            let kind = *known.entry(key).or_insert_with(|| {
                kinds.push(Kind {
                    rect: panel.rect,
                    swapped: panel.swapped,
                    panels: 0.0,
                });
                kinds.len() - 1
            });
            kinds[kind].panels += 1.0;
            Some(kind)
        })
        .collect();
    (kinds, kind_of)
}
