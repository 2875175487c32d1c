//! Verdicts: p-values adjusted for all tests, then the rules of the answer.

use super::assess::Fits;
use super::rivals::{Path, Rival};
use super::{
    Change, Changes, Comparison, Confounder, Needed, Note, Question, RemovalChange, Settings,
    Spread, Verdict, needed,
};
use crate::site::DefectClass;
use crate::stats::Interval;
use crate::stats::multiplicity::holm;

/// Adjusts over the tests of each comparison and gives every verdict. The kinds of
/// a comparison share its level, and so do its measures of removal.
pub(super) fn judge(mut comparisons: Vec<Comparison>, settings: &Settings) -> Changes {
    let mut tests = 0;
    for comparison in &mut comparisons {
        let mut kinds: Vec<&mut Change> = comparison.changes.iter_mut().collect();
        kinds.retain(|c| c.p.is_some());
        let p_values: Vec<f64> = kinds.iter().filter_map(|c| c.p).collect();
        tests += p_values.len();
        for (change, own) in kinds.into_iter().zip(shares(&p_values, settings)) {
            change.p_adjusted = Some(own.p_adjusted);
            change.ratio_ci = change.fits.as_ref().map(|f| own.interval(f, settings));
        }
        let mut measures: Vec<&mut RemovalChange> = comparison.removal.iter_mut().collect();
        measures.retain(|r| r.confounded_with.is_empty() && r.estimate.is_some());
        let p_values: Vec<f64> = measures
            .iter()
            .filter_map(|r| r.estimate.map(|e| e.p))
            .collect();
        tests += p_values.len();
        for (removal, own) in measures.into_iter().zip(shares(&p_values, settings)) {
            removal.p_adjusted = Some(own.p_adjusted);
            if let (Some(estimate), Some(fits)) = (&mut removal.estimate, &removal.fits) {
                estimate.ratio_ci = own.interval(fits, settings);
            }
        }
        suspect_inspection(comparison, settings);
        let kinds = comparison.changes.iter().filter(|c| c.p.is_some()).count();
        for change in &mut comparison.changes {
            verdict(change, kinds, settings);
        }
        let level = strictest(comparison.removal.len(), settings);
        for removal in &mut comparison.removal {
            removal.verdict = spread(removal, settings);
            if removal.verdict == Spread::TooFewPanels {
                let fits = removal.fits.as_ref();
                removal.needed = fits.and_then(|f| {
                    needed::to_show(&f.main, settings.ratio_of_interest, settings.power, level)
                });
            }
        }
    }
    Changes { comparisons, tests }
}

/// A test's share of the level, by Holm (1979), Scandinavian J. Statistics 6,
/// 65–70.
struct Own {
    p_adjusted: f64,
    /// How many tests share the level that this one was judged at: those not
    /// rejected before it, and from the first that is not, that many for all.
    among: usize,
}

impl Own {
    /// The interval at this test's share: it leaves out 1 exactly where
    /// `p_adjusted` is small enough. Its level is the joint one.
    fn interval(&self, fits: &Fits, settings: &Settings) -> Interval {
        let own = strictest(self.among, settings);
        Interval {
            level: settings.level,
            ..fits.interval(own)
        }
    }
}

fn shares(p_values: &[f64], settings: &Settings) -> Vec<Own> {
    let adjusted = holm(p_values);
    let rejected = adjusted
        .iter()
        .filter(|p| **p <= 1.0 - settings.level)
        .count();
    let all = p_values.len();
    adjusted
        .into_iter()
        .zip(p_values)
        .map(|(p_adjusted, p)| {
            let smaller = p_values.iter().filter(|q| *q < p).count();
            Own {
                p_adjusted,
                among: all - smaller.min(rejected),
            }
        })
        .collect()
}

fn significant(p_adjusted: Option<f64>, settings: &Settings) -> bool {
    p_adjusted.is_some_and(|p| p <= 1.0 - settings.level)
}

/// Defects that came with the part don't follow the recipe: where they moved,
/// what moved the same way may be the inspection's doing. From one week to the
/// next the parts themselves may have got better or worse, and an inspection that
/// changed once does not follow old and new that take turns.
fn suspect_inspection(comparison: &mut Comparison, settings: &Settings) {
    if comparison.by_turns || matches!(comparison.question, Question::Week { .. }) {
        return;
    }
    let moved: Vec<(f64, f64)> = comparison
        .changes
        .iter()
        .filter(|c| c.class == Some(DefectClass::Incoming) && significant(c.p_adjusted, settings))
        .filter_map(|c| Some((c.ratio.unwrap_or(f64::INFINITY), c.p?)))
        .collect();
    for change in &mut comparison.changes {
        if !significant(change.p_adjusted, settings) {
            continue;
        }
        let ratio = change.ratio.unwrap_or(f64::INFINITY);
        if let Some(&(incoming, p)) = moved.iter().find(|(r, _)| (r - 1.0) * (ratio - 1.0) > 0.0) {
            change
                .notes
                .push(Note::IncomingMoved { ratio: incoming, p });
            change.confounded_with.push(Confounder::Inspector);
        }
    }
}

