//! What time may have done in the change's place: a rate that moved all along, or
//! that stepped on another day.
//!
//! The change has to win a duel with each: a rival is told where it accounts for
//! the counts better than the change does in the same model, and where,
//! with the rival allowed for, nothing is shown to be left for the change.

use super::Side;
use super::items::{Item, returns};
use super::model::{self, Family, Fit, Mixture, Moved};
use super::ratio::COUNTS;
use crate::stats::Interval;

/// ln of how many times likelier the counts must be by a line through the whole
/// time, by a step on an earlier day and by one on a later day, than by the change. A
/// line is one; of the many steps the best is taken, so that more is asked of it, and
/// what a change does may take some days to be seen.
const LINE: f64 = 0.5;
const EARLIER: f64 = 1.0;
const LATER: f64 = 3.5;

/// p-value up to which a rate counts as moving although no change is shown.
const MOVING: f64 = 0.05;

/// p-value up to which panels that kept the old setting are witnesses of a step on
/// the change's own day. Days that differ make such a step hard to show; what they
/// cost is that a chance fall of the witnesses asks the change to be shown against
/// them as well.
const WITNESSED: f64 = 0.3;

/// Share of what the change divides the marks by, below which a step is not fitted:
/// over many days most steps are out of the question.
const NEARLY: f64 = 0.8;

/// Days looked at for a step, spread evenly where there are more.
const MOST_STEPS: usize = 24;

/// Fewest days that can show either.
const FEWEST_DAYS: usize = 4;

/// How the rate moved without the change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Path {
    /// Evenly in ln rate, from the first day to the last.
    Line,
    /// At once, between the day before this one and it.
    Step {
        /// As in [`Item::day`].
        day: usize,
        /// Days with panels that lie between it and the first day after the
        /// change; negative where the step came later.
        earlier: i64,
    },
}

/// A rival that accounts for the counts better than the change does.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Rival {
    pub path: Path,
    /// The last day's rate over the first day's, or the rate from the step on over
    /// that before it.
    pub factor: f64,
    /// The change's ln ratio with the rival allowed for.
    pub beside: Mixture,
}

impl Rival {
    /// The change's ratio with the rival allowed for.
    pub(super) fn interval(&self, level: f64) -> Interval {
        let missed = f64::midpoint(1.0, -level);
        let at = |p| self.beside.quantile(p).exp();
        Interval {
            low: at(missed),
            high: at(1.0 - missed),
            level,
        }
    }

    /// Whether it leaves open that the change moved the rate by `interest` (a ratio
    /// below 1) or its inverse.
    pub(super) fn hides(&self, interest: f64, level: f64) -> bool {
        let Interval { low, high, .. } = self.interval(level);
        !(low > interest && high < 1.0 / interest)
    }

    /// Whether nothing is shown, at a level, to be left for a change that is seen
    /// to raise the rate (or to lower it).
    pub(super) fn explains(&self, raised: bool, level: f64) -> bool {
        let same_way = (self.factor > 1.0) == raised;
        let left = (self.beside.mean() > 0.0) == raised;
        same_way && !(left && self.beside.two_sided_p(0.0) <= 1.0 - level)
    }
}

/// Rivals that account for the counts better than a change that is fitted as
/// `change`, the best last; none where there is no one moment of change, or where
/// days are few or not known.
pub(super) fn in_its_place(items: &[Item], patterns: &[Vec<usize>], change: &Fit) -> Vec<Rival> {
    let Some(days) = days_of_one_change(items) else {
        return Vec::new();
    };
    let side = |i: &Item| f64::from(u8::from(i.side == Side::After));
    let sides: Vec<f64> = items.iter().map(side).collect();
    let as_divided = divided(items, &sides);
    let mut better: Vec<(f64, Rival)> = paths(items, &days)
        .into_iter()
        .filter_map(|path| {
            let values = path.values(items, &days);
            if path != Path::Line && divided(items, &values) < NEARLY * as_divided {
                return None;
            }
            let alone = fit(items, patterns, Moved::Rival(&values))?;
            let gained = alone.ln_evidence - change.ln_evidence;
            if gained <= path.asked() && !path.is_witnessed(items, patterns, &values) {
                return None;
            }
            let rival = Rival {
                path,
                factor: path.factor(&alone),
                beside: fit(items, patterns, Moved::ChangeBeside(&values))?.law,
            };
            Some((gained, rival))
        })
        .collect();
    better.sort_by(|a, b| a.0.total_cmp(&b.0));
    better.into_iter().map(|(_, rival)| rival).collect()
}

