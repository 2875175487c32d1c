//! Exact tests and intervals of counts against R, scipy and 40-digit arithmetic.

use crate::published::{CLOSED_FORM, ROOT_SEARCH, column, published};
use onus::stats::{
    TailRule,
    fisher_exact::{TwoByTwo, fisher_exact},
    multiplicity::{Adjustment, adjust},
    poisson_rate::{garwood, index_of_dispersion, poisson_rate, poisson_test},
    proportion::{ProportionMethod, proportion},
    rate_ratio::{Count, rate_ratio},
    sign_test::sign_test,
};

/// Newcombe prints four decimals.
const PRINTED_4: f64 = 0.5e-4 + 1e-12;
/// A quantity of the order of one compared with 12 significant digits of a
/// value that can be zero.
const ABSOLUTE_12: f64 = 1e-12;

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
    let sign = sign_test(14, 3, 0.95).unwrap();
    assert!((sign.p_value - 0.012_725_830_1).abs() < 1e-10);
    // Exact: 2·(680 + 136 + 17 + 1)/2¹⁷.
    assert!((sign.p_value - 1668.0 / 131_072.0).abs() < ABSOLUTE_12);
    near(sign_test(12, 3, 0.95).unwrap().p_greater, 0.017_578_125_0);
}
