//! How many panels it takes, and how many lots and days.

use std::collections::BTreeSet;

use super::days::TIMES;
use super::items::Item;
use super::law::{Between, Law};
use super::ratio::{StratifiedRatio, UnitLaw};
use super::{Needed, Settings, Side, Unit, exact};
use crate::stats::distributions::normal;

/// More panels than this are not asked for.
const MOST_PANELS: f64 = 1e7;

/// Larger units count as what is short if panels that scatter alone would take
/// this share of the number or less.
const UNITS_DECIDE: f64 = 0.8;

/// Power of the growth of days' share that is left once more days tell more of
/// days; at 1/2 shops whose days differ reached 47 to 63 % of the times where
/// 80 % were asked for, at 3/4 shops whose days don't 93 to 99 %.
const GROWTH_LEFT: f64 = 0.625;

/// Halvings of the range of panels on a log scale: to about half a per cent.
const HALVINGS: usize = 12;

/// A comparison that goes on as the records went: panels shared between the
/// sides, and lots and days filled, as they were.
///
/// The chance to show a ratio is that of the interval's own rule: the score at N
/// panels against the half width that its laws would have with N/n times the
/// lots and days, averaged over what the records leave open of the scatter
/// between them and of the rate (O'Hagan, Stevens & Campbell 2005,
/// Pharmaceutical Statistics 4, 187–201). A number that only counts panels
/// falls short where days or lots differ.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Plan {
    /// Panels in all, whether or not they are compared.
    panels: f64,
    lots: Option<usize>,
    days: usize,
    /// B and C of the score over these panels.
    before: f64,
    spread: f64,
    /// Share of the panels that are after, and the ratio seen.
    share_after: f64,
    ratio: f64,
    /// Marks that the comparison rests on.
    marks: f64,
    /// Whether the values are whole counts, so that few of them are judged by the
    /// exact test.
    whole: bool,
    laws: Vec<UnitLaw>,
}

/// What is to be shown with what chance.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Goal {
    /// Ratio in truth.
    truth: f64,
    /// Ratio that the interval has to leave out, above `truth`.
    against: f64,
    /// Level of the two-sided interval.
    level: f64,
    /// Chance.
    power: f64,
}

/// What a comparison rested on.
pub(super) struct Rested {
    /// Panels before and after.
    pub sides: [usize; 2],
    /// Lots, where recorded.
    pub lots: Option<usize>,
    /// Days with panels.
    pub days: usize,
}

impl Rested {
    pub(super) fn on(items: &[Item]) -> Self {
        let on = |side: Side| items.iter().filter(|i| i.side == side).count();
        let lots: BTreeSet<usize> = items.iter().filter_map(|i| i.lot).collect();
        let days: BTreeSet<usize> = items.iter().map(|i| i.day).collect();
        Self {
            sides: [on(Side::Before), on(Side::After)],
            lots: (!lots.is_empty()).then_some(lots.len()),
            days: days.len(),
        }
    }
}

impl Plan {
    pub(super) fn going_on(fit: &StratifiedRatio, rested: &Rested) -> Self {
        let ratio = fit.estimate().unwrap_or(1.0);
        let [before, after] = rested.sides.map(|n| n as f64);
        Self {
            panels: before + after,
            lots: rested.lots,
            days: rested.days,
            // both sides together tell the rate before, given the ratio
            before: (fit.a + fit.b) / (1.0 + ratio),
            spread: fit.c,
            share_after: after / (before + after),
            ratio,
            marks: fit.total,
            whole: fit.whole,
            laws: fit.laws.clone(),
        }
    }

    /// Panels, lots and days that show the ratio `truth` < 1 with chance `power`,
    /// tested two-sided at 1 − `level`.
    pub(super) fn to_show(&self, truth: f64, power: f64, level: f64) -> Option<Needed> {
        self.needed(&Goal {
            truth,
            against: 1.0,
            level,
            power,
        })
    }

    /// Panels, lots and days whose one-sided upper limit at the level of the
    /// settings stays below their margin with chance `power` where the rate is in
    /// truth unchanged.
    pub(super) fn no_worse(&self, settings: &Settings, power: f64) -> Option<Needed> {
        self.needed(&Goal {
            truth: 1.0,
            against: settings.margin,
            // one-sided at the level: the two-sided interval of twice the miss
            level: 2.0 * settings.level - 1.0,
            power,
        })
    }

    fn needed(&self, goal: &Goal) -> Option<Needed> {
        let all: Vec<&UnitLaw> = self.laws.iter().collect();
        let panels = self.panels_for(goal, &all)?;
        let widest = all.iter().min_by(|x, y| {
            let chance = |l: &UnitLaw| self.chance(goal, l, panels);
            chance(x).total_cmp(&chance(y))
        })?;
        let alone = self.panels_for(goal, &all[..1]);
        let times = panels / self.panels;
        let scaled = |n: usize| (n as f64 * times).ceil() as usize;
        Some(Needed {
            panels: panels.ceil() as usize,
            lots: self.lots.map(scaled),
            days: scaled(self.days),
            short_of: match alone {
                Some(alone) if alone <= UNITS_DECIDE * panels => widest.unit,
                _ => Unit::Panels,
            },
        })
    }