/// A rate that moves evenly, as is shown with the change allowed for: it may hide
/// what the change did.
pub(super) fn all_along(items: &[Item], patterns: &[Vec<usize>]) -> Option<Rival> {
    let days = days_of_one_change(items)?;
    let values = Path::Line.values(items, &days);
    let line = fit(items, patterns, Moved::RivalBeside(&values))?;
    if line.law.two_sided_p(0.0) > MOVING {
        return None;
    }
    Some(Rival {
        path: Path::Line,
        factor: Path::Line.factor(&line),
        beside: fit(items, patterns, Moved::ChangeBeside(&values))?.law,
    })
}

/// ln of how many times likelier single marks are at two rates, one where the value
/// is 0, one where it is 1, than at one rate.
fn divided(items: &[Item], values: &[f64]) -> f64 {
    let (mut marks, mut area) = ([0.0; 2], [0.0; 2]);
    for (item, value) in items.iter().zip(values) {
        let group = usize::from(*value > 0.5);
        marks[group] += item.value;
        area[group] += item.exposure;
    }
    let rate = (marks[0] + marks[1]) / (area[0] + area[1]);
    let group = |k: usize| match marks[k] > 0.0 && area[k] > 0.0 {
        true => marks[k] * (marks[k] / area[k] / rate).ln(),
        false => 0.0,
    };
    group(0) + group(1)
}

fn fit(items: &[Item], patterns: &[Vec<usize>], moved: Moved<'_>) -> Option<Fit> {
    model::fit(items, patterns, Family::Counts, COUNTS, moved)
}

/// Days with panels, in order, where no stream went back from after to before.
fn days_of_one_change(items: &[Item]) -> Option<Vec<usize>> {
    if returns(items) > 0 {
        return None;
    }
    let mut days: Vec<usize> = items.iter().map(|i| i.day).collect::<Option<_>>()?;
    days.sort_unstable();
    days.dedup();
    (days.len() >= FEWEST_DAYS).then_some(days)
}

fn paths(items: &[Item], days: &[usize]) -> Vec<Path> {
    let after = items.iter().filter(|i| i.side == Side::After);
    let first_after = after.filter_map(|i| i.day).min().unwrap_or(0);
    let change = days.partition_point(|d| *d < first_after) as i64;
    let stride = days.len().div_ceil(MOST_STEPS) as i64;
    // On the day of the change itself a step is a rival where others ran on as they were.
    let unchanged = |i: &Item| i.side == Side::Before && i.day > Some(first_after);
    let beside = items.iter().any(unchanged);
    let steps = (1..days.len()).filter_map(|k| {
        let earlier = change - k as i64;
        ((earlier != 0 || beside) && earlier % stride == 0).then_some(Path::Step {
            day: days[k],
            earlier,
        })
    });
    std::iter::once(Path::Line).chain(steps).collect()
}

impl Path {
    fn asked(self) -> f64 {
        match self {
            Self::Line => LINE,
            // one day only, and the others are its witnesses
            Self::Step { earlier: 0, .. } => LINE,
            Self::Step { earlier, .. } if earlier > 0 => EARLIER,
            Self::Step { .. } => LATER,
        }
    }

    /// Whether it is a step on the change's own day that panels with the old setting
    /// show as well.
    fn is_witnessed(self, items: &[Item], patterns: &[Vec<usize>], values: &[f64]) -> bool {
        matches!(self, Self::Step { earlier: 0, .. })
            && fit(items, patterns, Moved::RivalBeside(values))
                .is_some_and(|step| step.law.two_sided_p(0.0) <= WITNESSED)
    }

    /// The last day's rate over the first day's, where its effect is that of `fit`.
    fn factor(self, fit: &Fit) -> f64 {
        (fit.law.mean() * self.whole()).exp()
    }

    /// How far its value goes from the first day to the last.
    fn whole(self) -> f64 {
        match self {
            Self::Line => 2.0,
            Self::Step { .. } => 1.0,
        }
    }

    fn values(self, items: &[Item], days: &[usize]) -> Vec<f64> {
        items.iter().map(|i| self.value(i, days)).collect()
    }

