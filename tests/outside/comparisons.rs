//! Two groups compared: stratified ratios, differences of proportions and means.

use crate::published::{CLOSED_FORM, ROOT_SEARCH, Row, column, published};
use onus::stats::{
    TailRule,
    distributions::f_ratio,
    fisher_exact::TwoByTwo,
    rate_ratio::Count,
    stratified::{
        RateStratum, exact_odds_ratio, exact_rate_ratio, mantel_haenszel_odds_ratio,
        mantel_haenszel_rate_ratio,
    },
    summary::summary,
    t_test::{TTest, paired_t, pooled_t, variance_ratio, welch_t},
    two_proportions::proportion_difference,
};

/// R's exact stratified odds ratio stops its root search at about four digits,
/// three for a limit in the hundreds.
const LOOSE_ROOTS: f64 = 4e-3;
/// Newcombe prints four decimals.
const PRINTED_4: f64 = 0.5e-4 + 1e-12;
/// The handbook's values recomputed from its data are kept with 9 digits.
const NINE_DIGITS: f64 = 5e-9;

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

#[test]
fn newcombes_interval_for_a_difference_agrees_with_his_table() {
    for row in published("newcombe_difference.csv") {
        let got = proportion_difference(
            (row.count("x1"), row.count("x2")),
            (row.count("n1"), row.count("n2")),
            0.95,
        )
        .unwrap();
        row.check("difference", got.estimate, CLOSED_FORM);
        row.check("lower", got.ci.low, CLOSED_FORM);
        row.check("upper", got.ci.high, CLOSED_FORM);
        row.check_within("printed_lower", got.ci.low, PRINTED_4);
        row.check_within("printed_upper", got.ci.high, PRINTED_4);
    }
}

pub(crate) fn result(example: &str, quantity: &str) -> Row {
    published("nist_handbook_results.csv")
        .into_iter()
        .find(|row| row.text("example").starts_with(example) && row.text("quantity") == quantity)
        .unwrap_or_else(|| panic!("no {quantity} of {example}"))
}

#[test]
fn the_textbook_examples_of_two_proportions_are_reproduced() {
    let valves = "two_proportion_pooled_z OpenStax Introductory Statistics 2e ex. 10.8";
    let got = proportion_difference((20, 12), (200, 200), 0.95).unwrap();
    result(valves, "z").check("computed", got.statistic.unwrap(), NINE_DIGITS);
    result(valves, "z").check_printed("printed", got.statistic.unwrap());
    result(valves, "p_two_sided").check("computed", got.p_value.unwrap(), NINE_DIGITS);
    result(valves, "p_two_sided").check_printed("printed", got.p_value.unwrap());
    let drivers = "two_proportion_pooled_z OpenStax 2e ex. 10.9";
    let got = proportion_difference((156, 183), (2169, 2231), 0.95).unwrap();
    result(drivers, "z").check("computed", got.statistic.unwrap(), NINE_DIGITS);
    result(drivers, "z").check_printed("printed", got.statistic.unwrap());
    result(drivers, "p_two_sided").check("computed", got.p_value.unwrap(), NINE_DIGITS);
}

fn samples(rows: &[Row], key: &str, value: &str, groups: [&str; 2]) -> [Vec<f64>; 2] {
    groups.map(|group| {
        rows.iter()
            .filter(|row| row.text(key) == value && row.text("group") == group)
            .map(|row| row.number("y"))
            .collect()
    })
}

#[test]
fn t_tests_of_two_samples_agree_with_r() {
    let data = published("two_sample_t_data.csv");
    for row in published("two_sample_t_results.csv") {
        let [first, second] = samples(&data, "set", row.text("set"), ["1", "2"]);
        row.check("mean1", summary(&first).unwrap().mean, CLOSED_FORM);
        row.check("mean2", summary(&second).unwrap().mean, CLOSED_FORM);
        let welch = welch_t(&first, &second, 0.95).unwrap();
        row.check("welch_t", welch.statistic, CLOSED_FORM);
        row.check("welch_df", welch.dof, CLOSED_FORM);
        row.check("welch_p", welch.p_value, CLOSED_FORM);
        row.check("welch_lower", welch.ci.low, CLOSED_FORM);
        row.check("welch_upper", welch.ci.high, CLOSED_FORM);
        let pooled = pooled_t(&first, &second, 0.95).unwrap();
        row.check("pooled_t", pooled.statistic, CLOSED_FORM);
        row.check("pooled_df", pooled.dof, 0.0);
        row.check("pooled_p", pooled.p_value, CLOSED_FORM);
    }
}

