//! Shops in which something changes half-way, with known truth: what lots, days
//! and panels do to the counts, and when and why the change was made.

use std::sync::Arc;

use onus::change::{Changes, Selection, Settings, Sides, Verdict, compare};
use onus::records::{Defect, DefectName, Panel, Records};
use onus::site::DefectClass;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::shops::draws::{mixing, normal, poisson};
use crate::shops::{mark_on, panel_at};

/// What went on when the change was made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Story {
    /// It came at a fixed time.
    Plain,
    /// It came at a fixed time, with bad lots mostly before it.
    LotMix,
    /// It was made when the last panels were the worst so far.
    BadSpell,
    /// Old and new by turns, so many panels each.
    Alternating(usize),
}

/// How lots come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Lots {
    /// Every lot again and again, in pallets of five panels.
    Return,
    /// One after the other, three open at a time.
    InTurn,
    /// Not recorded (but there).
    Unrecorded,
}

/// A kind of defect.
#[derive(Debug, Clone, Copy)]
pub struct Kind {
    pub name: &'static str,
    pub class: Option<DefectClass>,
    /// Marks a panel.
    pub marks: f64,
    /// True ratio of the rates, after over before.
    pub ratio: f64,
}

/// A kind that the change halves or leaves alone, as the shop's ratio says.
pub const NIB: Kind = Kind {
    name: "nib",
    class: None,
    marks: 1.0,
    ratio: 1.0,
};

/// Where a panel stands in the run.
#[derive(Debug, Clone, Copy)]
pub struct At {
    /// 0 at the first panel, towards 1 at the last.
    pub run: f64,
    pub after: bool,
}

/// Fills further columns of a panel; gives what they do to its rate.
pub type Further = fn(&mut Panel, At, &mut ChaCha8Rng) -> f64;

/// A shop with lots, days that drift, and panels.
#[derive(Debug, Clone, Copy)]
pub struct ChangeShop {
    pub story: Story,
    pub kinds: &'static [Kind],
    pub panels: usize,
    /// Panels a day and panels for each lot; never fewer than four lots.
    pub a_day: usize,
    pub a_lot: usize,
    pub lots: Lots,
    /// Standard deviations of ln rate between lots and between days.
    pub lot_sd: f64,
    pub day_sd: f64,
    /// Correlation of neighbouring days.
    pub day_memory: f64,
    /// Standard deviation between lots of what the change does to ln rate.
    pub ratio_sd: f64,
    /// Shape of the gamma by which panels scatter; none if only by chance.
    pub panel_shape: Option<f64>,
    pub further: Option<Further>,
}

/// Lots differ by about a factor of two, days drift, and panels scatter widely.
pub const SHOP: ChangeShop = ChangeShop {
    story: Story::Plain,
    kinds: &[NIB],
    panels: 240,
    a_day: 20,
    a_lot: 20,
    lots: Lots::Return,
    lot_sd: 0.6,
    day_sd: 0.2,
    day_memory: 0.5,
    ratio_sd: 0.0,
    panel_shape: Some(1.0),
    further: None,
};

/// Lots differ little, days not at all, and panels only by chance.
pub const CALM: ChangeShop = ChangeShop {
    lot_sd: 0.2,
    day_sd: 0.0,
    panel_shape: None,
    ..SHOP
};

impl ChangeShop {
    fn lot_count(&self) -> usize {
        (self.panels / self.a_lot).max(4)
    }

