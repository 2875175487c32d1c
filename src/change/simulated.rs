//! Simulated shops with known truth for the promises of the ratio: coverage of
//! its interval and how often it says "helped" where nothing did.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, Normal, Poisson};

use super::Side;
use super::items::Item;
use super::ratio::{Kind, stratified};

/// What the shop did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Story {
    /// The change was made at a fixed time and does what the ratio says.
    Plain,
    /// Bad lots came mostly before it.
    LotMix,
    /// It was made when the last panels looked bad.
    BadSpell,
}

/// A simulated shop.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shop {
    pub story: Story,
    pub ratio: f64,
    pub panels: usize,
    pub lots: usize,
    /// Defects a panel.
    pub marks: f64,
    /// Shape of the gamma over panels; smaller is wilder.
    pub shape: f64,
    /// SD of ln rate between lots.
    pub lot_sd: f64,
    /// SD of ln rate between days, and the correlation of neighbouring days.
    pub day_sd: f64,
    pub day_memory: f64,
    pub panels_a_day: usize,
    /// SD of the ln ratio between lots.
    pub ratio_sd: f64,
    /// Lots one after the other, each spread over a third of the run's neighbours.
    pub in_turn: bool,
}

pub(super) const BASE: Shop = Shop {
    story: Story::Plain,
    ratio: 1.0,
    panels: 240,
    lots: 12,
    marks: 1.0,
    shape: 1.0,
    lot_sd: 0.6,
    day_sd: 0.2,
    day_memory: 0.5,
    panels_a_day: 20,
    ratio_sd: 0.0,
    in_turn: false,
};

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    Normal::new(0.0, 1.0).unwrap().sample(rng)
}

impl Shop {
    /// Panels in time order.
    pub(super) fn items(&self, rng: &mut ChaCha8Rng) -> Vec<Item> {
        let lot_effect: Vec<f64> = (0..self.lots).map(|_| self.lot_sd * normal(rng)).collect();
        let lot_ratio: Vec<f64> = (0..self.lots)
            .map(|_| self.ratio_sd * normal(rng))
            .collect();
        let days = self.panels / self.panels_a_day + 1;
        let mut day_effect = vec![0.0; days];
        let mut last = normal(rng);
        for d in &mut day_effect {
            *d = self.day_sd * last;
            last = self.day_memory * last
                + (1.0 - self.day_memory * self.day_memory).sqrt() * normal(rng);
        }
        // lots by rank, bad ones first, for the shifted mix
        let mut rank: Vec<usize> = (0..self.lots).collect();
        rank.sort_by(|x, y| lot_effect[*y].total_cmp(&lot_effect[*x]));
        let n = self.panels;
        let planned = n / 2;
        let mut lots = Vec::new();
        let mut rates = Vec::new();
        let mut counts = Vec::new();
        for i in 0..n {
            let lot = if self.story == Story::LotMix {
                let bad = rng.random::<f64>() < if i < planned { 0.75 } else { 0.25 };
                let half = self.lots / 2;
                if bad {
                    rank[rng.random_range(0..half)]
                } else {
                    rank[rng.random_range(half..self.lots)]
                }
            } else if self.in_turn {
                // three neighbouring lots are open at a time
                let at = i * self.lots / n;
                (at + rng.random_range(0..3)).min(self.lots - 1)
            } else {
                (i / 5 + rng.random_range(0..2)) % self.lots
            };
            let gamma = Gamma::new(self.shape, 1.0 / self.shape)
                .unwrap()
                .sample(rng);
            let rate = self.marks
                * (lot_effect[lot] + day_effect[i / self.panels_a_day]).exp()
                * (-self.lot_sd * self.lot_sd / 2.0).exp()
                * gamma;
            lots.push(lot);
            rates.push(rate);
            counts.push(draw(rate, rng));
        }
        let change = if self.story == Story::BadSpell {
            // made when the last ten panels are the worst ten of those so far,
            // from a third to two thirds of the run
            let window = 10;
            let sum = |i: usize| counts[i - window..i].iter().sum::<f64>();
            let mut best = n / 3;
            for i in n / 3..2 * n / 3 {
                if sum(i) > sum(best) {
                    best = i;
                }
            }
            best
        } else {
            planned
        };
        let mut items = Vec::new();
        let mut run = 0;
        for i in 0..n {
            let after = i >= change;
            let side = if after { Side::After } else { Side::Before };
            let value = if after {
                let ratio = self.ratio * lot_ratio[lots[i]].exp();
                draw(rates[i] * ratio, rng)
            } else {
                counts[i]
            };
            if items.last().is_some_and(|l: &Item| l.side != side) {
                run += 1;
            }
            items.push(Item {
                stratum: lots[i],
                stream: 0,
                lot: Some(lots[i]),
                day: i / self.panels_a_day,
                run,
                side,
                value,
                exposure: 1.0,
            });
        }
        items
    }
}

