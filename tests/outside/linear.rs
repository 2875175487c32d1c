//! Least squares against NIST's certified values, R and the e-Handbook.

use crate::{
    model_reference::{coefficients, statistic},
    published::{CLOSED_FORM, Row, column, published},
};
use onus::stats::{
    analysis_of_variance::one_way,
    linear::{Design, LeastSquares, least_squares},
    summary::summary,
};

/// The handbook's values recomputed from its data are kept with 9 digits.
const NINE_DIGITS: f64 = 5e-9;

/// Correct digits: −log₁₀ of the relative error, at most 15, as NIST counts them.
fn digits(got: f64, certified: f64) -> f64 {
    let error = if certified == 0.0 {
        got.abs()
    } else {
        ((got - certified) / certified).abs()
    };
    if error == 0.0 {
        15.0
    } else {
        (-error.log10()).clamp(0.0, 15.0)
    }
}

/// Fits y of a certified data set by powers of x, or by x1, x2 … where it has those.
fn certified(case: &Certified) -> LeastSquares {
    let rows = published(&format!("nist_{}.csv", case.name));
    let y = column(&rows, "y");
    let mut design = if case.with_intercept {
        Design::with_intercept(y.len())
    } else {
        Design::through_zero(y.len())
    };
    for k in 1..=case.terms {
        let (name, values) = if case.polynomial {
            let power = |x: &f64| x.powi(k);
            let x = column(&rows, "x");
            (format!("x^{k}"), x.iter().map(power).collect())
        } else {
            (format!("x{k}"), column(&rows, &format!("x{k}")))
        };
        design = design.number(&name, &values).unwrap();
    }
    least_squares(&design, &y, None, 0.95).unwrap()
}

struct Certified {
    name: &'static str,
    with_intercept: bool,
    polynomial: bool,
    terms: i32,
    /// Digits promised for estimates, standard deviations, fit.
    estimates: f64,
    deviations: f64,
    fit: f64,
}

#[rustfmt::skip]
const CERTIFIED: [Certified; 11] = [
    Certified { name: "Norris", with_intercept: true, polynomial: true, terms: 1, estimates: 12.0, deviations: 12.0, fit: 12.0 },
    Certified { name: "Pontius", with_intercept: true, polynomial: true, terms: 2, estimates: 12.0, deviations: 12.0, fit: 12.0 },
    Certified { name: "NoInt1", with_intercept: false, polynomial: true, terms: 1, estimates: 13.0, deviations: 13.0, fit: 13.0 },
    Certified { name: "NoInt2", with_intercept: false, polynomial: true, terms: 1, estimates: 13.0, deviations: 13.0, fit: 13.0 },
    Certified { name: "Filip", with_intercept: true, polynomial: true, terms: 10, estimates: 7.0, deviations: 7.0, fit: 7.0 },
    Certified { name: "Longley", with_intercept: true, polynomial: false, terms: 6, estimates: 12.0, deviations: 12.0, fit: 12.0 },
    Certified { name: "Wampler1", with_intercept: true, polynomial: true, terms: 5, estimates: 12.0, deviations: 6.0, fit: 12.0 },
    Certified { name: "Wampler2", with_intercept: true, polynomial: true, terms: 5, estimates: 12.0, deviations: 12.0, fit: 12.0 },
    Certified { name: "Wampler3", with_intercept: true, polynomial: true, terms: 5, estimates: 12.0, deviations: 12.0, fit: 12.0 },
    Certified { name: "Wampler4", with_intercept: true, polynomial: true, terms: 5, estimates: 12.0, deviations: 12.0, fit: 12.0 },
    Certified { name: "Wampler5", with_intercept: true, polynomial: true, terms: 5, estimates: 12.0, deviations: 12.0, fit: 12.0 },
];

fn of(dataset: &str, rows: Vec<Row>) -> Vec<Row> {
    rows.into_iter()
        .filter(|row| row.text("dataset") == dataset)
        .collect()
}

