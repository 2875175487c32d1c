//! "Helped" needs the opposite class to be shown no worse, by a calculation that
//! can be followed by hand.

use std::sync::Arc;

use approx::assert_relative_eq;
use onus::change::{Change, Note, Settings, Verdict, compare};
use onus::records::{DefectName, Panel, Records};
use onus::site::DefectClass;

use crate::change::shop::old_against_new;

/// Twenty panels on either recipe, alike in size, with at most one mark of a
/// kind each, spread evenly; no lots and no times, so that single independent
/// marks are all there is.
fn compared(kinds: [(&str, DefectClass, [usize; 2]); 2]) -> Change {
    let panel = |i: usize| Panel {
        id: format!("P{i:02}"),
        recipe: Some(Arc::from(if i < 20 { "old" } else { "new" })),
        length_mm: 500.0,
        width_mm: 400.0,
        inspected: true,
        ..Panel::default()
    };
    let mut defects = Vec::new();
    for (name, (_, _, counts)) in kinds.iter().enumerate() {
        for (side, &count) in counts.iter().enumerate() {
            defects.extend(
                (0..count).map(|k| crate::shops::mark_on(20 * side + k * 20 / count, name, None)),
            );
        }
    }
    let records = Records {
        panels: (0..40).map(panel).collect(),
        defects,
        defect_names: kinds
            .iter()
            .map(|(name, class, _)| DefectName {
                name: (*name).into(),
                class: Some(*class),
            })
            .collect(),
        ..Records::default()
    };
    let changes = compare(&records, &old_against_new(), &Settings::default()).unwrap();
    changes.comparisons[0].changes[0].clone()
}

/// Given a + b marks on equal areas, the after marks a are binomial with chance
/// ρ/(1+ρ): the one-sided 95 % limit of that chance (Clopper & Pearson 1934,
/// Biometrika 26, 404–413) is the 95 % point of Beta(a+1, b), and ρ its odds.
/// 5 of 15: chance 0.577444, odds 1.366548; 5 of 25: 0.375405, 0.601038 (by
/// scipy’s beta.ppf).
#[test]
fn the_opposite_class_is_no_worse_below_the_margin_and_open_above_it() {
    let over = ("sand-through", DefectClass::Over, [16, 1]);
    let open = compared([over, ("peel", DefectClass::Under, [10, 5])]);
    let margin = open.opposite.as_ref().unwrap();
    assert_relative_eq!(margin.upper, 1.366_548, max_relative = 1e-4);
    assert!(!margin.holds, "1.37 is above the margin of 1.25");
    assert_eq!(open.verdict, Verdict::TooFewPanels);
    assert!(
        open.notes
            .iter()
            .any(|n| matches!(n, Note::OppositeClass { .. }))
    );

    let shown = compared([over, ("peel", DefectClass::Under, [20, 5])]);
    let margin = shown.opposite.as_ref().unwrap();
    assert_relative_eq!(margin.upper, 0.601_038, max_relative = 1e-4);
    assert!(margin.holds);
    assert_eq!(shown.verdict, Verdict::Helped);
}
