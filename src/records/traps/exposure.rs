//! Whether the panels make a fair base for rates.

use super::super::{Records, Warning, WarningCode};
use super::{counted, warn};
use crate::site::Site;

/// From this share of all defects on, one panel carries most of them.
const DOMINATING_SHARE: f64 = 0.5;
/// Fewer defects than this say nothing about sharing.
const ENOUGH_DEFECTS: usize = 10;
/// A form that ends has at least this many lines.
const SHORTEST_FORM: usize = 3;
/// So many panels at the highest count are no accident.
const PANELS_AT_THE_TOP: usize = 5;
/// Nor is this share of the inspected panels.
const SHARE_AT_THE_TOP: f64 = 0.05;

pub(super) fn find(records: &Records, site: &Site, warnings: &mut Vec<Warning>) {
    let inspected = records.panels.iter().filter(|p| p.inspected).count();
    let not = records.panels.len() - inspected;
    if not > 0 {
        warnings.push(warn(
            WarningCode::NotInspected,
            format!(
                "{} known only from readings or later inspections, or lost all defects among the rejects: not clean, and left out of defect rates.",
                if not == 1 { "1 panel is".to_owned() } else { format!("{not} panels are") }
            ),
        ));
    }
    let few = site.analysis.few_panels;
    if inspected < few {
        warnings.push(warn(
            WarningCode::FewPanels,
            if inspected == 0 {
                "No panel was inspected for defects, so no repeat can be seen.".to_owned()
            } else {
                format!(
                    "Only {} inspected: below {few} most repeats stay unseen; see what could have been missed.",
                    if inspected == 1 { "1 panel was".to_owned() } else { format!("{inspected} panels were") }
                )
            },
        ));
    }
    let mut counts = vec![0usize; records.panels.len()];
    for defect in &records.defects {
        counts[defect.panel] += 1;
    }
    let counts: Vec<(usize, usize)> = counts
        .into_iter()
        .enumerate()
        .filter(|(panel, _)| records.panels[*panel].inspected)
        .collect();
    if inspected > 0 && !records.defects.is_empty() && counts.iter().all(|(_, c)| *c > 0) {
        warnings.push(warn(
            WarningCode::NoCleanPanels,
            "Every inspected panel has a defect. If panels without one are not exported, no rate can be trusted: export every inspected panel, with a blank defect for the clean ones.".into(),
        ));
    }
    let total = records.defects.len();
    if let Some((panel, most)) = counts
        .iter()
        .max_by_key(|(panel, count)| (*count, std::cmp::Reverse(*panel)))
        && total >= ENOUGH_DEFECTS
        && inspected > 2
        && *most as f64 > DOMINATING_SHARE * total as f64
    {
        warnings.push(warn(
            WarningCode::OnePanelDominates,
            format!(
                "Panel {} carries {most} of {total} defects: rates per panel hang on it alone; look whether it is one event.",
                records.panels[*panel].id
            ),
        ));
    }
    if let Some((top, at_top)) = cut_off(&counts, inspected) {
        warnings.push(warn(
            WarningCode::RecordingCutOff,
            format!(
                "{} carry exactly {top} defects and none more: does the form or the station stop there? Counts above would be lost.",
                counted(at_top, "panel")
            ),
        ));
    }
}

/// The highest count where recording seems to end, and how many panels have it.
///
/// Without an end the highest counts are rare and get rarer; with one, what
/// lies above piles up on it.
fn cut_off(counts: &[(usize, usize)], inspected: usize) -> Option<(usize, usize)> {
    let top = counts.iter().map(|(_, c)| *c).max()?;
    let with = |wanted: usize| counts.iter().filter(|(_, c)| *c == wanted).count();
    let at_top = with(top);
    let piled = top >= SHORTEST_FORM
        && at_top >= PANELS_AT_THE_TOP
        && at_top as f64 >= SHARE_AT_THE_TOP * inspected as f64
        && at_top >= with(top - 1);
    // Every panel the same count is a way to count, not an end.
    (piled && at_top < inspected).then_some((top, at_top))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(list: &[usize]) -> Vec<(usize, usize)> {
        list.iter().copied().enumerate().collect()
    }

    #[test]
    fn counts_that_pile_up_at_the_top_look_cut_off() {
        let piled = counts(&[0, 1, 2, 3, 5, 5, 5, 5, 5, 4, 2, 1]);
        assert_eq!(cut_off(&piled, 12), Some((5, 5)));
        let four_at_the_top = counts(&[0, 1, 2, 3, 5, 5, 5, 5, 4, 2, 1]);
        assert_eq!(cut_off(&four_at_the_top, 11), None);
        let thinning_out = counts(&[0, 0, 1, 1, 1, 1, 1, 2, 2, 2, 2, 2, 2, 3, 3, 3, 3, 3]);
        assert_eq!(cut_off(&thinning_out, 18), None);
        assert_eq!(cut_off(&counts(&[3; 20]), 20), None);
    }
}
