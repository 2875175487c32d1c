//! Ratios, their intervals and p-values in words.

use crate::change::Change;
use crate::charts::NumberStyle;
use crate::stats::Interval;

/// A ratio to two figures; "–" where there is none.
pub fn ratio(value: Option<f64>, numbers: &NumberStyle) -> String {
    match value {
        Some(x) if x.is_finite() => numbers.significant(x, 2),
        _ => "–".to_owned(),
    }
}

/// "0.25 of before", "2.2 times before".
pub fn of_before(ratio: f64, numbers: &NumberStyle) -> String {
    of(ratio, "before", numbers)
}

/// The same beside anything.
pub(super) fn of(ratio: f64, what: &str, numbers: &NumberStyle) -> String {
    let written = numbers.significant(ratio, 2);
    let word = if ratio < 1.0 { "of" } else { "times" };
    format!("{written} {word} {what}")
}

/// "0.25 (0.1 to 0.58)".
pub fn with_interval(value: Option<f64>, interval: Option<Interval>, n: &NumberStyle) -> String {
    match interval {
        Some(ci) => format!(
            "{} ({})",
            ratio(value, n),
            ratio_interval(ci.low, ci.high, n)
        ),
        None => ratio(value, n),
    }
}

/// An interval of a ratio; an open upper end is said so.
pub fn interval(change: &Change, numbers: &NumberStyle) -> String {
    change.ratio_ci.map_or("–".to_owned(), |ci| {
        ratio_interval(ci.low, ci.high, numbers)
    })
}

/// Limits of a ratio.
pub fn ratio_interval(low: f64, high: f64, numbers: &NumberStyle) -> String {
    match (low > 0.0, high.is_finite()) {
        (true, true) => format!("{} to {}", limit(low, numbers), limit(high, numbers)),
        (false, true) => format!("up to {}", limit(high, numbers)),
        (true, false) => format!("{} or more", limit(low, numbers)),
        (false, false) => "any".to_owned(),
    }
}

/// A limit of a ratio with two figures, or three where rounding would move it onto 1
/// or past it: whether an interval holds 1 is the verdict.
fn limit(at: f64, numbers: &NumberStyle) -> String {
    let written = |figures: usize| format!("{at:.*e}", figures - 1).parse().unwrap_or(at);
    let same_side = |rounded: f64| rounded.partial_cmp(&1.0) == at.partial_cmp(&1.0);
    match (2..=3).find(|&figures| same_side(written(figures))) {
        Some(figures) => numbers.significant(at, figures),
        None if at < 1.0 => format!("just under {}", numbers.fixed(1.0, 1)),
        None => format!("just over {}", numbers.fixed(1.0, 1)),
    }
}

/// A p-value: two figures, or "< 0.001".
pub fn p_value(p: Option<f64>, numbers: &NumberStyle) -> String {
    match p {
        None => "–".to_owned(),
        Some(p) if p < 0.001 => format!("< {}", numbers.fixed(0.001, 3)),
        Some(p) => numbers.significant(p, 2),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_is_not_rounded_onto_one() {
        let numbers = NumberStyle::default();
        assert_eq!(ratio_interval(0.28, 0.998, &numbers), "0.28 to 0.998");
        assert_eq!(
            ratio_interval(1.0004, 2.34, &numbers),
            "just over 1.0 to 2.3"
        );
        assert_eq!(
            ratio_interval(0.5, 0.999_999_9, &numbers),
            "0.50 to just under 1.0"
        );
        assert_eq!(ratio_interval(0.5, 1.04, &numbers), "0.50 to 1.04");
    }
}