#[test]
fn certified_regressions_are_met_to_the_stated_digits() {
    for case in &CERTIFIED {
        let fit = certified(case);
        assert!(fit.aliased.is_empty(), "{}", case.name);
        let coefficients = of(
            case.name,
            published("nist_certified_linear_coefficients.csv"),
        );
        assert_eq!(coefficients.len(), fit.coefficients.len());
        let worst = |pairs: Vec<(f64, f64)>| {
            pairs
                .iter()
                .map(|&(got, wanted)| digits(got, wanted))
                .fold(15.0, f64::min)
        };
        let pair = |got: f64, row: &Row, name: &str| (got, row.number(name));
        let estimates = worst(
            fit.coefficients
                .iter()
                .zip(&coefficients)
                .map(|(c, row)| pair(c.estimate, row, "estimate"))
                .collect(),
        );
        let deviations = worst(
            fit.coefficients
                .iter()
                .zip(&coefficients)
                .map(|(c, row)| pair(c.std_error, row, "sd_of_estimate"))
                .collect(),
        );
        let table = of(case.name, published("nist_certified_linear_fit.csv"));
        let row = &table[0];
        assert_eq!(fit.residual_dof, row.number("residual_df"));
        assert_eq!(fit.model_dof, row.number("regression_df"));
        let mut pairs = vec![
            pair(fit.residual_sd, row, "residual_sd"),
            pair(fit.r_squared.unwrap(), row, "r_squared"),
            pair(fit.model_sum_of_squares, row, "regression_ss"),
            pair(fit.residual_sum_of_squares, row, "residual_ss"),
            pair(
                fit.residual_sum_of_squares / fit.residual_dof,
                row,
                "residual_ms",
            ),
            pair(
                fit.model_sum_of_squares / fit.model_dof,
                row,
                "regression_ms",
            ),
        ];
        if row.text("f_statistic") != "inf" {
            pairs.push(pair(fit.statistic.unwrap(), row, "f_statistic"));
        }
        let fit_digits = worst(pairs);
        assert!(
            estimates >= case.estimates,
            "{}: {estimates} digits of estimates",
            case.name
        );
        assert!(
            deviations >= case.deviations,
            "{}: {deviations} digits of deviations",
            case.name
        );
        assert!(
            fit_digits >= case.fit,
            "{}: {fit_digits} digits of fit",
            case.name
        );
    }
}

#[test]
fn certified_analyses_of_variance_are_met_to_the_stated_digits() {
    // 13 leading digits are shared in SmLs08 and 09: the data lose 12 of their
    // 16 digits when they are read as double precision numbers.
    let promised = [
        ("AtmWtAg", 9.0),
        ("SiRstv", 12.0),
        ("SmLs01", 12.0),
        ("SmLs02", 12.0),
        ("SmLs04", 8.0),
        ("SmLs05", 8.0),
        ("SmLs08", 2.0),
        ("SmLs09", 2.0),
    ];
    let certified = published("nist_certified_anova.csv");
    assert_eq!(certified.len(), promised.len());
    for (row, (name, digits_promised)) in certified.iter().zip(promised) {
        assert_eq!(row.text("dataset"), name);
        let data = published(&format!("nist_{name}.csv"));
        let groups: Vec<usize> = data.iter().map(|row| row.count("group") as usize).collect();
        let got = one_way(&column(&data, "y"), &groups).unwrap();
        assert_eq!(got.between_dof, row.number("between_df"));
        assert_eq!(got.within_dof, row.number("within_df"));
        let worst = [
            (got.between_sum_of_squares, "between_ss"),
            (got.between_mean_square(), "between_ms"),
            (got.within_sum_of_squares, "within_ss"),
            (got.within_mean_square(), "within_ms"),
            (got.within_mean_square().sqrt(), "residual_sd"),
            (got.r_squared.unwrap(), "r_squared"),
            (got.statistic.unwrap(), "f_statistic"),
        ]
        .map(|(got, column)| digits(got, row.number(column)))
        .into_iter()
        .fold(15.0, f64::min);
        assert!(worst >= digits_promised, "{name}: {worst} digits");
    }
}

