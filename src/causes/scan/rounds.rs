//! One round after the other: which centres are looked at, and which is best.

use std::sync::OnceLock;

use super::LineAxis;
use super::attained::{Attained, HIGHEST};
use super::axis::{across, moved_across};
use super::found::ScanSettings;
use super::grouping::group;
use super::nodes::{self, MESHES, Node};
use super::screen::{SCREENED_ABOVE, spot_centres, worth_testing};
use super::spots::{self, RADII_MM};
use super::tail::Tail;
use super::view::View;
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::lines;
use crate::causes::scan::lines::{LINES, LineNode};
use crate::records::Point;
use crate::stats::SMALLEST_TAIL;

/// How discs at nodes, discs at marks and bands share the level of a view: 1 in
/// all.
///
/// Where marks are few, a disc around each is worth more than one at every node, of
/// which there are thousands; with very many marks the nodes are left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shares {
    pub(super) nodes: f64,
    pub(super) marks: f64,
    lines: f64,
}

impl Shares {
    /// For a view with so many marks.
    pub(super) fn of(marks: usize) -> Self {
        let nodes = if marks > SCREENED_ABOVE {
            0.0
        } else {
            0.45 * marks as f64 / (marks as f64 + 100.0)
        };
        let lines = 0.3;
        Self {
            nodes,
            marks: 1.0 - lines - nodes,
            lines,
        }
    }
}

/// Significant centres this near each other are one place, mm.
const PLACE_MM: f64 = 12.0;

/// Tails that are only nearly known are worked out exactly where they lie within
/// this factor of the smallest: far more than they can be off.
const NEARLY: f64 = 1.35;

/// Centres within this factor of the level are looked at again in the next round.
const NEAR_LEVEL: f64 = 1e3;

/// The best disc or band of a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Candidate {
    pub(super) centre: Centre,
    /// Where the disc or band is centred; a band's coordinate along it is its mark's.
    pub(super) at: Point,
    /// The mark there, or the nearest: index into `Field::points`.
    pub(super) point: usize,
    /// Radius or half width, mm, before the field's unit.
    pub(super) size_mm: f64,
    pub(super) panels_hit: usize,
    pub(super) p_value: f64,
    /// Significant centres of the place.
    pub(super) centres: usize,
}

/// What a disc or band is centred on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Centre {
    /// A disc on the candidate's mark, of the radius with this index.
    Mark(usize),
    /// A disc on a node.
    Node(Node),
    /// A band on a node across lines along the axis.
    Line(LineAxis, LineNode),
}

impl Centre {
    /// The axis of a line.
    fn along(self) -> Option<LineAxis> {
        match self {
            Self::Line(along, _) => Some(along),
            Self::Mark(_) | Self::Node(_) => None,
        }
    }
}

/// All tests of a view, and how they share its level.
#[derive(Debug, Clone)]
pub struct Tests {
    /// The level of the view.
    alpha: f64,
    pub(super) shares: Shares,
    /// How many there are.
    number: Levels,
    /// What each may take, worked out when first asked for.
    attained: OnceLock<[Attained; 3]>,
}

impl Tests {
    /// `settings.alpha` is the level of the whole report.
    #[must_use]
    pub fn of(view: &View, settings: &ScanSettings) -> Self {
        let field = Field::whole(view);
        let shares = Shares::of(view.marks.len());
        let of_lines = LINES.map(|along| lines::nodes(&field, along).len());
        let of_marks = RADII_MM.len() * spot_centres(&field).len();
        let number = Levels {
            nodes: nodes::number(&field).max(1.0),
            marks: of_marks.max(1) as f64,
            lines: of_lines.iter().sum::<usize>().max(1) as f64,
        };
        Self {
            alpha: settings.of_view(),
            shares,
            number,
            attained: OnceLock::new(),
        }
    }

    fn with_nodes(&self) -> bool {
        self.shares.nodes > 0.0
    }

    fn number(&self) -> usize {
        let Levels {
            nodes,
            marks,
            lines,
        } = self.number;
        let nodes = if self.with_nodes() { nodes } else { 0.0 };
        (nodes + marks + lines).round() as usize
    }

    /// The level of each family of tests.
    fn families(&self) -> Levels {
        Levels {
            nodes: self.shares.nodes * self.alpha,
            marks: self.shares.marks * self.alpha,
            lines: self.shares.lines * self.alpha,
        }
    }

    /// Of nodes, marks and lines, where `field` has all marks of the view.
    pub(super) fn attained(&self, field: &Field) -> &[Attained; 3] {
        self.attained.get_or_init(|| {
            let (number, level) = (self.number, self.families());
            if self.with_nodes() {
                [
                    Attained::of_nodes(field, number.nodes, level.nodes),
                    Attained::of_marks(field, number.marks, level.marks),
                    Attained::of_lines(field, number.lines, level.lines),
                ]
            } else {
                [number.nodes, number.marks, number.lines].map(Attained::equal)
            }
        })
    }

