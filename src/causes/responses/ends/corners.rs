//! One corner, panel after panel: one end of an edge that the tool no longer
//! reaches, or a corner that lies high.
//!
//! Unit: the panel. The corner must carry more marks than each of the other
//! three (three sign tests, the weakest counts), and the rest of its two sides
//! must be good: otherwise it is a side. The vote against the corner across the
//! panel then goes on as the vote of a side does: a half turn moves it there.

use crate::causes::levels::{CORNERS, adjusted};
use crate::causes::responses::ends::sides::{Lead, SideStream};
use crate::causes::responses::ends::votes::{Voter, shares};
use crate::causes::tails::sign_test;
use crate::causes::{Frame, NextCheck, Side};
use crate::site::DefectClass;

/// Of the marks that a side has more than the opposite side, so large a share
/// must lie in its end at the corner.
const REST_IS_GOOD: f64 = 0.6;

/// Marks lie along an edge if they are so many times farther from the corner's
/// other edge.
const ALONG: f64 = 2.0;

/// How marks lie at a corner.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum AtCorner {
    /// Along one edge, at its end.
    EdgeEnd {
        /// The edge.
        edge: Side,
        /// The end of it.
        end: Side,
    },
    /// Along neither edge more than along the other.
    Corner {
        /// Its side along x.
        x: Side,
        /// Its side along y.
        y: Side,
    },
}

impl AtCorner {
    /// The side whose votes carry the finding, and the corner's other side.
    pub(crate) fn sides(self) -> (Side, Side) {
        match self {
            AtCorner::EdgeEnd { edge, end } => (end, edge),
            AtCorner::Corner { x, y } => (x, y),
        }
    }

    /// What a practitioner would look at (common practice, no source).
    pub(crate) fn next_check(self, class: Option<DefectClass>) -> NextCheck {
        match (self, class) {
            (AtCorner::EdgeEnd { .. }, Some(DefectClass::Under)) => NextCheck::CheckStandOff,
            _ => NextCheck::CheckCorner,
        }
    }
}

/// Corners are numbered 0..4: bit 0 is high x, bit 1 high y.
const LAST: usize = 3;

fn along_x(corner: usize) -> Side {
    if corner & 1 == 0 {
        Side::LowX
    } else {
        Side::HighX
    }
}

fn along_y(corner: usize) -> Side {
    if corner & 2 == 0 {
        Side::LowY
    } else {
        Side::HighY
    }
}

/// The corner of two sides of different axes.
pub(crate) fn corner_of(a: Side, b: Side) -> usize {
    let has = |side| usize::from(a == side || b == side);
    has(Side::HighX) + 2 * has(Side::HighY)
}

/// A panel's marks by thirds of both axes, `cells[third of y][third of x]`;
/// marks of repeats at one place left out.
fn ninths(stream: &SideStream<'_>, panel: usize, frame: Frame) -> [[usize; 3]; 3] {
    let mut cells = [[0; 3]; 3];
    for mark in stream.marks.on(panel) {
        if !stream.of_spots[mark.defect]
            && let Some((u, v)) = shares(stream.records, mark.defect, panel, frame)
        {
            cells[third(v)][third(u)] += 1;
        }
    }
    cells
}

/// Which third, counted from the low side.
fn third(share: f64) -> usize {
    match share {
        s if s < 1.0 / 3.0 => 0,
        s if s > 2.0 / 3.0 => 2,
        _ => 1,
    }
}

fn at(cells: &[[usize; 3]; 3], corner: usize) -> usize {
    cells[corner & 2][2 * (corner & 1)]
}

/// Votes of panels for a corner against the one across the panel, named by a
/// side of the corner and its opposite.
pub(crate) fn corner_voters(
    stream: &SideStream<'_>,
    panels: &[usize],
    frame: Frame,
    (side, other): (Side, Side),
) -> Vec<Voter> {
    let corner = corner_of(side, other);
    let vote = |&panel: &usize| {
        let cells = ninths(stream, panel, frame);
        let vote = match at(&cells, corner).cmp(&at(&cells, LAST - corner)) {
            std::cmp::Ordering::Greater => side,
            std::cmp::Ordering::Less => side.opposite(),
            std::cmp::Ordering::Equal => return None,
        };
        Some(Voter { panel, vote })
    };
    panels.iter().filter_map(vote).collect()
}

