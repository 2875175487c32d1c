//! Thin axes, linear or logarithmic: round ticks, labels with units, light grid
//! lines.

use super::sheet::{At, Sheet};
use super::theme::tenths;
use super::{Anchor, FAINT, GRID, INK, MUTED, NumberStyle};

/// A map from data to tenths of a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Axis {
    /// Data range, low and high; never equal.
    pub(super) data: (f64, f64),
    /// Where low and high lie, tenths.
    pub(super) at: (i32, i32),
    scale: Scale,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Scale {
    Linear,
    Log,
}

/// A distance on paper, tenths, as a whole number: at most a hundred metres,
/// so that no value, however wild, leaves the numbers that drawing counts with.
fn reach(tenths: f64) -> i32 {
    const FAR: f64 = 3e6;
    tenths.clamp(-FAR, FAR).round() as i32
}

/// The least step of 1, 2 or 5 times a power of ten that is not below `rough`, and
/// the decimals that tell its multiples apart.
pub(super) fn round_step(rough: f64) -> (f64, usize) {
    let unit = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .find(|m| m * unit >= rough * 0.999)
        .unwrap_or(10.0)
        * unit;
    (step, (-(step.log10() + 1e-9).floor()).max(0.0) as usize)
}

impl Axis {
    /// A linear axis; a range without extent is widened to one unit.
    pub(super) fn new(low: f64, high: f64, at: (i32, i32)) -> Self {
        let high = if high > low { high } else { low + 1.0 };
        Self {
            data: (low, high),
            at,
            scale: Scale::Linear,
        }
    }

    /// A logarithmic axis of positive data; what is not positive, or has no
    /// extent, is widened.
    pub(super) fn log(low: f64, high: f64, at: (i32, i32)) -> Self {
        let low = if low > 0.0 { low } else { 1.0 };
        let data = if high > low {
            (low, high)
        } else {
            (low / 1.5, low * 1.5)
        };
        Self {
            data,
            at,
            scale: Scale::Log,
        }
    }

    /// Where a value lies, tenths; what a log axis does not know lies at its low
    /// end.
    pub(super) fn place(&self, value: f64) -> i32 {
        let (low, high) = self.data;
        let share = match self.scale {
            Scale::Linear => (value - low) / (high - low),
            Scale::Log if value > 0.0 => (value / low).ln() / (high / low).ln(),
            Scale::Log => 0.0,
        };
        self.at.0 + reach(share * f64::from(self.at.1 - self.at.0))
    }

    /// Round values inside the range: about `count` of a linear axis, at most
    /// about seven of a log axis.
    pub(super) fn values(&self, count: usize) -> Vec<f64> {
        match self.scale {
            Scale::Linear => self.multiples(count).0,
            Scale::Log => self.decades(),
        }
    }

    /// The same with how they are written.
    fn ticks(&self, count: usize, numbers: &NumberStyle) -> Vec<(f64, String)> {
        let decimals = self.multiples(count).1;
        let written = |value: f64| match self.scale {
            Scale::Linear => numbers.fixed(value, decimals),
            Scale::Log => numbers.significant(value, 2),
        };
        let values = self.values(count).into_iter();
        values.map(|value| (value, written(value))).collect()
    }

    fn multiples(&self, count: usize) -> (Vec<f64>, usize) {
        let (low, high) = self.data;
        let (step, decimals) = round_step((high - low) / count.max(1) as f64);
        let first = (low / step - 1e-9).ceil();
        let last = (high / step + 1e-9).floor();
        let steps = (last - first).max(0.0) as usize;
        let values = (0..=steps).map(|i| (first + i as f64) * step);
        (values.collect(), decimals)
    }

    /// Decades alone over many of them; 1, 2, 5 of each over a few; closer values
    /// in less than one.
    fn decades(&self) -> Vec<f64> {
        const LADDERS: [&[f64]; 5] = [
            &[
                1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 6.5, 7.0,
                7.5, 8.0, 8.5, 9.0, 9.5,
            ],
            &[1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0],
            &[1.0, 1.5, 2.0, 3.0, 5.0, 7.0],
            &[1.0, 2.0, 5.0],
            &[1.0],
        ];
        const MOST: usize = 7;
        let (low, high) = self.data;
        let decades = low.log10().floor() as i32..=high.log10().floor() as i32;
        let mut found = Vec::new();
        for ladder in LADDERS {
            found = decades
                .clone()
                .flat_map(|d| ladder.iter().map(move |m| m * 10f64.powi(d)))
                .filter(|v| (low * 0.9999..=high * 1.0001).contains(v))
                .collect();
            if found.len() <= MOST {
                break;
            }
        }
        found
    }
}

