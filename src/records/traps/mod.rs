//! Traps in the data: what it cannot answer, and what looks wrong in it.
//!
//! Each trap is one warning with what to do; none changes the data. Ranges and
//! shares below are common practice, no source, unless one is named.

mod contrast;
mod copies;
mod exposure;
mod names;
mod places;
mod ranges;

pub(super) use places::placeholders;

use super::{Records, Warning, WarningCode};
use crate::site::Site;

/// All traps that the data hold.
pub(super) fn find(records: &Records, site: &Site) -> Vec<Warning> {
    let mut warnings = Vec::new();
    exposure::find(records, site, &mut warnings);
    contrast::find(records, &mut warnings);
    copies::find(records, &mut warnings);
    names::find(records, &mut warnings);
    places::find(records, site, &mut warnings);
    ranges::find(records, &mut warnings);
    warnings
}

/// A warning about the data as a whole.
fn warn(code: WarningCode, text: String) -> Warning {
    Warning {
        code,
        text,
        file: None,
    }
}

/// `1 panel`, `7 panels`.
fn counted(count: usize, one: &str) -> String {
    format!("{count} {one}{}", if count == 1 { "" } else { "s" })
}

/// The median, of finite numbers; none of none.
fn median(mut values: Vec<f64>) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    Some(if values.len() % 2 == 1 {
        values[middle]
    } else {
        f64::midpoint(values[middle - 1], values[middle])
    })
}

/// A number short enough for a sentence.
fn short(value: f64) -> String {
    if value.abs() >= 100.0 {
        format!("{value:.0}")
    } else {
        let text = format!("{value:.2}");
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    }
}
