//! Whose is it? Promises over the whole path, from records to causes.
//!
//! A share is judged by the exact binomial: an upper promise fails if the count
//! is one that the promised share reaches less than once in twenty, a lower
//! promise likewise from below.

use onus::causes::{Cause, Causes, Finding, Kind, LineAxis, NextCheck, Settings, find};
use onus::records::{Lay, Panel, Point, Records};
use onus::site::DefectClass;
use onus::stats::binomial_tail;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use crate::shops::{Background, EDGES, Looks, Owner, Repeater, Shop, add_marks};

const HALF_TURNED: [(Lay, f64); 2] = [(Lay::Deg0, 0.5), (Lay::Deg180, 0.5)];
const ANY_WAY: [(Lay, f64); 4] = [
    (Lay::Deg0, 0.25),
    (Lay::Deg90, 0.25),
    (Lay::Deg180, 0.25),
    (Lay::Deg270, 0.25),
];
fn causes(shop: &Shop, seed: u64) -> Causes {
    find(&shop.records(seed), &Settings::default())
}

fn accuses(causes: &Causes) -> bool {
    (causes.findings.iter()).any(|f| f.cause == Cause::Machine)
        || causes.streams.iter().any(|s| s.cause == Cause::Machine)
}

/// The finding at a place of the frame it is reported in.
fn at(causes: &Causes, x: f64, y: f64) -> Option<&Finding> {
    (causes.findings.iter())
        .find(|f| matches!((f.x_mm, f.y_mm), (Some(a), Some(b)) if (a - x).hypot(b - y) < 10.0))
}

/// Runs of the shop for which `holds`.
fn count(shop: &Shop, seeds: std::ops::Range<u64>, holds: impl Fn(&Causes) -> bool) -> usize {
    seeds.filter(|&seed| holds(&causes(shop, seed))).count()
}

#[track_caller]
fn at_most(share: f64, runs: usize, seen: usize) {
    let tail = binomial_tail(runs, share, seen);
    assert!(tail > 0.05, "{seen} of {runs}, promised at most {share}");
}

#[track_caller]
fn at_least(share: f64, runs: usize, seen: usize) {
    let tail = 1.0 - binomial_tail(runs, share, seen + 1);
    assert!(tail > 0.05, "{seen} of {runs}, promised at least {share}");
}

/// Shops without any repeat, every property in turn at its own rhythm.
fn honest(seed: u64) -> Shop {
    let pick = |n: u64| seed % n;
    let panels = match pick(7) {
        _ if pick(40) == 39 => 600,
        n => [20, 40, 100, 200, 60, 30, 20][n as usize],
    };
    // Time allows 800 marks a shop now and then, 150 as a rule.
    let most = if pick(20) == 0 { 800.0 } else { 150.0 } / f64::from(panels);
    Shop {
        panels: panels as usize,
        marks: [1.0_f64, 2.0, 5.0, 10.0][pick(4) as usize].min(most),
        mixing: [1.0, 0.5, 3.0][pick(3) as usize],
        background: [
            Background::Flat,
            EDGES,
            Background::Corners {
                share: 0.6,
                mean_mm: 20.0,
                first: 1.0,
            },
            Background::OneSided { factor: 3.0 },
            EDGES,
        ][pick(5) as usize],
        clump_sd_mm: [None, Some(3.0), None, Some(8.0), Some(20.0)][(seed / 5 % 5) as usize],
        lot_factors: if pick(6) == 1 {
            let mut factors = vec![1.0; 10];
            factors[..2].fill(10.0);
            factors
        } else {
            vec![1.0]
        },
        lots: [10, 4, 0, 20][(seed / 3 % 4) as usize],
        lots_in_blocks: pick(2) == 1,
        lay_by_lot: pick(9) == 4,
        sizes: if pick(6) == 5 {
            vec![(600.0, 400.0), (450.0, 300.0), (800.0, 500.0)]
        } else {
            vec![(600.0, 400.0)]
        },
        lays: match pick(8) {
            0 => ANY_WAY.to_vec(),
            1 => vec![(Lay::Deg0, 1.0)],
            2 => vec![(Lay::Deg0, 0.8), (Lay::Deg180, 0.2)],
            _ => HALF_TURNED.to_vec(),
        },
        machines: 1 + usize::from(pick(10) == 3),
        inspectors: [0, 2][(seed / 2 % 2) as usize],
        rounding_mm: [0.0, 5.0, 0.0][(seed / 7 % 3) as usize],
        ..Shop::default()
    }
}

