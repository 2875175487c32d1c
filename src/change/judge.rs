//! Verdicts: p-values adjusted for all tests, then the rules of the answer.

use super::{
    Change, Changes, Comparison, Confounder, Needed, Note, Question, RemovalChange, Settings,
    Spread, Verdict,
};
use crate::site::DefectClass;
use crate::stats::multiplicity::holm;

/// Adjusts over all tests of all comparisons and gives every verdict.
pub(super) fn judge(comparisons: Vec<Comparison>, settings: &Settings) -> Changes {
    let mut changes = Changes {
        comparisons,
        tests: 0,
    };
    let p_values: Vec<f64> = changes.comparisons.iter().flat_map(tested).collect();
    changes.tests = p_values.len();
    let mut adjusted = holm(&p_values).into_iter();
    for comparison in &mut changes.comparisons {
        for change in &mut comparison.changes {
            if change.p.is_some() {
                change.p_adjusted = adjusted.next();
            }
        }
        for removal in comparison.removal.iter_mut().filter(|r| tests_removal(r)) {
            removal.p_adjusted = adjusted.next();
        }
        suspect_inspection(comparison, settings);
        for change in &mut comparison.changes {
            verdict(change, changes.tests, settings);
        }
        for removal in &mut comparison.removal {
            removal.verdict = spread(removal, settings);
            if removal.verdict == Spread::TooFewPanels {
                let level = strictest(changes.tests, settings);
                let plan = removal.plan.as_ref();
                removal.needed =
                    plan.and_then(|p| p.to_show(settings.ratio_of_interest, settings.power, level));
            }
        }
    }
    changes
}

fn tested(comparison: &Comparison) -> impl Iterator<Item = f64> {
    let kinds = comparison.changes.iter().filter_map(|c| c.p);
    let removal = comparison.removal.iter().filter(|r| tests_removal(r));
    kinds.chain(removal.filter_map(|r| r.estimate.map(|e| e.p)))
}

fn tests_removal(removal: &RemovalChange) -> bool {
    removal.confounded_with.is_empty() && removal.estimate.is_some()
}

fn significant(p_adjusted: Option<f64>, settings: &Settings) -> bool {
    p_adjusted.is_some_and(|p| p <= 1.0 - settings.level)
}

/// Defects that came with the part don't follow the recipe: where they moved,
/// what moved the same way may be the inspection's doing. From one week to the
/// next the parts themselves may have got better or worse.
fn suspect_inspection(comparison: &mut Comparison, settings: &Settings) {
    if matches!(comparison.question, Question::Week { .. }) {
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

fn verdict(change: &mut Change, tests: usize, settings: &Settings) {
    let open = change.confounded_with.is_empty() && !significant(change.p_adjusted, settings);
    change.needed = open.then(|| needed(change, tests, settings)).flatten();
    change.verdict = if !change.confounded_with.is_empty() {
        Verdict::NotIdentifiable
    } else if significant(change.p_adjusted, settings) {
        if change.ratio.is_none_or(|r| r > 1.0) {
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
}

/// Level of the strictest of all tests.
fn strictest(tests: usize, settings: &Settings) -> f64 {
    1.0 - (1.0 - settings.level) / tests.max(1) as f64
}

/// Panels that would show the ratio of interest — or, where the seen ratio is
/// shown but for the number of tests, that one — at the level of the strictest
/// of all tests.
fn needed(change: &Change, tests: usize, settings: &Settings) -> Option<Needed> {
    let plan = change.plan.as_ref()?;
    let level = strictest(tests, settings);
    let seen = change.ratio.filter(|r| *r > 0.0);
    let shown_alone = significant(change.p, settings);
    let target = match seen {
        // a ratio above 1 is as hard to show as its inverse
        Some(r) if shown_alone => settings.ratio_of_interest.max(r.min(1.0 / r)),
        _ => settings.ratio_of_interest,
    };
    plan.to_show(target, settings.power, level)
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
        let plan = opposite.plan.as_ref();
        change.needed = plan.and_then(|p| p.no_worse(settings, settings.power));
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
