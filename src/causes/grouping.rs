//! Density clustering (DBSCAN: Ester, Kriegel, Sander & Xu 1996) of what the
//! scan has already proved: significant centres into places, marks into the
//! members of a finding. It decides nothing.

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
    let table = Array2::from_shape_fn((points.len(), 2), |(i, axis)| {
        if axis == 0 { points[i].x } else { points[i].y }
    });
    let clusters = if points.len() < at_least {
        ndarray::Array1::from_elem(points.len(), None)
    } else {
        match Dbscan::params(at_least)
            .tolerance(tolerance_mm)
            .transform(&table)
        {
            Ok(clusters) => clusters,
            // only parameters out of range are refused: then nothing is grouped
            Err(_) => ndarray::Array1::from_elem(points.len(), None),
        }
    };
    let mut number_of: Vec<Option<usize>> = vec![None; points.len()];
    let mut next = 0;
    clusters
        .iter()
        .map(|cluster| {
            let known = cluster.and_then(|c| number_of[c]);
            let number = known.unwrap_or_else(|| {
                next += 1;
                next - 1
            });
            if let Some(c) = cluster {
                number_of[*c] = Some(number);
            }
            number
        })
        .collect()
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
}
