//! Density clustering (DBSCAN: Ester, Kriegel, Sander & Xu 1996) of what the
//! scan has already proved: significant centres into places, marks into the
//! members of a finding. It decides nothing.

use std::collections::BTreeMap;

use linfa::traits::Transformer;
use linfa_clustering::Dbscan;
use ndarray::Array2;

use crate::records::Point;

/// Groups points that are chained by steps shorter than `tolerance_mm`, at
/// least `at_least` together; the rest are groups of one.
///
/// Returns the group of each point; groups are numbered from 0 without gaps in
/// order of their first point.
pub(super) fn group(points: &[Point], tolerance_mm: f64, at_least: usize) -> Vec<usize> {
    // points of one square millimetre go together: crowds stay cheap
    let mut squares: BTreeMap<(i64, i64), usize> = BTreeMap::new();
    let mut representative: Vec<Point> = Vec::new();
    let square_of: Vec<usize> = points
        .iter()
        .map(|p| {
            let key = (p.x.floor() as i64, p.y.floor() as i64);
            *squares.entry(key).or_insert_with(|| {
                representative.push(*p);
                representative.len() - 1
            })
        })
        .collect();
    let clusters = clusters(&representative, tolerance_mm, at_least);
    let mut number_of: BTreeMap<usize, usize> = BTreeMap::new();
    let mut alone: BTreeMap<usize, usize> = BTreeMap::new();
    let mut next = 0;
    square_of
        .iter()
        .map(|&square| {
            let known = match clusters[square] {
                Some(cluster) => number_of.entry(cluster),
                None => alone.entry(square),
            };
            *known.or_insert_with(|| {
                next += 1;
                next - 1
            })
        })
        .collect()
}

fn clusters(points: &[Point], tolerance_mm: f64, at_least: usize) -> Vec<Option<usize>> {
    if points.len() < at_least {
        return vec![None; points.len()];
    }
    let table = Array2::from_shape_fn((points.len(), 2), |(i, axis)| {
        if axis == 0 { points[i].x } else { points[i].y }
    });
    match Dbscan::params(at_least)
        .tolerance(tolerance_mm)
        .transform(&table)
    {
        Ok(clusters) => clusters.to_vec(),
        // only parameters out of range are refused: then nothing is grouped
        Err(_) => vec![None; points.len()],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chain_is_one_group_and_a_lone_point_its_own() {
        let at = |x: f64| Point { x, y: 0.0 };
        let points = [at(100.0), at(0.0), at(10.0), at(20.0), at(300.0), at(102.0)];
        assert_eq!(group(&points, 12.0, 2), [0, 1, 1, 1, 2, 0]);
        assert_eq!(group(&[at(1.0)], 12.0, 2), [0]);
        assert_eq!(group(&[], 12.0, 2), Vec::<usize>::new());
    }

    /// Labels of scikit-learn's DBSCAN (R's dbscan gives the same partition) for
    /// open point patterns; no distance equals the tolerance.
    #[test]
    fn published_patterns_fall_into_the_labelled_clusters() {
        // a unit of the patterns becomes a kilometre or more, so that no square
        // millimetre holds two points
        const SCALE: f64 = 1e6;
        let text = include_str!("../../../fixtures/published/dbscan_labels.csv");
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(text.as_bytes());
        type Labelled = (Vec<Point>, Vec<Option<usize>>);
        let mut sets: BTreeMap<(String, String, String), Labelled> = BTreeMap::new();
        for row in reader.records() {
            let row = row.unwrap();
            let number = |k: usize| row[k].parse::<f64>().unwrap();
            let key = (row[0].to_owned(), row[1].to_owned(), row[2].to_owned());
            let (points, labels) = sets.entry(key).or_default();
            points.push(Point::new(SCALE * number(4), SCALE * number(5)));
            labels.push(row[6].parse().ok()); // −1 is noise
        }
        assert_eq!(sets.len(), 5);
        for ((pattern, tolerance, at_least), (points, labels)) in &sets {
            let tolerance = SCALE * tolerance.parse::<f64>().unwrap();
            let at_least = at_least.parse().unwrap();
            let got = clusters(points, tolerance, at_least);
            let groups = group(points, tolerance, at_least);
            // numbers are arbitrary: each published cluster is one of ours
            let mut pairs = std::collections::BTreeSet::new();
            for (i, (got, wanted)) in got.iter().zip(labels).enumerate() {
                assert_eq!(got.is_none(), wanted.is_none(), "{pattern} point {}", i + 1);
                if let (Some(got), Some(wanted)) = (got, wanted) {
                    pairs.insert((*got, *wanted, groups[i]));
                }
            }
            let distinct = |each: fn(&(usize, usize, usize)) -> usize| {
                let all: std::collections::BTreeSet<usize> = pairs.iter().map(each).collect();
                all.len()
            };
            for count in [distinct(|p| p.0), distinct(|p| p.1), distinct(|p| p.2)] {
                assert_eq!(count, pairs.len(), "{pattern}: {pairs:?}");
            }
            let alone = labels.iter().filter(|l| l.is_none()).count();
            let count = groups.iter().max().map_or(0, |m| m + 1);
            assert_eq!(count, pairs.len() + alone, "{pattern}");
        }
    }
}
