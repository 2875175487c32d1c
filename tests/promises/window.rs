//! Edges of the process window hold the truth as often as they say.

use onus::removal::{Basis, Factor, Held, Removal, Settings, Window, WindowPoint, fit};
use onus::site::{DefectClass, Limits};
use statrs::distribution::{Binomial, ContinuousCDF, DiscreteCDF, Normal};

use crate::recipe::shop::{RecipeShop, SetBy};

const SURPRISE: f64 = 1e-3;
/// Quantile of the accepted share of 5 %.
const TAIL: f64 = 1.644_853_626_951_472_2;

/// Whether either edge's interval holds the true edge; none where the report
/// gives no bound of it inside the range seen.
fn held(window: &Window, truth: (f64, f64)) -> [Option<bool>; 2] {
    let shares = |p: &WindowPoint| [p.too_much, p.too_little].into_iter().flatten().next();
    if window
        .points
        .iter()
        .all(|p| shares(p).is_none_or(|s| s.ci.is_none()))
    {
        return [None, None];
    }
    let (first, last) = (
        window.points[0].setting,
        window.points.last().unwrap().setting,
    );
    let perhaps = window.perhaps_inside;
    let surely = window.surely_inside;
    // From where on the edge may lie, and up to where.
    let low = (perhaps.map_or(last, |p| p.0), surely.map_or(last, |s| s.0));
    let high = (
        surely.map_or(first, |s| s.1),
        perhaps.map_or(first, |p| p.1),
    );
    let inside = |(from, to): (f64, f64), truth: f64| {
        let bounded = (from > first, to < last);
        match bounded {
            (false, false) => None,
            _ => Some((!bounded.0 || from <= truth) && (!bounded.1 || truth <= to)),
        }
    };
    [inside(low, truth.0), inside(high, truth.1)]
}

fn window(removal: &Removal, basis: Basis) -> Option<&Window> {
    let of = |w: &&Window| w.basis == basis && w.lever == Factor::Feed;
    removal.windows.iter().find(of)
}

/// Limits whose window reaches from 95 to 135 mm/s.
fn by_limits(shop: &RecipeShop, seed: u64) -> [Option<bool>; 2] {
    let records = shop.records(seed);
    let others = shop.law_of_the_others(&records);
    let sd = shop.lot_sd.hypot(shop.day_sd).hypot(shop.panel_sd);
    let at = |feed: f64, z: f64| {
        shop.removed_um * (others + shop.exponents[0] * (feed / 100.0).ln() + z * sd).exp()
    };
    let settings = Settings {
        removed_um: Limits {
            low: Some(at(135.0, -TAIL)),
            high: Some(at(95.0, TAIL)),
        },
        ..Settings::default()
    };
    let removal = fit(&records, &settings, &Held::default()).unwrap();
    window(&removal, Basis::Limits).map_or([None, None], |w| held(w, (95.0, 135.0)))
}

/// Share of panels hit at a rate: panels mix by a gamma of shape 2, lots and
/// days by log-normals (ninety-nine quantiles).
fn share(shop: &RecipeShop, rate: f64) -> f64 {
    let normal = Normal::new(0.0, 1.0).unwrap();
    let sd = shop.lot_rates.hypot(shop.day_rates);
    let of = |q: usize| {
        let rate = rate * (sd * normal.inverse_cdf((q as f64 - 0.5) / 99.0)).exp();
        1.0 - (1.0 + rate / (1.0 + shop.clump) / 2.0).powi(-2)
    };
    (1..=99).map(of).sum::<f64>() / 99.0
}

/// Shops in which only feed moves the rate, of one class, whose true edge is at
/// 110 mm/s: too much removed below, or too little above it.
fn one_class(shop: &RecipeShop, class: DefectClass) -> RecipeShop {
    let feed_only = RecipeShop {
        exponents: [-1.0, 0.0, 0.0, 0.0],
        worn: 1.0,
        fresh: 1.0,
        ..shop.clone()
    };
    let slope = if class == DefectClass::Over {
        3.0
    } else {
        -3.0
    };
    // The rate at 100 mm/s that leaves 5 % of the panels hit at 110 mm/s.
    let (mut low, mut high) = (1e-4, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if share(shop, middle * 1.1_f64.powf(-slope)) < 0.05 {
            low = middle;
        } else {
            high = middle;
        }
    }
    match class {
        DefectClass::Over => RecipeShop {
            over: (low, slope),
            ..feed_only
        },
        _ => RecipeShop {
            under: (low, slope),
            ..feed_only
        },
    }
}

fn by_defects(shop: &RecipeShop, class: DefectClass, seed: u64) -> Option<bool> {
    let removal = fit(&shop.records(seed), &Settings::default(), &Held::default())?;
    let [low, high] = held(window(&removal, Basis::Defects)?, (110.0, 110.0));
    if class == DefectClass::Over {
        low
    } else {
        high
    }
}

/// Ten lots, days and panels; the recipe set by the panel or by the shift.
fn shops() -> [(&'static str, RecipeShop); 3] {
    let shop = RecipeShop {
        panels: 200,
        lots: 10,
        day_sd: 0.06,
        ..RecipeShop::default()
    };
    [
        ("panel", shop.clone()),
        (
            "shift",
            RecipeShop {
                set_by: SetBy::Shift,
                panels: 320,
                per_day: 20,
                ..shop.clone()
            },
        ),
        (
            "few lots",
            RecipeShop {
                lots: 8,
                lot_sd: 0.15,
                ..shop
            },
        ),
    ]
}

/// Fails where an edge is held less often than in 95 %, by an exact bound; an
/// interval that reaches beyond the settings seen on both sides excludes nothing,
/// and at least `least` must exclude something.
fn covers(name: &str, edges: &[Option<bool>], least: usize) {
    let told = edges.iter().flatten().count();
    let missed = edges.iter().flatten().filter(|held| !**held).count();
    assert!(told >= least, "{name}: told in {told} of {}", edges.len());
    let chance = Binomial::new(0.05, edges.len() as u64).unwrap();
    let chance = chance.sf((missed as u64).saturating_sub(1));
    let whole = missed == 0 || chance > SURPRISE;
    assert!(whole, "{name}: {missed} of {} missed", edges.len());
}

#[test]
fn edges_by_removal_limits_hold_the_truth() {
    let runs = 60;
    for (name, shop) in shops() {
        let edges: Vec<Option<bool>> = (0..runs)
            .flat_map(|seed| by_limits(&shop, 4000 + seed))
            .collect();
        covers(name, &edges, edges.len() / 3);
    }
}

#[test]
fn edges_by_defects_hold_the_truth() {
    let runs = 40;
    for (name, shop) in shops().into_iter().take(2) {
        let shop = RecipeShop {
            panels: 400,
            lot_rates: 0.3,
            day_rates: 0.2,
            clump: 0.5,
            ..shop
        };
        let mut edges = Vec::new();
        for class in [DefectClass::Over, DefectClass::Under] {
            let shop = one_class(&shop, class);
            edges.extend((0..runs).map(|seed| by_defects(&shop, class, 5000 + seed)));
        }
        covers(name, &edges, edges.len() / 16);
    }
}