    /// The largest p-values that are significant.
    fn levels(&self, field: &Field) -> Levels {
        let [nodes, marks, lines] = self.attained(field);
        let level = self.families();
        Levels {
            nodes: nodes.level(level.nodes),
            marks: marks.level(level.marks),
            lines: lines.level(level.lines),
        }
    }

    /// No p-value above these is significant, whatever the tests take.
    fn ceilings(&self) -> Levels {
        let level = self.families();
        Levels {
            nodes: HIGHEST * level.nodes / self.number.nodes,
            marks: HIGHEST * level.marks / self.number.marks,
            lines: HIGHEST * level.lines / self.number.lines,
        }
    }
}

/// Marks and centres still in play from round to round.
#[derive(Debug, Clone)]
pub(super) struct Rounds<'a> {
    /// Which marks of the view are left.
    pub(super) left: Vec<bool>,
    /// Discs and bands tried in the first round.
    pub(super) number: usize,
    tests: &'a Tests,
    /// Centres of the round, as marks of the view: all that the screen passes,
    /// or those that came near the level the last time all were looked at.
    shortlist: Option<Centres>,
}

/// Where a round looks for spots and lines.
#[derive(Debug, Clone, Default)]
pub(super) struct Centres {
    pub(super) nodes: Vec<Node>,
    pub(super) spots: Vec<usize>,
    pub(super) lines: [Vec<LineNode>; 2],
}

impl<'a> Rounds<'a> {
    pub(super) fn new(view: &View, tests: &'a Tests) -> Self {
        Self {
            left: vec![true; view.marks.len()],
            number: tests.number(),
            tests,
            shortlist: None,
        }
    }

    /// The p-value of a candidate, adjusted for all tests of the view.
    pub(super) fn adjusted(&self, field: &Field, candidate: &Candidate) -> f64 {
        let [nodes, marks, lines] = self.tests.attained(field);
        let p = candidate.p_value;
        match candidate.centre {
            Centre::Node(_) => nodes.adjusted(p) / self.tests.shares.nodes,
            Centre::Mark(_) => marks.adjusted(p) / self.tests.shares.marks,
            Centre::Line(..) => lines.adjusted(p) / self.tests.shares.lines,
        }
        .min(1.0)
    }

    /// The best candidate of a round, one per place looked at; none if none is
    /// significant. In the first round `field` has all marks of the view.
    ///
    /// Centres far from significance are not looked at again until those near
    /// it are used up; only a look at all of them ends the search. A view that has
    /// none below the highest level that any test may get is not asked for more.
    pub(super) fn best_candidate(&mut self, field: &Field) -> Option<Candidate> {
        let mut known = None;
        if self.tests.attained.get().is_none() {
            let all = self.all_centres(field);
            if candidates(field, self.tests.ceilings(), &all).is_empty() {
                return None;
            }
            known = Some(all);
        }
        let level = self.tests.levels(field);
        if let Some(centres) = self.shortlist.take() {
            let again: Vec<Candidate> = candidates(field, level, &centres.among(field));
            if let Some(best) = best_of_places(field, &again) {
                self.shortlist = Some(centres);
                return Some(best);
            }
        }
        let all = known.unwrap_or_else(|| self.all_centres(field));
        let wide = Levels {
            nodes: (NEAR_LEVEL * level.nodes).min(1.0),
            marks: (NEAR_LEVEL * level.marks).min(1.0),
            lines: (NEAR_LEVEL * level.lines).min(1.0),
        };
        let near = candidates(field, wide, &all);
        let mut shortlist = Centres::default();
        for candidate in &near {
            let mark = field.points[candidate.point].mark;
            match candidate.centre {
                Centre::Node(node) => shortlist.nodes.push(node),
                Centre::Mark(_) => shortlist.spots.push(mark),
                Centre::Line(along, node) => shortlist.lines[number(along)].push(node),
            }
        }
        self.shortlist = Some(shortlist);
        let significant: Vec<Candidate> = near.into_iter().filter(|c| level.keeps(c)).collect();
        best_of_places(field, &significant)
    }

    /// Marks in the first round decide whether nodes are looked at.
    fn all_centres(&self, field: &Field) -> Centres {
        let marks = spot_centres(field);
        let screened = field.points.len() > SCREENED_ABOVE;
        let with_nodes = self.tests.with_nodes();
        Centres {
            nodes: if with_nodes {
                nodes::occupied(field)
            } else {
                Vec::new()
            },
            spots: if screened {
                worth_testing(field, &marks)
            } else {
                marks
            },
            lines: LINES.map(|along| lines::nodes(field, along)),
        }
    }
}

impl Centres {
    /// The marks as points of the field, those still left.
    fn among(&self, field: &Field) -> Self {
        let points = |marks: &Vec<usize>| {
            let mut points: Vec<usize> = marks
                .iter()
                .filter_map(|mark| field.points.binary_search_by_key(mark, |p| p.mark).ok())
                .collect();
            points.dedup();
            points
        };
        Self {
            nodes: self.nodes.clone(),
            spots: points(&self.spots),
            lines: self.lines.clone(),
        }
    }
}

/// A number for each family of tests, mostly the largest p-values that are significant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Levels {
    /// Of discs at nodes.
    pub(super) nodes: f64,
    /// Of discs at marks.
    pub(super) marks: f64,
    /// Of bands.
    pub(super) lines: f64,
}

