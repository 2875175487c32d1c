//! Generalised linear models against R (glm, glm.nb, clogit, brglm2) and
//! firthmodels.

use crate::{
    model_reference::{coefficients, levels, statistic},
    published::{Row, column, published},
};
use onus::stats::{
    coefficient::Coefficient,
    distributions::chi_squared,
    generalised::{
        Dispersion, Family, Generalised, Link, Model, conditional_logistic, firth_logistic,
        generalised, negative_binomial, profile_interval,
    },
    linear::Design,
};

/// GLM coefficients, deviances, likelihoods; R stops at 1e-8 of the deviance,
/// which is 1e-8 in the estimates or better.
const COEFFICIENT: f64 = 1e-6;
/// Standard errors: R's weights are those of one iteration before.
const STANDARD_ERROR: f64 = 1e-5;
/// p-values of 1e-37 magnify the error of z.
const P_VALUE: f64 = 1e-3;
/// firthmodels and brglm2 agree to 6e-9 with each other; limits are printed
/// with 8 digits and found by bisection.
const PROFILE: f64 = 1e-5;

fn check_coefficients(model: &str, got: &[Coefficient]) {
    let rows = coefficients(model);
    assert_eq!(rows.len(), got.len());
    for (row, coefficient) in rows.iter().zip(got) {
        row.check("estimate", coefficient.estimate, COEFFICIENT);
        row.check("std_error", coefficient.std_error, STANDARD_ERROR);
        row.check("z_or_t", coefficient.statistic.unwrap(), STANDARD_ERROR);
        row.check("p", coefficient.p_value.unwrap(), P_VALUE);
    }
}

fn check_fit(model: &str, fit: &Generalised, null: &Generalised) {
    assert!(fit.convergence.converged && !fit.convergence.at_boundary);
    for (quantity, got) in [
        ("deviance", fit.deviance),
        ("null_deviance", null.deviance),
        ("df_residual", fit.residual_dof),
        ("loglik", fit.log_likelihood.unwrap()),
        ("aic", fit.aic.unwrap()),
        ("pearson_chi2", fit.pearson_chi_squared),
    ] {
        statistic(model, quantity).check("value", got, COEFFICIENT);
    }
}

fn quine(rows: &[Row]) -> Design {
    Design::with_intercept(rows.len())
        .factor("Eth", &levels(rows, "Eth", &["A", "N"]), &["A", "N"])
        .and_then(|d| d.factor("Sex", &levels(rows, "Sex", &["F", "M"]), &["F", "M"]))
        .and_then(|d| {
            let ages = ["F0", "F1", "F2", "F3"];
            d.factor("Age", &levels(rows, "Age", &ages), &ages)
        })
        .and_then(|d| d.factor("Lrn", &levels(rows, "Lrn", &["AL", "SL"]), &["AL", "SL"]))
        .unwrap()
}

#[test]
fn days_absent_from_school_agree_with_r() {
    let rows = published("quine.csv");
    let (design, days) = (quine(&rows), column(&rows, "Days"));
    let null = Design::with_intercept(rows.len());
    let poisson = Model::new(Family::Poisson, 0.95);
    let fit = generalised(&design, &days, &poisson).unwrap();
    check_coefficients("quine_poisson_main", &fit.coefficients);
    check_fit(
        "quine_poisson_main",
        &fit,
        &generalised(&null, &days, &poisson).unwrap(),
    );

    let quasi = Model {
        dispersion: Dispersion::Pearson,
        ..poisson
    };
    let fit = generalised(&design, &days, &quasi).unwrap();
    check_coefficients("quine_quasipoisson_main", &fit.coefficients);
    statistic("quine_quasipoisson_main", "dispersion").check("value", fit.dispersion, COEFFICIENT);

    let clumped = negative_binomial(&design, &days, &poisson).unwrap();
    let theta = clumped.theta.unwrap();
    check_coefficients("quine_nb_main", &clumped.fit.coefficients);
    let family = Model {
        family: Family::NegativeBinomial { theta },
        ..poisson
    };
    check_fit(
        "quine_nb_main",
        &clumped.fit,
        &generalised(&null, &days, &family).unwrap(),
    );
    statistic("quine_nb_main", "theta").check("value", theta, COEFFICIENT);
    statistic("quine_nb_main", "se_theta").check(
        "value",
        clumped.theta_std_error.unwrap(),
        STANDARD_ERROR,
    );
    let twice = 2.0 * clumped.fit.log_likelihood.unwrap();
    statistic("quine_nb_main", "twologlik").check("value", twice, COEFFICIENT);
}