fn draw(rate: f64, rng: &mut ChaCha8Rng) -> f64 {
    if rate > 1e-9 {
        Poisson::new(rate).unwrap().sample(rng)
    } else {
        0.0
    }
}

/// Share of the runs whose interval holds the truth, that said "helped", that
/// could be judged, and the mean half width of ln ratio.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Tally {
    pub runs: usize,
    pub judged: usize,
    pub covered: usize,
    pub helped: usize,
    pub hurt: usize,
    pub half_width: f64,
}

pub(super) fn tally(shop: &Shop, runs: usize, seed: u64) -> Tally {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut t = Tally::default();
    let mut widths = Vec::new();
    for _ in 0..runs {
        let mut items = shop.items(&mut rng);
        t.runs += 1;
        if let Some(spell) = super::spell::before_change(&items, 0.95) {
            let mut k = 0;
            items.retain(|_| {
                k += 1;
                spell.members.binary_search(&(k - 1)).is_err()
            });
        }
        let Some(fit) = stratified(&items, Kind::Counts, 0.95) else {
            continue;
        };
        t.judged += 1;
        let ci = fit.interval();
        t.covered += usize::from(ci.low <= shop.ratio && shop.ratio <= ci.high);
        let p = fit.p_value();
        t.helped += usize::from(p < 0.05 && fit.estimate().is_some_and(|e| e < 1.0));
        t.hurt += usize::from(p < 0.05 && fit.estimate().is_none_or(|e| e > 1.0));
        widths.push((ci.high / ci.low).ln() / 2.0);
    }
    widths.sort_by(f64::total_cmp);
    t.half_width = widths[widths.len() / 2];
    t
}

#[test]
#[ignore = "prints a table"]
#[allow(clippy::print_stdout, reason = "the table")]
fn table() {
    for story in [Story::Plain, Story::LotMix, Story::BadSpell] {
        for (panels, lots) in [(40, 4), (120, 6), (240, 12), (600, 40)] {
            for (name, shop) in [
                ("base", BASE),
                (
                    "wild",
                    Shop {
                        shape: 0.3,
                        lot_sd: 1.0,
                        ..BASE
                    },
                ),
                (
                    "days",
                    Shop {
                        day_sd: 0.4,
                        day_memory: 0.8,
                        ..BASE
                    },
                ),
                (
                    "calm",
                    Shop {
                        shape: 50.0,
                        lot_sd: 0.2,
                        day_sd: 0.0,
                        marks: 0.3,
                        ..BASE
                    },
                ),
                (
                    "lot×",
                    Shop {
                        ratio_sd: 0.3,
                        marks: 3.0,
                        ..BASE
                    },
                ),
                (
                    "turn",
                    Shop {
                        in_turn: true,
                        ..BASE
                    },
                ),
            ] {
                for ratio in [1.0, 0.5] {
                    if ratio == 0.5 && name != "base" {
                        continue;
                    }
                    if !["base", "days", "calm"].contains(&name) {
                        continue;
                    }
                    let shop = Shop {
                        story,
                        panels,
                        lots,
                        ratio,
                        ..shop
                    };
                    let t = tally(&shop, 400, 7);
                    let j = t.judged.max(1) as f64;
                    println!(
                        "{:12} {panels:4}/{lots:2} {name} ratio {ratio:3}: cover {:.3} helped {:.3} hurt {:.3} half {:.2} judged {:.2}",
                        format!("{story:?}"),
                        t.covered as f64 / j,
                        t.helped as f64 / j,
                        t.hurt as f64 / j,
                        t.half_width,
                        j / t.runs as f64,
                    );
                }
            }
        }
    }
}
