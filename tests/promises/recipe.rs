//! The trade's law comes back from records with the coverage it states, and
//! what the records cannot carry is refused in words.

use onus::removal::{Factor, Held, Note, Removal, Settings, Term, fit};
use statrs::distribution::{Binomial, DiscreteCDF};

use crate::recipe_shop::{RecipeShop, SetBy};

/// A share this unlikely at the stated coverage fails the promise.
const SURPRISE: f64 = 1e-3;

fn fitted(shop: &RecipeShop, seed: u64) -> Removal {
    fit(&shop.records(seed), &Settings::default(), &Held::default()).expect("readings and factors")
}

fn term<'a>(removal: &'a Removal, factor: &Factor) -> Option<&'a Term> {
    removal.terms.iter().find(|t| &t.factor == factor)
}

/// Runs the shop and checks that each exponent's interval holds the truth as
/// often as its level says.
fn covers(name: &str, shop: &RecipeShop, runs: u64) {
    let truth = [
        (Factor::Feed, shop.exponents[0]),
        (Factor::Passes, shop.exponents[1]),
        (Factor::Force, shop.exponents[2]),
        (Factor::Grain, shop.exponents[3]),
    ];
    let mut held = [0_u64; 4];
    let mut given = [0_u64; 4];
    for seed in 0..runs {
        let removal = fitted(shop, 1000 + seed);
        for (k, (factor, value)) in truth.iter().enumerate() {
            if let Some(ci) = term(&removal, factor).and_then(|t| t.ci) {
                given[k] += 1;
                held[k] += u64::from(ci.low <= *value && *value <= ci.high);
            }
        }
    }
    for (k, (factor, _)) in truth.iter().enumerate() {
        assert!(
            10 * given[k] >= 8 * runs,
            "{name}: {factor:?} given {} of {runs}",
            given[k]
        );
        let chance = Binomial::new(0.95, given[k]).unwrap().cdf(held[k]);
        assert!(
            chance > SURPRISE,
            "{name}: {factor:?} holds the truth in {} of {}",
            held[k],
            given[k]
        );
    }
}

#[test]
fn exponents_keep_their_coverage_with_lots_wear_and_a_recipe_per_panel() {
    covers(
        "panel",
        &RecipeShop {
            panels: 120,
            lots: 8,
            ..RecipeShop::default()
        },
        40,
    );
}

#[test]
fn a_recipe_set_by_the_shift_makes_shifts_the_units() {
    let shop = RecipeShop {
        panels: 400,
        set_by: SetBy::Shift,
        day_sd: 0.08,
        ..RecipeShop::default()
    };
    covers("shift", &shop, 40);
}

#[test]
fn a_recipe_set_by_the_lot_makes_lots_the_units() {
    let shop = RecipeShop {
        panels: 180,
        set_by: SetBy::Lot,
        ..RecipeShop::default()
    };
    covers("lot", &shop, 40);
}

#[test]
fn zero_and_negative_readings_stay_in_without_bias() {
    let shop = RecipeShop {
        panels: 160,
        removed_um: 2.0,
        gauge_um: 3.0,
        readings: (1, 5),
        ..RecipeShop::default()
    };
    covers("thin", &shop, 40);
    let removal = fitted(&shop, 5);
    assert!(
        removal
            .notes
            .iter()
            .any(|n| matches!(n, Note::NonPositiveMeans { .. }))
    );
}
