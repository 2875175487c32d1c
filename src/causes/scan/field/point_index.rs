//! Points sorted into rows, to find those near a place without looking at all.

use crate::records::Point;

/// A point of the index.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Entry {
    pub(crate) at: Point,
    pub(crate) panel: usize,
    /// Position in the list the index was made of.
    pub(crate) id: usize,
}

/// Points in rows of equal height along y, each row sorted along x.
#[derive(Debug, Clone)]
pub(crate) struct PointIndex {
    row_height: f64,
    /// Number of the row and end of its run in `entries`, in ascending order.
    rows: Vec<(i64, usize)>,
    entries: Vec<Entry>,
}

impl PointIndex {
    pub(crate) fn new(points: impl Iterator<Item = (Point, usize)>, row_height: f64) -> Self {
        let mut entries: Vec<Entry> = points
            .enumerate()
            .map(|(id, (at, panel))| Entry { at, panel, id })
            .collect();
        let row = |y: f64| (y / row_height).floor() as i64;
        entries.sort_by(|a, b| {
            row(a.at.y)
                .cmp(&row(b.at.y))
                .then(a.at.x.total_cmp(&b.at.x))
                .then(a.id.cmp(&b.id))
        });
        let mut rows: Vec<(i64, usize)> = Vec::new();
        for (position, entry) in entries.iter().enumerate() {
            match rows.last_mut() {
                Some(last) if last.0 == row(entry.at.y) => last.1 = position + 1,
                _ => rows.push((row(entry.at.y), position + 1)),
            }
        }
        Self {
            row_height,
            rows,
            entries,
        }
    }

    /// Points with |x − centre.x| ≤ half and |y − centre.y| ≤ half, in the
    /// index's own fixed order.
    pub(crate) fn in_square(&self, centre: Point, half: f64) -> impl Iterator<Item = &Entry> {
        let row = |y: f64| (y / self.row_height).floor() as i64;
        let (low, high) = (row(centre.y - half), row(centre.y + half));
        let first = self.rows.partition_point(|r| r.0 < low);
        self.rows[first..]
            .iter()
            .take_while(move |r| r.0 <= high)
            .enumerate()
            .flat_map(move |(offset, &(_, end))| {
                let start = match first + offset {
                    0 => 0,
                    before => self.rows[before - 1].1,
                };
                let run = &self.entries[start..end];
                let from = run.partition_point(|e| e.at.x < centre.x - half);
                run[from..]
                    .iter()
                    .take_while(move |e| e.at.x <= centre.x + half)
                    .filter(move |e| (e.at.y - centre.y).abs() <= half)
            })
    }

    /// Points within `radius` of the centre, with the square of their distance.
    pub(crate) fn in_disc(
        &self,
        centre: Point,
        radius: f64,
    ) -> impl Iterator<Item = (&Entry, f64)> {
        let limit = within(radius);
        self.in_square(centre, radius * (1.0 + 1e-9))
            .map(move |e| (e, square_distance(e.at, centre)))
            .filter(move |(_, square)| *square <= limit)
    }
}

/// Square of the distance between two points.
pub(crate) fn square_distance(p: Point, q: Point) -> f64 {
    (p.x - q.x).powi(2) + (p.y - q.y).powi(2)
}

/// Square of a radius with a little slack: turning a panel costs the last bits
/// of a coordinate, and round coordinates put marks exactly on the rim.
pub(crate) fn within(radius: f64) -> f64 {
    radius * radius * (1.0 + 1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_what_looking_at_all_points_finds() {
        let points: Vec<Point> = (0..500)
            .map(|i| {
                Point::new(
                    f64::from(i * 137 % 601) - 100.0,
                    f64::from(i * 89 % 401) - 50.0,
                )
            })
            .collect();
        let index = PointIndex::new(points.iter().map(|&p| (p, 0)), 25.0);
        for centre in points.iter().step_by(7) {
            for radius in [0.0, 4.0, 30.0, 100.0] {
                let mut found: Vec<usize> =
                    index.in_disc(*centre, radius).map(|(e, _)| e.id).collect();
                found.sort_unstable();
                let all: Vec<usize> = (0..points.len())
                    .filter(|&i| square_distance(points[i], *centre) <= radius * radius)
                    .collect();
                assert_eq!(found, all);
            }
        }
    }

    #[test]
    fn a_place_a_million_km_away_does_no_harm() {
        let far = Point::new(1e12, -1e12);
        let near = Point::new(1.0, 1.0);
        let index = PointIndex::new([(far, 0), (near, 1)].into_iter(), 25.0);
        let found: Vec<usize> = index.in_disc(near, 5.0).map(|(e, _)| e.panel).collect();
        assert_eq!(found, [1]);
    }
}
