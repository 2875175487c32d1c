//! Which lever to move: the order, the limits, and when nothing is advised.

use onus::causes::{Cause, Causes, Evidence, Finding, Kind, NextCheck, Stream};
use onus::records::Records;
use onus::removal::{Advice, Factor, Held, Note, Obstacle, Reach, Removal, Settings, fit};
use onus::site::{DefectClass, Limits};

use statrs::distribution::{Binomial, DiscreteCDF};

use crate::recipe::shop::{RecipeShop, SetBy};

/// The trade's order: feed, passes, grit; force last (common practice, no source).
const ORDER: [Factor; 4] = [Factor::Feed, Factor::Passes, Factor::Grit, Factor::Force];

/// Log ratio within which a lever set to a number, or to whole passes or a grit,
/// counts as on target.
const NUMBER: f64 = 0.035;
const WHOLE: f64 = 0.101;

/// Records with seeds that end at different settings.
fn shops() -> Vec<Records> {
    let shop = RecipeShop {
        panels: 160,
        lots: 8,
        ..RecipeShop::default()
    };
    (0..8).map(|seed| shop.records(300 + seed)).collect()
}

fn aiming(target_um: f64) -> Settings {
    Settings {
        target_um: Some(target_um),
        ..Settings::default()
    }
}

fn fitted(records: &Records, settings: &Settings) -> Removal {
    fit(records, settings, &Held::default()).expect("readings and factors")
}

fn seen(records: &Records, factor: &Factor) -> (f64, f64) {
    let values = records.panels.iter().filter_map(|p| match factor {
        Factor::Feed => p.feed_mm_s,
        Factor::Passes => p.passes,
        Factor::Force => p.force_n,
        _ => None,
    });
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
        (low.min(v), high.max(v))
    })
}

/// Exponent of the shop's law by which a move of the lever changes removal.
fn law(advice: &Advice, records: &Records) -> f64 {
    let exponents = RecipeShop::default().exponents;
    if let Some((from, to)) = &advice.levels {
        let grain = |label: &str| {
            let grits = records.panels.iter().filter_map(|p| p.grit.as_ref());
            let of = |g: &onus::records::Grit| (g.label == label).then_some(g.grain_um);
            grits.filter_map(of).next().flatten().expect("a grit seen")
        };
        return exponents[3] * (grain(to) / grain(from)).ln();
    }
    let (from, to) = (advice.from.unwrap(), advice.to.unwrap());
    let exponent = match advice.factor {
        Factor::Feed => exponents[0],
        Factor::Passes => exponents[1],
        Factor::Force => exponents[2],
        _ => panic!("{:?} is no lever", advice.factor),
    };
    exponent * (to / from).ln()
}

#[test]
fn levers_come_in_the_trades_order_and_move_towards_the_target() {
    // per lever: advised for more removal, for less
    let mut advised = [[0, 0]; 4];
    for records in shops() {
        for (side, target) in [(0, 34.0), (1, 11.0)] {
            let removal = fitted(&records, &aiming(target));
            let places: Vec<usize> = removal
                .advice
                .iter()
                .map(|a| ORDER.iter().position(|f| *f == a.factor).expect("a lever"))
                .collect();
            assert!(places.is_sorted_by(|a, b| a < b), "{places:?}");
            for (advice, place) in removal.advice.iter().zip(places) {
                let present = advice.present_removed_um.expect("a removal model");
                let expected = advice.expected_removed_um.expect("a removal model");
                let ci = advice.ci.expect("an interval");
                assert!(ci.low < expected && expected < ci.high);
                // by the law, and by the model, the move goes the right way
                let way = (target / present).ln();
                assert!(law(advice, &records) * way > 0.0, "{advice:?}");
                assert!((expected / present).ln() * way > 0.0, "{advice:?}");
                let off = (target / expected).ln().abs();
                assert!(off < way.abs(), "{advice:?}");
                if advice.reach == Reach::Target {
                    let near = match advice.factor {
                        Factor::Passes | Factor::Grit => WHOLE,
                        _ => NUMBER,
                    };
                    assert!(off <= near, "{advice:?}");
                }
                if advice.factor == Factor::Passes {
                    assert_eq!(advice.to.map(f64::fract), Some(0.0));
                }
                // more passes or a slower feed cost time, force and grit do not
                let time = advice.cycle_time_ratio.expect("feed is recorded");
                match advice.factor {
                    Factor::Feed | Factor::Passes => assert!((time - 1.0) * way > 0.0),
                    _ => assert!((time - 1.0).abs() < 1e-12),
                }
                advised[place][side] += 1;
            }
        }
    }
    assert!(advised.iter().flatten().all(|n| *n >= 2), "{advised:?}");
}

