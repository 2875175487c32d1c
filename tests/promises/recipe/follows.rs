//! A stream whose rate moves with the recipe is called so, lots or not; a stream
//! whose rate does not is called so in at most one report of a hundred.

use onus::causes::{Cause, Causes, Kind, Settings, find};
use onus::records::Records;
use statrs::distribution::{Binomial, DiscreteCDF};

use crate::recipe::shop::RecipeShop;

const SURPRISE: f64 = 1e-3;

/// Marks of one class; feed, passes, force and grit set by the panel.
fn shop() -> RecipeShop {
    RecipeShop {
        panels: 160,
        lots: 8,
        over: (1.0, 0.0),
        lot_rates: 0.4,
        day_rates: 0.3,
        ..RecipeShop::default()
    }
}

fn causes(mut records: Records) -> Causes {
    records.readings.clear();
    find(&records, &Settings::default())
}

fn follows(causes: &Causes) -> bool {
    let named = |f: &onus::causes::Finding| f.cause == Cause::Recipe && f.kind == Kind::Rate;
    causes.findings.iter().any(named)
}

#[test]
fn a_rate_that_follows_lots_and_days_is_not_the_recipes() {
    let runs = 150;
    let named = (0..runs).filter(|&seed| follows(&causes(shop().records(40_000 + seed))));
    let named = named.count() as u64;
    let bound = Binomial::new(0.01, runs).unwrap();
    let chance = if named == 0 { 1.0 } else { bound.sf(named - 1) };
    assert!(chance > SURPRISE, "{named} of {runs}");
}

/// Lots that differ eightfold and a recipe that does: both act, and the recipe is
/// named beside the lots.
#[test]
fn a_rate_that_follows_lots_and_recipe_is_the_recipes() {
    let runs = 30;
    let (mut recipe, mut lots) = (0, 0);
    for seed in 0..runs {
        let both = RecipeShop {
            over: (1.0, 1.2),
            lot_rates: 1.0,
            ..shop()
        };
        let found = causes(both.records(41_000 + seed));
        let listed = |s: &onus::causes::Stream| s.causes.iter().any(|c| c.cause == Cause::Recipe);
        recipe += u64::from(follows(&found) && found.streams.iter().all(listed));
        lots += u64::from(found.findings.iter().any(|f| f.kind == Kind::Lot));
    }
    // Nine of ten.
    let chance = Binomial::new(0.9, runs).unwrap().cdf(recipe);
    assert!(chance > SURPRISE, "{recipe} of {runs}");
    assert!(2 * lots > runs, "lots beside it in {lots} of {runs}");
}