#[test]
fn shops_without_a_repeat_accuse_no_machine() {
    let runs = 140;
    // A machine whose one side takes three times the marks is a machine with a
    // side: those shops must not show a place, the others nothing at all.
    let wrong = (0..runs)
        .filter(|&seed| {
            let shop = honest(seed);
            let causes = causes(&shop, 1000 + seed);
            if matches!(shop.background, Background::OneSided { .. }) {
                let machine = |f: &&Finding| f.cause == Cause::Machine;
                (causes.findings.iter())
                    .filter(machine)
                    .any(|f| f.kind != Kind::Side)
            } else {
                accuses(&causes)
            }
        })
        .count();
    at_most(0.01, runs as usize, wrong);
}

#[test]
fn what_rides_turned_panels_is_the_parts() {
    let rider = Repeater::machine(150.0, 110.0, 0.4).owned_by(Owner::Panel);
    let shops = [
        HALF_TURNED.to_vec(),
        ANY_WAY.to_vec(),
        vec![(Lay::Deg0, 0.7), (Lay::Deg180, 0.3)],
    ]
    .map(|lays| Shop {
        lays,
        background: EDGES,
        repeaters: vec![rider],
        ..Shop::default()
    });
    let (runs, mut accused, mut named) = (20, 0, 0);
    for shop in &shops {
        for seed in 0..runs {
            let causes = causes(shop, seed);
            accused += usize::from(accuses(&causes));
            let rides = |f: &&Finding| f.cause == Cause::Part && f.kind == Kind::RidesPanel;
            named += usize::from(causes.findings.iter().any(|f| rides(&f)));
        }
    }
    let runs = shops.len() * runs as usize;
    at_most(0.01, runs, accused);
    at_least(0.95, runs, named);
}

/// A rider at the panel's centre looks the same after half a turn.
#[test]
fn what_half_a_turn_cannot_tell_stays_undecided() {
    let rider = Repeater::machine(300.0, 200.0, 0.4).owned_by(Owner::Panel);
    let centre = Shop {
        repeaters: vec![rider],
        ..Shop::default()
    };
    let runs = 20;
    let undecided = count(&centre, 0..runs, |causes| {
        at(causes, 300.0, 200.0).is_some_and(|f| {
            f.cause == Cause::Undecided && matches!(f.next_check, NextCheck::ShiftPanels { .. })
        })
    });
    at_least(0.95, runs as usize, undecided);
    assert_eq!(count(&centre, 0..runs, accuses), 0);
}

#[test]
fn without_a_turned_panel_a_repeat_is_undecided_and_a_turn_test_advised() {
    for owner in [Owner::Panel, Owner::Machine] {
        let shop = Shop {
            lays: vec![(Lay::Deg0, 1.0)],
            inspect_lays: false,
            repeaters: vec![Repeater::machine(150.0, 110.0, 0.4).owned_by(owner)],
            ..Shop::default()
        };
        let runs = 20;
        let advised = count(&shop, 0..runs, |causes| {
            at(causes, 150.0, 110.0).is_some_and(|f| {
                f.cause == Cause::Undecided && matches!(f.next_check, NextCheck::TurnPanels { .. })
            })
        });
        at_least(0.95, runs as usize, advised);
        assert_eq!(count(&shop, 0..runs, accuses), 0, "{owner:?}");
    }
}