#[test]
fn force_never_exceeds_the_cap() {
    let (mut at_the_cap, mut by_force) = (0, 0);
    // a cap that three figures would round up, one below all forces seen, one
    // that a limit of the column undercuts
    for (cap, column) in [(21.96, None), (14.0, None), (25.0, Some(18.04))] {
        for records in shops().into_iter().take(5) {
            for target in [11.0, 34.0, 400.0] {
                let mut settings = aiming(target);
                settings.force_cap_n = Some(cap);
                if let Some(high) = column {
                    let limits = Limits {
                        low: None,
                        high: Some(high),
                    };
                    settings.limits.insert("force_n".into(), limits);
                }
                let highest = column.map_or(cap, |c: f64| c.min(cap));
                for advice in fitted(&records, &settings).advice {
                    if advice.factor != Factor::Force {
                        continue;
                    }
                    let to = advice.to.expect("a force");
                    assert!(to <= highest, "{to} N above {highest} N");
                    by_force += 1;
                    if matches!(advice.reach, Reach::SiteLimit { needed } if needed > highest) {
                        assert_eq!(to, highest);
                        at_the_cap += 1;
                    }
                }
            }
        }
    }
    assert!(
        at_the_cap >= 5 && by_force > at_the_cap,
        "{at_the_cap} of {by_force}"
    );
}

#[test]
fn nothing_beyond_the_settings_seen_is_advised_and_the_report_says_what_it_would_take() {
    let mut edges = 0;
    for records in shops() {
        for target in [2.0, 300.0] {
            for advice in fitted(&records, &aiming(target)).advice {
                if advice.factor == Factor::Grit {
                    assert_eq!(advice.reach, Reach::Nearest);
                    continue;
                }
                let (low, high) = seen(&records, &advice.factor);
                let to = advice.to.expect("a number");
                assert!((low..=high).contains(&to), "{advice:?}");
                let Reach::EdgeOfRange { needed } = advice.reach else {
                    panic!("{advice:?}");
                };
                assert!(needed < low || needed > high, "{advice:?}");
                assert!(to == low || to == high, "{advice:?}");
                edges += 1;
            }
        }
    }
    assert!(edges >= 20, "{edges}");
}

#[test]
fn on_target_nothing_is_moved() {
    for records in shops() {
        let now = fitted(&records, &aiming(34.0));
        let Some(present) = now.advice.first().and_then(|a| a.present_removed_um) else {
            continue;
        };
        let there = fitted(&records, &aiming(present));
        assert!(there.advice.is_empty());
        let said = |n: &Note| matches!(n, Note::OnTarget { .. });
        assert!(there.notes.iter().any(said));
    }
}

fn finding(cause: Cause, kind: Kind, members: usize) -> Causes {
    let next_check = NextCheck::None;
    Causes {
        streams: vec![Stream {
            machine: Some("M1".into()),
            head: None,
            defect: "sand-through".into(),
            class: Some(DefectClass::Over),
            panels: 160,
            panels_hit: 20,
            defects: 20,
            cause,
            certainty: onus::causes::Certainty::CannotTell,
            causes: Vec::new(),
            open: Vec::new(),
            smallest_repeat_seen: None,
            panels_needed: None,
            reasons: Vec::new(),
            next_check: next_check.clone(),
            rate_by_level: Vec::new(),
        }],
        findings: vec![Finding {
            id: "F1".into(),
            machine: Some("M1".into()),
            head: None,
            defect: "sand-through".into(),
            cause,
            certainty: onus::causes::Certainty::CannotTell,
            rival: None,
            levels: Vec::new(),
            open: Vec::new(),
            kind,
            frame: None,
            x_mm: None,
            y_mm: None,
            radius_mm: None,
            line_axis: None,
            panels_hit: members,
            panels_exposed: 160,
            hit_rate: None,
            hit_rate_ci: None,
            reach_mm: None,
            expected_hits: None,
            p_adjusted: None,
            first_panel: None,
            last_panel: None,
            onset_panel: None,
            end_panel: None,
            drift_mm_per_day: None,
            bars: None,
            lots: Vec::new(),
            reasons: Vec::new(),
            next_check,
            evidence: Evidence {
                stream: Some(0),
                members: (0..members).collect(),
                ..Evidence::default()
            },
        }],
        ..Causes::default()
    }
}

