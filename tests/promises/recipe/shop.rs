//! A simulated shop whose removal follows Preston's law exactly in the mean,
//! with lots, days, worn abrasives and recipes set now by the panel, now by the
//! shift. All invented.

use std::sync::Arc;

use onus::records::{DefectName, Grit, GritScale, Panel, Reading, Records};
use onus::site::DefectClass;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::shops::draws::{mixing, normal, poisson};
use crate::shops::panel_at;

/// How often the recipe is set anew.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SetBy {
    /// Every panel.
    Panel,
    /// Every so many panels.
    Panels(usize),
    /// Every half day.
    Shift,
    /// Every day.
    Day,
    /// Every week of five days.
    Week,
    /// With the lot.
    Lot,
}

/// What moves with what.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tied {
    /// Everything by itself.
    Nothing,
    /// Passes follow feed: faster with more passes.
    PassesWithFeed,
    /// Fewer passes when faster, so that exposure moves.
    PassesAgainstFeed,
    /// Force follows feed.
    ForceWithFeed,
}

#[derive(Debug, Clone, PartialEq)]
pub struct RecipeShop {
    pub panels: usize,
    pub lots: usize,
    pub machines: usize,
    /// Panels of a day, and of a lot before the next lot's turn; unevenly so
    /// where `uneven`: days and pallets of a fifth to nine fifths of that.
    pub per_day: usize,
    pub pallet: usize,
    pub uneven: bool,
    pub set_by: SetBy,
    pub tied: Tied,
    /// Relative scatter (log-scale SD) of lots, days, panels.
    pub lot_sd: f64,
    pub day_sd: f64,
    pub panel_sd: f64,
    /// Log-scale SD of a slow drift, and how much of it is left a panel later.
    pub drift: (f64, f64),
    /// SD of one reading, µm.
    pub gauge_um: f64,
    /// Fewest and most readings of a panel.
    pub readings: (usize, usize),
    /// Mean removal at 100 mm/s, 2 passes, 20 N, P320, half-worn, µm.
    pub removed_um: f64,
    /// Exponents of feed, passes, force and grain size.
    pub exponents: [f64; 4],
    /// Removal of the oldest abrasive over a fresh one, and panels per life.
    pub worn: f64,
    pub life: usize,
    /// First panels on an abrasive cut so much more.
    pub fresh: f64,
    /// Defects of class over and under per panel at the mean removal, and how
    /// steeply they follow removal; gamma-mixed over lots and panels.
    pub over: (f64, f64),
    pub under: (f64, f64),
    /// Log-scale SD of the rates of lots and of days; every panel mixes by a gamma.
    pub lot_rates: f64,
    pub day_rates: f64,
    /// Marks that come with a mark, on average.
    pub clump: f64,
}

impl Default for RecipeShop {
    fn default() -> Self {
        Self {
            panels: 240,
            lots: 12,
            machines: 1,
            per_day: 40,
            pallet: 15,
            uneven: false,
            set_by: SetBy::Panel,
            tied: Tied::Nothing,
            lot_sd: 0.10,
            day_sd: 0.0,
            panel_sd: 0.12,
            drift: (0.0, 0.0),
            gauge_um: 1.5,
            readings: (5, 9),
            removed_um: 20.0,
            exponents: [-1.0, 1.0, 1.0, 0.5],
            worn: 0.7,
            life: 35,
            fresh: 1.15,
            over: (0.0, 0.0),
            under: (0.0, 0.0),
            lot_rates: 0.0,
            day_rates: 0.0,
            clump: 0.0,
        }
    }
}

const FEEDS: [f64; 4] = [80.0, 100.0, 125.0, 160.0];
const FORCES: [f64; 3] = [16.0, 20.0, 26.0];
const GRITS: [(&str, f64); 3] = [("P320", 46.2), ("P400", 35.0), ("P240", 58.5)];

/// The number of the stretch of each of `n` panels: stretches of `length`, or
/// unevenly of a fifth to nine fifths of that.
fn stretches(n: usize, length: usize, uneven: bool, rng: &mut ChaCha8Rng) -> Vec<usize> {
    let mut of = Vec::with_capacity(n);
    let mut number = 0;
    while of.len() < n {
        let spread = (4 * length / 5).max(1);
        let own = if uneven {
            (length - spread + rng.random_range(0..=2 * spread)).max(1)
        } else {
            length
        };
        of.extend(std::iter::repeat_n(number, own));
        number += 1;
    }
    of.truncate(n);
    of
}

impl RecipeShop {
    /// ln of the law at the last panel's setting, on a half-worn abrasive.
    pub fn present_law(&self, records: &Records) -> f64 {
        let feed = records.panels.last().unwrap().feed_mm_s.unwrap();
        self.law_of_the_others(records) + self.exponents[0] * (feed / 100.0).ln()
    }

    /// The same at a feed of 100 mm/s.
    pub fn law_of_the_others(&self, records: &Records) -> f64 {
        let last = records.panels.last().unwrap();
        let [_, passes, force, grain] = self.exponents;
        let mut ages: Vec<f64> = records
            .panels
            .iter()
            .filter_map(|p| p.abrasive_age)
            .collect();
        ages.sort_by(f64::total_cmp);
        passes * (last.passes.unwrap() / 2.0).ln()
            + force * (last.force_n.unwrap() / 20.0).ln()
            + grain * (last.grit.as_ref().unwrap().grain_um.unwrap() / 46.2).ln()
            + self.worn.ln() * (ages[ages.len() / 2] / self.life as f64 - 0.5)
    }

