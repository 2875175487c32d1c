//! The calibration run: longer than the other tests, by one command,
//!
//! `cargo test --release --test promises -- --ignored calibration --nocapture`
//!
//! prints false accusations, power against the searching oracle and interval
//! coverage by setting as tables, and fails where a promise is broken.
#![allow(clippy::print_stdout, reason = "the tables")]

use std::sync::Arc;

use onus::causes::{Cause, LineAxis, Settings, Shape, Sharpness, find};
use onus::change::{self, Pick, Selection, Sides, Verdict, compare};
use onus::records::{Lay, Point, Records};
use onus::stats::binomial_tail;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use crate::oracle::Oracle;
use crate::recipe::calibration::{exponents, slopes};
use crate::recipe::shop::RecipeShop;
use crate::scan::places;
use crate::shops::{Background, EDGES, Owner, Repeater, Shop};
use crate::surface::{Laid, PLAIN};

/// A count this unlikely under the promise breaks it: over the fewer than two
/// hundred cells of the tables a wrong alarm comes less than once in ten runs.
const SURPRISE: f64 = 5e-4;

/// P(X ≤ hits) of `runs` with chance `share` each.
fn at_most(runs: usize, share: f64, hits: usize) -> f64 {
    binomial_tail(runs, 1.0 - share, runs - hits)
}

fn percent(hits: usize, runs: usize) -> String {
    format!("{:.1} %", 100.0 * hits as f64 / runs as f64)
}

fn innocent() -> Vec<(&'static str, Shop)> {
    let base = Shop {
        background: EDGES,
        clump_sd_mm: Some(8.0),
        ..Shop::default()
    };
    let at = Point { x: 215.0, y: 170.0 };
    let planted = |owner, lays: &[(Lay, f64)]| Shop {
        repeaters: vec![Repeater {
            owner,
            ..Repeater::machine(at.x, at.y, 0.3)
        }],
        lays: lays.to_vec(),
        ..base.clone()
    };
    let alike = [(Lay::Deg0, 1.0)];
    let turned = [(Lay::Deg0, 0.5), (Lay::Deg180, 0.5)];
    vec![
        (
            "flat, single marks",
            Shop {
                background: Background::Flat,
                clump_sd_mm: None,
                ..base.clone()
            },
        ),
        ("edges, clumped", base.clone()),
        (
            "corners",
            Shop {
                background: Background::Corners {
                    share: 0.6,
                    mean_mm: 20.0,
                    first: 1.0,
                },
                ..base.clone()
            },
        ),
        (
            "sparse, 400 panels",
            Shop {
                panels: 400,
                marks: 0.5,
                ..base.clone()
            },
        ),
        (
            "dense",
            Shop {
                marks: 8.0,
                ..base.clone()
            },
        ),
        (
            "30 panels",
            Shop {
                panels: 30,
                lots: 3,
                ..base.clone()
            },
        ),
        (
            "wild panels",
            Shop {
                mixing: 0.3,
                ..base.clone()
            },
        ),
        (
            "two bad lots",
            Shop {
                lot_factors: vec![10.0, 10.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0],
                ..base.clone()
            },
        ),
        (
            "two machines, three sizes",
            Shop {
                machines: 2,
                sizes: vec![(600.0, 400.0), (450.0, 300.0), (800.0, 500.0)],
                ..base.clone()
            },
        ),
        (
            "half rounded to 10 mm",
            Shop {
                rounding_mm: 10.0,
                rounded_share: 0.5,
                ..base.clone()
            },
        ),
        (
            "repeat on the part, panels turned",
            planted(Owner::Panel, &turned),
        ),
        (
            "repeat on the part, all laid alike",
            planted(Owner::Panel, &alike),
        ),
        ("repeat on two of ten lots", planted(Owner::Lots(2), &alike)),
    ]
}

/// Reports that accuse the machine although nothing is wrong with it.
fn false_accusations(broken: &mut Vec<String>) {
    let runs = 300;
    let settings = Settings::default();
    println!(
        "\n| nothing wrong with the machine | reports | machine accused | another cause found |"
    );
    println!("| --- | --- | --- | --- |");
    for (name, shop) in innocent() {
        let (accused, other) = (0..runs as u64)
            .into_par_iter()
            .map(|seed| {
                let causes = find(&shop.records(50_000 + seed), &settings);
                let any = |machine: bool| {
                    let named = |c: Cause| (c == Cause::Machine) == machine;
                    usize::from(causes.findings.iter().any(|f| named(f.cause)))
                };
                (any(true), any(false))
            })
            .reduce(|| (0, 0), |a, b| (a.0 + b.0, a.1 + b.1));
        println!(
            "| {name} | {runs} | {} | {} |",
            percent(accused, runs),
            percent(other, runs)
        );
        if binomial_tail(runs, settings.alpha, accused) < SURPRISE {
            broken.push(format!("{name}: machine accused in {accused} of {runs}"));
        }
    }
}

