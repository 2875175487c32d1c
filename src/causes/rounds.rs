//! One round after the other: which centres are looked at, and which is best.

use super::LineAxis;
use super::attained::Attained;
use super::band_background::across;
use super::field::Field;
use super::grouping::group;
use super::lines::{self, HALF_WIDTHS_MM};
use super::nodes::{self, MESHES, Node};
use super::screen::{SCREENED_ABOVE, line_centres, spot_centres, worth_testing};
use super::spots::{self, RADII_MM};
use super::tail::Tail;
use super::view::View;
use crate::records::Point;
use crate::stats::SMALLEST_TAIL;

/// How discs at nodes, discs at marks and bands share the level of a view: 1 in
/// all.
///
/// Marks are few where records are, and a disc around each is then worth more than
/// one at every node; with many marks it is the other way round, and with very
/// many the nodes are left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shares {
    pub(super) nodes: f64,
    pub(super) marks: f64,
    lines: f64,
}

impl Shares {
    /// For a view with so many marks.
    pub(super) fn of(marks: usize) -> Self {
        let nodes = if marks > SCREENED_ABOVE { 0.0 } else { 0.45 };
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

/// The axes along which lines are looked for.
const LINES: [LineAxis; 2] = [LineAxis::Y, LineAxis::X];

/// Centres within this factor of the level are looked at again in the next round.
const NEAR_LEVEL: f64 = 1e3;

/// The best disc or band of a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Candidate {
    pub(super) form: Form,
    /// Where the disc or band is centred.
    pub(super) at: Point,
    /// The mark there, or the nearest: index into `Field::points`.
    pub(super) point: usize,
    /// The node, if it is centred on one.
    pub(super) node: Option<Node>,
    /// Radius or half width, mm, before the field's unit.
    pub(super) size_mm: f64,
    pub(super) panels_hit: usize,
    pub(super) p_value: f64,
    /// Significant centres of the place.
    pub(super) centres: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    Spot,
    Line(LineAxis),
}

/// Marks and centres still in play from round to round.
#[derive(Debug, Clone)]
pub(super) struct Rounds {
    /// Which marks of the view are left.
    pub(super) left: Vec<bool>,
    /// Discs and bands tried in the first round.
    pub(super) tests: usize,
    shares: Shares,
    nodes: Attained,
    marks: Attained,
    lines: Attained,
    /// Centres of the round, as marks of the view: all that the screen passes,
    /// or those that came near the level the last time all were looked at.
    shortlist: Option<Centres>,
}

/// Where a round looks for spots and lines.
#[derive(Debug, Clone, Default)]
pub(super) struct Centres {
    pub(super) nodes: Vec<Node>,
    pub(super) spots: Vec<usize>,
    pub(super) lines: [Vec<usize>; 2],
}

impl Rounds {
    /// `alpha` is the level of the whole view.
    pub(super) fn new(view: &View, alpha: f64) -> Self {
        let field = Field::whole(view);
        let of_lines = LINES
            .iter()
            .map(|&along| HALF_WIDTHS_MM.len() * line_centres(&field, along).len())
            .sum();
        let shares = Shares::of(view.marks.len());
        let (nodes, marks, lines) = if shares.nodes > 0.0 {
            (
                Attained::of_nodes(&field, shares.nodes * alpha),
                Attained::of_marks(&field, shares.marks * alpha),
                Attained::of_lines(&field, of_lines, shares.lines * alpha),
            )
        } else {
            let of_marks = RADII_MM.len() * spot_centres(&field).len();
            (
                Attained::equal(0),
                Attained::equal(of_marks),
                Attained::equal(of_lines),
            )
        };
        let nodes_tried = if shares.nodes > 0.0 {
            nodes.tests()
        } else {
            0.0
        };
        Self {
            left: vec![true; view.marks.len()],
            tests: (nodes_tried + marks.tests() + lines.tests()).round() as usize,
            shares,
            nodes,
            marks,
            lines,
            shortlist: None,
        }
    }

    /// The p-value of a candidate, adjusted for all tests of the view.
    pub(super) fn adjusted(&self, candidate: &Candidate) -> f64 {
        let p = candidate.p_value;
        match (candidate.form, candidate.node) {
            (Form::Spot, Some(_)) => self.nodes.adjusted(p) / self.shares.nodes,
            (Form::Spot, None) => self.marks.adjusted(p) / self.shares.marks,
            (Form::Line(_), _) => self.lines.adjusted(p) / self.shares.lines,
        }
        .min(1.0)
    }