impl Sheet<'_> {
    /// A bottom axis with ticks, tick labels and a label with its unit.
    pub(super) fn bottom_axis(&self, axis: &Axis, y: i32, label: &str) {
        self.line(&[(axis.at.0, y), (axis.at.1, y)], 0.6, FAINT);
        for (value, text) in axis.ticks(6, &self.numbers) {
            let x = axis.place(value);
            self.line(&[(x, y), (x, y + 30)], 0.6, FAINT);
            self.small(&text, (x, y + 95), MUTED, Anchor::Middle);
        }
        self.below(axis, y, label);
    }

    /// The label of a bottom axis.
    pub(super) fn below(&self, axis: &Axis, y: i32, label: &str) {
        let middle = (axis.at.0 + axis.at.1) / 2;
        let drop = match axis.scale {
            Scale::Linear => 235,
            Scale::Log => 225,
        };
        self.label(label, (middle, y + drop), INK, Anchor::Middle);
    }

    /// A left axis with ticks, light grid lines to `grid_to` (tenths) and a
    /// label with its unit, turned to read upwards.
    pub(super) fn left_axis(&self, axis: &Axis, x: i32, grid_to: Option<i32>, label: &str) {
        let (gap, aside) = match axis.scale {
            Scale::Linear => (55, tenths(self.label_pt)),
            Scale::Log => (50, tenths(self.label_pt) * 7 / 10),
        };
        let mut widest = 0;
        for (value, text) in axis.ticks(5, &self.numbers) {
            let y = axis.place(value);
            if let Some(right) = grid_to {
                self.line(&[(x, y), (right, y)], 0.5, GRID);
            }
            self.line(&[(x - 30, y), (x, y)], 0.6, FAINT);
            widest = widest.max(self.small_width(&text));
            self.small(&text, (x - gap, y), MUTED, Anchor::Right);
        }
        self.line(&[(x, axis.at.0), (x, axis.at.1)], 0.6, FAINT);
        let at: At = (x - gap - widest - aside, (axis.at.0 + axis.at.1) / 2);
        self.upward(label, at);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let axis = Axis::new(0.0, 1200.0, (0, 100));
        let hundreds = [0.0, 200.0, 400.0, 600.0, 800.0, 1000.0, 1200.0];
        assert_eq!(axis.multiples(6), (hundreds.to_vec(), 0));
        let (values, decimals) = Axis::new(0.0, 0.31, (0, 100)).multiples(5);
        assert_eq!((values.len(), decimals), (4, 1));
    }

    #[test]
    fn a_range_without_extent_still_draws() {
        let axis = Axis::new(3.0, 3.0, (0, 100));
        assert_eq!(axis.place(3.0), 0);
        assert!(!axis.values(5).is_empty());
        let wild = Axis::new(0.0, 1e-300, (10, 20));
        assert!(wild.place(1e300) > 20 && wild.place(-1e300) < 10);
    }

    #[test]
    fn decades_are_labelled_at_both_ends() {
        let ticks = Axis::log(1.0, 1000.0, (0, 100)).values(0);
        assert!(ticks.contains(&1.0) && ticks.contains(&1000.0), "{ticks:?}");
        assert!(ticks.len() <= 10);
    }

    #[test]
    fn a_narrow_range_of_a_log_axis_still_has_labels() {
        let ticks = Axis::log(80.0, 160.0, (0, 100)).values(0);
        assert!((3..=7).contains(&ticks.len()), "{ticks:?}");
    }

    #[test]
    fn equal_ratios_are_equally_far_on_a_log_axis() {
        let axis = Axis::log(1.0, 100.0, (0, 200));
        assert_eq!(axis.place(10.0), 100);
        assert_eq!(axis.place(-3.0), 0);
    }
}
