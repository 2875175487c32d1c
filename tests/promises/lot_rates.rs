//! A lot with a rate of its own is named, without a place, while abrasives age
//! and recipes change; and no lot is named where lots are alike.

use onus::causes::{Cause, Finding, Kind, Reason, Settings, find};
use onus::records::Records;
use onus::stats::distributions::binomial;

use crate::shops::Shop;

/// Chance of a bound that fails although the promise is kept.
const FAILS_BY_CHANCE: f64 = 1e-4;
/// Panels on one abrasive.
const LIFE: usize = 25;

/// Two machines; recipes change by blocks of eight panels, abrasives age.
fn records(shop: &Shop, seed: u64) -> Records {
    let mut records = shop.records(seed);
    for (i, panel) in records.panels.iter_mut().enumerate() {
        panel.abrasive_age = Some((i / 2 % LIFE) as f64);
        let block = (i / 8 + usize::try_from(seed).unwrap()) * 7 % 5;
        panel.recipe = Some(["fine", "usual", "coarse"][block % 3].into());
    }
    records
}

fn shop(lot_factors: Vec<f64>, in_blocks: bool, marks: f64) -> Shop {
    Shop {
        panels: 160,
        machines: 2,
        lots: 8,
        lots_in_blocks: in_blocks,
        lot_factors,
        marks,
        ..Shop::default()
    }
}

/// Lots named as the part's.
fn lots_named(shop: &Shop, seed: u64) -> Vec<Finding> {
    let causes = find(&records(shop, seed), &Settings::default());
    causes
        .findings
        .into_iter()
        .filter(|f| f.kind == Kind::Lot)
        .collect()
}

#[test]
fn one_bad_lot_is_named_with_its_ratio() {
    let (mut runs, mut named, mut others, mut held) = (0, 0, 0, 0);
    for factor in [4.0, 6.0, 10.0] {
        for (in_blocks, marks) in [(false, 1.0), (true, 1.0), (false, 0.5)] {
            for seed in 0..4 {
                let mut factors = vec![1.0; 8];
                factors[3] = factor;
                let found = lots_named(&shop(factors, in_blocks, marks), 700 + seed);
                runs += 1;
                let own = found
                    .iter()
                    .find(|f| f.cause == Cause::Part && f.lots == ["lot-4"]);
                others += u64::from(found.iter().any(|f| f.lots.iter().any(|l| l != "lot-4")));
                let Some(own) = own else { continue };
                named += 1;
                let Some(Reason::RateHigher { ratio_ci, .. }) = own.reasons.first() else {
                    panic!("{own:?}");
                };
                held += u64::from(ratio_ci.0 <= factor && factor <= ratio_ci.1);
            }
        }
    }
    // Nine of ten are named.
    assert!(
        binomial::at_most(named, runs, 0.9) >= FAILS_BY_CHANCE,
        "{named} of {runs} named"
    );
    assert!(
        binomial::at_least(others, runs, 0.01) >= FAILS_BY_CHANCE,
        "{others} of {runs} name another lot"
    );
    assert!(
        binomial::at_most(held, named, 0.95) >= FAILS_BY_CHANCE,
        "{held} of {named} intervals hold the ratio"
    );
}

#[test]
fn no_lot_is_named_where_lots_are_alike() {
    let (mut runs, mut named) = (0, 0);
    for in_blocks in [false, true] {
        for seed in 0..30 {
            let found = lots_named(&shop(vec![1.0], in_blocks, 1.0), 900 + seed);
            runs += 1;
            named += u64::from(!found.is_empty());
        }
    }
    assert!(
        binomial::at_least(named, runs, 0.01) >= FAILS_BY_CHANCE,
        "{named} of {runs}"
    );
}

/// Rates that follow the abrasive's age, and a lot that ran on old abrasive only.
#[test]
fn a_lot_that_ran_on_worn_abrasive_only_is_not_blamed() {
    let shop = Shop {
        panels: 200,
        lots: 5,
        lots_in_blocks: true,
        marks: 0.0,
        ..Shop::default()
    };
    let mut blamed = 0;
    for seed in 0..20 {
        let mut records = shop.records(1500 + seed);
        let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
        for i in 0..records.panels.len() {
            // Lots take turns; each keeps to its own fifth of the abrasive's life.
            let age = i % LIFE;
            let panel = &mut records.panels[i];
            panel.abrasive_age = Some(age as f64);
            panel.lot = Some(format!("lot-{}", age / 5).into());
            let marks = if age >= 20 { 4 } else { 1 };
            for _ in 0..marks {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                let (a, b) = ((state >> 33) % 1000, (state >> 43) % 1000);
                let place = Some(onus::records::Point {
                    x: 0.6 * a as f64,
                    y: 0.4 * b as f64,
                });
                if (state >> 20) % 10 < 6 {
                    records.defects.push(crate::shops::mark_on(i, 0, place));
                }
            }
        }
        let causes = find(&records, &Settings::default());
        blamed += u64::from(
            causes
                .findings
                .iter()
                .any(|f| f.kind == Kind::Lot && f.cause == Cause::Part),
        );
    }
    assert!(
        binomial::at_least(blamed, 20, 0.01) >= FAILS_BY_CHANCE,
        "{blamed} of 20"
    );
}