#[test]
fn insurance_claims_with_an_offset_agree_with_r() {
    let rows = published("insurance.csv");
    let claims = column(&rows, "Claims");
    let offset: Vec<f64> = column(&rows, "Holders")
        .iter()
        .map(|holders| holders.ln())
        .collect();
    let model = Model {
        offset: Some(&offset),
        ..Model::new(Family::Poisson, 0.95)
    };
    let factors: [(&str, &[&str]); 3] = [
        ("District", &["1", "2", "3", "4"]),
        ("Group", &["<1l", "1-1.5l", "1.5-2l", ">2l"]),
        ("Age", &["<25", "25-29", "30-35", ">35"]),
    ];
    let mut design = Design::with_intercept(rows.len());
    let null = generalised(&design, &claims, &model).unwrap();
    let mut fit = null.clone();
    for (name, labels) in factors {
        design = design
            .factor(name, &levels(&rows, name, labels), labels)
            .unwrap();
        let next = generalised(&design, &claims, &model).unwrap();
        let ratio = fit.deviance - next.deviance;
        statistic("insurance_poisson_offset", &format!("lr_chi2_{name}")).check(
            "value",
            ratio,
            COEFFICIENT,
        );
        if name == "Age" {
            let p = chi_squared::tails(ratio, 3.0).upper();
            statistic("insurance_poisson_offset", "p_Age").check("value", p, P_VALUE);
        }
        fit = next;
    }
    check_coefficients("insurance_poisson_offset", &fit.coefficients);
    check_fit("insurance_poisson_offset", &fit, &null);
}

fn warpbreaks() -> (Vec<Row>, Design) {
    let rows = published("warpbreaks.csv");
    let wool: Vec<f64> = levels(&rows, "wool", &["A", "B"])
        .iter()
        .map(|&level| level as f64)
        .collect();
    let tension = levels(&rows, "tension", &["L", "M", "H"]);
    let is = |level: usize| -> Vec<f64> {
        tension
            .iter()
            .map(|&t| if t == level { 1.0 } else { 0.0 })
            .collect()
    };
    let with_wool =
        |values: Vec<f64>| -> Vec<f64> { values.iter().zip(&wool).map(|(a, b)| a * b).collect() };
    let design = Design::with_intercept(rows.len())
        .number("woolB", &wool)
        .and_then(|d| d.number("tensionM", &is(1)))
        .and_then(|d| d.number("tensionH", &is(2)))
        .and_then(|d| d.number("woolB:tensionM", &with_wool(is(1))))
        .and_then(|d| d.number("woolB:tensionH", &with_wool(is(2))))
        .unwrap();
    (rows, design)
}

#[test]
fn warp_breaks_with_an_interaction_agree_with_r() {
    let (rows, design) = warpbreaks();
    let breaks = column(&rows, "breaks");
    let null = Design::with_intercept(rows.len());
    let model = Model::new(Family::Poisson, 0.95);
    let fit = generalised(&design, &breaks, &model).unwrap();
    check_coefficients("warpbreaks_poisson_interaction", &fit.coefficients);
    check_fit(
        "warpbreaks_poisson_interaction",
        &fit,
        &generalised(&null, &breaks, &model).unwrap(),
    );
    let clumped = negative_binomial(&design, &breaks, &model).unwrap();
    let theta = clumped.theta.unwrap();
    check_coefficients("warpbreaks_nb_interaction", &clumped.fit.coefficients);
    let family = Model {
        family: Family::NegativeBinomial { theta },
        ..model
    };
    check_fit(
        "warpbreaks_nb_interaction",
        &clumped.fit,
        &generalised(&null, &breaks, &family).unwrap(),
    );
    statistic("warpbreaks_nb_interaction", "theta").check("value", theta, COEFFICIENT);
    statistic("warpbreaks_nb_interaction", "se_theta").check(
        "value",
        clumped.theta_std_error.unwrap(),
        STANDARD_ERROR,
    );
}

