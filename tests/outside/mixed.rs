//! Linear mixed models against lme4, lmerTest and pbkrtest.

use crate::{
    model_reference::{levels, statistic},
    published::{Row, column, published},
};
use onus::stats::{
    linear::Design,
    mixed::{Estimation, Mixed, RandomTerm, StandardDeviation, mixed, profile_std_dev},
};

/// −2 ln L at the optimum: flat, so insensitive to where a search stops.
const CRITERION: f64 = 1e-8;
/// Estimates and standard errors of fixed effects.
const FIXED: f64 = 1e-6;
/// Variances: lme4's search stops at about 1e-7 here.
const VARIANCE: f64 = 2e-6;
/// Degrees of freedom: lmerTest differentiates numerically.
const DOF: f64 = 2e-5;
/// lme4's profiles are interpolated by splines.
const PROFILE: f64 = 2e-4;
/// Effects near zero have an absolute error of the size of the others' relative one.
const EFFECT: f64 = 2e-5;

struct Case {
    name: &'static str,
    design: Design,
    response: Vec<f64>,
    terms: Vec<RandomTerm>,
}

fn groups(rows: &[Row], name: &str) -> Vec<usize> {
    let mut labels: Vec<&str> = rows.iter().map(|row| row.text(name)).collect();
    labels.sort_unstable();
    labels.dedup();
    levels(rows, name, &labels)
}

fn cases() -> Vec<Case> {
    let dye = |name: &'static str| {
        let rows = published(&format!("{name}.csv"));
        Case {
            name,
            design: Design::with_intercept(rows.len()),
            response: column(&rows, "Yield"),
            terms: vec![RandomTerm::level("Batch", &groups(&rows, "Batch"))],
        }
    };
    let rows = published("sleepstudy.csv");
    let days = column(&rows, "Days");
    let subject = RandomTerm::level("Subject", &groups(&rows, "Subject")).slope("Days", &days);
    let sleep = |name: &'static str, term: RandomTerm| Case {
        name,
        design: Design::with_intercept(rows.len())
            .number("Days", &days)
            .unwrap(),
        response: column(&rows, "Reaction"),
        terms: vec![term],
    };
    let penicillin = published("penicillin.csv");
    vec![
        dye("dyestuff"),
        dye("dyestuff2"),
        sleep("sleepstudy", subject.clone()),
        sleep("sleepstudy_uncorrelated", subject.uncorrelated()),
        Case {
            name: "penicillin",
            design: Design::with_intercept(penicillin.len()),
            response: column(&penicillin, "diameter"),
            terms: vec![
                RandomTerm::level("plate", &groups(&penicillin, "plate")),
                RandomTerm::level("sample", &groups(&penicillin, "sample")),
            ],
        },
    ]
}

fn fit(case: &Case, estimation: Estimation) -> Mixed {
    let fit = mixed(
        &case.design,
        &case.response,
        &case.terms,
        None,
        estimation,
        0.95,
    )
    .unwrap();
    assert!(
        fit.convergence.converged,
        "{}: {:?}",
        case.name, fit.convergence
    );
    fit
}

fn of<'a>(rows: &'a [Row], model: &str) -> Vec<&'a Row> {
    let rows: Vec<&Row> = rows
        .iter()
        .filter(|row| row.text("model") == model)
        .collect();
    assert!(!rows.is_empty(), "nothing about {model}");
    rows
}

fn check_variances(model: &str, got: &Mixed) {
    let table = published("lmm_variance_components.csv");
    for row in of(&table, model) {
        let group = row.text("group");
        if group == "Residual" {
            row.check("variance_or_cov", got.residual_sd.powi(2), VARIANCE);
            row.check("sd_or_corr", got.residual_sd, VARIANCE);
            continue;
        }
        // lme4 splits an uncorrelated term in two: Subject and Subject.1.
        let name = group.split('.').next().unwrap();
        let term = got.random.iter().find(|term| term.name == name).unwrap();
        let place = |column: &str| {
            let wanted = if column == "(Intercept)" {
                "(intercept)"
            } else {
                column
            };
            term.columns.iter().position(|name| name == wanted).unwrap()
        };
        let one = place(row.text("var1"));
        if row.text("var2").is_empty() {
            row.check("variance_or_cov", term.covariance[one][one], VARIANCE);
            row.check("sd_or_corr", term.std_dev(one), VARIANCE);
        } else {
            // A correlation of 0.07 is the difference of larger terms.
            let other = place(row.text("var2"));
            row.check("variance_or_cov", term.covariance[one][other], 1e-4);
            row.check("sd_or_corr", term.correlation(one, other).unwrap(), 1e-4);
        }
    }
}

#[test]
fn variance_components_and_criteria_agree_with_lme4() {
    for case in cases() {
        let restricted = fit(&case, Estimation::Restricted);
        let full = fit(&case, Estimation::Full);
        statistic(case.name, "n").check("value", case.response.len() as f64, 0.0);
        statistic(case.name, "reml_criterion").check("value", restricted.criterion, CRITERION);
        statistic(case.name, "ml_deviance").check("value", full.criterion, CRITERION);
        check_variances(case.name, &restricted);
        check_variances(&format!("{}_ML", case.name), &full);
        assert_eq!(restricted.convergence.at_boundary, case.name == "dyestuff2");
    }
}

