//! Traps in the data: what it cannot answer, and what looks wrong in it.
//!
//! Each trap is one warning with what to do; none changes the data. Ranges and
//! shares below are common practice, no source, unless one is named.

mod alike;
pub(super) mod axes;
mod contrast;
mod copies;
mod exposure;
mod mirror_images;
mod mirror_votes;
pub(super) mod mirrored;
mod names;
mod near_copies;
mod places;
mod ranges;
mod same_moment;
mod times;
mod told_twice;

pub(crate) use alike::almost_one;
pub(crate) use exposure::{Clean, Cleans, only_marked};
pub(super) use near_copies::warning as told_again;
pub(super) use places::placeholders;
pub(super) use times::{dates, one_clock};

use super::{Defect, Origin, Panel, Records, Warning, WarningCode};
use crate::site::Site;

/// All traps that the data hold.
pub(super) fn find(records: &Records, site: &Site) -> Vec<Warning> {
    let mut warnings = Vec::new();
    exposure::find(records, site, &mut warnings);
    contrast::find(records, &mut warnings);
    copies::find(records, &mut warnings);
    names::find(records, &mut warnings);
    alike::find(records, &mut warnings);
    places::find(records, site, &mut warnings);
    ranges::find(records, &mut warnings);
    warnings.extend(times::lost(records));
    mapped_to_nothing(records, site, &mut warnings);
    warnings
}

/// Panels that seem to be others under new ids, in order: each with the first
/// one that carries its marks.
pub(super) fn written_again(panels: &[Panel], defects: &[Defect]) -> Vec<(usize, usize)> {
    let mut copies = near_copies::find(panels, defects);
    same_moment::add(&mut copies, panels, defects);
    near_copies::add_rest(&mut copies, panels, defects);
    same_moment::add_named_after(&mut copies, panels, defects);
    copies.sort_unstable();
    copies
}

/// Takes out the marks that are written twice on their panel, and tells of them.
pub(super) fn once(defects: &mut Vec<Defect>, origins: &mut Vec<Origin>) -> Option<Warning> {
    let again = told_twice::find(defects, origins);
    let all = defects.len();
    let is_again = |nth: usize| again.binary_search(&nth).is_ok();
    let mut nth = 0..all;
    defects.retain(|_| nth.next().is_some_and(|nth| !is_again(nth)));
    let mut nth = 0..all;
    origins.retain(|_| nth.next().is_some_and(|nth| !is_again(nth)));
    told_twice::warning(again.len(), all)
}

/// Headers of the site file that stand in no file.
fn mapped_to_nothing(records: &Records, site: &Site, warnings: &mut Vec<Warning>) {
    let spelled = |header: &str| header.trim().to_lowercase();
    let lost: Vec<String> = site
        .columns
        .iter()
        .filter(|(column, headers)| {
            let used = records.columns.iter().find(|used| used.column == **column);
            !used.is_some_and(|used| {
                let is_used =
                    |header: &String| used.headers.iter().any(|h| spelled(h) == spelled(header));
                headers.iter().any(is_used)
            })
        })
        .map(|(column, headers)| format!("{column} = {}", headers.join(" or ")))
        .collect();
    if !lost.is_empty() {
        warnings.push(warn(
            WarningCode::MappedToNothing,
            format!(
                "[columns] in onus.toml names headers that no file has: {}. Are they spelled as in the files?",
                some(&lost)
            ),
        ));
    }
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
pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
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

/// The first few of a list, in words.
pub(super) fn some(names: &[String]) -> String {
    const NAMED: usize = 3;
    let first = names.iter().take(NAMED).cloned().collect::<Vec<_>>();
    match names.len().saturating_sub(NAMED) {
        0 => first.join(", "),
        more => format!("{} and {more} more", first.join(", ")),
    }
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

#[cfg(test)]
mod made {
    use crate::records::{Defect, Point};

    /// A mark of the first kind on a panel, written as it lies, mm.
    pub(super) fn mark(panel: usize, x: f64, y: f64) -> Defect {
        let at = Some(Point { x, y });
        Defect {
            panel,
            name: 0,
            place: at,
            written: at,
            area_mm2: None,
            severity: None,
        }
    }
}
