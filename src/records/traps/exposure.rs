//! Whether the panels make a fair base for rates.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::super::{Panel, Records, Warning, WarningCode};
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

/// Clean panels that must be missing at least before they count as not exported: at
/// five expected, none is left by chance in less than 1 %.
const MISSING: f64 = 5.0;
/// Shares of clean panels where they are missing and where they are there.
const AS_GOOD_AS_NONE: f64 = 0.02;
const SOME: f64 = 0.1;
/// A kind on this share of the panels or more, and on this share of those just once,
/// leaves no clean ones by itself.
const ON_ALL: f64 = 0.9;
const JUST_ONCE: f64 = 0.95;

/// Whether the clean ones among some panels are in the files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Clean {
    /// Next to none is, though the others tell of several.
    Missing,
    /// So many are that they are exported.
    There,
    /// Neither can be said.
    Unknown,
}

/// Marks by panel, to tell whether clean panels are exported.
pub(crate) struct Cleans {
    marks: Vec<usize>,
    /// Marks of each kind on each panel.
    kinds: Vec<BTreeMap<usize, usize>>,
}

impl Cleans {
    pub(crate) fn new(records: &Records) -> Self {
        let mut marks = vec![0; records.panels.len()];
        let mut kinds: Vec<BTreeMap<usize, usize>> = vec![BTreeMap::new(); records.panels.len()];
        for defect in &records.defects {
            marks[defect.panel] += 1;
            *kinds[defect.panel].entry(defect.name).or_default() += 1;
        }
        Self { marks, kinds }
    }

    /// Whether the clean ones of these panels are there. At least (panels with one
    /// mark)² / 2·(panels with two) clean ones are to be expected however panels
    /// differ (Chao 1984, Scand. J. Statistics 11, 265–270), unless one kind is on
    /// nearly all of them just once, as what a stop or a gripper leaves.
    pub(crate) fn of(&self, panels: impl Iterator<Item = usize>) -> Clean {
        let mut times = [0_usize; 3];
        let mut all = 0_u32;
        let mut with: BTreeMap<usize, (u32, u32)> = BTreeMap::new();
        for panel in panels {
            all += 1;
            if let Some(n) = times.get_mut(self.marks[panel]) {
                *n += 1;
            }
            for (kind, marks) in &self.kinds[panel] {
                let (on, once) = with.entry(*kind).or_default();
                *on += 1;
                *once += u32::from(*marks == 1);
            }
        }
        let ([none, one, two], all) = (times.map(|n| n as f64), f64::from(all));
        let expected = one * (one - 1.0) / (2.0 * (two + 1.0));
        let everywhere = with.values().any(|(on, once)| {
            let (on, once) = (f64::from(*on), f64::from(*once));
            on >= ON_ALL * all && once >= JUST_ONCE * on
        });
        if none <= AS_GOOD_AS_NONE * all && expected - none >= MISSING && !everywhere {
            Clean::Missing
        } else if none > 0.0 && none >= SOME * all {
            Clean::There
        } else {
            Clean::Unknown
        }
    }
}

/// Panels of which only those with a mark are exported, while others' clean ones are
/// there as well: rates on the two can't be compared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct OnlyMarked {
    /// Which: "machine M2".
    pub which: String,
    /// Whether each panel of the records is one of them.
    pub panels: Vec<bool>,
}

/// All such panels, by what they have in common.
pub(crate) fn only_marked(records: &Records) -> Vec<OnlyMarked> {
    let cleans = Cleans::new(records);
    let inspected = || (0..records.panels.len()).filter(|&k| records.panels[k].inspected);
    let mut found: Vec<OnlyMarked> = Vec::new();
    for (what, of) in COLUMNS {
        let mut levels: BTreeMap<&Arc<str>, Vec<bool>> = BTreeMap::new();
        for k in inspected() {
            if let Some(level) = of(&records.panels[k]) {
                let own = levels.entry(level);
                own.or_insert_with(|| vec![false; records.panels.len()])[k] = true;
            }
        }
        for (level, panels) in levels {
            let of = |wanted: bool| cleans.of(inspected().filter(|&k| panels[k] == wanted));
            if (of(true), of(false)) == (Clean::Missing, Clean::There)
                && found.iter().all(|f| f.panels != panels)
            {
                found.push(OnlyMarked {
                    which: format!("{what} {level}"),
                    panels,
                });
            }
        }
    }
    found
}

/// What may decide whether clean panels are exported, and its level on a panel.
type Level = (&'static str, fn(&Panel) -> Option<&Arc<str>>);
const COLUMNS: [Level; 5] = [
    ("machine", |p| p.machine.as_ref()),
    ("head", |p| p.head.as_ref()),
    ("inspector", |p| p.inspector.as_ref()),
    ("supplier", |p| p.supplier.as_ref()),
    ("part", |p| p.part.as_ref()),
];

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
    for only in only_marked(records) {
        warnings.push(warn(
            WarningCode::NoCleanPanels,
            format!(
                "Of {} only panels with a defect are in the files, of the others clean ones too: their rates can’t be compared. Export every inspected panel, with a blank defect for the clean ones.",
                only.which
            ),
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

    /// Whether clean panels are there, of panels with so many marks each; panel and
    /// mark have numbers of their own kinds.
    fn clean(marks: &[usize]) -> Clean {
        let records = Records {
            panels: vec![Panel::default(); marks.len()],
            defects: (marks.iter().enumerate())
                .flat_map(|(panel, n)| vec![super::super::made::mark(panel, 1.0, 1.0); *n])
                .collect(),
            ..Records::default()
        };
        Cleans::new(&records).of(0..marks.len())
    }

    /// Chao (1984), without bias: f₁(f₁ − 1) / 2(f₂ + 1) panels have no mark, so 5 of
    /// ten with one and eight with two, 4 of nine and eight.
    #[test]
    fn clean_panels_are_missed_where_five_are_to_be_expected() {
        let of = |one: usize, two: usize| clean(&[vec![1; one], vec![2; two]].concat());
        assert_eq!(of(10, 8), Clean::Missing);
        assert_eq!(of(9, 8), Clean::Unknown);
        // What a stop leaves on every panel just once leaves no clean ones.
        assert_eq!(of(60, 0), Clean::Unknown);
    }
}
