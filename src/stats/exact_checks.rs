//! Exact tests and intervals of counts against R, scipy and closed forms.

use crate::stats::published::{CLOSED_FORM, ROOT_SEARCH, column, published};
use crate::stats::{
    multiplicity::holm,
    proportion::clopper_pearson,
    stratified::{Count, RateStratum, exact_rate_ratio},
};

/// Newcombe prints four decimals.
const PRINTED_4: f64 = 0.5e-4 + 1e-12;

#[test]
fn the_ratio_of_two_poisson_rates_agrees_with_r() {
    for row in published("poisson_rate_ratio.csv") {
        let after = Count {
            events: row.count("x1"),
            exposure: row.number("t1"),
        };
        let before = Count {
            events: row.count("x2"),
            exposure: row.number("t2"),
        };
        let sides = [RateStratum { before, after }];
        let got = exact_rate_ratio(&sides, row.number("conf_level")).unwrap();
        row.check("rate_ratio", got.estimate, ROOT_SEARCH);
        row.check("lower", got.ci.low, ROOT_SEARCH);
        row.check("upper", got.ci.high, ROOT_SEARCH);
        row.check("p_two_sided_central", got.p_value, CLOSED_FORM);
        row.check("p_greater", got.p_greater, CLOSED_FORM);
        row.check("p_less", got.p_less, CLOSED_FORM);
    }
}

#[test]
fn intervals_of_a_proportion_agree_with_r_and_with_newcombes_print() {
    for row in published("binomial_ci.csv") {
        let (hits, trials) = (row.count("x"), row.count("n"));
        let exact = clopper_pearson(hits, trials, 0.95).unwrap();
        row.check("cp_lower", exact.low, CLOSED_FORM);
        row.check("cp_upper", exact.high, CLOSED_FORM);
        for (column, got) in [
            ("printed_cp_lower", exact.low),
            ("printed_cp_upper", exact.high),
        ] {
            if row.optional(column).is_some() {
                row.check_within(column, got, PRINTED_4);
            }
        }
    }
}

#[test]
fn step_down_adjusted_p_values_agree_with_r() {
    let rows = published("p_adjust_bh1995.csv");
    for (row, got) in rows.iter().zip(holm(&column(&rows, "p"))) {
        row.check("holm", got, CLOSED_FORM);
    }
}

/// Values of an independent slow reference implementation, given to 10 digits.
#[test]
fn worked_cases_agree_with_an_independent_slow_reference_implementation() {
    let near =
        |got: f64, wanted: f64| assert!((got / wanted - 1.0).abs() < 5e-10, "{got} {wanted}");
    let ci = clopper_pearson(6, 20, 0.95).unwrap();
    near(ci.low, 0.118_931_590_4);
    near(ci.high, 0.542_789_182_3);
}

fn doctors() -> Vec<RateStratum> {
    published("mh_rate_ratio_doctors_data.csv")
        .iter()
        .map(|row| RateStratum {
            before: Count {
                events: row.count("nonsmoker_deaths"),
                exposure: row.number("nonsmoker_person_years"),
            },
            after: Count {
                events: row.count("smoker_deaths"),
                exposure: row.number("smoker_person_years"),
            },
        })
        .collect()
}

/// The exact common rate ratio equals the conditional estimate of a Poisson
/// model with a term for each stratum; R's glm gives the latter.
#[test]
fn the_exact_common_rate_ratio_of_the_british_doctors_agrees_with_a_poisson_model() {
    let got = exact_rate_ratio(&doctors(), 0.95).unwrap();
    for row in published("exact_rate_ratio_doctors.csv") {
        row.check("glm_ratio", got.estimate, 1e-8); // root search
        row.check("central_p", got.p_value, 1e-9); // sum of small terms, by R's dbinom and convolve
        row.check("lower", got.ci.low, 1e-7); // R's uniroot
        row.check("upper", got.ci.high, 1e-7); // R's uniroot
    }
}
