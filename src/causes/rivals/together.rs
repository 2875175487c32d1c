//! What else changed where a repeat set in or ended.

use super::text;
use crate::records::{Panel, Records};

/// A pause this many times the usual gap between panels counts as a change.
const PAUSE: f64 = 8.0;

/// A column that changes so often that this many changes were to be expected
/// in the interval explains nothing by changing there.
const EXPECTED: f64 = 0.5;

/// What of a panel is compared with the panel before.
type Column = (&'static str, fn(&Panel) -> Option<String>);

const COLUMNS: [Column; 9] = [
    ("abrasive_id", |p| text(&p.abrasive_id)),
    ("recipe", |p| text(&p.recipe)),
    ("feed_mm_s", |p| p.feed_mm_s.map(|v| v.to_string())),
    ("passes", |p| p.passes.map(|v| v.to_string())),
    ("force_n", |p| p.force_n.map(|v| v.to_string())),
    ("inspector", |p| text(&p.inspector)),
    ("lot", |p| text(&p.lot)),
    ("supplier", |p| text(&p.supplier)),
    ("part", |p| text(&p.part)),
];

/// Columns that changed between the panels from `earliest` − 1 to `latest`
/// (positions in `panels`, in time order), with their new values, where a
/// change there is no matter of course.
pub(crate) fn changed(
    records: &Records,
    panels: &[usize],
    earliest: usize,
    latest: usize,
) -> Vec<(String, String)> {
    let panel = |at: usize| &records.panels[panels[at]];
    let window = earliest.max(1)..=latest;
    let share = (window.clone().count() as f64) / (panels.len().max(2) - 1) as f64;
    let mut out = Vec::new();
    let mut add = |name: &str, value: String, changes: usize| {
        if changes as f64 * share < EXPECTED {
            out.push((name.to_string(), value));
        }
    };
    for (name, value) in COLUMNS {
        let new = |at: usize| {
            let (before, now) = (value(panel(at - 1)), value(panel(at)));
            now.filter(|n| before.is_some_and(|b| b != *n))
        };
        let changes = (1..panels.len()).filter(|&at| new(at).is_some()).count();
        if let Some(value) = window.clone().rev().find_map(new) {
            add(name, value, changes);
        }
    }
    // A fresh abrasive: the age falls.
    let fresh = |at: usize| {
        let age = |at: usize| panel(at).abrasive_age;
        age(at).filter(|now| age(at - 1).is_some_and(|before| before > *now))
    };
    let changes = (1..panels.len()).filter(|&at| fresh(at).is_some()).count();
    if let Some(age) = window.clone().rev().find_map(fresh) {
        add("abrasive_age", age.to_string(), changes);
    }
    if let Some((at, changes)) = pause(records, panels, window) {
        let when = panel(at).sanded_at.map(|t| t.local.to_string());
        add("pause", when.unwrap_or_default(), changes);
    }
    out
}

/// The last panel in the window that came after a pause, and pauses in all.
fn pause(
    records: &Records,
    panels: &[usize],
    window: std::ops::RangeInclusive<usize>,
) -> Option<(usize, usize)> {
    let seconds = |at: usize| {
        let moment = records.panels[panels[at]].sanded_at?;
        Some(moment.instant.as_second())
    };
    let gap = |at: usize| Some((seconds(at)? - seconds(at - 1)?) as f64);
    let mut gaps: Vec<f64> = (1..panels.len()).filter_map(gap).collect();
    if gaps.is_empty() {
        return None;
    }
    gaps.sort_by(f64::total_cmp);
    let usual = gaps[gaps.len() / 2];
    let paused = |at: &usize| gap(*at).is_some_and(|g| usual > 0.0 && g > PAUSE * usual);
    let at = window.rev().find(|at| paused(at))?;
    Some((at, (1..panels.len()).filter(paused).count()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_recipe_change_is_named_and_a_routine_disc_change_is_not() {
        let panels: Vec<Panel> = (0..60)
            .map(|i| Panel {
                id: format!("{i}"),
                recipe: Some(if i < 31 { "A" } else { "B" }.into()),
                abrasive_age: Some(f64::from(i % 5)),
                ..Panel::default()
            })
            .collect();
        let order: Vec<usize> = (0..60).collect();
        let records = Records {
            panels,
            ..Records::default()
        };
        assert_eq!(
            changed(&records, &order, 28, 33),
            [("recipe".to_string(), "B".to_string())]
        );
        assert_eq!(changed(&records, &order, 40, 44), []);
    }
}