/// Returning lots and blocks, one to three bad ones, also three of four, lots
/// that lie one way each, turned and never turned panels.
#[test]
fn what_comes_with_lots_is_never_the_machines() {
    let (mut runs, mut accused, mut named, mut at_the_end) = (0, 0, 0, 0);
    for (lots, bad) in [(10, 1), (10, 2), (10, 3), (4, 3), (4, 1)] {
        for (in_blocks, by_lot, turned) in [
            (false, false, true),
            (true, false, true),
            (false, true, true),
            (true, true, true),
            (true, false, false),
        ] {
            let repeater = Repeater::machine(170.0, 120.0, 0.8).owned_by(Owner::Lots(bad));
            let shop = Shop {
                // In pallets of ten, so that each lot comes twice at least.
                panels: if lots == 10 && !in_blocks { 200 } else { 100 },
                lots,
                lots_in_blocks: in_blocks,
                lay_by_lot: by_lot,
                lays: HALF_TURNED[..1 + usize::from(turned)].to_vec(),
                background: EDGES,
                repeaters: vec![repeater],
                ..Shop::default()
            };
            for seed in 0..4 {
                let causes = causes(&shop, seed);
                runs += 1;
                accused += usize::from(accuses(&causes));
                // What gathers in lots begins and ends with them.
                let dated = |f: &Finding| f.onset_panel.is_some() || f.end_panel.is_some();
                assert!(!(causes.findings.iter()).any(|f| f.kind == Kind::Lot && dated(f)));
                if (lots, bad) == (10, 1) {
                    let part = causes.findings.iter().any(|f| f.cause == Cause::Part);
                    // In blocks the bad lot is the first stretch of time: only panels
                    // turned inside it could tell.
                    match (in_blocks, turned && !by_lot) {
                        (false, _) => named += usize::from(part),
                        (true, false) => at_the_end += usize::from(part),
                        (true, true) => {}
                    }
                }
            }
        }
    }
    at_most(0.01, runs, accused);
    at_least(0.9, 8, named);
    assert_eq!(at_the_end, 0);
}

/// Stripes of the part, faint ones too, that ride turned panels or come with lots.
#[test]
fn lines_of_the_part_are_never_the_machines() {
    let line = |share, owner| Repeater {
        looks: Looks::LineAlongY,
        owner,
        ..Repeater::machine(215.0, 0.0, share)
    };
    let uneven = vec![(Lay::Deg0, 0.7), (Lay::Deg180, 0.3)];
    let (mut runs, mut accused, mut named) = (0, 0, 0);
    for lays in [HALF_TURNED.to_vec(), ANY_WAY.to_vec(), uneven] {
        for (repeater, panels) in [
            (line(0.15, Owner::Panel), 200),
            (line(0.25, Owner::Panel), 100),
            (line(0.5, Owner::Panel), 100),
            (line(0.8, Owner::Lots(2)), 100),
        ] {
            let shop = Shop {
                panels,
                lays: lays.clone(),
                background: EDGES,
                repeaters: vec![repeater],
                ..Shop::default()
            };
            for seed in 0..10 {
                let causes = causes(&shop, seed);
                runs += 1;
                accused += usize::from(accuses(&causes));
                if repeater.share == 0.5 {
                    let rides = |f: &Finding| f.cause == Cause::Part && f.line_axis.is_some();
                    named += usize::from(causes.findings.iter().any(rides));
                }
            }
        }
    }
    at_most(0.01, runs, accused);
    at_least(0.9, 30, named);
}

#[test]
fn machine_spots_and_lines_are_found_and_named_where_panels_were_turned() {
    let spot = Repeater::machine(170.0, 120.0, 0.3);
    let line = Repeater {
        looks: Looks::LineAlongY,
        ..Repeater::machine(215.0, 0.0, 0.5)
    };
    let shop = |repeater, lays: &[(Lay, f64)]| Shop {
        background: EDGES,
        lays: lays.to_vec(),
        repeaters: vec![repeater],
        ..Shop::default()
    };
    let runs = 20;
    let named = count(&shop(spot, &HALF_TURNED), 0..runs, |causes| {
        at(causes, 170.0, 120.0).is_some_and(|f| f.cause == Cause::Machine && f.kind == Kind::Spot)
    }) + count(&shop(spot, &ANY_WAY), 0..runs, |causes| {
        at(causes, 170.0, 120.0).is_some_and(|f| f.cause == Cause::Machine && f.kind == Kind::Spot)
    }) + count(&shop(line, &HALF_TURNED), 0..runs, |causes| {
        causes.findings.iter().any(|f| {
            f.cause == Cause::Machine
                && f.line_axis == Some(LineAxis::Y)
                && f.x_mm.is_some_and(|x| (x - 215.0).abs() < 6.0)
        })
    });
    at_least(0.9, 3 * runs as usize, named);
}