#[test]
fn certified_univariate_summaries_are_met_to_the_stated_digits() {
    for row in published("nist_certified_univariate.csv") {
        let name = row.text("dataset");
        // 10000000.1 is not a double: the input itself is off by 2e-10 of a step.
        let promised = if name == "NumAcc4" { 8.0 } else { 12.0 };
        let got = summary(&column(&published(&format!("nist_{name}.csv")), "y")).unwrap();
        assert_eq!(got.n as u64, row.count("n"));
        let worst = digits(got.mean, row.number("mean"))
            .min(digits(got.sd.unwrap(), row.number("sd")))
            .min(digits(
                got.autocorrelation.unwrap(),
                row.number("lag1_autocorrelation"),
            ));
        assert!(worst >= promised, "{name}: {worst} digits");
    }
}

#[test]
fn the_handbooks_one_way_analysis_of_variance_is_reproduced() {
    let data = published("nist_handbook_one_way_anova.csv");
    let groups: Vec<usize> = data.iter().map(|row| row.count("level") as usize).collect();
    let got = one_way(&column(&data, "y"), &groups).unwrap();
    let results = published("nist_handbook_results.csv");
    for (quantity, value) in [
        ("ss_treatment", got.between_sum_of_squares),
        ("ms_treatment", got.between_mean_square()),
        ("ss_error", got.within_sum_of_squares),
        ("ms_error", got.within_mean_square()),
        ("F", got.statistic.unwrap()),
        ("p", got.p_value.unwrap()),
    ] {
        let row = results
            .iter()
            .find(|row| {
                row.text("example") == "one_way_anova_7.4.3.3" && row.text("quantity") == quantity
            })
            .unwrap();
        row.check("computed", value, NINE_DIGITS);
        row.check_printed("printed", value);
    }
}

fn agrees_with_r(model: &str, fit: &LeastSquares) {
    let rows = coefficients(model);
    assert_eq!(rows.len(), fit.coefficients.len());
    for (row, got) in rows.iter().zip(&fit.coefficients) {
        row.check("estimate", got.estimate, CLOSED_FORM);
        row.check("std_error", got.std_error, CLOSED_FORM);
        row.check("z_or_t", got.statistic.unwrap(), CLOSED_FORM);
        row.check("p", got.p_value.unwrap(), 1e-10); // a p-value of 1e-14 magnifies the last digit of t
    }
    statistic(model, "residual_sd").check("value", fit.residual_sd, CLOSED_FORM);
    statistic(model, "r_squared").check("value", fit.r_squared.unwrap(), CLOSED_FORM);
}

fn design(rows: &[Row], columns: &[&str]) -> Design {
    columns
        .iter()
        .fold(Design::with_intercept(rows.len()), |design, name| {
            design.number(name, &column(rows, name)).unwrap()
        })
}

#[test]
fn the_abrasion_of_rubber_agrees_with_r() {
    let rows = published("rubber.csv");
    let fit = least_squares(
        &design(&rows, &["hard", "tens"]),
        &column(&rows, "loss"),
        None,
        0.95,
    )
    .unwrap();
    agrees_with_r("rubber_lm", &fit);
    statistic("rubber_lm", "F").check("value", fit.statistic.unwrap(), CLOSED_FORM);
    statistic("rubber_lm", "df").check("value", fit.residual_dof, 0.0);
    let at = fit.predict(&[1.0, 70.0, 180.0]).unwrap();
    statistic("rubber_lm", "pred_hard70_tens180").check("value", at.estimate, CLOSED_FORM);
    statistic("rubber_lm", "pred_lo").check("value", at.prediction_interval.low, CLOSED_FORM);
    statistic("rubber_lm", "pred_hi").check("value", at.prediction_interval.high, CLOSED_FORM);
    statistic("rubber_lm", "conf_lo").check("value", at.ci.low, CLOSED_FORM);
    statistic("rubber_lm", "conf_hi").check("value", at.ci.high, CLOSED_FORM);
}