/// What a rival in time accounts for is not the change's, and a change that is not
/// shown while the rate moved by itself may be hidden by that.
fn suspect_time(change: &mut Change, settings: &Settings) {
    let shown = significant(change.p_adjusted, settings);
    let raised = change.ratio.is_none_or(|r| r > 1.0);
    let stands = |rival: &Rival| {
        if shown {
            rival.explains(raised, settings.level)
        } else {
            nothing_shown(change, settings) == Verdict::NoDifferenceShown
                && rival.hides(settings.ratio_of_interest, settings.level)
        }
    };
    let found = change.rivals.iter().rev().find(|(_, rival)| stands(rival));
    if let Some((note, rival)) = found.cloned() {
        change.confounded_with.push(match rival.path {
            Path::Line => Confounder::Trend,
            Path::Step { .. } => Confounder::Step,
        });
        change.notes.push(note);
    }
}

fn verdict(change: &mut Change, tests: usize, settings: &Settings) {
    let open = change.confounded_with.is_empty() && !significant(change.p_adjusted, settings);
    change.needed = open.then(|| to_show(change, tests, settings)).flatten();
    if change.confounded_with.is_empty() {
        suspect_time(change, settings);
    }
    change.verdict = if !change.confounded_with.is_empty() {
        Verdict::NotIdentifiable
    } else if significant(change.p_adjusted, settings) {
        if !change.question.has_old() {
            Verdict::Differs
        } else if change.ratio.is_none_or(|r| r > 1.0) {
            Verdict::Hurt
        } else {
            fell(change, settings)
        }
    } else {
        nothing_shown(change, settings)
    };
    if change.verdict != Verdict::TooFewPanels {
        change.needed = None;
    }
    change.panels_needed = change.needed.map(|n| n.panels);
    let alternating = change.needed.and_then(|n| n.alternating);
    change.panels_needed_alternating = alternating.map(|a| a.panels);
    change.block_panels = alternating.map(|a| a.block_panels);
}

/// Level of the strictest of all tests.
fn strictest(tests: usize, settings: &Settings) -> f64 {
    1.0 - (1.0 - settings.level) / tests.max(1) as f64
}

/// Panels that would show the ratio of interest — or, where the seen ratio is
/// shown but for the number of tests, that one — at the level of the strictest
/// of all tests.
fn to_show(change: &Change, tests: usize, settings: &Settings) -> Option<Needed> {
    let fits = change.fits.as_ref()?;
    let level = strictest(tests, settings);
    let seen = change.ratio.filter(|r| *r > 0.0);
    let shown_alone = significant(change.p, settings);
    let target = match seen {
        // a ratio above 1 is as hard to show as its inverse
        Some(r) if shown_alone => settings.ratio_of_interest.max(r.min(1.0 / r)),
        _ => settings.ratio_of_interest,
    };
    needed::to_show(&fits.main, target, settings.power, level)
}

/// The kind fell: an improvement only if the opposite class is no worse.
fn fell(change: &mut Change, settings: &Settings) -> Verdict {
    let Some(opposite) = change.opposite.as_mut().filter(|o| !o.holds) else {
        return Verdict::Helped;
    };
    change.notes.push(Note::OppositeClass {
        class: opposite.class,
    });
    if opposite.ratio.is_some_and(|r| r <= opposite.margin) {
        change.needed = needed::no_worse(&opposite.fits.main, settings);
        opposite.panels_needed = change.needed.map(|n| n.panels);
        Verdict::TooFewPanels
    } else {
        Verdict::NoDifferenceShown
    }
}

/// Not significant: either the interval leaves out every ratio of interest, or
/// there were panels enough to have shown one, or there were too few.
fn nothing_shown(change: &Change, settings: &Settings) -> Verdict {
    let interest = settings.ratio_of_interest;
    let left_out = change
        .ratio_ci
        .is_some_and(|ci| ci.low > interest && ci.high < 1.0 / interest);
    let panels = change.before.panels + change.after.panels;
    let enough = change.needed.is_some_and(|n| n.panels <= panels);
    if left_out || (enough && !significant(change.p, settings)) {
        Verdict::NoDifferenceShown
    } else {
        Verdict::TooFewPanels
    }
}

