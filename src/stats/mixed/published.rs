//! The linear model against lme4 and pbkrtest, a log-linear one against nlme.

use super::{Fit, Grouping, Problem, Response, Variances};
use crate::stats::published::{Row, column, published};

/// Estimates and standard errors of fixed effects.
const FIXED: f64 = 1e-6;
/// Variances: lme4's search stops at about 1e-7 here.
const VARIANCE: f64 = 2e-6;
/// Degrees of freedom: they move with the variances.
const DOF: f64 = 2e-5;
/// Effects near zero have an absolute error of the size of the others' relative one.
const EFFECT: f64 = 2e-5;

struct Case {
    name: &'static str,
    terms: Vec<&'static str>,
    y: Vec<f64>,
    x: Vec<f64>,
    weights: Option<Vec<f64>>,
    groupings: Vec<(&'static str, Grouping)>,
}

impl Case {
    fn new(name: &'static str, file: &str, y: &str, groups: &[&'static str]) -> Self {
        let rows = published(file);
        Self {
            name,
            terms: vec!["(Intercept)"],
            y: column(&rows, y),
            x: vec![1.0; rows.len()],
            weights: None,
            groupings: groups
                .iter()
                .map(|g| (*g, Grouping::by_key(rows.iter().map(|row| row.text(g)))))
                .collect(),
        }
    }

    fn fit(&self) -> Fit {
        Problem {
            x: &self.x,
            p: self.terms.len(),
            y: &self.y,
            offset: &vec![0.0; self.y.len()],
            response: Response::Linear {
                weights: self.weights.as_deref(),
            },
            groupings: &self.groupings.iter().map(|g| &g.1).collect::<Vec<_>>(),
            variances: Variances::Restricted,
        }
        .fit()
        .unwrap()
    }
}

fn simple() -> Vec<Case> {
    vec![
        Case::new("dyestuff", "dyestuff.csv", "Yield", &["Batch"]),
        Case::new("dyestuff2", "dyestuff2.csv", "Yield", &["Batch"]),
        Case::new(
            "penicillin",
            "penicillin.csv",
            "diameter",
            &["plate", "sample"],
        ),
    ]
}

fn of<'a>(rows: &'a [Row], model: &str) -> Vec<&'a Row> {
    let own = rows.iter().filter(|row| row.text("model") == model);
    let rows: Vec<&Row> = own.collect();
    assert!(!rows.is_empty(), "nothing about {model}");
    rows
}

/// Contrast of one coefficient.
fn coefficient(fit: &Fit, k: usize) -> crate::stats::contrast::Contrast {
    let mut c = vec![0.0; fit.p];
    c[k] = 1.0;
    fit.contrast(&c).unwrap()
}

#[test]
fn fixed_effects_agree_with_kenward_and_roger_of_pbkrtest() {
    let table = published("lmm_fixed_effects.csv");
    for case in simple() {
        let fit = case.fit();
        for row in of(&table, case.name) {
            let at = case.terms.iter().position(|t| *t == row.text("term"));
            let got = coefficient(&fit, at.unwrap());
            row.check("estimate", got.estimate, FIXED);
            row.check("kr_std_error", got.std_error, FIXED);
            row.check("kr_df", got.dof, DOF);
            row.check("t", got.estimate / got.std_error, FIXED);
            row.check("p_kr", got.p_value(), 1e-4); // 1e-7: dof magnified
        }
    }
}

#[test]
fn variances_and_predicted_effects_agree_with_lme4() {
    let variances = published("lmm_variance_components.csv");
    let effects = published("lmm_blups.csv");
    for case in simple() {
        let fit = case.fit();
        let components: Vec<f64> = fit.components().collect();
        for row in of(&variances, case.name) {
            let own = case.groupings.iter().position(|g| g.0 == row.text("group"));
            let got = own.map_or(fit.scale, |k| components[k]);
            row.check("variance_or_cov", got, VARIANCE);
        }
        // Rows differ in their groups' effects only.
        let mut wanted = vec![0.0; case.y.len()];
        for row in of(&effects, case.name) {
            let own = case.groupings.iter().find(|g| g.0 == row.text("group"));
            let rows = published(&format!("{}.csv", case.name));
            let name = own.unwrap().0;
            for (sum, data) in wanted.iter_mut().zip(&rows) {
                if data.text(name) == row.text("level") {
                    *sum += row.number("blup");
                }
            }
        }
        let scale = components.iter().fold(1.0, |l: f64, c| l.max(c.sqrt()));
        for (got, wanted) in fit.effects.iter().zip(&wanted) {
            assert!((got - wanted).abs() < EFFECT * scale, "{}", case.name);
        }
    }
}

#[test]
fn weights_and_nested_groups_agree_with_lme4_and_pbkrtest() {
    let mut cbpp = Case::new("cbpp_weighted", "cbpp.csv", "incidence", &["herd"]);
    let rows = published("cbpp.csv");
    let size = column(&rows, "size");
    cbpp.y = cbpp.y.iter().zip(&size).map(|(k, n)| k / n).collect();
    cbpp.weights = Some(size);
    cbpp.terms = vec!["(Intercept)", "period2", "period3", "period4"];
    cbpp.x = rows
        .iter()
        .flat_map(|row| {
            let is = |period: f64| f64::from(u8::from(row.number("period") == period));
            [1.0, is(2.0), is(3.0), is(4.0)]
        })
        .collect();
    let pastes = Case::new(
        "pastes_nested",
        "pastes.csv",
        "strength",
        &["batch", "sample"],
    );
    let table = published("lmm_weighted_nested.csv");
    for case in [cbpp, pastes] {
        let fit = case.fit();
        let components: Vec<f64> = fit.components().collect();
        for row in of(&table, case.name) {
            let term = row.text("term");
            if row.text("kind") == "fixed" {
                let at = case.terms.iter().position(|t| *t == term).unwrap();
                let got = coefficient(&fit, at);
                row.check("value", got.estimate, 1e-6);
                row.check("std_error", got.std_error, 1e-6);
                row.check("df", got.dof, 1e-5);
            } else {
                let own = case.groupings.iter().position(|g| g.0 == term);
                row.check("value", own.map_or(fit.scale, |k| components[k]), 1e-5);
            }
        }
    }
}