#[test]
fn no_lever_while_a_finding_explains_the_defects() {
    let records = &shops()[0];
    let settings = aiming(34.0);
    let free = fitted(records, &settings);
    assert!(!free.advice.is_empty());
    for (cause, kind, members, holds) in [
        (Cause::Part, Kind::Spot, 15, true),
        (Cause::Machine, Kind::Spot, 15, true),
        // a small part of the marks, or nobody's
        (Cause::Part, Kind::Spot, 5, false),
        (Cause::Undecided, Kind::Spot, 15, false),
        // too much at both sides, or too thin a film: at any share
        (Cause::Part, Kind::OppositeSides, 5, true),
        (Cause::Part, Kind::ThinFilm, 5, true),
    ] {
        let held = Held::from_causes(&finding(cause, kind, members));
        let removal = fit(records, &settings, &held).expect("readings and factors");
        if holds {
            assert!(
                matches!(&removal.held[..], [Obstacle::Finding { id, .. }] if id == "F1"),
                "{kind:?}"
            );
            assert!(removal.advice.is_empty(), "{kind:?}");
            assert!(removal.windows.iter().all(|w| w.advised.is_none()));
            // the model itself stays
            assert_eq!(removal.terms, free.terms);
        } else {
            assert!(removal.held.is_empty(), "{cause:?} {members}");
            assert_eq!(removal.advice, free.advice);
        }
    }
}

/// Expected removal at the advised setting against the shop's law, over panels
/// of all lots.
#[test]
fn expected_removal_holds_the_truth() {
    let (mut given, mut held) = (0, 0);
    for set_by in [SetBy::Panel, SetBy::Shift] {
        let shop = RecipeShop {
            panels: 160,
            lots: 8,
            per_day: 20,
            day_sd: 0.05,
            set_by,
            ..RecipeShop::default()
        };
        for seed in 0..30 {
            let records = shop.records(700 + seed);
            let target = if seed % 2 == 0 { 34.0 } else { 11.0 };
            // One lever a report: they share most of their errors.
            let removal = fitted(&records, &aiming(target));
            let Some(advice) = removal.advice.get(seed as usize % 4) else {
                continue;
            };
            let variance = shop.lot_sd.powi(2) + shop.day_sd.powi(2) + shop.panel_sd.powi(2);
            let truth = shop.removed_um
                * (shop.present_law(&records) + law(advice, &records) + variance / 2.0).exp();
            let ci = advice.ci.expect("an interval");
            given += 1;
            held += u64::from(ci.low <= truth && truth <= ci.high);
        }
    }
    assert!(given >= 30, "{given} of 60 advised");
    let chance = Binomial::new(0.95, given).unwrap().cdf(held);
    assert!(chance > 1e-3, "the truth inside in {held} of {given}");
}

/// Sand-throughs on many panels, mean removal below the target: more removal
/// would make more of them.
#[test]
fn no_lever_feeds_the_defects_that_prevail() {
    let shop = RecipeShop {
        panels: 160,
        lots: 8,
        over: (0.6, 1.0),
        ..RecipeShop::default()
    };
    for seed in 0..4 {
        let records = shop.records(300 + seed);
        let told = fitted(&records, &aiming(90.0));
        assert!(told.advice.is_empty());
        let against = |n: &Note| matches!(n, Note::TargetAgainstDefects { class, .. } if *class == DefectClass::Over);
        assert!(told.notes.iter().any(against), "{:?}", told.notes);
        // Less removal is what they ask for.
        assert!(!fitted(&records, &aiming(5.0)).advice.is_empty());
    }
}

/// A tilt that no turned panel has laid at anyone's door is uneven all the same.
#[test]
fn no_lever_while_a_tilt_of_unknown_maker_matters() {
    for (tilt, holds) in [(6.0, true), (0.0, false)] {
        let mut records = shops().remove(0);
        let mut number = vec![0_usize; records.panels.len()];
        for reading in &mut records.readings {
            let k = &mut number[reading.panel];
            // Nine places over the panel, the readings in turn.
            let (u, v) = ((*k % 3) as f64 - 1.0, (*k / 3 % 3) as f64 - 1.0);
            *k += 1;
            reading.place = Some(onus::records::Point {
                x: 400.0 + 350.0 * u,
                y: 250.0 + 200.0 * v,
            });
            reading.removed_um = reading.removed_um.map(|r| r + tilt * u);
        }
        let causes = onus::causes::find(&records, &onus::causes::Settings::default());
        let held = Held::from_causes(&causes);
        let tilted = |o: &Obstacle| {
            matches!(
                o,
                Obstacle::UnevenRemoval {
                    from_part: None,
                    ..
                }
            )
        };
        assert_eq!(held.obstacles.iter().any(tilted), holds, "{tilt}: {held:?}");
        let removal = fit(&records, &aiming(34.0), &held).expect("readings and factors");
        assert_eq!(removal.advice.is_empty(), holds);
    }
}