fn spread(removal: &RemovalChange, settings: &Settings) -> Spread {
    let Some(estimate) = removal
        .estimate
        .filter(|_| removal.confounded_with.is_empty())
    else {
        return Spread::NotIdentifiable;
    };
    if significant(removal.p_adjusted, settings) {
        return if estimate.ratio.is_none_or(|r| r > 1.0) {
            Spread::More
        } else {
            Spread::Less
        };
    }
    let interest = settings.ratio_of_interest;
    if estimate.ratio_ci.low > interest && estimate.ratio_ci.high < 1.0 / interest {
        Spread::NoDifferenceShown
    } else {
        Spread::TooFewPanels
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Selection, Sides, Window, compare};
    use super::*;
    use crate::records::{Defect, DefectName, Panel, Records};

    /// Forty panels of a square metre, twenty of either recipe, with so many marks of
    /// each kind before and after, one panel after the other.
    fn compared(kinds: &[(&str, DefectClass, [usize; 2])]) -> Vec<Change> {
        let panel = |i: usize| Panel {
            id: format!("P{i:02}"),
            recipe: Some(if i < 20 { "old" } else { "new" }.into()),
            length_mm: 1000.0,
            width_mm: 1000.0,
            inspected: true,
            ..Panel::default()
        };
        let marks = |(name, kind): (usize, &(&str, DefectClass, [usize; 2]))| {
            let of_side = |side: usize| {
                let mark = move |k: usize| Defect {
                    panel: 20 * side + k % 20,
                    name,
                    place: None,
                    written: None,
                    area_mm2: None,
                    severity: None,
                };
                (0..kind.2[side]).map(mark).collect::<Vec<Defect>>()
            };
            [of_side(0), of_side(1)].concat()
        };
        let mut defects: Vec<Defect> = kinds.iter().enumerate().flat_map(marks).collect();
        defects.sort_by_key(|d| (d.panel, d.name));
        let records = Records {
            panels: (0..40).map(panel).collect(),
            defects,
            defect_names: (kinds.iter())
                .map(|kind| DefectName {
                    name: kind.0.into(),
                    class: Some(kind.1),
                })
                .collect(),
            ..Records::default()
        };
        let side = |recipe: &str| vec![format!("recipe={recipe}").parse().unwrap()];
        let selection = Selection {
            sides: Sides::Values {
                before: side("old"),
                after: side("new"),
            },
            only: Vec::new(),
            window: Window::default(),
            on: Vec::new(),
        };
        let mut changes = compare(&records, &selection, &Settings::default()).unwrap();
        changes.comparisons.remove(0).changes
    }

    #[test]
    fn intervals_are_joint_over_what_is_still_to_be_rejected() {
        let among = |p: &[f64]| -> Vec<usize> {
            let shares = shares(p, &Settings::default());
            shares.iter().map(|own| own.among).collect()
        };
        // Holm: 0.03, 0.04 and 0.5, so the third stands alone against its level.
        assert_eq!(among(&[0.01, 0.02, 0.5]), [3, 2, 1]);
        assert_eq!(among(&[0.5, 0.4, 0.3]), [3, 3, 3]);
    }

    #[test]
    fn no_difference_is_shown_where_both_ends_are_left_out() {
        let over = |marks| compared(&[("sand-through", DefectClass::Over, marks)]).remove(0);
        assert_eq!(over([400, 400]).verdict, Verdict::NoDifferenceShown);
        let open = over([12, 20]);
        let ci = open.ratio_ci.unwrap();
        assert!(ci.low > 0.5 && ci.high > 2.0, "{ci:?}");
        assert_eq!(open.verdict, Verdict::TooFewPanels);
    }

    #[test]
    fn what_came_with_the_part_and_moved_alike_puts_the_inspection_first() {
        let beside = |dust: [usize; 2]| {
            let kinds = [
                ("sand-through", DefectClass::Over, [200, 60]),
                ("dust nib", DefectClass::Incoming, dust),
            ];
            compared(&kinds).remove(0)
        };
        let alike = beside([200, 60]);
        assert_eq!(alike.confounded_with, [Confounder::Inspector]);
        assert_eq!(alike.verdict, Verdict::NotIdentifiable);
        assert_eq!(beside([60, 200]).verdict, Verdict::Helped);
    }

    #[test]
    fn a_fall_is_no_help_where_the_opposite_class_rose() {
        let beside = |under: [usize; 2]| {
            let kinds = [
                ("sand-through", DefectClass::Over, [200, 60]),
                ("orange peel", DefectClass::Under, under),
            ];
            compared(&kinds).remove(0).verdict
        };
        assert_eq!(beside([400, 400]), Verdict::Helped);
        assert_eq!(beside([4, 4]), Verdict::TooFewPanels, "it may have risen");
        assert_eq!(beside([30, 200]), Verdict::NoDifferenceShown);
    }

    /// Each of three kinds would be shown alone and none beside the others.
    #[test]
    fn an_interval_leaves_out_one_only_where_the_adjusted_test_does() {
        let kind = |name| (name, DefectClass::Over, [20, 38]);
        let found = compared(&["scratch", "burn", "dent"].map(kind));
        for change in &found {
            let ci = change.ratio_ci.unwrap();
            assert!(
                change.p.unwrap() < 0.05 && change.p_adjusted.unwrap() > 0.05,
                "{change:?}"
            );
            assert!(ci.low < 1.0 && ci.high > 1.0, "{ci:?}");
        }
        // Of a rise the fall that undoes it is to be shown: from 1.9 times the rate by
        // 1.9 times fewer panels, as counts have it.
        let fell = compared(&["scratch", "burn", "dent"].map(|n| (n, DefectClass::Over, [38, 20])));
        let needed = |c: &Change| c.panels_needed.unwrap() as f64;
        let times = needed(&found[0]) / needed(&fell[0]);
        assert!((times / 1.9 - 1.0).abs() < 0.05, "{times}");
    }
}