/// Never turned, but another machine ran the same lots.
#[test]
fn another_machine_on_the_same_lots_clears_the_part() {
    let shop = Shop {
        panels: 200,
        machines: 2,
        lays: vec![(Lay::Deg0, 1.0)],
        inspect_lays: false,
        repeaters: vec![Repeater::machine(170.0, 120.0, 0.4)],
        ..Shop::default()
    };
    let runs = 20;
    let named = count(&shop, 0..runs, |causes| {
        at(causes, 170.0, 120.0)
            .is_some_and(|f| f.cause == Cause::Machine && f.machine.as_deref() == Some("M1"))
    });
    at_least(0.9, runs as usize, named);
    let part = Shop {
        repeaters: vec![Repeater::machine(170.0, 120.0, 0.4).owned_by(Owner::Panel)],
        ..shop
    };
    assert_eq!(count(&part, 0..runs, accuses), 0);
}

#[test]
fn a_mark_of_the_table_is_the_inspections() {
    let shop = Shop {
        repeaters: vec![Repeater::machine(170.0, 120.0, 0.4).owned_by(Owner::Table)],
        ..Shop::default()
    };
    let runs = 30;
    let named = count(&shop, 0..runs, |causes| {
        at(causes, 170.0, 120.0).is_some_and(|f| f.cause == Cause::Inspection)
    });
    at_least(0.9, runs as usize, named);
    assert_eq!(count(&shop, 0..runs, accuses), 0);
}

/// Parts of two suppliers clear the design, never the table that all of them lay on
/// as they lay in the cell; where panels lay otherwise there, they clear both.
#[test]
fn parts_of_two_suppliers_replace_no_turn() {
    let shop = Shop {
        lays: vec![(Lay::Deg0, 1.0)],
        repeaters: vec![Repeater::machine(170.0, 120.0, 0.4)],
        ..Shop::default()
    };
    let runs = 12;
    let accused = |table: Option<Lay>| {
        let of_two = |seed: &u64| {
            let mut records = shop.records(*seed);
            for (i, panel) in records.panels.iter_mut().enumerate() {
                let (part, supplier) = [("D1", "S1"), ("D2", "S2")][i % 2];
                panel.part = Some(part.into());
                panel.supplier = Some(supplier.into());
                panel.inspect_lay = table.or(panel.inspect_lay);
            }
            accuses(&find(&records, &Settings::default()))
        };
        (0..runs).filter(of_two).count()
    };
    assert_eq!(accused(Some(Lay::Deg0)), 0);
    assert_eq!(accused(None), 0);
}

#[test]
fn what_one_inspector_alone_writes_down_stays_undecided() {
    let shop = Shop {
        inspectors: 3,
        repeaters: vec![Repeater::machine(170.0, 120.0, 0.6).owned_by(Owner::Inspector)],
        lays: vec![(Lay::Deg0, 1.0)],
        ..Shop::default()
    };
    let runs = 20;
    let doubted = count(&shop, 0..runs, |causes| {
        at(causes, 170.0, 120.0).is_some_and(|f| {
            f.cause == Cause::Undecided
                && f.next_check
                    == NextCheck::SecondInspector {
                        inspector: "I1".into(),
                    }
        })
    });
    at_least(0.9, runs as usize, doubted);
}

/// Path starts keep their distance from the edges of panels of several sizes.
#[test]
fn a_dwell_keeps_to_the_edges_over_several_sizes() {
    let shop = Shop {
        panels: 150,
        sizes: vec![(600.0, 400.0), (450.0, 300.0), (800.0, 500.0)],
        repeaters: vec![Repeater::machine(60.0, 50.0, 0.4).owned_by(Owner::Path)],
        ..Shop::default()
    };
    // Centred panels: the edges move with the size, the machine's origin does not.
    let runs = 15;
    let named = (0..runs)
        .filter(|&seed| {
            let mut records = shop.records(seed);
            for panel in &mut records.panels {
                panel.lay_x_mm = 400.0 - panel.length_mm / 2.0;
                panel.lay_y_mm = 250.0 - panel.width_mm / 2.0;
            }
            let causes = find(&records, &Settings::default());
            (causes.findings.iter()).any(|f| f.kind == Kind::Dwell && f.cause == Cause::Machine)
        })
        .count();
    at_least(0.9, runs as usize, named);
}

