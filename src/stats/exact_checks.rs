//! Exact tests and intervals of counts against R, scipy and 40-digit arithmetic.

use crate::stats::published::{CLOSED_FORM, ROOT_SEARCH, column, published};
use crate::stats::{
    TailRule,
    fisher_exact::{TwoByTwo, fisher_exact},
    multiplicity::{Adjustment, adjust},
    poisson_rate::{garwood, index_of_dispersion, poisson_rate, poisson_test},
    proportion::{ProportionMethod, proportion},
    rate_ratio::{Count, rate_ratio},
    stratified::{
        RateStratum, exact_odds_ratio, exact_rate_ratio, mantel_haenszel_odds_ratio,
        mantel_haenszel_rate_ratio,
    },
};

/// Newcombe prints four decimals.
const PRINTED_4: f64 = 0.5e-4 + 1e-12;
/// R's exact stratified odds ratio stops its root search at about four digits,
/// three for a limit in the hundreds.
const LOOSE_ROOTS: f64 = 4e-3;

#[test]
fn garwood_limits_agree_with_r() {
    for row in published("garwood_poisson_ci.csv") {
        let ci = garwood(row.count("count"), row.number("conf_level")).unwrap();
        row.check("lower", ci.low, CLOSED_FORM);
        row.check("upper", ci.high, CLOSED_FORM);
    }
}

#[test]
fn one_poisson_rate_agrees_with_r() {
    for row in published("poisson_one_sample.csv") {
        let (count, exposure) = (row.count("x"), row.number("T"));
        let rate = poisson_rate(count, exposure, 0.95).unwrap();
        row.check("rate", rate.estimate, CLOSED_FORM);
        row.check("lower", rate.ci.low, CLOSED_FORM);
        row.check("upper", rate.ci.high, CLOSED_FORM);
        let test = poisson_test(count, exposure, TailRule::MinimumLikelihood).unwrap();
        row.check("p_null_rate_1", test.p_value, CLOSED_FORM);
    }
}

#[test]
fn the_ratio_of_two_poisson_rates_agrees_with_r_under_every_tail_rule() {
    for row in published("poisson_rate_ratio.csv") {
        let after = Count {
            events: row.count("x1"),
            exposure: row.number("t1"),
        };
        let before = Count {
            events: row.count("x2"),
            exposure: row.number("t2"),
        };
        let level = row.number("conf_level");
        let got = rate_ratio(before, after, level, TailRule::Central).unwrap();
        row.check("rate_ratio", got.estimate, CLOSED_FORM);
        row.check("lower", got.ci.low, ROOT_SEARCH);
        row.check("upper", got.ci.high, ROOT_SEARCH);
        row.check("p_two_sided_central", got.p_value, CLOSED_FORM);
        row.check("p_greater", got.p_greater, CLOSED_FORM);
        row.check("p_less", got.p_less, CLOSED_FORM);
        let minlike = rate_ratio(before, after, level, TailRule::MinimumLikelihood).unwrap();
        row.check("p_two_sided_minlike", minlike.p_value, CLOSED_FORM);
        let mid = rate_ratio(before, after, level, TailRule::MidP).unwrap();
        row.check("p_two_sided_midp", mid.p_value, CLOSED_FORM);
    }
}

#[test]
fn fishers_exact_test_agrees_with_forty_digit_arithmetic() {
    for row in published("fisher_exact.csv") {
        let table = TwoByTwo {
            first_hits: row.count("a"),
            first_misses: row.count("b"),
            second_hits: row.count("c"),
            second_misses: row.count("d"),
        };
        let got =
            fisher_exact(table, row.number("conf_level"), TailRule::MinimumLikelihood).unwrap();
        row.check("conditional_mle_or", got.estimate.unwrap(), ROOT_SEARCH);
        row.check("lower", got.ci.low, ROOT_SEARCH);
        row.check("upper", got.ci.high, ROOT_SEARCH);
        row.check("p_two_sided_minlike", got.p_value, CLOSED_FORM);
        row.check("p_greater", got.p_greater, CLOSED_FORM);
        row.check("p_less", got.p_less, CLOSED_FORM);
    }
}

