//! How many panels it takes, and how many lots and days.

use super::model::{Course, Future, Mixture, Part};
use super::ratio::Ratio;
use super::{Alternating, Change, Needed, Settings, Unit};
use crate::stats::distributions::normal;

/// More panels than this are not asked for.
const MOST_PANELS: f64 = 1e6;

/// Halvings of the range of panels on a log scale: to about a per cent.
const HALVINGS: usize = 11;

/// Larger units count as what is short if this share of the variance would go
/// without them.
const UNITS_DECIDE: f64 = 0.25;

/// Longer blocks than this are not asked for.
const MOST_IN_A_BLOCK: usize = 20;

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

/// Panels, lots and days that show the ratio `truth` < 1 with chance `power`,
/// tested two-sided at 1 − `level`, if the comparison goes on as it went, and panels
/// if old and new alternate instead.
pub(super) fn to_show(ratio: &Ratio, truth: f64, power: f64, level: f64) -> Option<Needed> {
    let goal = Goal {
        truth,
        against: 1.0,
        level,
        power,
    };
    let alternating = needed(ratio, &goal, Course::Alternating).map(|n| Alternating {
        panels: n.panels,
        block_panels: block(ratio),
    });
    Some(Needed {
        alternating,
        ..needed(ratio, &goal, Course::Same)?
    })
}

/// Panels by turns that show the ratio of interest in a comparison that goes on as
/// this one scatters, whatever this one shows.
pub(crate) fn by_turns(change: &Change, settings: &Settings) -> Option<Alternating> {
    let fits = change.fits.as_ref()?;
    let needed = to_show(
        &fits.main,
        settings.ratio_of_interest,
        settings.power,
        settings.level,
    );
    needed?.alternating
}

/// Panels of a block small enough for every lot and day to hold several of both
/// sides: a quarter of the smaller one.
fn block(ratio: &Ratio) -> usize {
    let (lots, days) = ratio.fit.rests_on();
    let units = lots.unwrap_or(1).max(days).max(1);
    (ratio.panels / units / 4).clamp(1, MOST_IN_A_BLOCK)
}

/// Panels, lots and days whose one-sided upper limit at the level of the settings
/// stays below their margin with their power where the rate is in truth unchanged.
pub(super) fn no_worse(ratio: &Ratio, settings: &Settings) -> Option<Needed> {
    let goal = Goal {
        truth: 1.0,
        against: settings.margin,
        // one-sided at the level: the two-sided interval of twice the miss
        level: 2.0 * settings.level - 1.0,
        power: settings.power,
    };
    needed(ratio, &goal, Course::Same)
}

fn needed(ratio: &Ratio, goal: &Goal, course: Course) -> Option<Needed> {
    let future = ratio.fit.future(course, goal.truth.ln())?;
    let (lots, days) = ratio.fit.rests_on();
    let present = ratio.panels;
    let enough = |panels: f64| chance(&future, goal, panels / present as f64) >= goal.power;
    if !enough(MOST_PANELS) {
        return None;
    }
    let (mut low, mut high) = (4.0_f64.ln(), MOST_PANELS.ln());
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if enough(middle.exp()) {
            high = middle;
        } else {
            low = middle;
        }
    }
    let panels = high.exp();
    let scaled = |n: usize| (n as f64 * panels / present as f64).ceil() as usize;
    Some(Needed {
        panels: panels.ceil() as usize,
        lots: lots.map(scaled),
        days: scaled(days),
        alternating: None,
        short_of: short_of(future.days_share, future.lots_share),
    })
}

/// The unit whose share of the variance decides.
fn short_of(days: f64, lots: f64) -> Unit {
    if days.max(lots) < UNITS_DECIDE {
        Unit::Panels
    } else if days >= lots {
        Unit::Days
    } else {
        Unit::Lots
    }
}

/// Chance that the interval over `times` the panels leaves out `goal.against`,
/// averaged over what the records leave open of the scatter (O'Hagan, Stevens &
/// Campbell 2005, Pharmaceutical Statistics 4, 187–201). The law to come knows
/// the scatter in part by its own panels, and for the rest leaves it as open as
/// the present ones do: with as many panels again, half of each.
fn chance(future: &Future, goal: &Goal, times: f64) -> f64 {
    let gap = (goal.against / goal.truth).ln();
    let variances = future.variances(times);
    let own = times / (times + 1.0);
    let part = |share: f64, variance: f64| Part {
        share,
        mean: 0.0,
        sd: variance.sqrt(),
    };
    let open = variances.iter().map(|(s, v)| part((1.0 - own) * s, *v));
    variances
        .iter()
        .map(|(share, v)| {
            let law = Mixture::new(open.clone().chain([part(own, *v)]).collect());
            let half_width = law.quantile(f64::midpoint(1.0, goal.level));
            share * normal::lower((gap - half_width) / v.sqrt())
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::super::Side;
    use super::super::items::Item;
    use super::super::ratio::{Kind, ratio};
    use super::*;

    #[test]
    fn the_unit_that_scatters_most_is_short() {
        let cases = [(0.1, 0.2), (0.3, 0.2), (0.2, 0.3)].map(|(d, l)| short_of(d, l));
        assert_eq!(cases, [Unit::Panels, Unit::Days, Unit::Lots]);
    }

    /// Even marks of single panels: z² times the variance over the squared distance,
    /// one-sided at 95 % with 80 % (textbook sample size of a non-inferiority test).
    #[test]
    fn no_worse_is_asked_one_sided() {
        let item = |k: usize| Item {
            alike: None,
            stream: 0,
            pattern: 0,
            lot: None,
            day: None,
            side: if k < 200 { Side::Before } else { Side::After },
            value: [2.0, 4.0][k % 2],
            exposure: 1.0,
        };
        let items: Vec<Item> = (0..400).map(item).collect();
        let ratio = ratio(&items, &[Vec::new()], Kind::Counts).unwrap();
        let settings = Settings::default();
        let (level, power, margin) = (settings.level, settings.power, settings.margin);
        assert_eq!((level, power), (0.95, 0.8));
        let variance = ratio.interval(0.95);
        let variance = ((variance.high / variance.low).ln() / (2.0 * 1.959_964)).powi(2);
        let expected = 400.0 * variance * ((1.644_854 + 0.841_621) / margin.ln()).powi(2);
        let found = no_worse(&ratio, &settings).unwrap().panels as f64;
        assert!((found / expected - 1.0).abs() < 0.05, "{found} {expected}");
    }
}
