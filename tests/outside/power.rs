//! Power and sample sizes against R and full enumeration.

use crate::published::{CLOSED_FORM, ROOT_SEARCH, published};
use onus::stats::power::{
    Sides, TDesign, proportions_power, proportions_size, rates_exposure, rates_power, t_test_power,
    t_test_size,
};

/// Sums over a few hundred totals.
const ENUMERATION: f64 = 1e-10;

#[test]
fn power_and_sizes_for_proportions_and_means_agree_with_r() {
    let mut checked = 0;
    for row in published("power_r.csv") {
        let (two, one) = (Sides::Two, Sides::One);
        let (got, tolerance) = match row.text("call") {
            "power.prop.test(p1=.50,p2=.75,power=.90) two-sided" => (
                proportions_size(0.5, 0.75, 0.05, 0.9, two).unwrap(),
                ROOT_SEARCH,
            ),
            "power.prop.test(n=50,p1=.50,p2=.75)" => (
                proportions_power(50.0, 0.5, 0.75, 0.05, two).unwrap(),
                CLOSED_FORM,
            ),
            "power.prop.test(p1=.12,p2=.08,power=.8)" => (
                proportions_size(0.12, 0.08, 0.05, 0.8, two).unwrap(),
                ROOT_SEARCH,
            ),
            "power.prop.test(n=20,p1=.5,p2=.75,strict=TRUE)" => (
                proportions_power(20.0, 0.5, 0.75, 0.05, Sides::TwoStrict).unwrap(),
                CLOSED_FORM,
            ),
            "power.t.test(n=20,delta=1,sd=1)" => (
                t_test_power(20.0, 1.0, 1.0, 0.05, two, TDesign::TwoSamples).unwrap(),
                ROOT_SEARCH,
            ),
            "power.t.test(power=.90,delta=1)" => (
                t_test_size(1.0, 1.0, 0.05, 0.9, two, TDesign::TwoSamples).unwrap(),
                ROOT_SEARCH,
            ),
            "power.t.test(power=.90,delta=1,alternative='one.sided')" => (
                t_test_size(1.0, 1.0, 0.05, 0.9, one, TDesign::TwoSamples).unwrap(),
                ROOT_SEARCH,
            ),
            "power.t.test(n=15,delta=0.5,sd=0.8,type='paired')" => (
                t_test_power(15.0, 0.5, 0.8, 0.05, two, TDesign::OneSample).unwrap(),
                ROOT_SEARCH,
            ),
            other => panic!("{other} is not checked"),
        };
        row.check("value", got, tolerance);
        checked += 1;
    }
    assert_eq!(checked, 8);
}

#[test]
fn exposure_and_exact_power_for_two_rates_agree_with_full_enumeration() {
    for row in published("power_poisson_rates.csv") {
        let (rate0, rate1, alpha) = (
            row.number("rate0"),
            row.number("rate1"),
            row.number("alpha"),
        );
        let exposure = rates_exposure(rate0, rate1, alpha, row.number("power_target")).unwrap();
        row.check("time_per_group_formula", exposure, CLOSED_FORM);
        let power = rates_power(rate0 * exposure, rate1 * exposure, 0.5, alpha).unwrap();
        row.check(
            "exact_power_of_central_conditional_test_at_that_time",
            power,
            ENUMERATION,
        );
    }
}