#[test]
fn intervals_of_a_proportion_agree_with_r_and_with_newcombes_print() {
    for row in published("binomial_ci.csv") {
        let of = |method| {
            proportion(row.count("x"), row.count("n"), 0.95, method)
                .unwrap()
                .ci
        };
        let exact = of(ProportionMethod::ClopperPearson);
        row.check("cp_lower", exact.low, CLOSED_FORM);
        row.check("cp_upper", exact.high, CLOSED_FORM);
        let score = of(ProportionMethod::Wilson);
        row.check("wilson_lower", score.low, CLOSED_FORM);
        row.check("wilson_upper", score.high, CLOSED_FORM);
        let corrected = of(ProportionMethod::WilsonCorrected);
        row.check("wilson_cc_lower", corrected.low, CLOSED_FORM);
        row.check("wilson_cc_upper", corrected.high, CLOSED_FORM);
        for (column, got) in [
            ("printed_cp_lower", exact.low),
            ("printed_cp_upper", exact.high),
            ("printed_wilson_lower", score.low),
            ("printed_wilson_upper", score.high),
        ] {
            if row.optional(column).is_some() {
                row.check_within(column, got, PRINTED_4);
            }
        }
    }
}

#[test]
fn adjusted_p_values_agree_with_r() {
    let rows = published("p_adjust_bh1995.csv");
    let p = column(&rows, "p");
    for (name, adjustment) in [
        ("bonferroni", Adjustment::Bonferroni),
        ("holm", Adjustment::Holm),
        ("hochberg", Adjustment::Hochberg),
        ("BH", Adjustment::BenjaminiHochberg),
        ("BY", Adjustment::BenjaminiYekutieli),
    ] {
        let adjusted = adjust(&p, adjustment);
        for (row, got) in rows.iter().zip(&adjusted) {
            row.check(name, *got, CLOSED_FORM);
        }
        // Benjamini & Hochberg (1995), section 3.2: 4 and 3 rejected at 0.05.
        let rejected = adjusted.iter().filter(|&&p| p <= 0.05).count();
        match adjustment {
            Adjustment::BenjaminiHochberg => assert_eq!(rejected, 4),
            Adjustment::Bonferroni => assert_eq!(rejected, 3),
            _ => {}
        }
    }
}

#[test]
fn deaths_by_horse_kick_scatter_as_poisson_counts() {
    let mut counts = Vec::new();
    for row in published("horsekick_data.csv") {
        counts.extend(std::iter::repeat_n(
            row.count("count"),
            row.count("corps_years") as usize,
        ));
    }
    let got = index_of_dispersion(&counts).unwrap();
    for row in published("horsekick_dispersion.csv") {
        assert_eq!(got.n as u64, row.count("n"));
        row.check("mean", got.mean, CLOSED_FORM);
        row.check("variance", got.variance, CLOSED_FORM);
        row.check("index", got.estimate, CLOSED_FORM);
        row.check("chi2", got.statistic, CLOSED_FORM);
        row.check("df", got.dof, 0.0);
        row.check("p_upper", got.p_greater, CLOSED_FORM);
    }
}

