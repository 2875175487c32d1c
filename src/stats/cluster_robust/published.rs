//! Against R's clubSandwich.

use super::{Cluster, ClusterRobust, fit, gather};
use crate::stats::mixed::Grouping;
use crate::stats::published::{Row, column, published};

/// A p-value of 1e-17 magnifies the last digit of t; so does the matrix of raw
/// columns.
const SMALL_P: f64 = 1e-8;
/// Sums of cross products of raw columns lose a few digits.
const SUMS: f64 = 1e-10;

fn check(fit: &ClusterRobust, rows: &[Row], terms: &[&str]) {
    for (k, term) in terms.iter().enumerate() {
        let row = rows.iter().find(|row| row.text("term") == *term).unwrap();
        let got = fit.coefficient(k).unwrap();
        row.check("estimate", got.estimate, SUMS);
        row.check("std_error", got.std_error, SUMS);
        row.check("dof", got.dof, SUMS);
        row.check("p", got.p_value(), SMALL_P);
    }
    assert_eq!(rows.len(), terms.len());
}

fn of(model: &str) -> Vec<Row> {
    let rows = published("cluster_robust.csv").into_iter();
    rows.filter(|row| row.text("model") == model && row.text("type") == "CR2")
        .collect()
}

#[test]
fn balanced_clusters_agree_with_club_sandwich() {
    let rows = published("sleepstudy.csv");
    let x: Vec<f64> = rows
        .iter()
        .flat_map(|row| [1.0, row.number("Days")])
        .collect();
    let groups = Grouping::by_key(rows.iter().map(|row| row.text("Subject")));
    let y = column(&rows, "Reaction");
    let fit = fit(&gather(&x, 2, &y, &groups.of, groups.count), &[], 2).unwrap();
    check(&fit, &of("sleepstudy"), &["(Intercept)", "Days"]);
}

#[test]
fn unequal_clusters_agree_with_club_sandwich() {
    let rows = published("cbpp.csv");
    let x: Vec<f64> = rows
        .iter()
        .flat_map(|row| {
            let is = |period: f64| f64::from(u8::from(row.number("period") == period));
            [1.0, is(2.0), is(3.0), is(4.0), row.number("size")]
        })
        .collect();
    let groups = Grouping::by_key(rows.iter().map(|row| row.text("herd")));
    let y = column(&rows, "incidence");
    let fit = fit(&gather(&x, 5, &y, &groups.of, groups.count), &[], 5).unwrap();
    let terms = ["(Intercept)", "period2", "period3", "period4", "size"];
    check(&fit, &of("cbpp"), &terms);
}

/// Slopes of turned panels in five lots: machine columns and turned tapers.
#[test]
fn panels_and_lots_as_clusters_agree_with_club_sandwich() {
    let panels = published("turned_slopes.csv");
    let terms = ["ax", "ay", "bp", "bq"];
    for name in ["panels", "lots", "mean by panels", "mean by lots"] {
        let columns = if name.starts_with("mean") { 2 } else { 4 };
        let key = if name.ends_with("lots") {
            "lot"
        } else {
            "panel"
        };
        let groups = Grouping::by_key(panels.iter().map(|row| row.text(key)));
        let mut clusters = vec![Cluster::new(columns, 0); groups.count];
        for (row, &g) in panels.iter().zip(&groups.of) {
            let (c, s) = match row.text("lay") {
                "0" => (1.0, 0.0),
                "90" => (0.0, 1.0),
                "180" => (-1.0, 0.0),
                _ => (0.0, -1.0),
            };
            clusters[g].add(&[1.0, 0.0, c, -s][..columns], row.number("slope_x"));
            clusters[g].add(&[0.0, 1.0, s, c][..columns], row.number("slope_y"));
        }
        let fit = fit(&clusters, &[], columns).unwrap();
        let wanted: Vec<Row> = published("turned_slopes_clubsandwich.csv")
            .into_iter()
            .filter(|row| row.text("fit") == name)
            .collect();
        for row in &wanted {
            let k = terms.iter().position(|t| *t == row.text("term")).unwrap();
            let got = fit.coefficient(k).unwrap();
            row.check("estimate", got.estimate, 1e-9);
            row.check("std_error", got.std_error, 1e-9);
            row.check("dof", got.dof, 1e-9);
            row.check("p_value", got.p_value(), 1e-9);
        }
        assert_eq!(wanted.len(), columns);
    }
}