    pub fn records(&self, seed: u64) -> Records {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut panels: Vec<Panel> = (0..self.panels).map(|i| self.panel(i)).collect();
        let mut made = Made::default();
        let mut first_after = None;
        for (name, kind) in self.kinds.iter().enumerate() {
            let lot_effect = self.normals(self.lot_sd, self.lot_count(), &mut rng);
            let lot_ratio = self.normals(self.ratio_sd, self.lot_count(), &mut rng);
            let days = self.days(&mut rng);
            if name == 0 {
                // the mix of lots follows what the first kind makes of them
                made.lot_of = (0..self.panels)
                    .map(|i| self.lot(i, &lot_effect, &mut rng))
                    .collect();
            }
            let rate: Vec<f64> = (0..self.panels)
                .map(|i| {
                    let own = self
                        .panel_shape
                        .map_or(1.0, |shape| mixing(shape, &mut rng));
                    let ln = lot_effect[made.lot_of[i]] + days[i / self.a_day];
                    kind.marks * ln.exp() * own
                })
                .collect();
            let mut counts: Vec<usize> = rate.iter().map(|r| poisson(*r, &mut rng)).collect();
            let change = *first_after.get_or_insert_with(|| self.first_after(&counts));
            if name == 0 {
                made.after = (0..self.panels).map(|i| self.after(i, change)).collect();
                made.factor = self.columns(&mut panels, &made.after, &mut rng);
            }
            for i in 0..self.panels {
                let own = if made.after[i] {
                    kind.ratio * lot_ratio[made.lot_of[i]].exp()
                } else {
                    1.0
                };
                if own * made.factor[i] != 1.0 {
                    counts[i] = poisson(rate[i] * own * made.factor[i], &mut rng);
                }
            }
            made.counts.push(counts);
        }
        self.written(panels, &made)
    }

    fn normals(&self, sd: f64, n: usize, rng: &mut ChaCha8Rng) -> Vec<f64> {
        (0..n).map(|_| sd * normal(rng)).collect()
    }

    /// ln rate of every day: first-order autoregressive.
    fn days(&self, rng: &mut ChaCha8Rng) -> Vec<f64> {
        let mut drift = normal(rng);
        (0..=self.panels / self.a_day)
            .map(|_| {
                let own = self.day_sd * drift;
                let fresh = (1.0 - self.day_memory.powi(2)).sqrt();
                drift = self.day_memory * drift + fresh * normal(rng);
                own
            })
            .collect()
    }

    fn lot(&self, i: usize, effect: &[f64], rng: &mut ChaCha8Rng) -> usize {
        let lots = effect.len();
        if self.story != Story::LotMix {
            return match self.lots {
                Lots::InTurn => (i * lots / self.panels + rng.random_range(0..3)).min(lots - 1),
                _ => (i / 5 + rng.random_range(0..2)) % lots,
            };
        }
        let mut worst_first: Vec<usize> = (0..lots).collect();
        worst_first.sort_by(|a, b| effect[*b].total_cmp(&effect[*a]));
        let bad = if i < self.panels / 2 { 0.75 } else { 0.25 };
        let half = lots / 2;
        if rng.random::<f64>() < bad {
            worst_first[rng.random_range(0..half)]
        } else {
            worst_first[rng.random_range(half..lots)]
        }
    }

    /// The first panel after the change.
    fn first_after(&self, counts: &[usize]) -> usize {
        let n = self.panels;
        if self.story != Story::BadSpell {
            return n / 2;
        }
        let last_ten = |i: usize| counts[i - 10..i].iter().sum::<usize>();
        let mut worst = n / 3;
        for i in n / 3..2 * n / 3 {
            if last_ten(i) > last_ten(worst) {
                worst = i;
            }
        }
        worst
    }

    fn after(&self, i: usize, change: usize) -> bool {
        match self.story {
            Story::Alternating(block) => (i / block) % 2 == 1,
            _ => i >= change,
        }
    }

    /// Recipe and further columns; what they do to the rate of every panel.
    fn columns(&self, panels: &mut [Panel], after: &[bool], rng: &mut ChaCha8Rng) -> Vec<f64> {
        let count = panels.len() as f64;
        let each = panels.iter_mut().zip(after).enumerate();
        each.map(|(i, (panel, &after))| {
            panel.recipe = Some(Arc::from(if after { "new" } else { "old" }));
            let at = At {
                run: i as f64 / count,
                after,
            };
            self.further.map_or(1.0, |further| further(panel, at, rng))
        })
        .collect()
    }

