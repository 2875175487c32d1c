//! Level and power of what a rate follows, on simulated shops whose settings
//! go with panels, shifts, days or lots, on one machine or three.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, Normal};

use super::made_counts::poisson;
use super::rate_follows::{FactorEffect, factor_effects, pooled_effects, strengthened};
use super::rates::StreamCounts;
use crate::records::{Moment, Panel, Records};

const LEVEL: f64 = 0.01;
const FEEDS: [f64; 4] = [70.0, 100.0, 140.0, 180.0];

#[derive(Clone, Copy)]
enum SetBy {
    Panel,
    Shift,
    Day,
    Lot,
}

#[derive(Clone, Copy)]
struct Shop {
    set_by: SetBy,
    machines: usize,
    days: usize,
    /// All machines get the same setting at once.
    together: bool,
    /// The rate goes with feed to this power.
    power: f64,
}

const PER_DAY: usize = 40;
const LOTS: usize = 10;

/// Panels with marks: lots differ by a factor e^0.5, days by e^0.4 with a
/// memory of 0.6 from day to day, panels by a gamma of shape 2, and the oldest
/// abrasive marks twice as much as a fresh one.
fn made(shop: Shop, seed: u64) -> (Records, Vec<f64>) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let normal = Normal::new(0.0, 1.0).unwrap();
    let gamma = Gamma::new(2.0, 0.5).unwrap();
    let start: jiff::civil::DateTime = "2031-03-03T06:00:00".parse().unwrap();
    let lots: Vec<f64> = (0..LOTS).map(|_| 0.5 * normal.sample(&mut rng)).collect();
    let days: Vec<Vec<f64>> = (0..shop.machines)
        .map(|_| {
            let mut level = normal.sample(&mut rng);
            let mut next = || {
                level = 0.6 * level + 0.8 * normal.sample(&mut rng);
                0.4 * level
            };
            (0..shop.days).map(|_| next()).collect()
        })
        .collect();
    let mut feeds = std::collections::BTreeMap::new();
    let (mut panels, mut marks) = (Vec::new(), Vec::new());
    for i in 0..shop.days * PER_DAY * shop.machines {
        let (machine, own) = (i % shop.machines, i / shop.machines);
        let (day, lot) = (own / PER_DAY, (own / 15) % LOTS);
        let unit = match shop.set_by {
            SetBy::Panel => own,
            SetBy::Shift => own / (PER_DAY / 2),
            SetBy::Day => day,
            SetBy::Lot => lot,
        };
        let cell = if shop.together { 0 } else { machine };
        let draw = FEEDS[rng.random_range(0..FEEDS.len())];
        let feed: f64 = *feeds.entry((cell, unit)).or_insert(draw);
        let age = (own % 33) as f64;
        let level = lots[lot] + days[machine][day] + (age / 32.0 - 0.5) * 2.0_f64.ln();
        let rate = 1.2 * level.exp() * (feed / 110.0).powf(shop.power) * gamma.sample(&mut rng);
        let local = start
            + jiff::Span::new()
                .days(day as i64)
                .minutes(10 * (own % PER_DAY) as i64);
        panels.push(Panel {
            machine: Some(format!("M{machine}").into()),
            sanded_at: Some(Moment {
                instant: jiff::tz::TimeZone::UTC.to_timestamp(local).unwrap(),
                local,
            }),
            lot: Some(format!("L{lot}").into()),
            length_mm: 500.0,
            width_mm: 400.0,
            feed_mm_s: Some(feed),
            abrasive_age: Some(age),
            inspected: true,
            ..Panel::default()
        });
        marks.push(poisson(rate, &mut rng));
    }
    let records = Records {
        panels,
        ..Records::default()
    };
    (records, marks)
}

/// Streams, one a machine, that are said to follow the feed.
fn named(shop: Shop, seed: u64) -> usize {
    let (records, marks) = made(shop, seed);
    let of: Vec<Vec<usize>> = (0..shop.machines)
        .map(|m| (m..marks.len()).step_by(shop.machines).collect())
        .collect();
    let counts: Vec<Vec<f64>> = of
        .iter()
        .map(|ids| ids.iter().map(|i| marks[*i]).collect())
        .collect();
    let streams: Vec<StreamCounts<'_>> = of
        .iter()
        .zip(&counts)
        .map(|(panels, marks)| StreamCounts {
            records: &records,
            panels,
            marks,
        })
        .collect();
    let mut effects: Vec<Vec<FactorEffect>> = streams.iter().map(factor_effects).collect();
    if shop.machines > 1 {
        let pooled = pooled_effects(&streams);
        for own in &mut effects {
            *own = strengthened(std::mem::take(own), &pooled, (shop.machines, 1));
        }
    }
    let tests = shop.machines as f64;
    let follows = |e: &&Vec<FactorEffect>| e.iter().any(|e| e.p_value * tests <= LEVEL);
    effects.iter().filter(follows).count()
}

/// The shops of these tests, without an effect.
fn shops() -> Vec<(&'static str, Shop)> {
    let shop = |set_by, machines, days, together| Shop {
        set_by,
        machines,
        days,
        together,
        power: 0.0,
    };
    vec![
        ("panel", shop(SetBy::Panel, 1, 4, false)),
        ("shift", shop(SetBy::Shift, 1, 6, false)),
        ("day", shop(SetBy::Day, 1, 12, false)),
        ("lot", shop(SetBy::Lot, 1, 6, false)),
        ("three, shift", shop(SetBy::Shift, 3, 6, false)),
        ("three, day", shop(SetBy::Day, 3, 6, false)),
        ("three, lot", shop(SetBy::Lot, 3, 6, false)),
        ("three at once, shift", shop(SetBy::Shift, 3, 6, true)),
    ]
}

#[test]
fn rates_that_follow_lots_days_and_abrasives_are_not_the_recipes() {
    let mut all = 0;
    for (at, (name, shop)) in shops().into_iter().enumerate() {
        let reports = (0..60).filter(|run| named(shop, 1000 * at as u64 + run) > 0);
        let count = reports.count();
        // P(Bin(60, 0.01) > 4) = 0.0003.
        assert!(count <= 4, "{name}: {count} of 60");
        all += count;
    }
    // P(Bin(480, 0.01) > 12) = 0.001.
    assert!(all <= 12, "{all} of 480");
}

/// From 70 to 180 mm/s the rate rises 3.8-fold.
#[test]
fn rates_that_follow_the_recipe_are_named() {
    let least = [33, 10, 10, 2, 75, 6, 60, 40];
    let found: Vec<(usize, &str, usize)> = shops()
        .into_iter()
        .enumerate()
        .map(|(at, (name, shop))| {
            let shop = Shop { power: 1.4, ..shop };
            let count = (0..40).map(|run| named(shop, 1000 * at as u64 + run)).sum();
            (at, name, count)
        })
        .collect();
    for (at, _, count) in &found {
        assert!(*count >= least[*at], "{found:?} of 40 a machine");
    }
}