#[test]
fn t_tests_of_pairs_agree_with_r() {
    let sleep = samples(
        &published("two_sample_t_data.csv"),
        "set",
        "sleep",
        ["1", "2"],
    );
    let shoes = published("shoes_data.csv");
    let shoes = [column(&shoes, "A"), column(&shoes, "B")];
    for (row, [first, second]) in published("paired_t_results.csv").iter().zip([sleep, shoes]) {
        let got: TTest = paired_t(&first, &second, 0.95).unwrap();
        row.check("t", got.statistic, CLOSED_FORM);
        row.check("df", got.dof, 0.0);
        row.check("p", got.p_value, CLOSED_FORM);
        row.check("lower", got.ci.low, CLOSED_FORM);
        row.check("upper", got.ci.high, CLOSED_FORM);
    }
}

#[test]
fn the_handbooks_welch_test_is_reproduced() {
    let data = published("nist_handbook_welch_t.csv");
    let of = |process: u64| -> Vec<f64> {
        data.iter()
            .filter(|row| row.count("process") == process)
            .map(|row| row.number("minutes"))
            .collect()
    };
    let (first, second) = (of(1), of(2));
    let got = welch_t(&first, &second, 0.95).unwrap();
    let (one, two) = (summary(&first).unwrap(), summary(&second).unwrap());
    for (quantity, value) in [
        ("t", got.statistic),
        ("df", got.dof),
        ("mean1", one.mean),
        ("mean2", two.mean),
        ("sd1", one.sd.unwrap()),
        ("sd2", two.sd.unwrap()),
    ] {
        let row = result("welch_t_7.3.1", quantity);
        row.check("computed", value, NINE_DIGITS);
        row.check_printed("printed", value);
    }
}

#[test]
fn the_handbooks_ceramic_strength_study_is_reproduced() {
    let data = published("ceramic_strength_jahanmi2.csv");
    let strength = column(&data, "strength");
    let of = |batch: u64| -> Vec<&Row> {
        data.iter()
            .filter(|row| row.count("batch") == batch)
            .collect()
    };
    let values =
        |rows: &[&Row]| -> Vec<f64> { rows.iter().map(|row| row.number("strength")).collect() };
    let (batch1, batch2) = (of(1), of(2));
    let (y1, y2) = (values(&batch1), values(&batch2));
    let (all, one, two) = (
        summary(&strength).unwrap(),
        summary(&y1).unwrap(),
        summary(&y2).unwrap(),
    );
    let ratio = variance_ratio(&y1, &y2, 0.95).unwrap();
    let pooled = pooled_t(&y1, &y2, 0.95).unwrap();
    let mut sorted = strength.clone();
    sorted.sort_by(f64::total_cmp);
    let effect = |rows: &[&Row], factor: &str| {
        let side = |sign: f64| -> Vec<f64> {
            rows.iter()
                .filter(|row| row.number(factor) == sign)
                .map(|row| row.number("strength"))
                .collect()
        };
        summary(&side(1.0)).unwrap().mean - summary(&side(-1.0)).unwrap().mean
    };
    let mut checked = 0;
    for row in published("nist_handbook_ceramic_strength.csv") {
        let quantity = row.text("quantity").to_owned();
        let got = match quantity.split(' ').next().unwrap() {
            "n" => all.n as f64,
            "mean" => all.mean,
            "sd" => all.sd.unwrap(),
            "lag1_autocorrelation" => all.autocorrelation.unwrap(),
            "min" => sorted[0],
            "max" => sorted[479],
            "median" => 0.5 * (sorted[239] + sorted[240]),
            "batch1_n" => one.n as f64,
            "batch1_mean" => one.mean,
            "batch1_sd" => one.sd.unwrap(),
            "batch2_n" => two.n as f64,
            "batch2_mean" => two.mean,
            "batch2_sd" => two.sd.unwrap(),
            "F_variances" => ratio.estimate,
            "F_crit_lower_0.025" => f_ratio::quantile(0.025, ratio.dof.0, ratio.dof.1),
            "F_crit_upper_0.975" => f_ratio::upper_quantile(0.025, ratio.dof.0, ratio.dof.1),
            "F_variances_p_one_sided" => ratio.p_greater,
            "t_batches_pooled" => pooled.statistic,
            "batch1_effect_table_speed_X1" => effect(&batch1, "table_speed"),
            "batch1_effect_down_feed_X2" => effect(&batch1, "down_feed"),
            "batch1_effect_wheel_grit_X3" => effect(&batch1, "wheel_grit"),
            "batch2_effect_table_speed_X1" => effect(&batch2, "table_speed"),
            "batch2_effect_down_feed_X2" => effect(&batch2, "down_feed"),
            "batch2_effect_wheel_grit_X3" => effect(&batch2, "wheel_grit"),
            other => panic!("{other} is not checked"),
        };
        row.check("computed", got, NINE_DIGITS);
        let printed = row.text("printed");
        if !printed.is_empty() && !printed.ends_with("(memory)") {
            // The handbook cuts 688.99864 to .9987 and 611.15598 to .1559.
            row.check_printed_unit("printed", got);
        }
        checked += 1;
    }
    assert_eq!(checked, 23);
}