#[test]
fn gaussian_and_gamma_fits_with_a_log_link_and_profile_intervals_agree_with_r() {
    let (rows, design) = warpbreaks();
    let breaks = column(&rows, "breaks");
    let table = published("log_link_models.csv");
    for (name, family) in [
        ("gaussian", Family::Gaussian),
        ("gamma", Family::Gamma),
        ("poisson", Family::Poisson),
    ] {
        let model = Model {
            link: Link::Log,
            ..Model::new(family, 0.95)
        };
        let fit = generalised(&design, &breaks, &model).unwrap();
        let of: Vec<&Row> = table
            .iter()
            .filter(|row| row.text("family") == name)
            .collect();
        assert_eq!(of.len(), fit.coefficients.len());
        for (index, (row, got)) in of.iter().zip(&fit.coefficients).enumerate() {
            row.check("estimate", got.estimate, COEFFICIENT);
            row.check("std_error", got.std_error, STANDARD_ERROR);
            row.check("p", got.p_value.unwrap(), P_VALUE);
            row.check("deviance", fit.deviance, COEFFICIENT);
            row.check("dispersion", fit.dispersion, COEFFICIENT);
            if name == "poisson" {
                let ci = profile_interval(&design, &breaks, &model, &fit, index).unwrap();
                // R interpolates its profile with a spline.
                row.check("profile_low", ci.low, 1e-3);
                row.check("profile_high", ci.high, 1e-3);
            }
        }
    }
}

#[test]
fn logistic_regressions_agree_with_r() {
    let rows = published("infert.csv");
    let case = column(&rows, "case");
    let design = Design::with_intercept(rows.len())
        .number("spontaneous", &column(&rows, "spontaneous"))
        .and_then(|d| d.number("induced", &column(&rows, "induced")))
        .unwrap();
    let model = Model::new(Family::Binomial, 0.95);
    let fit = generalised(&design, &case, &model).unwrap();
    let null = generalised(&Design::with_intercept(rows.len()), &case, &model).unwrap();
    check_coefficients("infert_logistic", &fit.coefficients);
    check_fit("infert_logistic", &fit, &null);

    let hit: Vec<bool> = case.iter().map(|&case| case == 1.0).collect();
    let strata: Vec<usize> = rows
        .iter()
        .map(|row| row.count("stratum") as usize)
        .collect();
    let within = conditional_logistic(&design, &hit, &strata, 0.95).unwrap();
    assert!(within.convergence.converged);
    check_coefficients("infert_conditional_logistic", &within.coefficients);
    statistic("infert_conditional_logistic", "loglik").check(
        "value",
        within.log_likelihood,
        COEFFICIENT,
    );
    statistic("infert_conditional_logistic", "loglik_null").check(
        "value",
        within.log_likelihood_null,
        COEFFICIENT,
    );
}

#[test]
fn the_penalised_logistic_fit_of_a_separated_data_set_agrees_with_brglm2_and_firthmodels() {
    let rows = published("endometrial.csv");
    let design = ["NV", "PI", "EH"]
        .iter()
        .fold(Design::with_intercept(rows.len()), |design, name| {
            design.number(name, &column(&rows, name)).unwrap()
        });
    let hits = column(&rows, "HG");
    let plain = generalised(&design, &hits, &Model::new(Family::Binomial, 0.95)).unwrap();
    assert!(plain.convergence.at_boundary, "NV separates the data");
    let got = firth_logistic(&design, &hits, None, 0.95).unwrap();
    let limits = published("endometrial_firth_profile_ci.csv");
    for ((row, limits), coefficient) in coefficients("endometrial_firth_logistic")
        .iter()
        .zip(&limits)
        .zip(&got.coefficients)
    {
        row.check("estimate", coefficient.estimate, COEFFICIENT);
        row.check("std_error", coefficient.std_error, STANDARD_ERROR);
        limits.check("lower95", coefficient.ci.low, PROFILE);
        limits.check("upper95", coefficient.ci.high, PROFILE);
    }
    statistic("endometrial_firth_logistic", "loglik").check(
        "value",
        got.log_likelihood,
        COEFFICIENT,
    );
    statistic("endometrial_firth_logistic", "penalised_loglik").check(
        "value",
        got.penalised_log_likelihood,
        COEFFICIENT,
    );
}
