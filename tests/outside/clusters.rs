//! Cluster-robust standard errors against R's clubSandwich.

use crate::published::{CLOSED_FORM, Row, column, published};
use onus::stats::linear::{ClusterCorrection, Design, LeastSquares, cluster_robust, least_squares};

/// A p-value of 1e-17 magnifies the last digit of t.
const SMALL_P: f64 = 1e-9;

fn check(model: &str, fit: &LeastSquares, clusters: &[usize]) {
    for (name, correction) in [
        ("CR1", ClusterCorrection::Factor),
        ("CR2", ClusterCorrection::BiasReduced),
    ] {
        let got = cluster_robust(fit, clusters, correction).unwrap();
        let rows: Vec<Row> = published("cluster_robust.csv")
            .into_iter()
            .filter(|row| row.text("model") == model && row.text("type") == name)
            .collect();
        assert_eq!(rows.len(), got.coefficients.len());
        for (row, coefficient) in rows.iter().zip(&got.coefficients) {
            row.check("estimate", coefficient.estimate, CLOSED_FORM);
            row.check("std_error", coefficient.std_error, CLOSED_FORM);
            row.check("dof", coefficient.dof, CLOSED_FORM);
            row.check("p", coefficient.p_value.unwrap(), SMALL_P);
        }
    }
}

#[test]
fn balanced_clusters_agree_with_club_sandwich() {
    let rows = published("sleepstudy.csv");
    let design = Design::with_intercept(rows.len())
        .number("Days", &column(&rows, "Days"))
        .unwrap();
    let fit = least_squares(&design, &column(&rows, "Reaction"), None, 0.95).unwrap();
    let clusters: Vec<usize> = rows
        .iter()
        .map(|row| row.count("Subject") as usize)
        .collect();
    check("sleepstudy", &fit, &clusters);
}

#[test]
fn unequal_clusters_agree_with_club_sandwich() {
    let rows = published("cbpp.csv");
    let period: Vec<usize> = rows
        .iter()
        .map(|row| row.count("period") as usize - 1)
        .collect();
    let design = Design::with_intercept(rows.len())
        .factor("period", &period, &["1", "2", "3", "4"])
        .and_then(|design| design.number("size", &column(&rows, "size")))
        .unwrap();
    let fit = least_squares(&design, &column(&rows, "incidence"), None, 0.95).unwrap();
    let clusters: Vec<usize> = rows.iter().map(|row| row.count("herd") as usize).collect();
    check("cbpp", &fit, &clusters);
}
