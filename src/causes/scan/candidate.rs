//! Discs and bands with more panels than chance allows, and the best of them.

use std::cmp::Ordering;

use super::LineAxis;
use super::axis::across;
use super::families::Family;
use super::grouping::group;
use super::spots::nodes::Node;
use super::tail::Tail;
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::lines::{LINES, LineNode};
use crate::records::Point;

/// Significant centres this near each other are one place, mm.
const PLACE_MM: f64 = 12.0;

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
    pub(super) tail: Tail,
    /// Significant centres of the place.
    pub(super) centres: usize,
}

impl Candidate {
    pub(super) fn p_value(&self) -> f64 {
        self.tail.value()
    }

    /// Smaller p, then smaller size, then point order.
    pub(super) fn order(&self, other: &Self) -> Ordering {
        (self.p_value().total_cmp(&other.p_value()))
            .then(self.size_mm.total_cmp(&other.size_mm))
            .then(self.point.cmp(&other.point))
            .then(self.centre.cmp(&other.centre))
    }
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
    /// Its family of tests.
    pub(super) fn family(self) -> Family {
        match self {
            Self::Node(_) => Family::Nodes,
            Self::Mark(_) => Family::Marks,
            Self::Line(..) => Family::Lines,
        }
    }

    /// The axis of a line.
    fn along(self) -> Option<LineAxis> {
        match self {
            Self::Line(along, _) => Some(along),
            Self::Mark(_) | Self::Node(_) => None,
        }
    }
}

/// The best candidate of all places: significant centres are gathered into
/// places, each shows its best, and the best of these comes first.
pub(super) fn best_of_places(field: &Field, candidates: &[Candidate]) -> Option<Candidate> {
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
                Some(along) => Point::new(across(along, c.at), 0.0),
            })
            .collect();
        let groups = group(&at, PLACE_MM * field.unit, 2);
        places.extend(best_of_groups(of_axis, &groups));
    }
    places.into_iter().min_by(Candidate::order)
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
        let order = candidate.p_value().total_cmp(&known.p_value());
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