    /// The records of one run.
    pub fn records(&self, seed: u64) -> Records {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        // lots come in pallets and return
        let mut own = ChaCha8Rng::seed_from_u64(seed ^ 0x5eed);
        let day_of = stretches(self.panels, self.per_day, self.uneven, &mut own);
        let pallet_of = stretches(self.panels, self.pallet, self.uneven, &mut own);
        let days = self.panels / self.per_day + 1;
        let days = days.max(day_of.last().map_or(0, |d| d + 1));
        let [drift_sd, kept] = [self.drift.0, self.drift.1];
        let mut drift = drift_sd * normal(&mut own);
        let lots: Vec<f64> = (0..self.lots)
            .map(|_| self.lot_sd * normal(&mut rng))
            .collect();
        let lot_rates: Vec<f64> = (0..self.lots)
            .map(|_| (self.lot_rates * normal(&mut rng)).exp())
            .collect();
        let day: Vec<f64> = (0..days).map(|_| self.day_sd * normal(&mut rng)).collect();
        let day_rates: Vec<f64> = (0..days)
            .map(|_| (self.day_rates * normal(&mut own)).exp())
            .collect();
        let mut records = Records {
            defect_names: vec![
                DefectName {
                    name: "sand-through".into(),
                    class: Some(DefectClass::Over),
                },
                DefectName {
                    name: "orange peel".into(),
                    class: Some(DefectClass::Under),
                },
            ],
            ..Records::default()
        };
        let mut setting = (100.0, 2.0, 20.0, 0);
        let mut last_key = None;
        let mut of_day = 0;
        for i in 0..self.panels {
            let lot = pallet_of[i] % self.lots.max(1);
            of_day = if i > 0 && day_of[i] == day_of[i - 1] {
                of_day + 1
            } else {
                0
            };
            if drift_sd > 0.0 {
                let news = (1.0 - kept * kept).sqrt() * drift_sd;
                drift = kept * drift + news * normal(&mut own);
            }
            let key = match self.set_by {
                SetBy::Panel => i,
                SetBy::Panels(n) => i / n,
                SetBy::Shift => 2 * day_of[i] + usize::from(2 * of_day >= self.per_day),
                SetBy::Day => day_of[i],
                SetBy::Week => day_of[i] / 5,
                SetBy::Lot => lot,
            };
            if self.set_by == SetBy::Lot {
                let mut own = ChaCha8Rng::seed_from_u64(seed.wrapping_mul(1000) + lot as u64);
                setting = self.draw(&mut own);
            } else if last_key != Some(key) {
                setting = self.draw(&mut rng);
            }
            last_key = Some(key);
            let (feed, passes, force, grit) = setting;
            let age = (i / self.machines % self.life) as f64;
            let [a, b, c, d] = self.exponents;
            let fresh = if age <= 2.0 { self.fresh } else { 1.0 };
            let law = (feed / 100.0).powf(a)
                * (passes / 2.0).powf(b)
                * (force / 20.0).powf(c)
                * (GRITS[grit].1 / 46.2).powf(d)
                * self.worn.powf(age / self.life as f64 - 0.5)
                * fresh;
            let scatter = lots.get(lot).copied().unwrap_or(0.0)
                + day[day_of[i]]
                + drift
                + self.panel_sd * normal(&mut rng);
            let mean = self.removed_um * law * scatter.exp();
            let readings = rng.random_range(self.readings.0..=self.readings.1);
            for _ in 0..readings {
                records.readings.push(Reading {
                    panel: i,
                    place: None,
                    removed_um: Some(mean + self.gauge_um * normal(&mut rng)),
                    film_um: None,
                });
            }
            for (name, (rate, slope)) in [self.over, self.under].into_iter().enumerate() {
                let mix = mixing(2.0, &mut rng);
                let of_lot = lot_rates.get(lot).copied().unwrap_or(1.0);
                let expected = rate * law.powf(slope) * mix * of_lot * day_rates[day_of[i]];
                let marks = expected / (1.0 + self.clump);
                let mut count = poisson(marks, &mut rng);
                count += poisson(self.clump * count as f64, &mut own);
                for _ in 0..count {
                    records.defects.push(crate::shops::mark_on(i, name, None));
                }
            }
            records.panels.push(Panel {
                machine: Some(Arc::from(format!("M{}", i % self.machines + 1))),
                lot: (self.lots > 0).then(|| Arc::from(format!("L{lot:02}"))),
                feed_mm_s: Some(feed),
                passes: Some(passes),
                force_n: Some(force),
                grit: Some(Grit {
                    label: GRITS[grit].0.into(),
                    scale: Some(GritScale::FepaP),
                    grain_um: Some(GRITS[grit].1),
                }),
                abrasive_age: Some(age),
                ..panel_at(i, (day_of[i], 10 * of_day), (800.0, 500.0))
            });
        }
        records
    }

    fn draw(&self, rng: &mut ChaCha8Rng) -> (f64, f64, f64, usize) {
        let pick = rng.random_range(0..FEEDS.len());
        let feed = FEEDS[pick];
        let passes = match self.tied {
            Tied::PassesWithFeed => [1.0, 2.0, 2.0, 3.0][pick],
            Tied::PassesAgainstFeed => [3.0, 2.0, 2.0, 1.0][pick],
            _ => f64::from(rng.random_range(1..=3)),
        };
        let force = match self.tied {
            Tied::ForceWithFeed => 0.2 * feed,
            _ => FORCES[rng.random_range(0..FORCES.len())],
        };
        (feed, passes, force, rng.random_range(0..GRITS.len()))
    }
}