    fn panel(&self, i: usize) -> Panel {
        let (day, minute) = (i / self.a_day, 400 / self.a_day * (i % self.a_day));
        Panel {
            machine: Some(Arc::from("M1")),
            ..panel_at(i, (day, minute), (600.0, 400.0))
        }
    }

    fn written(&self, mut panels: Vec<Panel>, made: &Made) -> Records {
        if self.lots != Lots::Unrecorded {
            for (panel, lot) in panels.iter_mut().zip(&made.lot_of) {
                panel.lot = Some(Arc::from(format!("lot-{lot}")));
            }
        }
        let of_kind = |(name, counts): (usize, &Vec<usize>)| -> Vec<Defect> {
            let each = counts.iter().enumerate();
            each.flat_map(|(panel, &n)| std::iter::repeat_n(mark_on(panel, name, None), n))
                .collect()
        };
        let mut defects: Vec<Defect> = made.counts.iter().enumerate().flat_map(of_kind).collect();
        defects.sort_by_key(|d| (d.panel, d.name));
        let mut records = Records {
            panels,
            defects,
            defect_names: self
                .kinds
                .iter()
                .map(|kind| DefectName {
                    name: kind.name.into(),
                    class: kind.class,
                })
                .collect(),
            ..Records::default()
        };
        records.input.panels = records.panels.len();
        records.input.defects = records.defects.len();
        records
    }

    /// The comparison of one run.
    pub fn compared(&self, seed: u64) -> Changes {
        compare(
            &self.records(seed),
            &old_against_new(),
            &Settings::default(),
        )
        .unwrap()
    }

    /// What many runs say.
    pub fn tally(&self, runs: u64, seed: u64) -> Tally {
        let mut tally = Tally::default();
        for run in 0..runs {
            let changes = self.compared(seed + run);
            let changes = &changes.comparisons[0].changes;
            let untouched = |verdict: Verdict| {
                let mut each = changes.iter().zip(self.kinds);
                each.any(|(c, kind)| c.verdict == verdict && kind.ratio == 1.0)
            };
            tally.runs += 1;
            tally.helped += u64::from(untouched(Verdict::Helped));
            tally.hurt += u64::from(untouched(Verdict::Hurt));
            for (change, kind) in changes.iter().zip(self.kinds) {
                tally.shown += u64::from(kind.ratio < 1.0 && change.verdict == Verdict::Helped);
                tally.refused += u64::from(change.verdict == Verdict::NotIdentifiable);
                if let Some(ci) = change.ratio_ci {
                    tally.given += 1;
                    tally.held += u64::from(ci.low <= kind.ratio && kind.ratio <= ci.high);
                    tally.half_widths.push((ci.high / ci.low).ln() / 2.0);
                }
            }
        }
        tally.half_widths.sort_by(f64::total_cmp);
        tally
    }
}

/// What a shop did.
#[derive(Default)]
struct Made {
    lot_of: Vec<usize>,
    after: Vec<bool>,
    factor: Vec<f64>,
    /// By kind and panel.
    counts: Vec<Vec<usize>>,
}

/// Counts over runs.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    pub runs: u64,
    /// Intervals given, and those that hold the truth.
    pub given: u64,
    pub held: u64,
    /// Runs in which a kind that the change leaves alone is said to be helped, or hurt.
    pub helped: u64,
    pub hurt: u64,
    /// Kinds that the change lowers and that are said to be helped.
    pub shown: u64,
    /// Kinds of which nothing is said because something else changed too.
    pub refused: u64,
    /// Half widths of ln ratio, ascending.
    pub half_widths: Vec<f64>,
}

/// The panels of recipe "old" before those of recipe "new".
pub fn old_against_new() -> Selection {
    let side = |recipe: &str| vec![format!("recipe={recipe}").parse().unwrap()];
    Selection {
        sides: Sides::Values {
            before: side("old"),
            after: side("new"),
        },
        only: Vec::new(),
        window: onus::change::Window::default(),
        on: Vec::new(),
    }
}
