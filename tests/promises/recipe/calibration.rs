//! Coverage of the recipe's intervals over a family of designs, for the
//! calibration run: settings by the panel up to by the week, with lots that cross
//! them, days that go together, drift, uneven days and clumped marks.
#![allow(clippy::print_stdout, reason = "the tables")]

use onus::removal::{self, Factor, Held, Risked, Term};
use onus::site::DefectClass;
use rayon::prelude::*;

use crate::calibration::covered;
use crate::recipe::shop::{RecipeShop, SetBy};

const FACTORS: [Factor; 4] = [Factor::Feed, Factor::Passes, Factor::Force, Factor::Grain];

/// Designs with their names. Rates of lots and days vary only where asked for.
fn designs() -> Vec<(&'static str, RecipeShop)> {
    let base = RecipeShop {
        day_sd: 0.08,
        ..RecipeShop::default()
    };
    let set = |panels, per_day, set_by| RecipeShop {
        panels,
        per_day,
        set_by,
        ..base.clone()
    };
    let uneven = |shop| RecipeShop {
        uneven: true,
        ..shop
    };
    let drifting = |shop, sd, kept| RecipeShop {
        drift: (sd, kept),
        ..shop
    };
    let machines = |shop| RecipeShop {
        machines: 2,
        ..shop
    };
    let lots = |shop, lots| RecipeShop { lots, ..shop };
    vec![
        ("panel, 60", lots(set(60, 40, SetBy::Panel), 6)),
        ("panel, 120", set(120, 40, SetBy::Panel)),
        (
            "panel, 120, drift",
            drifting(set(120, 40, SetBy::Panel), 0.15, 0.95),
        ),
        ("five panels, 200", set(200, 40, SetBy::Panels(5))),
        (
            "five panels, 200, uneven, drift",
            drifting(uneven(set(200, 40, SetBy::Panels(5))), 0.12, 0.97),
        ),
        ("shift, 400", set(400, 40, SetBy::Shift)),
        ("shift, 400, no lots", lots(set(400, 40, SetBy::Shift), 0)),
        (
            "shift, 400, drift",
            drifting(set(400, 40, SetBy::Shift), 0.15, 0.98),
        ),
        (
            "shift, 400, two machines",
            machines(set(400, 40, SetBy::Shift)),
        ),
        ("shift, 160, uneven", uneven(set(160, 20, SetBy::Shift))),
        ("day, 800", set(800, 40, SetBy::Day)),
        ("day, 300, uneven", uneven(set(300, 15, SetBy::Day))),
        ("day, 120", lots(set(120, 10, SetBy::Day), 8)),
        ("lot, 180", set(180, 40, SetBy::Lot)),
        (
            "lot, 300, uneven",
            lots(uneven(set(300, 40, SetBy::Lot)), 20),
        ),
        ("lot, 360, lots return", set(360, 40, SetBy::Lot)),
        ("week, 400", set(400, 10, SetBy::Week)),
        (
            "week, 600, drift",
            drifting(set(600, 10, SetBy::Week), 0.1, 0.98),
        ),
    ]
}

/// Whether each factor's interval holds its truth, of those given.
fn inside(terms: &[Term], truth: [f64; 4]) -> [Option<bool>; 4] {
    let mut found = [None; 4];
    for (k, factor) in FACTORS.iter().enumerate() {
        let term = terms.iter().find(|t| t.factor == *factor);
        found[k] = term
            .and_then(|t| t.ci)
            .map(|ci| ci.low <= truth[k] && truth[k] <= ci.high);
    }
    found
}

fn row(broken: &mut Vec<String>, name: &str, each: &[[Option<bool>; 4]]) {
    let mut row = format!("| {name} |");
    for k in 0..4 {
        let given: Vec<bool> = each.iter().filter_map(|e| e[k]).collect();
        let held = given.iter().filter(|h| **h).count();
        let what = format!("{:?} by {name}", FACTORS[k]);
        row += &format!(" {} |", covered(broken, &what, 0.95, held, given.len()));
    }
    println!("{row}");
}

/// Intervals of the recipe's exponents.
pub fn exponents(broken: &mut Vec<String>) {
    let runs = 400;
    println!(
        "\n| recipe set by, panels | exponent of feed inside its 95 % interval | passes | force | grain |"
    );
    println!("| --- | --- | --- | --- | --- |");
    for (name, shop) in designs() {
        let each: Vec<_> = (0..runs)
            .into_par_iter()
            .map(|seed| {
                let settings = removal::Settings::default();
                let found = removal::fit(&shop.records(70_000 + seed), &settings, &Held::default());
                inside(&found.expect("readings and factors").terms, shop.exponents)
            })
            .collect();
        row(broken, name, &each);
    }
}

/// Intervals of the exponents of a defect's rate.
pub fn slopes(broken: &mut Vec<String>) {
    let runs = 200;
    println!(
        "\n| recipe set by, panels | rate's exponent of feed inside its 95 % interval | passes | force | grain |"
    );
    println!("| --- | --- | --- | --- | --- |");
    for (name, shop) in designs() {
        for (marks, clump) in [("single marks", 0.0), ("clumps", 1.5)] {
            let shop = RecipeShop {
                over: (1.0, 1.5),
                lot_rates: 0.4,
                day_rates: 0.3,
                clump,
                ..shop.clone()
            };
            let slope = shop.exponents.map(|e| e * shop.over.1);
            let each: Vec<_> = (0..runs)
                .into_par_iter()
                .map(|seed| {
                    let settings = removal::Settings::default();
                    let records = shop.records(80_000 + seed);
                    let found = removal::fit(&records, &settings, &Held::default());
                    let risks = found.expect("readings and factors").risks;
                    let over = risks
                        .iter()
                        .find(|r| r.of == Risked::Class(DefectClass::Over));
                    over.map_or([None; 4], |r| inside(&r.terms, slope))
                })
                .collect();
            row(broken, &format!("{name}, {marks}"), &each);
        }
    }
}