#[test]
fn the_stack_loss_regression_agrees_with_r() {
    let rows = published("stackloss.csv");
    let design = design(&rows, &["Air.Flow", "Water.Temp", "Acid.Conc."]);
    agrees_with_r(
        "stackloss_lm",
        &least_squares(&design, &column(&rows, "stack.loss"), None, 0.95).unwrap(),
    );
}

#[test]
fn random_groups_agree_with_the_closed_form() {
    for set in ["dyestuff", "dyestuff2"] {
        let rows = published(&format!("{set}.csv"));
        let groups: Vec<usize> = rows
            .iter()
            .map(|row| {
                row.text("Batch")
                    .bytes()
                    .fold(0, |sum, byte| sum * 256 + usize::from(byte))
            })
            .collect();
        let table = one_way(&column(&rows, "Yield"), &groups).unwrap();
        let random = table.random_groups(0.95).unwrap();
        let model = format!("{set}_random_anova");
        for (quantity, got) in [
            ("ss_between", table.between_sum_of_squares),
            ("df_between", table.between_dof),
            ("ms_between", table.between_mean_square()),
            ("ss_within", table.within_sum_of_squares),
            ("df_within", table.within_dof),
            ("ms_within", table.within_mean_square()),
            ("F", table.statistic.unwrap()),
            ("p", table.p_value.unwrap()),
            ("variance_between_moments", random.between_variance),
            ("icc", random.intraclass_correlation),
            ("icc_lower95", random.ci.low),
            ("icc_upper95", random.ci.high),
        ] {
            statistic(&model, quantity).check("value", got, CLOSED_FORM);
        }
    }
}

/// Jahanmir's grinding study, e-Handbook 1.4.2.10: with every setting run
/// equally often, twice the coefficient of a factor coded ±1 is the difference
/// of its means, and the variance between the batches is the t test's.
#[test]
fn the_handbooks_grinding_study_comes_out_of_the_fit() {
    let factors = [
        ("table_speed", "table_speed_X1"),
        ("down_feed", "down_feed_X2"),
        ("wheel_grit", "wheel_grit_X3"),
    ];
    let data = published("ceramic_strength_jahanmi2.csv");
    let printed = published("nist_handbook_ceramic_strength.csv");
    let row_of = |start: &str| {
        printed
            .iter()
            .find(|row| row.text("quantity").starts_with(start))
            .unwrap_or_else(|| panic!("no {start}"))
    };
    for batch in [1, 2] {
        let rows: Vec<&Row> = data.iter().filter(|r| r.count("batch") == batch).collect();
        let values = |name: &str| -> Vec<f64> { rows.iter().map(|r| r.number(name)).collect() };
        let mut design = Design::with_intercept(rows.len());
        for (column, _) in factors {
            design = design.number(column, &values(column)).unwrap();
        }
        // the interactions too: in a balanced study they change no main effect
        for (a, b) in [(0, 1), (0, 2), (1, 2)] {
            let (a, b) = (factors[a].0, factors[b].0);
            let product: Vec<f64> = values(a)
                .iter()
                .zip(values(b))
                .map(|(x, y)| x * y)
                .collect();
            design = design.number(&format!("{a} x {b}"), &product).unwrap();
        }
        let fit = least_squares(&design, &values("strength"), None, 0.95).unwrap();
        assert!(fit.aliased.is_empty());
        for (column, name) in factors {
            let effect = 2.0 * fit.coefficient(column).unwrap().estimate;
            row_of(&format!("batch{batch}_effect_{name}")).check("computed", effect, NINE_DIGITS);
        }
        let mean = fit.coefficients[0].estimate;
        row_of(&format!("batch{batch}_mean")).check("computed", mean, NINE_DIGITS);
    }
    let batches: Vec<usize> = data.iter().map(|r| r.count("batch") as usize - 1).collect();
    let between = one_way(&column(&data, "strength"), &batches).unwrap();
    let t = row_of("t_batches_pooled").number("computed");
    let f = between.statistic.unwrap();
    assert!((f - t * t).abs() <= 2.0 * NINE_DIGITS * f, "{f} {t}");
}
