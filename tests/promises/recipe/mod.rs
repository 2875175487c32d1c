//! The trade's law comes back from records with the coverage it states, and
//! what the records cannot carry is refused in words.

pub mod calibration;
mod doubts;
mod follows;
mod limits;
pub mod shop;

use onus::removal::{Factor, Held, Note, Removal, Risk, Risked, Settings, Term, fit};
use onus::site::DefectClass;
use onus::stats::distributions::binomial;
use rayon::prelude::*;
use statrs::distribution::{Binomial, DiscreteCDF};

use crate::recipe::shop::{RecipeShop, SetBy};

/// A share this unlikely at the stated coverage fails the promise.
const SURPRISE: f64 = 1e-3;

/// Highest coverage promised of 95 % intervals: wider ones say less than they know.
const AT_MOST: f64 = 0.975;

const FACTORS: [Factor; 4] = [Factor::Feed, Factor::Passes, Factor::Force, Factor::Grain];

/// Intervals of one factor: how many hold the truth, of those given.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    held: u64,
    given: u64,
}

fn fitted(shop: &RecipeShop, seed: u64) -> Removal {
    fit(&shop.records(seed), &Settings::default(), &Held::default()).expect("readings and factors")
}

/// Runs the shop and checks that each exponent's interval holds the truth as
/// often as its level says.
fn covers(name: &str, shop: &RecipeShop, runs: u64) -> [Tally; 4] {
    covers_by(name, shop, shop.exponents, runs, |removal| {
        Some(&removal.terms)
    })
}

/// The same, and that the intervals hold it no oftener than they need to.
fn covers_and_no_more(name: &str, shop: &RecipeShop, runs: u64) {
    for (factor, tally) in FACTORS.iter().zip(covers(name, shop, runs)) {
        assert!(
            binomial::at_least(tally.held, tally.given, AT_MOST) > SURPRISE,
            "{name}: {factor:?} {tally:?}"
        );
    }
}

/// The same for the terms picked.
fn covers_by(
    name: &str,
    shop: &RecipeShop,
    truth: [f64; 4],
    runs: u64,
    pick: impl Fn(&Removal) -> Option<&[Term]> + Sync,
) -> [Tally; 4] {
    let inside = |seed: u64| -> [Option<bool>; 4] {
        let removal = fitted(shop, 1000 + seed);
        let terms = pick(&removal).unwrap_or_default();
        std::array::from_fn(|k| {
            let ci = terms.iter().find(|t| t.factor == FACTORS[k])?.ci?;
            Some(ci.low <= truth[k] && truth[k] <= ci.high)
        })
    };
    let each: Vec<_> = (0..runs).into_par_iter().map(inside).collect();
    let tallies = std::array::from_fn(|k| {
        let given = || each.iter().filter_map(|e| e[k]);
        Tally {
            held: given().filter(|h| *h).count() as u64,
            given: given().count() as u64,
        }
    });
    for (factor, Tally { held, given }) in FACTORS.iter().zip(tallies) {
        assert!(
            10 * given >= 8 * runs,
            "{name}: {factor:?} given {given} of {runs}"
        );
        let chance = Binomial::new(0.95, given).unwrap().cdf(held);
        assert!(
            chance > SURPRISE,
            "{name}: {factor:?} holds the truth in {held} of {given}"
        );
    }
    tallies
}

#[test]
fn exponents_keep_their_coverage_with_lots_wear_and_a_recipe_per_panel() {
    covers_and_no_more(
        "panel",
        &RecipeShop {
            panels: 120,
            lots: 8,
            ..RecipeShop::default()
        },
        300,
    );
}

/// Lots that cross shifts and days share what the recipe shares with neither.
#[test]
fn a_recipe_set_by_the_shift_keeps_its_coverage_across_lots() {
    let shop = RecipeShop {
        panels: 160,
        per_day: 20,
        uneven: true,
        set_by: SetBy::Shift,
        day_sd: 0.08,
        ..RecipeShop::default()
    };
    covers("shift", &shop, 60);
}

#[test]
fn a_recipe_set_by_the_day_keeps_its_coverage_with_few_days() {
    let shop = RecipeShop {
        panels: 120,
        lots: 8,
        per_day: 10,
        set_by: SetBy::Day,
        day_sd: 0.10,
        ..RecipeShop::default()
    };
    covers("day", &shop, 100);
}

#[test]
fn a_recipe_set_by_the_lot_keeps_its_coverage() {
    let shop = RecipeShop {
        panels: 180,
        set_by: SetBy::Lot,
        ..RecipeShop::default()
    };
    covers("lot", &shop, 40);
}

#[test]
fn a_recipe_set_every_few_panels_keeps_its_coverage() {
    let shop = RecipeShop {
        panels: 200,
        set_by: SetBy::Panels(5),
        day_sd: 0.08,
        ..RecipeShop::default()
    };
    covers_and_no_more("five panels", &shop, 300);
}

/// What two machines share, shift by shift, is not seen twice.
#[test]
fn a_recipe_set_on_two_machines_at_once_is_set_once() {
    let shop = RecipeShop {
        panels: 160,
        machines: 2,
        per_day: 20,
        set_by: SetBy::Shift,
        day_sd: 0.12,
        ..RecipeShop::default()
    };
    covers("two machines", &shop, 40);
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

/// Rates of defects against the recipe, with lots, days and clumps of marks.
#[test]
fn a_rates_exponents_keep_their_coverage() {
    for (name, set_by) in [("panel", SetBy::Panel), ("shift", SetBy::Shift)] {
        let shop = RecipeShop {
            panels: 160,
            per_day: 20,
            set_by,
            over: (1.5, 1.5),
            lot_rates: 0.4,
            day_rates: 0.3,
            clump: 1.0,
            ..RecipeShop::default()
        };
        let truth = shop.exponents.map(|e| e * shop.over.1);
        covers_by(name, &shop, truth, 40, |removal| {
            let over = |r: &&Risk| r.of == Risked::Class(DefectClass::Over);
            removal.risks.iter().find(over).map(|r| &r.terms[..])
        });
    }
}
