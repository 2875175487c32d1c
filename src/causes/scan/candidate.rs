//! Discs and bands with more panels than chance allows, and the best of them.

use std::cmp::Ordering;

use super::LineAxis;
use super::families::Family;
use super::spots::nodes::Node;
use super::tail::Tail;
use crate::causes::scan::lines::LineNode;
use crate::records::Point;

/// A disc or band with more panels than chance allows.
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
}

impl Candidate {
    pub(super) fn p_value(&self) -> f64 {
        self.tail.value()
    }

    /// Smaller p, also where p-values have no order any more, then smaller size.
    fn order(&self, other: &Self) -> Ordering {
        (self.tail.ln().total_cmp(&other.tail.ln())).then(self.size_mm.total_cmp(&other.size_mm))
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
}

/// The candidate with the smallest p-value; of several the smallest, then the first.
pub(super) fn best(candidates: impl IntoIterator<Item = Candidate>) -> Option<Candidate> {
    candidates.into_iter().min_by(Candidate::order)
}