impl Levels {
    fn keeps(&self, candidate: &Candidate) -> bool {
        let level = match candidate.centre {
            Centre::Node(_) => self.nodes,
            Centre::Mark(_) => self.marks,
            Centre::Line(..) => self.lines,
        };
        candidate.p_value <= level
    }
}

/// All discs and bands around the centres with a p-value within their level; the
/// smallest p-values are exact.
pub(super) fn candidates(field: &Field, level: Levels, centres: &Centres) -> Vec<Candidate> {
    let discs = spots::discs(field);
    let node_discs = nodes::discs(field);
    let bands = LINES.map(|along| lines::bands(field, along));
    let at_nodes = nodes::scan(&node_discs, level.nodes, &centres.nodes);
    let mut all: Vec<(Candidate, Tail)> = at_nodes
        .into_iter()
        .filter_map(|c| {
            let candidate = Candidate {
                centre: Centre::Node(c.node),
                at: c.node.at(field),
                point: nodes::nearest_point(field, c.node)?,
                size_mm: MESHES[c.node.mesh].radius_mm,
                panels_hit: c.panels_hit,
                p_value: c.tail.value(),
                centres: 1,
            };
            Some((candidate, c.tail))
        })
        .collect();
    let at_marks = spots::scan(&discs, level.marks, &centres.spots);
    all.extend(at_marks.into_iter().map(|c| {
        let candidate = Candidate {
            centre: Centre::Mark(c.radius),
            at: field.points[c.point].at,
            point: c.point,
            size_mm: RADII_MM[c.radius],
            panels_hit: c.panels_hit,
            p_value: c.tail.value(),
            centres: 1,
        };
        (candidate, c.tail)
    }));
    for (bands, nodes) in bands.iter().zip(&centres.lines) {
        let lines = lines::scan(bands, level.lines, nodes);
        all.extend(lines.into_iter().map(|c| {
            let mark = field.points[c.point].at;
            let candidate = Candidate {
                centre: Centre::Line(c.along, c.node),
                at: moved_across(c.along, mark, c.node.at(field)),
                point: c.point,
                size_mm: lines::MESHES[c.node.mesh].half_width_mm,
                panels_hit: c.panels_hit,
                p_value: c.tail.value(),
                centres: 1,
            };
            (candidate, c.tail)
        }));
    }
    let smallest = all.iter().map(|c| c.1.value()).fold(1.0, f64::min);
    all.into_iter()
        .map(|(mut candidate, tail)| {
            if let Tail::Near(p) = tail
                && p > SMALLEST_TAIL
                && p <= smallest * NEARLY
            {
                candidate.p_value = match candidate.centre {
                    Centre::Node(node) => nodes::exact_tail(&node_discs, node),
                    Centre::Mark(radius) => spots::exact_tail(&discs, candidate.point, radius),
                    Centre::Line(along, node) => lines::exact_tail(&bands[number(along)], node),
                };
            }
            candidate
        })
        .collect()
}

/// The index of an axis in [`LINES`].
fn number(along: LineAxis) -> usize {
    usize::from(along == LINES[1])
}

/// The best candidate of all places: significant centres are gathered into
/// places, each shows its best, and the best of these comes first.
fn best_of_places(field: &Field, candidates: &[Candidate]) -> Option<Candidate> {
    let mut places = Vec::new();
    for axis in [None, Some(LINES[0]), Some(LINES[1])] {
        let of_axis: Vec<Candidate> = candidates
            .iter()
            .filter(|c| c.centre.along() == axis)
            .copied()
            .collect();
        let at: Vec<Point> = of_axis
            .iter()
            .map(|c| match axis {
                None => c.at,
                Some(along) => Point {
                    x: across(along, c.at),
                    y: 0.0,
                },
            })
            .collect();
        let groups = group(&at, PLACE_MM * field.unit, 2);
        places.extend(best_of_groups(of_axis, &groups));
    }
    places.into_iter().min_by(|a, b| {
        a.p_value
            .total_cmp(&b.p_value)
            .then(a.size_mm.total_cmp(&b.size_mm))
            .then(a.point.cmp(&b.point))
            .then(a.centre.cmp(&b.centre))
    })
}

/// The first best candidate of each group, with the group's number of centres.
fn best_of_groups(candidates: Vec<Candidate>, groups: &[usize]) -> Vec<Candidate> {
    let mut best: Vec<Candidate> = Vec::new();
    let mut last_centre = Vec::new();
    for (candidate, &number) in candidates.into_iter().zip(groups) {
        let Some(known) = best.get_mut(number) else {
            last_centre.push(candidate.at);
            best.push(candidate);
            continue;
        };
        let centres = known.centres + usize::from(last_centre[number] != candidate.at);
        last_centre[number] = candidate.at;
        let order = candidate.p_value.total_cmp(&known.p_value);
        if order
            .then(candidate.size_mm.total_cmp(&known.size_mm))
            .is_lt()
        {
            *known = candidate;
        }
        known.centres = centres;
    }
    best
}