#[test]
fn fixed_effects_and_satterthwaite_degrees_of_freedom_agree_with_lmer_test() {
    let table = published("lmm_fixed_effects.csv");
    for case in cases() {
        let got = fit(&case, Estimation::Restricted);
        let rows = of(&table, case.name);
        assert_eq!(rows.len(), got.fixed.len());
        for (row, coefficient) in rows.iter().zip(&got.fixed) {
            row.check("estimate", coefficient.estimate, FIXED);
            row.check("std_error", coefficient.std_error, FIXED);
            row.check("satterthwaite_df", coefficient.dof, DOF);
            row.check("t", coefficient.statistic.unwrap(), FIXED);
            row.check("p_satterthwaite", coefficient.p_value.unwrap(), 1e-3); // 1e-18: dof and t magnified
        }
    }
}

#[test]
fn predicted_effects_agree_with_lme4() {
    let table = published("lmm_blups.csv");
    for case in cases() {
        let got = fit(&case, Estimation::Restricted);
        let mut checked = 0;
        for row in of(&table, case.name) {
            let index = got
                .random
                .iter()
                .position(|term| term.name == row.text("group"))
                .unwrap();
            let term = &got.random[index];
            let file = if case.name.starts_with("sleepstudy") {
                "sleepstudy"
            } else {
                case.name
            };
            let data = published(&format!("{file}.csv"));
            let rows = groups(&data, row.text("group"));
            let at = data
                .iter()
                .position(|data| data.text(row.text("group")) == row.text("level"))
                .unwrap();
            let column = usize::from(row.text("term") == "Days");
            let scale = term.std_dev(column).max(1.0);
            row.check_within("blup", term.effects[rows[at]][column], EFFECT * scale);
            checked += 1;
        }
        let effects: usize = got
            .random
            .iter()
            .map(|term| term.effects.len() * term.columns.len())
            .sum();
        assert_eq!(checked, effects, "{}", case.name);
    }
}

#[test]
fn the_likelihood_ratio_of_the_slope_of_days_agrees_with_lme4() {
    let with = &cases()[2];
    let without = Case {
        name: "sleepstudy without Days",
        design: Design::with_intercept(with.response.len()),
        response: with.response.clone(),
        terms: with.terms.clone(),
    };
    let ratio = fit(&without, Estimation::Full).criterion - fit(with, Estimation::Full).criterion;
    statistic("sleepstudy", "lr_chi2_Days_ML").check("value", ratio, FIXED);
}

#[test]
fn profile_intervals_of_standard_deviations_agree_with_lme4() {
    let table = published("lmm_profile_intervals.csv");
    for case in cases().iter().filter(|case| case.name != "sleepstudy") {
        let full = fit(case, Estimation::Full);
        for row in of(&table, case.name) {
            // lme4's profile of dyestuff2's residual breaks down at the zero
            // variance: it prints 0 to Inf.
            if case.name == "dyestuff2" && row.text("parameter") == ".sigma" {
                assert_eq!(row.optional("high"), Some(f64::INFINITY));
                continue;
            }
            let which = match (row.text("parameter"), case.name) {
                (".sigma", _) => StandardDeviation::Residual,
                (".sig01", _) => StandardDeviation::Random { term: 0, column: 0 },
                (".sig02", "penicillin") => StandardDeviation::Random { term: 1, column: 0 },
                (".sig02", _) => StandardDeviation::Random { term: 0, column: 1 },
                other => panic!("{other:?} is not checked"),
            };
            let got = profile_std_dev(
                &case.design,
                &case.response,
                &case.terms,
                None,
                &full,
                which,
                0.95,
            )
            .unwrap();
            row.check("low", got.low, PROFILE);
            row.check("high", got.high, PROFILE);
        }
    }
}

#[test]
fn weights_and_nested_groups_agree_with_lme4() {
    let table = published("lmm_weighted_nested.csv");
    let rows = published("cbpp.csv");
    let size = column(&rows, "size");
    let share: Vec<f64> = column(&rows, "incidence")
        .iter()
        .zip(&size)
        .map(|(k, n)| k / n)
        .collect();
    let periods = ["1", "2", "3", "4"];
    let design = Design::with_intercept(rows.len())
        .factor("period", &levels(&rows, "period", &periods), &periods)
        .unwrap();
    let herd = RandomTerm::level("herd", &groups(&rows, "herd"));
    let weighted = mixed(
        &design,
        &share,
        &[herd],
        Some(&size),
        Estimation::Restricted,
        0.95,
    )
    .unwrap();
    let rows = published("pastes.csv");
    let terms = ["batch", "sample"].map(|name| RandomTerm::level(name, &groups(&rows, name)));
    let nested = mixed(
        &Design::with_intercept(rows.len()),
        &column(&rows, "strength"),
        &terms,
        None,
        Estimation::Restricted,
        0.95,
    )
    .unwrap();
    for (name, got) in [("cbpp_weighted", weighted), ("pastes_nested", nested)] {
        let mut fixed = got.fixed.iter();
        for row in of(&table, name) {
            match row.text("kind") {
                "fixed" => {
                    let coefficient = fixed.next().unwrap();
                    row.check("value", coefficient.estimate, 1e-5); // lme4's search, weakly determined
                    row.check("std_error", coefficient.std_error, 1e-5);
                    row.check("df", coefficient.dof, 1e-3); // lmerTest's numerical derivatives
                }
                "variance" if row.text("term") == "Residual" => {
                    row.check("value", got.residual_sd.powi(2), 1e-5);
                }
                "variance" => {
                    let term = got
                        .random
                        .iter()
                        .find(|term| term.name == row.text("term"))
                        .unwrap();
                    row.check("value", term.covariance[0][0], 1e-4);
                }
                _ => row.check("value", got.criterion, CRITERION),
            }
        }
        assert!(fixed.next().is_none());
    }
}
