//! One round after the other: which centres are looked at, and which is best.

use super::LineAxis;
use super::candidate::{Candidate, Centre, best};
use super::families::{Each, Tests};
use super::spots::at_marks;
use super::spots::nodes::{self, Node};
use super::spots::screen::{SCREENED_ABOVE, spot_centres, worth_testing};
use super::tail::Tail;
use super::view::View;
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::lines::{self, LINES, LineNode};
use crate::stats::SMALLEST_TAIL;

/// Tails that are only nearly known are worked out exactly where they lie within
/// this factor of the smallest: far more than they can be off.
const NEARLY: f64 = 1.35;

/// Centres within this factor of the level are looked at again in the next round.
const NEAR_LEVEL: f64 = 1e3;

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
        let family = candidate.centre.family();
        self.tests.adjusted(field, family, candidate.p_value())
    }

    /// The best candidate of a round; none if none is significant. In the first
    /// round `field` has all marks of the view.
    ///
    /// Centres far from significance are not looked at again until those near
    /// it are used up; only a look at all of them ends the search. A view that has
    /// none below the highest level that any test may get is not asked for more, where
    /// that has to be worked out.
    pub(super) fn best_candidate(&mut self, field: &Field) -> Option<Candidate> {
        let mut known = None;
        if self.tests.with_nodes() && !self.tests.known() {
            let all = self.all_centres(field);
            if !any_candidate(field, self.tests.ceilings(), &all) {
                return None;
            }
            known = Some(all);
        }
        let level = self.tests.levels(field);
        if let Some(centres) = self.shortlist.take()
            && let Some(best) = best(candidates(field, level, &centres.among(field)))
        {
            self.shortlist = Some(centres);
            return Some(best);
        }
        let all = known.unwrap_or_else(|| self.all_centres(field));
        let wide = level.map(|level| (NEAR_LEVEL * level).min(1.0));
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
        let keeps = |c: &Candidate| c.p_value() <= level[c.centre.family() as usize];
        best(near.into_iter().filter(keeps))
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

/// Whether there is any disc or band with a p-value within its level.
fn any_candidate(field: &Field, level: Each<f64>, centres: &Centres) -> bool {
    let [of_nodes, of_marks, of_lines] = level;
    let any_line = |(along, nodes): (LineAxis, &Vec<LineNode>)| {
        lines::any(&lines::bands(field, along), of_lines, nodes)
    };
    at_marks::any(&at_marks::discs(field), of_marks, &centres.spots)
        || nodes::any(&nodes::discs(field), of_nodes, &centres.nodes)
        || LINES.into_iter().zip(&centres.lines).any(any_line)
}

/// All discs and bands around the centres with a p-value within their level; the
/// smallest p-values are exact.
pub(super) fn candidates(field: &Field, level: Each<f64>, centres: &Centres) -> Vec<Candidate> {
    let [of_nodes, of_marks, of_lines] = level;
    let discs = at_marks::discs(field);
    let node_discs = nodes::discs(field);
    let bands = LINES.map(|along| lines::bands(field, along));
    let mut all = nodes::scan(&node_discs, of_nodes, &centres.nodes);
    all.extend(at_marks::scan(&discs, of_marks, &centres.spots));
    for (bands, nodes) in bands.iter().zip(&centres.lines) {
        all.extend(lines::scan(bands, of_lines, nodes));
    }
    let smallest = all.iter().map(Candidate::p_value).fold(1.0, f64::min);
    for candidate in &mut all {
        if let Tail::Near(p) = candidate.tail
            && p > SMALLEST_TAIL
            && p <= smallest * NEARLY
        {
            candidate.tail = Tail::Exact(match candidate.centre {
                Centre::Node(node) => nodes::exact_tail(&node_discs, node),
                Centre::Mark(radius) => at_marks::exact_tail(&discs, candidate.point, radius),
                Centre::Line(along, node) => lines::exact_tail(&bands[number(along)], node),
            });
        }
    }
    all
}

/// The index of an axis in [`LINES`].
fn number(along: LineAxis) -> usize {
    usize::from(along == LINES[1])
}