/// Runs in which the scan finds a sharp place or line of the shape asked for.
fn times_found(made: &Shop, runs: usize, is_it: impl Fn(&Shape) -> bool + Sync) -> usize {
    (0..runs as u64)
        .into_par_iter()
        .filter(|seed| {
            places(&made.view(90_000 + seed))
                .iter()
                .any(|f| f.sharpness == Sharpness::Sharp && is_it(&f.shape))
        })
        .count()
}

/// What the scan finds, against an oracle that knows all but whether it is there.
fn power(broken: &mut Vec<String>) {
    let (runs, oracle_runs) = (150, 4000);
    println!(
        "\n| place | panels | marks a panel | share of panels | oracle, no search | oracle, 1200 places | found |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    for (place, x, y, cells) in [
        (
            "interior",
            215.0,
            170.0,
            [
                (30, 0.5, 0.2),
                (30, 2.0, 0.3),
                (100, 2.0, 0.05),
                (100, 2.0, 0.1),
                (100, 8.0, 0.1),
            ],
        ),
        (
            "edge",
            215.0,
            15.0,
            [
                (30, 0.5, 0.2),
                (30, 2.0, 0.3),
                (100, 2.0, 0.05),
                (100, 2.0, 0.1),
                (100, 8.0, 0.2),
            ],
        ),
    ] {
        for (panels, marks, share) in cells {
            let made = Shop {
                panels,
                marks,
                background: EDGES,
                repeaters: vec![Repeater::machine(x, y, share)],
                ..Shop::stream()
            };
            let oracle = Oracle::of(&made);
            let ratios: Vec<f64> = (0..oracle_runs)
                .into_par_iter()
                .map(|seed| oracle.log_ratio(&made.view(90_000 + seed)))
                .collect();
            let near = |s: &Shape| matches!(s, Shape::Spot { centre } if (centre.x - x).hypot(centre.y - y) < 12.0);
            let found = times_found(&made, runs, near);
            let best = Oracle::power(ratios.clone(), 0.01);
            println!(
                "| {place} | {panels} | {marks} | {share} | {best:.2} | {:.2} | {:.2} |",
                Oracle::power(ratios, 0.01 / 1200.0),
                found as f64 / runs as f64
            );
            if binomial_tail(runs, best, found) < SURPRISE {
                broken.push(format!(
                    "{place}: {found} of {runs} beat the oracle's {best}"
                ));
            }
        }
    }
}

/// How often lines are found.
fn line_power() {
    let runs = 200;
    let x = 230.0;
    println!("\n| line inside, panels | marks a panel | share of panels | found |");
    println!("| --- | --- | --- | --- |");
    for (panels, marks, share) in [
        (100, 0.5, 0.1),
        (100, 2.0, 0.1),
        (100, 2.0, 0.2),
        (100, 8.0, 0.2),
        (100, 8.0, 0.4),
        (30, 0.5, 0.3),
        (30, 2.0, 0.4),
        (400, 8.0, 0.1),
    ] {
        let made = Shop {
            panels,
            marks,
            background: EDGES,
            repeaters: vec![Repeater::line(x, share)],
            ..Shop::stream()
        };
        let near = |s: &Shape| matches!(s, Shape::Line { along: LineAxis::Y, at_mm } if (at_mm - x).abs() < 8.0);
        let found = times_found(&made, runs, near);
        let share_found = found as f64 / runs as f64;
        println!("| {panels} | {marks} | {share} | {share_found:.2} |");
    }
}

pub fn covered(
    broken: &mut Vec<String>,
    name: &str,
    level: f64,
    held: usize,
    given: usize,
) -> String {
    if at_most(given, level, held) < SURPRISE {
        broken.push(format!("{name}: the truth inside in {held} of {given}"));
    }
    format!("{} of {given}", percent(held, given))
}

/// Panels on recipe A, then on B, whose defects keep the share `ratio`.
fn changed(shop: &RecipeShop, ratio: f64, seed: u64) -> Records {
    let mut records = shop.records(seed);
    let mut rng = ChaCha8Rng::seed_from_u64(seed + 1);
    records.readings.clear();
    let half = records.panels.len() / 2;
    for (i, panel) in records.panels.iter_mut().enumerate() {
        panel.recipe = Some(Arc::from(if i < half { "A" } else { "B" }));
    }
    records
        .defects
        .retain(|d| d.panel < half || rng.random::<f64>() < ratio);
    records
}

