//! Thin axes: round ticks, labels with units, light grid lines.

use super::{Anchor, Area, ChartError, FAINT, GRID, INK, MUTED, Theme, Weight, tenths};

/// A linear map from data to tenths of a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    /// Data range, low and high; never equal.
    pub data: (f64, f64),
    /// Where low and high lie, tenths.
    pub at: (i32, i32),
}

/// Round values along an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Ticks {
    /// The values, rising.
    pub values: Vec<f64>,
    /// Decimals that tell them apart.
    pub decimals: usize,
}

/// A distance on paper, tenths, as a whole number: at most a hundred metres,
/// so that no value, however wild, leaves the numbers that drawing counts with.
pub(super) fn reach(tenths: f64) -> i32 {
    const FAR: f64 = 3e6;
    tenths.clamp(-FAR, FAR).round() as i32
}

impl Axis {
    /// An axis; a range without extent is widened to one unit.
    #[must_use]
    pub fn new(low: f64, high: f64, at: (i32, i32)) -> Self {
        let data = if high > low {
            (low, high)
        } else {
            (low, low + 1.0)
        };
        Self { data, at }
    }

    /// Where a value lies, tenths.
    #[must_use]
    pub fn place(&self, value: f64) -> i32 {
        let share = (value - self.data.0) / (self.data.1 - self.data.0);
        self.at.0 + reach(share * f64::from(self.at.1 - self.at.0))
    }

    /// About `count` round values inside the range: steps of 1, 2 or 5 times a
    /// power of ten.
    #[must_use]
    pub fn ticks(&self, count: usize) -> Ticks {
        let (low, high) = self.data;
        let rough = (high - low) / count.max(1) as f64;
        let power = rough.log10().floor();
        let unit = 10f64.powf(power);
        let step = [1.0, 2.0, 5.0, 10.0]
            .into_iter()
            .find(|m| m * unit >= rough * 0.999)
            .unwrap_or(10.0)
            * unit;
        let first = (low / step - 1e-9).ceil();
        let last = (high / step + 1e-9).floor();
        let steps = (last - first).max(0.0) as usize;
        let decimals = (-(step.log10() + 1e-9).floor()).max(0.0) as usize;
        Ticks {
            values: (0..=steps).map(|i| (first + i as f64) * step).collect(),
            decimals,
        }
    }
}

impl Theme {
    /// A bottom axis with ticks, tick labels and a label with its unit.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn bottom_axis(
        &self,
        area: &Area<'_>,
        axis: &Axis,
        y: i32,
        label: &str,
    ) -> Result<(), ChartError> {
        let ticks = axis.ticks(6);
        self.line(area, &[(axis.at.0, y), (axis.at.1, y)], 0.6, FAINT)?;
        for &value in &ticks.values {
            let x = axis.place(value);
            self.line(area, &[(x, y), (x, y + 30)], 0.6, FAINT)?;
            let text = self.numbers.fixed(value, ticks.decimals);
            let look = (Weight::Regular, MUTED, Anchor::Middle);
            self.text(area, &text, (x, y + 95), self.small_pt, look)?;
        }
        let middle = (axis.at.0 + axis.at.1) / 2;
        let look = (Weight::Regular, INK, Anchor::Middle);
        self.text(area, label, (middle, y + 235), self.label_pt, look)
    }

    /// A left axis with ticks, light grid lines to `grid_to` (tenths) and a
    /// label with its unit, turned to read upwards.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn left_axis(
        &self,
        area: &Area<'_>,
        axis: &Axis,
        x: i32,
        grid_to: Option<i32>,
        label: &str,
    ) -> Result<(), ChartError> {
        let ticks = axis.ticks(5);
        let mut widest = 0;
        for &value in &ticks.values {
            let y = axis.place(value);
            if let Some(right) = grid_to {
                self.line(area, &[(x, y), (right, y)], 0.5, GRID)?;
            }
            self.line(area, &[(x - 30, y), (x, y)], 0.6, FAINT)?;
            let text = self.numbers.fixed(value, ticks.decimals);
            widest = widest.max(self.text_width(&text, self.small_pt, Weight::Regular));
            let look = (Weight::Regular, MUTED, Anchor::Right);
            self.text(area, &text, (x - 55, y), self.small_pt, look)?;
        }
        self.line(area, &[(x, axis.at.0), (x, axis.at.1)], 0.6, FAINT)?;
        let middle = (axis.at.0 + axis.at.1) / 2;
        let left = x - 55 - widest - tenths(self.label_pt);
        self.upward_text(area, label, (left, middle), self.label_pt, INK)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let ticks = Axis::new(0.0, 1200.0, (0, 100)).ticks(6);
        assert_eq!(
            ticks.values,
            [0.0, 200.0, 400.0, 600.0, 800.0, 1000.0, 1200.0]
        );
        assert_eq!(ticks.decimals, 0);
        let ticks = Axis::new(0.0, 0.31, (0, 100)).ticks(5);
        assert_eq!(ticks.decimals, 1);
        assert_eq!(ticks.values.len(), 4);
    }

    #[test]
    fn a_range_without_extent_still_draws() {
        let axis = Axis::new(3.0, 3.0, (0, 100));
        assert_eq!(axis.place(3.0), 0);
        assert!(!axis.ticks(5).values.is_empty());
        let wild = Axis::new(0.0, 1e-300, (10, 20));
        assert!(wild.place(1e300) > 20 && wild.place(-1e300) < 10);
    }
}
