//! The ratio of two rates: the model's law, and the exact test where marks are few.

use super::items::Item;
use super::model::{self, Family, Fit, Usual};
use super::{Method, Scatter, Side, exact};
use crate::stats::Interval;
use crate::stats::stratified::RateStratum;

/// Lots usually differ by a factor of 2.7 either way, days, where they differ, by
/// 1.5; what the change does to different lots differs by little, and where it
/// does by 1.35 the lots' own scatter covers it (93 of 100).
pub(super) const COUNTS: Usual = Usual {
    lot: 1.0,
    day: 0.4,
    lot_change: 0.05,
    spread: 0.4,
};

/// Removal varies by per cents where counts vary by factors.
const MEASURES: Usual = Usual {
    lot: 0.2,
    day: 0.13,
    lot_change: 0.01,
    spread: 0.01,
};

/// Distances of panels from others: those of normal values have a spread of
/// π/2 − 1, and a day that lies apart makes all of them long.
const DISTANCES: Usual = Usual {
    lot: 0.3,
    day: 0.2,
    lot_change: 0.03,
    spread: 0.57,
};

/// What the values are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Defects.
    Counts,
    /// Removal, µm.
    Measures,
    /// Distances of panels from others, µm.
    Distances,
}

/// A ratio, after over before, with interval and test that never disagree: at
/// every level the interval leaves out 1 exactly where the p-value is smaller
/// than what the level leaves. Where the marks are few, neither is narrower than
/// the exact conditional one.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Ratio {
    pub fit: Fit,
    /// Panels behind the values.
    pub panels: usize,
    few: Option<Vec<RateStratum>>,
    /// The side without a mark, if one is.
    pub none_on: Option<Side>,
}

/// Compares the sides; none where one has no panels or nothing was counted.
pub(super) fn ratio(items: &[Item], patterns: &[Vec<usize>], kind: Kind) -> Option<Ratio> {
    let (family, usual) = match kind {
        Kind::Counts => (Family::Counts, COUNTS),
        Kind::Measures => (Family::Measures, MEASURES),
        Kind::Distances => (Family::Measures, DISTANCES),
    };
    let fit = model::fit(items, patterns, family, usual, model::Moved::Change)?;
    let none = |side: Side| items.iter().all(|i| i.side != side || i.value == 0.0);
    let counts = kind == Kind::Counts;
    Some(Ratio {
        fit,
        panels: items.len(),
        few: counts.then(|| exact::few(items)).flatten(),
        none_on: [Side::Before, Side::After]
            .into_iter()
            .find(|s| counts && none(*s)),
    })
}

impl Ratio {
    /// Of values that are fewer than the panels behind them.
    pub(super) fn of_panels(self, panels: usize) -> Self {
        Self { panels, ..self }
    }

    /// After over before; none without a before.
    pub(super) fn estimate(&self) -> Option<f64> {
        match self.none_on {
            None => Some(self.fit.law.mean().exp()),
            Some(Side::After) => Some(0.0),
            Some(Side::Before) => None,
        }
    }

    /// Two-sided p-value of a ratio of 1.
    pub(super) fn p_value(&self) -> f64 {
        let model = self.fit.law.two_sided_p(0.0);
        self.exact_p().map_or(model, |p| p.max(model))
    }

    fn exact_p(&self) -> Option<f64> {
        let few = self.few.as_deref()?;
        exact::exact(few, 0.95).ok().map(|e| e.p_value)
    }

    /// Interval at a level.
    pub(super) fn interval(&self, level: f64) -> Interval {
        let missed = f64::midpoint(1.0, -level);
        let mut low = self.fit.law.quantile(missed).exp();
        let mut high = self.fit.law.quantile(1.0 - missed).exp();
        if let Some(few) = &self.few
            && let Ok(exact) = exact::exact(few, level)
        {
            low = low.min(exact.ci.low);
            high = high.max(exact.ci.high);
        }
        match self.none_on {
            Some(Side::After) => low = 0.0,
            Some(Side::Before) => high = f64::INFINITY,
            None => {}
        }
        Interval { low, high, level }
    }

    /// What decided the p-value.
    pub(super) fn method(&self) -> Method {
        let model = self.fit.law.two_sided_p(0.0);
        if self.exact_p().is_some_and(|p| p >= model) {
            Method::ExactConditional
        } else {
            Method::Mixed
        }
    }

    /// How far lots, days and panels differ.
    pub(super) fn scatter(&self) -> Scatter {
        self.fit.scatter
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten panels a side on ten days; a hundred marks on one side, none on the other.
    fn none_on(side: Side) -> Ratio {
        let item = |k: usize| Item {
            side: if k < 10 { Side::Before } else { Side::After },
            value: if (k < 10) == (side == Side::Before) {
                0.0
            } else {
                10.0
            },
            ..Item::of_a_day(k / 2)
        };
        let items: Vec<Item> = (0..20).map(item).collect();
        ratio(&items, &[Vec::new()], Kind::Counts).unwrap()
    }

    #[test]
    fn a_side_without_a_mark_leaves_that_end_open() {
        let (fell, rose) = (none_on(Side::After), none_on(Side::Before));
        let (down, up) = (fell.interval(0.95), rose.interval(0.95));
        assert_eq!((fell.estimate(), down.low), (Some(0.0), 0.0));
        assert_eq!((rose.estimate(), up.high), (None, f64::INFINITY));
        assert!(down.high < 0.5 && up.low > 2.0, "{down:?} {up:?}");
    }

    /// Twenty panels on ten days; nine marks on one side, one on the other, all even.
    #[test]
    fn of_few_marks_the_wider_of_model_and_exact_test_counts() {
        for many in [Side::Before, Side::After] {
            let item = |k: usize| {
                let side = [Side::Before, Side::After][usize::from(k >= 10)];
                let one = (side == many) == (k % 10 != 9);
                Item {
                    side,
                    value: f64::from(u8::from(one)),
                    ..Item::of_a_day(k / 2)
                }
            };
            let items: Vec<Item> = (0..20).map(item).collect();
            let ratio = ratio(&items, &[Vec::new()], Kind::Counts).unwrap();
            let exact = exact::exact(&exact::few(&items).unwrap(), 0.95).unwrap();
            let model = &ratio.fit.law;
            let (low, high) = (model.quantile(0.025).exp(), model.quantile(0.975).exp());
            let got = ratio.interval(0.95);
            assert_eq!(got.low, low.min(exact.ci.low));
            assert_eq!(got.high, high.max(exact.ci.high));
            assert_eq!(ratio.p_value(), exact.p_value.max(model.two_sided_p(0.0)));
        }
    }
}