/// A repeat that sets in at panel 120 of 300: the onset is claimed and its 95 %
/// interval holds panel 120.
#[test]
fn onset_intervals_cover() {
    let shop = Shop {
        panels: 300,
        marks: 0.5,
        repeaters: vec![Repeater {
            live: (0.4, 1.0),
            ..Repeater::machine(170.0, 120.0, 0.3)
        }],
        ..Shop::default()
    };
    let (mut claimed, mut covered) = (0, 0);
    let runs = 60;
    for seed in 0..runs {
        let causes = causes(&shop, seed);
        let Some(onset) =
            at(&causes, 170.0, 120.0).and_then(|finding| finding.evidence.onset.as_ref())
        else {
            continue;
        };
        claimed += 1;
        covered += usize::from((onset.earliest..=onset.latest).contains(&120));
    }
    at_least(0.9, runs as usize, claimed);
    at_least(0.95, claimed, covered);
}

/// Marks at the last third of the low-y edge, 30 mm deep, in a frame with the
/// panel's corner as origin.
fn at_edge_end(extent_mm: f64, rng: &mut ChaCha8Rng) -> Point {
    Point {
        x: extent_mm * (1.0 - rng.random::<f64>() / 3.0),
        y: 30.0 * rng.random::<f64>(),
    }
}

/// Turned panels of several lots with flat background and `marks` of class under.
fn corner_shop(
    seed: u64,
    lays: &[(Lay, f64)],
    marks: impl FnMut(&Panel, &mut ChaCha8Rng) -> Vec<Point>,
) -> Records {
    let under = ("under-sanded", Some(DefectClass::Under));
    let shop = Shop {
        panels: 80,
        lots: 8,
        marks: 1.0,
        lays: lays.to_vec(),
        defect: under,
        ..Shop::default()
    };
    let mut records = shop.records(seed);
    add_marks(&mut records, under, 100 + seed, marks);
    records
}

#[test]
fn one_end_of_an_edge_in_the_machine_is_named_and_asks_for_the_stand_off() {
    let runs = 12;
    let named = (0..runs)
        .filter(|&seed| {
            let lays = if seed % 2 == 0 {
                &HALF_TURNED[..]
            } else {
                &ANY_WAY[..]
            };
            let records = corner_shop(seed, lays, |panel, rng| {
                let hit = rng.random::<f64>() < 0.7;
                let extent = panel.machine_rect().width();
                (0..usize::from(hit) * 2)
                    .map(|_| at_edge_end(extent, rng))
                    .collect()
            });
            let causes = find(&records, &Settings::default());
            (causes.findings.iter())
                .any(|f| f.cause == Cause::Machine && f.next_check == NextCheck::CheckStandOff)
        })
        .count();
    at_least(0.9, runs as usize, named);
}

/// One corner of the part, and a twisted part with marks at two corners across
/// from each other, which half a turn takes onto each other.
#[test]
fn corners_of_the_part_are_never_the_machines() {
    let (mut runs, mut accused) = (0, 0);
    for twisted in [false, true] {
        for lays in [
            &HALF_TURNED[..],
            &ANY_WAY[..],
            &[(Lay::Deg0, 0.8), (Lay::Deg180, 0.2)],
            &[(Lay::Deg0, 1.0)],
        ] {
            for seed in 0..3 {
                let records = corner_shop(seed, lays, |panel, rng| {
                    let mut marks: Vec<Point> =
                        (0..2).map(|_| at_edge_end(panel.length_mm, rng)).collect();
                    if twisted && rng.random::<f64>() < 0.7 {
                        marks.push(Point {
                            x: panel.length_mm - marks[0].x,
                            y: panel.width_mm - marks[0].y,
                        });
                    }
                    marks.iter().map(|p| panel.to_machine(*p)).collect()
                });
                runs += 1;
                accused += usize::from(accuses(&find(&records, &Settings::default())));
            }
        }
    }
    at_most(0.01, runs, accused);
}