    /// The best candidate of a round, one per place looked at; none if none is
    /// significant when `alpha` is the level of the whole view.
    ///
    /// Centres far from significance are not looked at again until those near
    /// it are used up; only a look at all of them ends the search.
    pub(super) fn best_candidate(&mut self, field: &Field, alpha: f64) -> Option<Candidate> {
        let level = Levels {
            nodes: self.nodes.level(self.shares.nodes * alpha),
            marks: self.marks.level(self.shares.marks * alpha),
            lines: self.lines.level(self.shares.lines * alpha),
        };
        if let Some(centres) = self.shortlist.take() {
            let again: Vec<Candidate> = candidates(field, level, &centres.among(field));
            if let Some(best) = best_of_places(field, &again) {
                self.shortlist = Some(centres);
                return Some(best);
            }
        }
        let all = self.all_centres(field);
        let wide = Levels {
            nodes: (NEAR_LEVEL * level.nodes).min(1.0),
            marks: (NEAR_LEVEL * level.marks).min(1.0),
            lines: (NEAR_LEVEL * level.lines).min(1.0),
        };
        let near = candidates(field, wide, &all);
        let mut shortlist = Centres::default();
        for candidate in &near {
            let mark = field.points[candidate.point].mark;
            match (candidate.form, candidate.node) {
                (Form::Spot, Some(node)) => shortlist.nodes.push(node),
                (Form::Spot, None) => shortlist.spots.push(mark),
                (Form::Line(along), _) => {
                    shortlist.lines[usize::from(along == LINES[1])].push(mark)
                }
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
        let with_nodes = self.shares.nodes > 0.0;
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
            lines: LINES.map(|along| line_centres(field, along)),
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
            lines: [points(&self.lines[0]), points(&self.lines[1])],
        }
    }
}

/// The largest p-values that are significant.
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
        let level = match (candidate.form, candidate.node) {
            (Form::Spot, Some(_)) => self.nodes,
            (Form::Spot, None) => self.marks,
            (Form::Line(_), _) => self.lines,
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
    let mut all: Vec<(Candidate, Tail, usize)> = at_nodes
        .into_iter()
        .filter_map(|c| {
            let candidate = Candidate {
                form: Form::Spot,
                at: c.node.at(field),
                point: nodes::nearest_point(field, c.node)?,
                node: Some(c.node),
                size_mm: MESHES[c.node.mesh].radius_mm,
                panels_hit: c.panels_hit,
                p_value: c.tail.value(),
                centres: 1,
            };
            Some((candidate, c.tail, c.node.mesh))
        })
        .collect();
    let at_marks = spots::scan(&discs, level.marks, &centres.spots);
    let around = |form, point: usize, size_mm, panels_hit, tail: Tail| Candidate {
        form,
        at: field.points[point].at,
        point,
        node: None,
        size_mm,
        panels_hit,
        p_value: tail.value(),
        centres: 1,
    };
    all.extend(at_marks.into_iter().map(|c| {
        let size_mm = RADII_MM[c.radius];
        let candidate = around(Form::Spot, c.point, size_mm, c.panels_hit, c.tail);
        (candidate, c.tail, c.radius)
    }));
    for (bands, centres) in bands.iter().zip(&centres.lines) {
        let lines = lines::scan(bands, level.lines, centres);
        all.extend(lines.into_iter().map(|c| {
            let (form, size_mm) = (Form::Line(bands.along), HALF_WIDTHS_MM[c.width]);
            let candidate = around(form, c.point, size_mm, c.panels_hit, c.tail);
            (candidate, c.tail, c.width)
        }));
    }
    let smallest = all.iter().map(|c| c.1.value()).fold(1.0, f64::min);
    all.into_iter()
        .map(|(mut candidate, tail, size)| {
            if let Tail::Near(p) = tail
                && p > SMALLEST_TAIL
                && p <= smallest * NEARLY
            {
                candidate.p_value = match (candidate.form, candidate.node) {
                    (Form::Spot, Some(node)) => nodes::exact_tail(&node_discs, node),
                    (Form::Spot, None) => spots::exact_tail(&discs, candidate.point, size),
                    (Form::Line(along), _) => {
                        let bands = &bands[usize::from(along == LINES[1])];
                        lines::exact_tail(bands, candidate.point, size)
                    }
                };
            }
            candidate
        })
        .collect()
}

/// The best candidate of all places: significant centres are gathered into
/// places, each shows its best, and the best of these comes first.
fn best_of_places(field: &Field, candidates: &[Candidate]) -> Option<Candidate> {
    let mut places = Vec::new();
    for form in [Form::Spot, Form::Line(LINES[0]), Form::Line(LINES[1])] {
        let of_form: Vec<Candidate> = candidates
            .iter()
            .filter(|c| c.form == form)
            .copied()
            .collect();
        let at: Vec<Point> = of_form
            .iter()
            .map(|c| match form {
                Form::Spot => c.at,
                Form::Line(along) => Point {
                    x: across(along, c.at),
                    y: 0.0,
                },
            })
            .collect();
        let groups = group(&at, PLACE_MM * field.unit, 2);
        places.extend(best_of_groups(of_form, &groups));
    }
    places.into_iter().min_by(|a, b| {
        a.p_value
            .total_cmp(&b.p_value)
            .then(a.size_mm.total_cmp(&b.size_mm))
            .then(a.point.cmp(&b.point))
            .then(a.node.cmp(&b.node))
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
