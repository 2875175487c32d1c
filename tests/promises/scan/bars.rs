//! Bars of one pitch: none where there are none, found where they are, with an
//! interval that holds the pitch, and laid to the machine only where the feed, a
//! turn or their places tell.

use onus::causes::{Bars, Cause, Finding, Kind, LineAxis, Settings, find, find_bars};
use onus::records::Lay;
use onus::stats::binomial_tail;

use crate::scan::{ONE_STREAM, honest, places};
use crate::shops::{BarPhase, EDGES, Looks, Owner, Pitch, Repeater, Shop};

fn bars(made: &Shop, seed: u64) -> Vec<Bars> {
    let view = made.view(seed);
    let found = places(&view);
    find_bars(&view, &found, &vec![None; made.panels], &ONE_STREAM)
}

/// At most 1 % of streams may show bars: the count must not be one that a true
/// rate of 1 % reaches less than once in twenty.
fn assert_rare(alarms: usize, runs: u64) {
    let tail = binomial_tail(runs as usize, 0.01, alarms);
    assert!(tail > 0.05, "{alarms} of {runs}");
}

#[test]
fn streams_without_a_repeat_have_no_bars() {
    let runs = 200;
    let any = |seed: &u64| !bars(&honest(*seed), seed + 3000).is_empty();
    assert_rare((0..runs).filter(any).count(), runs);
}

/// Several places or lines are no bars unless they are equally spaced.
#[test]
fn places_and_lines_are_not_bars() {
    let places = [100.0, 150.0, 290.0, 333.0, 480.0];
    let spot = |share| places.map(|x| Repeater::machine(x, 200.0, share)).to_vec();
    let lines = |share| places.map(|x| Repeater::line(x, share)).to_vec();
    let planted = [spot(0.5), spot(0.06), lines(0.3), lines(0.06)];
    let runs = 80;
    let any = |seed: &u64| {
        let made = Shop {
            repeaters: planted[(seed % 4) as usize].clone(),
            panels: [60, 200][(seed / 4 % 2) as usize],
            ..Shop::stream()
        };
        !bars(&made, seed + 5000).is_empty()
    };
    assert_rare((0..runs).filter(any).count(), runs);
}

/// 100 panels, half of which show six marks on bars 40 mm apart, among two
/// ordinary marks a panel: nine in ten are found with the right pitch, whether the
/// phase is the same on all panels or not, and nineteen in twenty intervals hold
/// it (exact binomial, 5 %).
#[test]
fn bars_are_found_with_their_pitch() {
    let (mut found, mut inside) = (0, 0);
    let runs = 40;
    for seed in 0..runs {
        let phase = [BarPhase::Slips, BarPhase::Fixed][(seed % 2) as usize];
        let planted = barred(Owner::Machine, Pitch::Mm(40.0), phase, 0.5);
        let made = Shop {
            background: EDGES,
            repeaters: vec![planted.scattered(1.5)],
            ..Shop::stream()
        };
        for bars in bars(&made, seed + 900) {
            if bars.along == LineAxis::Y && (bars.pitch_mm - 40.0).abs() < 1.0 {
                found += 1;
                let ci = bars.pitch_ci.unwrap();
                inside += usize::from(ci.low <= 40.0 && 40.0 <= ci.high);
            }
        }
    }
    let at_most = |n: usize, share: f64, hits: usize| 1.0 - binomial_tail(n, share, hits + 1);
    assert!(
        at_most(runs as usize, 0.9, found) > 0.05,
        "{found} of {runs}"
    );
    assert!(at_most(found, 0.95, inside) > 0.05, "{inside} of {found}");
}

/// Six marks a panel on bars, with a scatter of 3 mm, on this share of the panels.
fn barred(owner: Owner, pitch: Pitch, phase: BarPhase, share: f64) -> Repeater {
    Repeater {
        looks: Looks::Bars { pitch, phase },
        further: 5.0,
        ..Repeater::machine(0.0, 0.0, share).owned_by(owner)
    }
}

/// Bars that start anew on every panel, on half of the owner's panels.
fn slipping(owner: Owner, pitch: Pitch) -> Vec<Repeater> {
    vec![barred(owner, pitch, BarPhase::Slips, 0.5)]
}

