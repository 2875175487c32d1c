//! How numbers are written: decimal mark, thousands, shares and dates.

use jiff::civil::Date;

use crate::records::{Column, ColumnUse, Unit};
use crate::site::{DateStyle, DecimalMark, ReportStyle};

/// How a site writes numbers and dates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct NumberStyle {
    /// The decimal mark; thousands are set off by the other one.
    pub decimal: DecimalMark,
    /// The order of dates.
    pub dates: DateStyle,
    /// Unit of feed speeds, where it is not mm/s.
    pub feed: Option<Unit>,
    /// Unit of forces, where it is not N.
    pub force: Option<Unit>,
}

const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

impl From<&ReportStyle> for NumberStyle {
    fn from(style: &ReportStyle) -> Self {
        Self {
            decimal: style.decimal_mark,
            dates: style.date_style,
            feed: None,
            force: None,
        }
    }
}

impl NumberStyle {
    /// The same with the units that the files use, where they agree on one.
    #[must_use]
    pub fn with_units_of(self, columns: &[ColumnUse]) -> Self {
        let unit = |column: Column| {
            let used = columns.iter().find(|c| c.column == column.name())?;
            match used.units.as_slice() {
                [one] => Unit::parse(one).filter(|u| u.measures(column.quantity())),
                _ => None,
            }
        };
        Self {
            feed: unit(Column::FeedMmS),
            force: unit(Column::ForceN),
            ..self
        }
    }

    /// A whole number, thousands set off from 1,000 on.
    #[must_use]
    pub fn count(&self, n: usize) -> String {
        self.grouped(&n.to_string())
    }

    /// A number with a fixed number of decimals and a true minus sign; what
    /// cannot be written is a dash.
    #[must_use]
    pub fn fixed(&self, value: f64, decimals: usize) -> String {
        if !value.is_finite() {
            return "–".to_owned();
        }
        let text = format!("{:.decimals$}", value.abs());
        let (whole, broken) = text.split_once('.').unwrap_or((&text, ""));
        let zero = text.chars().all(|c| matches!(c, '0' | '.'));
        let mut out = String::new();
        if value < 0.0 && !zero {
            out.push('−');
        }
        out += &self.grouped(whole);
        if !broken.is_empty() {
            out.push(match self.decimal {
                DecimalMark::Point => '.',
                DecimalMark::Comma => ',',
            });
            out += broken;
        }
        out
    }

    /// A number to so many significant figures, without an exponent.
    #[must_use]
    pub fn significant(&self, value: f64, figures: usize) -> String {
        if value == 0.0 || !value.is_finite() {
            return self.fixed(value, 0);
        }
        let magnitude = value.abs().log10().floor();
        let unit = 10f64.powf(magnitude - (figures as f64 - 1.0));
        // Rounding may carry into the next decade: 9.96 to two figures is 10.
        let rounded = (value / unit).round() * unit;
        let magnitude = rounded.abs().log10().floor();
        let decimals = (figures as f64 - 1.0 - magnitude).max(0.0);
        self.fixed(rounded, decimals as usize)
    }

    /// A share 0..1 in per cent, to what a count of `out_of` carries: no
    /// decimal below 1,000, one above, and never "0 %" for something.
    #[must_use]
    pub fn percent(&self, share: f64, out_of: usize) -> String {
        let percent = 100.0 * share;
        if percent > 0.0 && percent < 1.0 {
            return format!("{}\u{a0}%", self.significant(percent, 1));
        }
        let decimals = usize::from(out_of >= 1000 && percent < 10.0);
        format!("{}\u{a0}%", self.fixed(percent, decimals))
    }

    /// A day.
    #[must_use]
    pub fn date(&self, day: Date) -> String {
        let month = MONTHS[usize::from(day.month().unsigned_abs()).clamp(1, 12) - 1];
        match self.dates {
            DateStyle::Iso => day.to_string(),
            DateStyle::DayFirst => format!("{} {month} {}", day.day(), day.year()),
            DateStyle::MonthFirst => format!("{month} {}, {}", day.day(), day.year()),
        }
    }

    fn grouped(&self, digits: &str) -> String {
        let separator = match self.decimal {
            DecimalMark::Point => ',',
            DecimalMark::Comma => '.',
        };
        let mut out = String::new();
        for (i, digit) in digits.chars().enumerate() {
            if i > 0 && (digits.len() - i).is_multiple_of(3) {
                out.push(separator);
            }
            out.push(digit);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COMMA: NumberStyle = NumberStyle {
        decimal: DecimalMark::Comma,
        dates: DateStyle::DayFirst,
        feed: None,
        force: None,
    };

    #[test]
    fn thousands_and_decimals_use_different_marks() {
        let point = NumberStyle::default();
        assert_eq!(point.count(9_340), "9,340");
        assert_eq!(point.count(1_234_567), "1,234,567");
        assert_eq!(COMMA.count(9_340), "9.340");
        assert_eq!(point.fixed(-1234.56, 1), "−1,234.6");
        assert_eq!(COMMA.fixed(0.5, 2), "0,50");
        assert_eq!(point.fixed(-0.04, 1), "0.0");
        assert_eq!(point.fixed(f64::NAN, 1), "–");
    }

    #[test]
    fn significant_figures_carry_into_the_next_decade() {
        let point = NumberStyle::default();
        assert_eq!(point.significant(9.96, 2), "10");
        assert_eq!(point.significant(0.0432, 2), "0.043");
        assert_eq!(point.significant(1234.0, 2), "1,200");
        assert_eq!(point.significant(0.0, 2), "0");
    }

    #[test]
    fn a_share_is_written_to_what_its_count_carries() {
        let point = NumberStyle::default();
        assert_eq!(point.percent(0.317, 120), "32\u{a0}%");
        assert_eq!(point.percent(0.031, 9_340), "3.1\u{a0}%");
        assert_eq!(point.percent(0.0004, 9_340), "0.04\u{a0}%");
        assert_eq!(point.percent(0.0, 50), "0\u{a0}%");
    }

    #[test]
    fn dates_follow_the_site() {
        let day = jiff::civil::date(2026, 11, 16);
        assert_eq!(NumberStyle::default().date(day), "2026-11-16");
        assert_eq!(COMMA.date(day), "16 Nov 2026");
    }
}
