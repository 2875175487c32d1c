//! An axis on a log scale, its labels placed by ourselves.

use super::axes::reach;
use super::{Anchor, Area, ChartError, FAINT, GRID, INK, MUTED, Theme, Weight, tenths};

/// A logarithmic map from positive data to tenths of a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogAxis {
    /// Data range, low and high; positive and never equal.
    pub data: (f64, f64),
    /// Where low and high lie, tenths.
    pub at: (i32, i32),
}

impl LogAxis {
    /// An axis; what is not positive, or has no extent, is widened.
    #[must_use]
    pub fn new(low: f64, high: f64, at: (i32, i32)) -> Self {
        let low = if low > 0.0 { low } else { 1.0 };
        let data = if high > low {
            (low, high)
        } else {
            (low / 1.5, low * 1.5)
        };
        Self { data, at }
    }

    /// Where a value lies, tenths; what is not positive lies at the low end.
    #[must_use]
    pub fn place(&self, value: f64) -> i32 {
        let span = (self.data.1 / self.data.0).ln();
        let share = if value > 0.0 {
            (value / self.data.0).ln() / span
        } else {
            0.0
        };
        self.at.0 + reach(share * f64::from(self.at.1 - self.at.0))
    }

    /// At most about seven round values inside the range: decades alone over
    /// many of them; 1, 2, 5 of each over a few; closer values in less than one.
    #[must_use]
    pub fn ticks(&self) -> Vec<f64> {
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

impl Theme {
    /// A bottom axis on a log scale.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn bottom_log_axis(
        &self,
        area: &Area<'_>,
        axis: &LogAxis,
        y: i32,
        label: &str,
    ) -> Result<(), ChartError> {
        self.line(area, &[(axis.at.0, y), (axis.at.1, y)], 0.6, FAINT)?;
        for value in axis.ticks() {
            let x = axis.place(value);
            self.line(area, &[(x, y), (x, y + 30)], 0.6, FAINT)?;
            let text = self.numbers.significant(value, 2);
            let look = (Weight::Regular, MUTED, Anchor::Middle);
            self.text(area, &text, (x, y + 95), self.small_pt, look)?;
        }
        let middle = (axis.at.0 + axis.at.1) / 2;
        let look = (Weight::Regular, INK, Anchor::Middle);
        self.text(area, label, (middle, y + 225), self.label_pt, look)
    }

    /// A left axis on a log scale with light grid lines to `grid_to`.
    ///
    /// # Errors
    ///
    /// [`ChartError`] if the drawing library fails.
    pub fn left_log_axis(
        &self,
        area: &Area<'_>,
        axis: &LogAxis,
        x: i32,
        grid_to: i32,
        label: &str,
    ) -> Result<(), ChartError> {
        let mut widest = 0;
        for value in axis.ticks() {
            let y = axis.place(value);
            self.line(area, &[(x, y), (grid_to, y)], 0.5, GRID)?;
            self.line(area, &[(x - 30, y), (x, y)], 0.6, FAINT)?;
            let text = self.numbers.significant(value, 2);
            widest = widest.max(self.text_width(&text, self.small_pt, Weight::Regular));
            let look = (Weight::Regular, MUTED, Anchor::Right);
            self.text(area, &text, (x - 50, y), self.small_pt, look)?;
        }
        self.line(area, &[(x, axis.at.0), (x, axis.at.1)], 0.6, FAINT)?;
        if label.is_empty() {
            return Ok(());
        }
        let middle = (axis.at.0 + axis.at.1) / 2;
        let left = x - 50 - widest - tenths(self.label_pt) * 7 / 10;
        self.upward_text(area, label, (left, middle), self.label_pt, INK)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decades_are_labelled_at_both_ends() {
        let ticks = LogAxis::new(1.0, 1000.0, (0, 100)).ticks();
        assert!(ticks.contains(&1.0) && ticks.contains(&1000.0), "{ticks:?}");
        assert!(ticks.len() <= 10);
    }

    #[test]
    fn a_narrow_range_still_has_labels() {
        let ticks = LogAxis::new(80.0, 160.0, (0, 100)).ticks();
        assert!((3..=7).contains(&ticks.len()), "{ticks:?}");
    }

    #[test]
    fn equal_ratios_are_equally_far() {
        let axis = LogAxis::new(1.0, 100.0, (0, 200));
        assert_eq!(axis.place(10.0), 100);
        assert_eq!(axis.place(-3.0), 0);
    }
}
