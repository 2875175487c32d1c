//! Contour lines of a smooth function over the square −1..1.

use std::collections::BTreeMap;

use super::axes::round_step;

/// A contour line.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Line {
    /// The function's value along it.
    pub(super) level: f64,
    /// Points (u, v) in order.
    pub(super) points: Vec<(f64, f64)>,
}

/// All lines, at round levels.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Contours {
    /// Rising in level.
    pub(super) lines: Vec<Line>,
    /// Decimals that tell the levels apart.
    pub(super) decimals: usize,
}

/// Cells along each side.
const CELLS: usize = 48;

/// A place on the lattice where a line crosses: the edge from node (i, j)
/// towards u (false) or v (true).
type Crossing = (usize, usize, bool);

/// Lines at about `count` levels 1, 2 or 5 times a power of ten apart; none where
/// the function spans less than `flat`. By marching squares over 48 × 48 cells,
/// every saddle cell decided by its middle.
pub(super) fn contours(f: impl Fn(f64, f64) -> f64, count: f64, flat: f64) -> Contours {
    let at = |k: usize| 2.0 * k as f64 / CELLS as f64 - 1.0;
    let nodes: Vec<Vec<f64>> = (0..=CELLS)
        .map(|i| (0..=CELLS).map(|j| f(at(i), at(j))).collect())
        .collect();
    let values = || nodes.iter().flatten().copied();
    let low = values().fold(f64::INFINITY, f64::min);
    let high = values().fold(f64::NEG_INFINITY, f64::max);
    if !(high - low).is_finite() || high - low < flat {
        return Contours {
            lines: Vec::new(),
            decimals: 0,
        };
    }
    let (step, decimals) = round_step((high - low) / count);
    let first = (low / step).ceil() as i64;
    let last = (high / step).floor() as i64;
    let lines = (first..=last)
        .flat_map(|k| {
            let level = k as f64 * step;
            chains(&segments(&nodes, level, &f))
                .into_iter()
                .map(move |chain| (level, chain))
        })
        .map(|(level, chain)| Line {
            level,
            points: chain.iter().map(|c| place(&nodes, *c, level)).collect(),
        })
        .collect();
    Contours { lines, decimals }
}

fn place(nodes: &[Vec<f64>], (i, j, along_v): Crossing, level: f64) -> (f64, f64) {
    let at = |k: f64| 2.0 * k / CELLS as f64 - 1.0;
    let from = nodes[i][j];
    let to = if along_v {
        nodes[i][j + 1]
    } else {
        nodes[i + 1][j]
    };
    let share = ((level - from) / (to - from)).clamp(0.0, 1.0);
    if along_v {
        (at(i as f64), at(j as f64 + share))
    } else {
        (at(i as f64 + share), at(j as f64))
    }
}

/// Pieces of a line, one or two a cell.
fn segments(
    nodes: &[Vec<f64>],
    level: f64,
    f: &impl Fn(f64, f64) -> f64,
) -> Vec<(Crossing, Crossing)> {
    let mut out = Vec::new();
    let above = |i: usize, j: usize| nodes[i][j] >= level;
    for i in 0..CELLS {
        for j in 0..CELLS {
            // Edges of the cell in turn and whether the line crosses them.
            let corners = [
                above(i, j),
                above(i + 1, j),
                above(i + 1, j + 1),
                above(i, j + 1),
            ];
            let edges = [
                (i, j, false),
                (i + 1, j, true),
                (i, j + 1, false),
                (i, j, true),
            ];
            let crossed: Vec<Crossing> = (0..4)
                .filter(|&e| corners[e] != corners[(e + 1) % 4])
                .map(|e| edges[e])
                .collect();
            match crossed.as_slice() {
                [a, b] => out.push((*a, *b)),
                [a, b, c, d] => {
                    let middle = |k: usize| (2 * k + 1) as f64 / CELLS as f64 - 1.0;
                    let with_first = (f(middle(i), middle(j)) >= level) == corners[0];
                    if with_first {
                        out.push((*a, *b));
                        out.push((*c, *d));
                    } else {
                        out.push((*d, *a));
                        out.push((*b, *c));
                    }
                }
                _ => {}
            }
        }
    }
    out
}

/// Joins pieces end to end: open lines first, then rings.
fn chains(segments: &[(Crossing, Crossing)]) -> Vec<Vec<Crossing>> {
    let mut ends: BTreeMap<Crossing, Vec<usize>> = BTreeMap::new();
    for (k, (a, b)) in segments.iter().enumerate() {
        ends.entry(*a).or_default().push(k);
        ends.entry(*b).or_default().push(k);
    }
    let mut used = vec![false; segments.len()];
    let open: Vec<Crossing> = ends
        .iter()
        .filter(|e| e.1.len() == 1)
        .map(|e| *e.0)
        .collect();
    let rings: Vec<Crossing> = segments.iter().map(|s| s.0).collect();
    let mut out = Vec::new();
    for start in open.into_iter().chain(rings) {
        let mut chain = vec![start];
        let mut here = start;
        while let Some(&next) = ends[&here].iter().find(|k| !used[**k]) {
            used[next] = true;
            let (a, b) = segments[next];
            here = if a == here { b } else { a };
            chain.push(here);
        }
        if chain.len() > 1 {
            out.push(chain);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_gives_straight_lines_at_round_levels() {
        let found = contours(|u, _| 2.0 * u, 8.0, 1e-6);
        assert_eq!(found.decimals, 1);
        assert_eq!(found.lines.iter().filter(|l| l.level == 1.0).count(), 1);
        let line = found.lines.iter().find(|l| l.level == 1.0).unwrap();
        assert_eq!(line.points.len(), CELLS + 1);
        assert!(line.points.iter().all(|p| (p.0 - 0.5).abs() < 1e-12));
    }

    #[test]
    fn a_bowl_gives_rings_that_close() {
        let found = contours(|u, v| u * u + v * v, 8.0, 1e-6);
        let ring = found.lines.iter().find(|l| l.level == 0.5).unwrap();
        assert_eq!(ring.points.first(), ring.points.last());
        assert!(
            ring.points
                .iter()
                .all(|p| (p.0.hypot(p.1) - 0.5f64.sqrt()).abs() < 2e-3)
        );
    }

    #[test]
    fn what_is_flat_has_no_lines() {
        assert!(contours(|_, _| 3.0, 8.0, 1e-6).lines.is_empty());
    }
}