    /// Its value on an item's day: on average 1 more after a change half-way than
    /// before it, as the change's own.
    fn value(self, item: &Item, days: &[usize]) -> f64 {
        let day = item.day.unwrap_or(0);
        match self {
            Self::Line => {
                let (first, last) = (days[0], days[days.len() - 1]);
                self.whole() * (day - first) as f64 / (last - first) as f64
            }
            Self::Step { day: from, .. } => f64::from(u8::from(day >= from)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PANELS: usize = 20;

    /// Ten days of twenty panels; the change after five, marks a panel by day.
    fn items(marks: impl Fn(usize) -> f64, side: impl Fn(usize) -> Side) -> Vec<Item> {
        let panels = (0..10 * PANELS).map(|k| (k / PANELS, k % PANELS));
        let item = |(day, k): (usize, usize)| Item {
            side: side(day),
            // as many more on one half of the panels as fewer on the other
            value: (marks(day) * if k % 2 == 0 { 1.25 } else { 0.75 }).round(),
            ..Item::of_a_day(day)
        };
        panels.map(item).collect()
    }

    fn half_way(day: usize) -> Side {
        if day < 5 { Side::Before } else { Side::After }
    }

    fn rivals(items: &[Item]) -> Vec<Rival> {
        let none = [Vec::new()];
        let change = fit(items, &none, Moved::Change).unwrap();
        in_its_place(items, &none, &change)
    }

    #[test]
    fn a_step_two_days_before_is_not_the_changes() {
        let items = items(|day| if day < 3 { 8.0 } else { 4.0 }, half_way);
        let found = rivals(&items);
        let best = found.last().unwrap();
        assert_eq!(best.path, Path::Step { day: 3, earlier: 2 });
        assert!((best.factor - 0.5).abs() < 0.05, "{best:?}");
        assert!(best.explains(false, 0.95));
        assert!(!best.explains(true, 0.95));
    }

    #[test]
    fn what_the_unchanged_machine_shows_too_is_not_the_changes() {
        // The second machine keeps the old recipe throughout and halves as well, or not.
        let beside = |rate: fn(usize) -> f64| -> Vec<Item> {
            let own = items(|day| if day < 5 { 8.0 } else { 4.0 }, half_way);
            let other = items(rate, |_| Side::Before).into_iter();
            own.into_iter()
                .chain(other.map(|i| Item { stream: 1, ..i }))
                .collect()
        };
        let halves = rivals(&beside(|day| if day < 5 { 8.0 } else { 4.0 }));
        let best = halves.last().unwrap();
        assert_eq!(best.path, Path::Step { day: 5, earlier: 0 });
        assert!(best.explains(false, 0.95), "{best:?}");
        let stays = rivals(&beside(|_| 8.0));
        assert!(stays.iter().all(|r| !r.explains(false, 0.95)), "{stays:?}");
    }

    #[test]
    fn a_witness_has_moved_as_well() {
        let days: Vec<usize> = (0..10).collect();
        let step = Path::Step { day: 5, earlier: 0 };
        let is_witnessed = |rate: fn(usize) -> f64| {
            let own = items(|day| if day < 5 { 8.0 } else { 4.0 }, half_way);
            let other = items(rate, |_| Side::Before).into_iter().step_by(5);
            let both: Vec<Item> = (own.into_iter())
                .chain(other.map(|i| Item { stream: 1, ..i }))
                .collect();
            step.is_witnessed(&both, &[Vec::new()], &step.values(&both, &days))
        };
        assert!(is_witnessed(|day| if day < 5 { 8.0 } else { 4.0 }));
        assert!(!is_witnessed(|_| 8.0));
    }

    #[test]
    fn a_fall_all_along_is_not_the_changes() {
        let items = items(|day| 16.0 * 0.8_f64.powf(day as f64), half_way);
        let found = rivals(&items);
        let line = found.iter().find(|r| r.path == Path::Line).unwrap();
        assert!((line.factor.ln() - 9.0 * 0.8_f64.ln()).abs() < 0.3);
        assert!(line.explains(false, 0.95));
    }

    #[test]
    fn a_change_that_did_it_has_no_rival_that_explains_it() {
        let items = items(|day| if day < 5 { 8.0 } else { 4.0 }, half_way);
        let found = rivals(&items);
        assert!(!found.iter().any(|r| r.explains(false, 0.95)), "{found:?}");
    }

    #[test]
    fn a_rise_all_along_hides_a_change_that_halves() {
        let rise = |day: usize| 4.0 * 1.2_f64.powf(day as f64);
        let halved = |day: usize| if day < 5 { rise(day) } else { rise(day) / 2.0 };
        let hidden = all_along(&items(halved, half_way), &[Vec::new()]).unwrap();
        assert!(hidden.factor > 3.0 && hidden.hides(0.5, 0.95), "{hidden:?}");
        assert!((hidden.beside.mean().exp() - 0.5).abs() < 0.1);
        let steady = items(|_| 8.0, half_way);
        assert_eq!(all_along(&steady, &[Vec::new()]), None);
    }

    #[test]
    fn by_turns_time_is_no_rival() {
        let turns = |day: usize| [Side::Before, Side::After][day % 2];
        assert!(rivals(&items(|day| 8.0 - day as f64 / 2.0, turns)).is_empty());
    }
}