/// Values of an independent slow reference implementation, given to 10 digits.
#[test]
fn worked_cases_agree_with_an_independent_slow_reference_implementation() {
    let near =
        |got: f64, wanted: f64| assert!((got / wanted - 1.0).abs() < 5e-10, "{got} {wanted}");
    let ci = proportion(6, 20, 0.95, ProportionMethod::ClopperPearson)
        .unwrap()
        .ci;
    near(ci.low, 0.118_931_590_4);
    near(ci.high, 0.542_789_182_3);
    let table = TwoByTwo {
        first_hits: 6,
        first_misses: 14,
        second_hits: 0,
        second_misses: 40,
    };
    // Exact: C(20,6)/C(60,6).
    near(
        fisher_exact(table, 0.95, TailRule::Central)
            .unwrap()
            .p_greater,
        38_760.0 / 50_063_860.0,
    );
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

#[test]
fn the_mantel_haenszel_rate_ratio_of_the_british_doctors_agrees_with_metafor() {
    let got = mantel_haenszel_rate_ratio(&doctors(), 0.95).unwrap();
    let heterogeneity = got.heterogeneity.clone().unwrap();
    for row in published("mh_rate_ratio_results.csv") {
        row.check("mh_irr", got.estimate, CLOSED_FORM);
        row.check("se_log", got.ln_std_error, CLOSED_FORM);
        row.check("lower", got.ci.low, CLOSED_FORM);
        row.check("upper", got.ci.high, CLOSED_FORM);
        row.check("mh_chi2", got.corrected_statistic, CLOSED_FORM);
        row.check("mh_p", got.corrected_p_value, CLOSED_FORM);
        row.check("heterogeneity_q", heterogeneity.statistic, CLOSED_FORM);
        row.check("heterogeneity_p", heterogeneity.p_value, CLOSED_FORM);
    }
}

/// The exact common rate ratio equals the conditional estimate of a Poisson
/// model with a term for each stratum; R's glm gives the latter.
#[test]
fn the_exact_common_rate_ratio_of_the_british_doctors_agrees_with_a_poisson_model() {
    let got = exact_rate_ratio(&doctors(), 0.95, TailRule::Central).unwrap();
    for row in published("exact_rate_ratio_doctors.csv") {
        row.check("glm_ratio", got.estimate, 1e-8); // root search
        row.check("central_p", got.p_value, 1e-9); // sum of small terms, by R's dbinom and convolve
        row.check("lower", got.ci.low, 1e-7); // R's uniroot
        row.check("upper", got.ci.high, 1e-7); // R's uniroot
    }
}

#[test]
fn the_mantel_haenszel_odds_ratio_agrees_with_r() {
    let results = published("mh_odds_ratio_results.csv");
    let tables = |name: &str, columns: [&str; 4]| -> Vec<TwoByTwo> {
        published(name)
            .iter()
            .map(|row| {
                let [a, b, c, d] = columns.map(|column| row.count(column));
                TwoByTwo {
                    first_hits: a,
                    first_misses: b,
                    second_hits: c,
                    second_misses: d,
                }
            })
            .collect()
    };
    let ucb = tables(
        "mh_odds_ratio_ucb_data.csv",
        [
            "admitted_male",
            "rejected_male",
            "admitted_female",
            "rejected_female",
        ],
    );
    let rabbits = tables(
        "mh_odds_ratio_rabbits_data.csv",
        ["none_cured", "none_died", "h15_cured", "h15_died"],
    );
    for (row, strata) in results.iter().zip([ucb, rabbits]) {
        let got = mantel_haenszel_odds_ratio(&strata, 0.95).unwrap();
        row.check("mh_or", got.estimate, CLOSED_FORM);
        row.check("lower", got.ci.low, CLOSED_FORM);
        row.check("upper", got.ci.high, CLOSED_FORM);
        row.check("chi2_uncorrected", got.statistic, CLOSED_FORM);
        row.check("p_uncorrected", got.p_value, CLOSED_FORM);
        row.check("chi2_corrected", got.corrected_statistic, CLOSED_FORM);
        row.check("p_corrected", got.corrected_p_value, CLOSED_FORM);
        let exact = exact_odds_ratio(&strata, 0.95, TailRule::MinimumLikelihood).unwrap();
        row.check("exact_conditional_or", exact.estimate, LOOSE_ROOTS);
        row.check("exact_lower", exact.ci.low, LOOSE_ROOTS);
        row.check("exact_upper", exact.ci.high, LOOSE_ROOTS);
        row.check("exact_p", exact.p_value, CLOSED_FORM);
        let digits = published("exact_odds_ratio.csv");
        let tight = digits
            .iter()
            .find(|tight| tight.text("set") == row.text("set"))
            .unwrap();
        tight.check("estimate", exact.estimate, ROOT_SEARCH);
        tight.check("lower", exact.ci.low, ROOT_SEARCH);
        tight.check("upper", exact.ci.high, ROOT_SEARCH);
        tight.check("p_minlike", exact.p_value, CLOSED_FORM);
    }
}