    /// Panels with which every law gives the chance; none if too many.
    fn panels_for(&self, goal: &Goal, laws: &[&UnitLaw]) -> Option<f64> {
        let reached = |panels: f64| {
            laws.iter()
                .all(|law| self.chance(goal, law, panels) >= goal.power)
        };
        if self.before <= 0.0 || self.spread <= 0.0 || !reached(MOST_PANELS) {
            return None;
        }
        let (mut low, mut high) = (4.0_f64.ln(), MOST_PANELS.ln());
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if reached(middle.exp()) {
                high = middle;
            } else {
                low = middle;
            }
        }
        Some(high.exp())
    }

    /// Chance that the interval of `law` over so many panels leaves out
    /// `goal.against`.
    ///
    /// With λ marks a unit of exposure, q₀ + q₁ = 1 and r the truth, A − ρB has
    /// mean (r−ρ)·B and variance ∝ rq₀ + ρ²q₁, against a tested one of
    /// ρ(q₀ + rq₁) (the score form of Signorini 1991, Biometrika 78, 446–450).
    fn chance(&self, goal: &Goal, law: &UnitLaw, panels: f64) -> f64 {
        let times = panels / self.panels;
        let (r, rho) = (goal.truth, goal.against);
        let (after, before) = (self.share_after, 1.0 - self.share_after);
        let spread = self.spread * times / (before + self.ratio * after);
        let tested = (rho * (before + r * after) * spread).sqrt();
        let in_truth = ((r * before + rho * rho * after) * spread).sqrt();
        let error = (law.law.panels * law.law.mean_factor() / self.marks).sqrt();
        // three equally likely rates with the mean and variance of the seen one
        let three =
            |error: f64| [-1.0, 0.0, 1.0].map(|k: f64| (1.0 + k * 1.5_f64.sqrt() * error).max(0.1));
        let rates = three(error);
        // and three scatters of panels
        let scatters = three((2.0 / law.law.degrees).sqrt());
        let mut sum = 0.0;
        let fifths = law.law.fifths();
        let mut last: Option<(f64, f64)> = None;
        for factor in fifths {
            let future = Future::new(law, factor, times);
            // days' law is the same for every fifth
            let half_width = match last.filter(|(f, _)| law.unit == Unit::Days || *f == factor) {
                Some((_, half_width)) => half_width,
                None => future.law.half_width(goal.level),
            };
            last = Some((factor, half_width));
            let own = (law.law.panels * future.factor).sqrt();
            for (rate, scatter) in rates.into_iter().flat_map(|r| scatters.map(|s| (r, s))) {
                // whole counts: the exact test is half a mark behind
                let few = self.whole && self.marks * times * rate <= exact::MOST_DEFECTS;
                let gap = (rho - r) * self.before * times * rate - if few { 0.5 } else { 0.0 };
                let sd = (rate * scatter).sqrt();
                let at = gap - half_width * tested * sd;
                sum += normal::tails(at / (own * in_truth * sd)).lower();
            }
        }
        sum / (fifths.len() * rates.len() * scatters.len()) as f64
    }
}

/// A comparison with so many times the units.
struct Future {
    /// What its interval would rest on.
    law: Law,
    /// What the units add in truth.
    factor: f64,
}

impl Future {
    /// Where units now make the variance `factor` times that of panels alone.
    fn new(law: &UnitLaw, factor: f64, times: f64) -> Self {
        let (panels, degrees) = (law.law.panels, (law.law.degrees * times).max(1.0));
        let Some(between) = &law.between else {
            return Self {
                law: Law::of_panels(panels, degrees),
                factor: 1.0,
            };
        };
        if law.unit == Unit::Days {
            // long memory makes days' share grow with their number, and more of
            // them tell better how much they differ: what remains is this power
            // of the growth (by simulation of shops with and without memory)
            let growth = growth(&law.growth, times) / law.growth[0].max(1e-9);
            let growth = growth.powf(GROWTH_LEFT);
            let grown = |factor: f64| 1.0 + (factor - 1.0) * growth;
            let mut future = law.law.clone();
            future.degrees = degrees;
            for f in &mut future.factors {
                f.0 = grown(f.0);
            }
            return Self {
                law: future,
                factor: grown(factor),
            };
        }
        let between = Between {
            factor: panels * factor,
            degrees: (between.degrees * times).max(0.5),
            ..*between
        };
        Self {
            law: Law::with_units(panels, degrees, &between),
            factor,
        }
    }
}

/// Growth at so many times the units, between the multiples that are known.
fn growth(known: &[f64; TIMES.len()], times: f64) -> f64 {
    let at = times.log2().clamp(0.0, (TIMES.len() - 1) as f64);
    let below = (at.floor() as usize).min(TIMES.len() - 2);
    let part = at - below as f64;
    known[below] * (1.0 - part) + known[below + 1] * part
}