/// 120 square panels in twelve lots, bars of the machine.
fn alike() -> Shop {
    Shop {
        panels: 120,
        lots: 12,
        lots_in_blocks: true,
        sizes: vec![(600.0, 600.0)],
        inspect_lays: false,
        mixing: 100.0,
        error_mm: 1.5,
        feeds: vec![100.0],
        repeaters: slipping(Owner::Machine, Pitch::Mm(40.0)),
        ..Shop::stream()
    }
}

const FEEDS: [f64; 3] = [80.0, 100.0, 125.0];

/// Half of the panels turned so.
fn turned(lay: Lay) -> Vec<(Lay, f64)> {
    vec![(Lay::Deg0, 0.5), (lay, 0.5)]
}

fn bars_of(shop: &Shop, seed: u64) -> Option<Finding> {
    let causes = find(&shop.records(seed), &Settings::default());
    causes.findings.into_iter().find(|f| f.bars.is_some())
}

/// In at least eight of ten runs (exact binomial, 5 %) `right` must hold.
fn mostly(shop: &Shop, right: impl Fn(&Finding) -> bool) {
    let runs = 12;
    let held = (0..runs)
        .filter(|&seed| bars_of(shop, seed + 40).is_some_and(|f| right(&f)))
        .count();
    let tail = 1.0 - binomial_tail(runs as usize, 0.8, held + 1);
    assert!(tail > 0.05, "{held} of {runs}");
}

#[test]
fn a_pitch_proportional_to_the_feed_is_the_machines() {
    let shop = Shop {
        feeds: FEEDS.to_vec(),
        repeaters: slipping(Owner::Machine, Pitch::Hz(2.5)),
        ..alike()
    };
    mostly(&shop, |finding| {
        let bars = finding.bars.clone().unwrap();
        finding.cause == Cause::Machine
            && finding.kind == Kind::Periodic
            && bars.pitch_follows_feed == Some(true)
            && (bars.frequency_hz.unwrap() - 2.5).abs() < 0.1
    });
}

#[test]
fn bars_that_keep_their_direction_on_panels_turned_across_are_the_machines() {
    let across = Shop {
        lays: turned(Lay::Deg90),
        ..alike()
    };
    mostly(&across, |finding| finding.cause == Cause::Machine);
    let on_panel = Shop {
        repeaters: slipping(Owner::Panel, Pitch::Mm(40.0)),
        ..across
    };
    mostly(&on_panel, |finding| finding.cause == Cause::Part);
}

/// Nothing tells bars of the machine from bars of the part where panels lay alike
/// or half turned and the feed did not matter.
#[test]
fn bars_without_a_contrast_are_never_the_machines() {
    let shops = [
        alike(),
        Shop {
            lays: turned(Lay::Deg180),
            ..alike()
        },
        Shop {
            feeds: FEEDS.to_vec(),
            ..alike()
        },
        Shop {
            lays: turned(Lay::Deg180),
            feeds: FEEDS.to_vec(),
            repeaters: slipping(Owner::Panel, Pitch::Mm(40.0)),
            ..alike()
        },
    ];
    for seed in 0..24 {
        let found = bars_of(&shops[(seed % 4) as usize], seed + 70);
        assert!(
            found.is_none_or(|f| f.cause != Cause::Machine),
            "seed {seed}"
        );
    }
}

/// Where another machine ran the same lots, panels all lying alike: bars that only
/// this one makes are its own, those that both show are not.
#[test]
fn a_machine_without_bars_on_the_same_lots_clears_the_part() {
    // Panels of both machines by turns, and bars on this share of the second's.
    let beside = |other: f64| {
        let pitch = Pitch::Mm(40.0);
        let mut repeaters = slipping(Owner::Machine, pitch);
        repeaters.push(barred(Owner::SecondMachine, pitch, BarPhase::Slips, other));
        Shop {
            panels: 240,
            machines: 2,
            repeaters,
            ..alike()
        }
    };
    let only_here = beside(0.0);
    mostly(&only_here, |finding| {
        finding.cause == Cause::Machine && finding.machine.as_deref() == Some("M1")
    });
    for (seed, other) in [0.5, 0.35, 0.2].into_iter().cycle().take(24).enumerate() {
        let causes = find(
            &beside(other).records(seed as u64 + 400),
            &Settings::default(),
        );
        let accuses = |f: &Finding| f.bars.is_some() && f.cause == Cause::Machine;
        assert!(!causes.findings.iter().any(accuses), "seed {seed}, {other}");
    }
}