/// Intervals of the ratio of rates after a change, and what it was called.
fn change_coverage(broken: &mut Vec<String>) {
    let runs = 300;
    let pick = |value: &str| {
        vec![Pick {
            column: "recipe".into(),
            value: value.into(),
        }]
    };
    let selection = Selection {
        sides: Sides::Values {
            before: pick("A"),
            after: pick("B"),
        },
        only: Vec::new(),
        window: change::Window::default(),
        on: Vec::new(),
    };
    println!(
        "\n| change | panels | lots | true ratio | inside the 95 % interval | helped | hurt |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    for (name, panels, lots, lot_rates, ratio) in [
        ("calm lots", 120, 4, 0.2, 1.0),
        ("calm lots", 240, 8, 0.2, 0.5),
        ("wild lots", 120, 4, 0.8, 1.0),
        ("wild lots", 240, 8, 0.8, 1.0),
        ("wild lots", 600, 20, 0.8, 1.0),
        ("wild lots", 600, 20, 0.8, 0.5),
    ] {
        let shop = RecipeShop {
            panels,
            lots,
            lot_rates,
            over: (1.0, 0.0),
            ..RecipeShop::default()
        };
        let each: Vec<(Option<bool>, Verdict)> = (0..runs)
            .into_par_iter()
            .map(|seed| {
                let records = changed(&shop, ratio, 80_000 + seed);
                let found = compare(&records, &selection, &change::Settings::default());
                let found = found.expect("both recipes ran");
                let over = &found.comparisons[0].changes[0];
                let inside = over.ratio_ci.map(|ci| ci.low <= ratio && ratio <= ci.high);
                (inside, over.verdict)
            })
            .collect();
        let given: Vec<bool> = each.iter().filter_map(|e| e.0).collect();
        let held = given.iter().filter(|h| **h).count();
        let called = |v: Verdict| each.iter().filter(|e| e.1 == v).count();
        let (helped, hurt) = (called(Verdict::Helped), called(Verdict::Hurt));
        let runs = runs as usize;
        println!(
            "| {name} | {panels} | {lots} | {ratio} | {} | {} | {} |",
            covered(broken, name, 0.95, held, given.len()),
            percent(helped, runs),
            percent(hurt, runs)
        );
        // at no effect both together at most in one of twenty
        if ratio == 1.0 && binomial_tail(runs, 0.05, helped + hurt) < SURPRISE {
            broken.push(format!("{name}: {helped} helped, {hurt} hurt by nothing"));
        }
    }
}

/// Intervals of the machine's slope of removal, and tilts named where none is.
fn surface_coverage(broken: &mut Vec<String>) {
    let runs = 400;
    println!(
        "\n| panels laid | panels | lots | machine's slope inside its 95 % interval | tilt named where there is none |"
    );
    println!("| --- | --- | --- | --- | --- |");
    for (name, laid) in [
        ("alike", Laid::Alike),
        ("turned by half at random", Laid::HalfTurns),
        ("every second lot turned", Laid::LotsTurned),
    ] {
        for (panels, lots) in [(8, 0), (20, 5), (100, 10)] {
            if laid == Laid::LotsTurned && lots == 0 {
                continue;
            }
            let setting = crate::surface::Setting {
                panels,
                lots,
                laid,
                panel_sd: 2.0,
                lot_sd: if lots > 0 { 2.0 } else { 0.0 },
                ..PLAIN
            };
            let tilted = setting.run(runs, 0.01, 31);
            let even = crate::surface::Setting {
                machine: 0.0,
                ..setting
            };
            let level = even.run(runs, 0.01, 32);
            let (held, named) = (tilted.slope as usize, level.machine as usize);
            println!(
                "| {name} | {panels} | {lots} | {} | {} |",
                covered(broken, name, 0.95, held, runs),
                percent(named, runs)
            );
            if binomial_tail(runs, 0.01, named) < SURPRISE {
                broken.push(format!("{name}: tilt named in {named} of {runs}"));
            }
        }
    }
}

#[test]
#[ignore = "takes minutes and prints tables"]
fn calibration_of_causes() {
    let mut broken = Vec::new();
    false_accusations(&mut broken);
    assert!(broken.is_empty(), "{broken:#?}");
}

#[test]
#[ignore = "takes minutes and prints tables"]
fn calibration_of_power() {
    let mut broken = Vec::new();
    power(&mut broken);
    line_power();
    assert!(broken.is_empty(), "{broken:#?}");
}

#[test]
#[ignore = "takes minutes and prints tables"]
fn calibration_of_intervals() {
    let mut broken = Vec::new();
    exponents(&mut broken);
    slopes(&mut broken);
    change_coverage(&mut broken);
    surface_coverage(&mut broken);
    assert!(broken.is_empty(), "{broken:#?}");
}