/// The corner that leads in a frame, if one does; `tests` counts frames and
/// streams.
pub(crate) fn lead(
    stream: &SideStream<'_>,
    frame: Frame,
    tests: usize,
    alpha: f64,
) -> Option<Lead> {
    let all: Vec<[[usize; 3]; 3]> = (stream.panels.iter())
        .map(|&panel| ninths(stream, panel, frame))
        .collect();
    let mut sums = [[0_usize; 3]; 3];
    for cells in &all {
        for (row, sum) in cells.iter().zip(&mut sums) {
            for (n, s) in row.iter().zip(sum) {
                *s += n;
            }
        }
    }
    let corner = (0..4).max_by_key(|&c| (at(&sums, c), LAST - c))?;
    let weakest = [corner ^ 1, corner ^ 2, LAST - corner]
        .into_iter()
        .map(|rival| {
            let (mut more, mut less) = (0, 0);
            for cells in &all {
                more += usize::from(at(cells, corner) > at(cells, rival));
                less += usize::from(at(cells, corner) < at(cells, rival));
            }
            if more > less {
                sign_test(more, less)
            } else {
                1.0
            }
        })
        .fold(0.0, f64::max);
    let p_adjusted = adjusted(weakest, 4 * tests, CORNERS);
    if p_adjusted > alpha || !rest_is_good(&sums, corner) {
        return None;
    }
    let place = lie(stream, frame, corner);
    let (side, other) = place.sides();
    let voters = corner_voters(stream, stream.panels, frame, (side, other));
    let votes = voters.iter().filter(|v| v.vote == side).count();
    Some(Lead {
        frame,
        side,
        corner: Some(place),
        votes,
        against: voters.len() - votes,
        p_adjusted,
        voters,
    })
}

/// Whether what the corner's two sides have more than the opposite sides lies
/// mostly in the corner.
fn rest_is_good(sums: &[[usize; 3]; 3], corner: usize) -> bool {
    let (x, y) = (2 * (corner & 1), corner & 2);
    let more = |a: usize, b: usize| a.saturating_sub(b) as f64;
    let along_x = |i: usize| more(sums[y][i], sums[2 - y][i]);
    let along_y = |j: usize| more(sums[j][x], sums[j][2 - x]);
    let share = |own: f64, others: f64| own > 0.0 && own >= REST_IS_GOOD * (own + others);
    share(along_x(x), along_x(1) + along_x(2 - x)) && share(along_y(y), along_y(1) + along_y(2 - y))
}

/// How the marks in the corner's ninth lie: by their median distances from its
/// two edges.
fn lie(stream: &SideStream<'_>, frame: Frame, corner: usize) -> AtCorner {
    let (x, y) = (along_x(corner), along_y(corner));
    let (mut from_x, mut from_y) = (Vec::new(), Vec::new());
    for (panel, mark) in marks_at(stream, stream.panels, frame, corner) {
        let about = &stream.records.panels[panel];
        let (width, height) = frame.extent(about);
        if let Some((u, v)) = shares(stream.records, mark, panel, frame) {
            from_x.push(width * if x == Side::LowX { u } else { 1.0 - u });
            from_y.push(height * if y == Side::LowY { v } else { 1.0 - v });
        }
    }
    let median = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied().unwrap_or(0.0)
    };
    let (from_x, from_y) = (median(from_x), median(from_y));
    if from_x > ALONG * from_y {
        AtCorner::EdgeEnd { edge: y, end: x }
    } else if from_y > ALONG * from_x {
        AtCorner::EdgeEnd { edge: x, end: y }
    } else {
        AtCorner::Corner { x, y }
    }
}

/// Panels and marks (indices into `Records::defects`) in a corner's ninth.
pub(crate) fn marks_at(
    stream: &SideStream<'_>,
    panels: &[usize],
    frame: Frame,
    corner: usize,
) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    for &panel in panels {
        for mark in stream.marks.on(panel) {
            if !stream.of_spots[mark.defect]
                && let Some((u, v)) = shares(stream.records, mark.defect, panel, frame)
                && (third(u), third(v)) == (2 * (corner & 1), corner & 2)
            {
                out.push((panel, mark.defect));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_end_of_an_edge_is_no_side_and_no_two_sides() {
        // Low y at high x: corner 1.
        let end = [[1, 6, 30], [1, 1, 2], [1, 1, 1]];
        assert!(rest_is_good(&end, 1));
        let side = [[20, 20, 22], [1, 1, 2], [1, 1, 1]];
        assert!(!rest_is_good(&side, 1));
        let two_sides = [[20, 20, 40], [1, 1, 20], [1, 1, 20]];
        assert!(!rest_is_good(&two_sides, 1));
    }

    #[test]
    fn a_corner_has_two_sides_and_lies_across_from_its_opposites() {
        for corner in 0..4 {
            let (x, y) = (along_x(corner), along_y(corner));
            assert_eq!(corner_of(x, y), corner);
            assert_eq!(corner_of(y, x), corner);
            assert_eq!(corner_of(x.opposite(), y.opposite()), LAST - corner);
        }
    }

    #[test]
    fn only_what_is_left_along_an_edge_asks_for_the_stand_off() {
        let end = AtCorner::EdgeEnd {
            edge: Side::LowY,
            end: Side::HighX,
        };
        let corner = AtCorner::Corner {
            x: Side::HighX,
            y: Side::LowY,
        };
        assert_eq!(
            end.next_check(Some(DefectClass::Under)),
            NextCheck::CheckStandOff
        );
        assert_eq!(
            end.next_check(Some(DefectClass::Over)),
            NextCheck::CheckCorner
        );
        assert_eq!(
            corner.next_check(Some(DefectClass::Under)),
            NextCheck::CheckCorner
        );
    }
}
