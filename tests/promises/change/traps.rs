//! The traps of a comparison before against after: each is seen when it is
//! there, and not seen when it is not, at the rates that are told to the reader.

use std::sync::Arc;

use onus::change::{Change, Comparison, Confounder, Note, Settings, Verdict, compare};
use onus::records::Panel;
use onus::site::DefectClass;
use onus::stats::distributions::binomial;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use crate::change::shop::{At, CALM, ChangeShop, Kind, NIB, SHOP, Story, old_against_new};

/// A share this unlikely at the stated rate fails the promise.
const SURPRISE: f64 = 1e-3;

/// How often something was seen.
pub(super) struct Seen {
    pub(super) of: u64,
    pub(super) times: u64,
}

impl Seen {
    pub(super) fn at_most(&self, rate: f64, what: &str) {
        let p = binomial::at_least(self.times, self.of, rate);
        assert!(p > SURPRISE, "{what}: {} of {}", self.times, self.of);
    }

    pub(super) fn at_least(&self, rate: f64, what: &str) {
        let p = binomial::at_most(self.times, self.of, rate);
        assert!(p > SURPRISE, "{what}: {} of {}", self.times, self.of);
    }
}

pub(super) fn seen(
    shop: &ChangeShop,
    runs: u64,
    seed: u64,
    what: impl Fn(&Comparison) -> bool,
) -> Seen {
    let times = (0..runs)
        .filter(|run| what(&shop.compared(seed + run).comparisons[0]))
        .count();
    Seen {
        of: runs,
        times: times as u64,
    }
}

pub(super) fn kind(comparison: &Comparison) -> &Change {
    &comparison.changes[0]
}

pub(super) fn helped(comparison: &Comparison) -> bool {
    kind(comparison).verdict == Verdict::Helped
}

pub(super) fn holds(truth: f64) -> impl Fn(&Comparison) -> bool {
    move |comparison| {
        kind(comparison)
            .ratio_ci
            .is_none_or(|ci| ci.low <= truth && truth <= ci.high)
    }
}

pub(super) fn refused_for(what: Confounder) -> impl Fn(&Comparison) -> bool {
    move |comparison| kind(comparison).confounded_with.contains(&what)
}

const WITH_INCOMING: &[Kind] = &[
    Kind {
        name: "scratch",
        class: Some(DefectClass::Surface),
        ..NIB
    },
    Kind {
        name: "resin",
        class: Some(DefectClass::Incoming),
        ..NIB
    },
];

/// A third of what was seen before is seen after, of every kind.
fn dimmer(_: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    if at.after { 0.3 } else { 1.0 }
}

#[test]
fn a_step_in_what_came_with_the_part_points_to_the_inspection() {
    let shop = ChangeShop {
        kinds: WITH_INCOMING,
        ..CALM
    };
    let dim = ChangeShop {
        further: Some(dimmer),
        ..shop
    };
    let incoming = |c: &Comparison| {
        let notes = &kind(c).notes;
        notes
            .iter()
            .any(|n| matches!(n, Note::IncomingMoved { .. }))
    };
    seen(&dim, 60, 121, incoming).at_least(0.8, "everything fell to a third");
    seen(&dim, 60, 121, helped).at_most(0.2, "helped by a dim lamp");
    seen(&shop, 120, 123, incoming).at_most(0.05, "a step where none is");
}

/// An inspection that changed once does not follow old and new that take turns.
#[test]
fn by_turns_the_inspection_is_not_in_doubt() {
    const BETTER: &[Kind] = &[
        Kind {
            ratio: 0.4,
            ..WITH_INCOMING[0]
        },
        Kind {
            ratio: 0.4,
            ..WITH_INCOMING[1]
        },
    ];
    let shop = ChangeShop {
        story: Story::Alternating(20),
        kinds: BETTER,
        further: Some(same_inspectors),
        ..CALM
    };
    let doubted = seen(&shop, 30, 125, refused_for(Confounder::Inspector));
    assert_eq!(doubted.times, 0, "old and new by turns of a day");
    seen(&shop, 30, 125, helped).at_least(0.9, "fewer by turns");
}

/// Somebody new inspects after the change and sees twice as much.
fn new_inspector(panel: &mut Panel, at: At, rng: &mut ChaCha8Rng) -> f64 {
    let name = if at.after { "new" } else { inspector(rng) };
    panel.inspector = Some(Arc::from(name));
    if at.after { 0.5 } else { 1.0 }
}

fn inspector(rng: &mut ChaCha8Rng) -> &'static str {
    if rng.random::<bool>() { "one" } else { "two" }
}

/// Somebody new inspects half of the panels after and sees half as much.
fn partly_new(panel: &mut Panel, at: At, rng: &mut ChaCha8Rng) -> f64 {
    let new = at.after && rng.random::<bool>();
    panel.inspector = Some(Arc::from(if new { "new" } else { inspector(rng) }));
    if new { 0.4 } else { 1.0 }
}

fn same_inspectors(panel: &mut Panel, _: At, rng: &mut ChaCha8Rng) -> f64 {
    panel.inspector = Some(Arc::from(inspector(rng)));
    1.0
}

#[test]
fn a_new_inspector_is_another_explanation() {
    let shop = |further| ChangeShop {
        further: Some(further),
        ..CALM
    };
    let told = |c: &Comparison| {
        let notes = &c.notes;
        notes
            .iter()
            .any(|n| matches!(n, Note::InspectorsDiffer { .. }))
    };
    let refused = refused_for(Confounder::Inspector);
    seen(&shop(new_inspector), 40, 131, &refused).at_least(1.0, "all after by somebody new");
    let partly = shop(partly_new);
    seen(&partly, 100, 132, told).at_least(1.0, "half after by somebody new");
    seen(&partly, 100, 132, holds(1.0)).at_least(0.95, "covered inside inspectors");
    seen(&partly, 100, 132, helped).at_most(0.025, "helped by a milder eye");
    let same = shop(same_inspectors);
    seen(&same, 100, 134, |c| told(c) || refused(c)).at_most(0.0, "the same inspectors");
}

/// Small panels have three times the rate per area, and are most panels before
/// and few after.
fn other_mix(panel: &mut Panel, at: At, rng: &mut ChaCha8Rng) -> f64 {
    sized(panel, if at.after { 0.2 } else { 0.8 }, rng)
}

fn sized(panel: &mut Panel, small: f64, rng: &mut ChaCha8Rng) -> f64 {
    if rng.random::<f64>() < small {
        (panel.length_mm, panel.width_mm) = (300.0, 200.0);
        0.75
    } else {
        1.0
    }
}

#[test]
fn another_mix_of_sizes_is_allowed_for() {
    let mixed = ChangeShop {
        kinds: &[Kind { marks: 4.0, ..NIB }],
        further: Some(other_mix),
        ..CALM
    };
    let inside = |c: &Comparison| c.strata.by.iter().any(|column| column == "length_mm");
    seen(&mixed, 100, 141, inside).at_least(1.0, "sizes allowed for");
    seen(&mixed, 100, 141, holds(1.0)).at_least(0.93, "covered with sizes allowed for");
    seen(&mixed, 100, 141, helped).at_most(0.025, "helped by larger panels");
    let crude = |c: &Comparison| {
        let ratio = kind(c).crude_ratio;
        ratio.is_some_and(|r| r < 0.7)
    };
    seen(&mixed, 100, 141, crude).at_least(0.95, "the crude ratio is taken in");
}

/// A new batch of discs came with the change; the old one was gone.
fn new_batch(panel: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    let batch = match at.run {
        run if run < 0.2 => "batch-1",
        _ if at.after => "batch-3",
        _ => "batch-2",
    };
    panel.abrasive_id = Some(Arc::from(batch));
    if at.after { 0.4 } else { 1.0 }
}

/// The disc was changed six panels before the recipe, and it was the disc.
fn disc_before(panel: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    let new = at.run >= 0.5 - 6.0 / 240.0;
    panel.abrasive_id = Some(Arc::from(if new { "disc-2" } else { "disc-1" }));
    if new { 0.4 } else { 1.0 }
}

/// Discs that wear out one after the other, three a side.
fn new_discs(panel: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    let disc = (6.0 * at.run) as usize;
    panel.abrasive_id = Some(Arc::from(format!("disc-{disc}")));
    1.0
}

#[test]
fn a_batch_that_came_with_the_change_is_another_explanation_and_worn_discs_are_not() {
    let refused = refused_for(Confounder::AbrasiveId);
    let batch = ChangeShop {
        further: Some(new_batch),
        ..SHOP
    };
    let told = seen(&batch, 20, 151, &refused);
    assert_eq!(told.times, told.of, "a batch on one side only");
    let discs = ChangeShop {
        further: Some(new_discs),
        ..SHOP
    };
    let told = seen(&discs, 20, 152, &refused);
    assert_eq!(told.times, 0, "three discs a side");
    let met = ChangeShop {
        further: Some(disc_before),
        ..SHOP
    };
    let told = seen(&met, 100, 153, &refused);
    assert_eq!(told.times, 0, "a disc that met the old recipe");
    seen(&met, 100, 153, helped).at_most(0.05, "helped by a disc");
    seen(&met, 100, 153, holds(1.0)).at_least(0.93, "covered with the disc allowed for");
}

/// Panels without a mark reach the records only since the change.
#[test]
fn clean_panels_that_came_with_the_change_are_another_explanation() {
    let refused = |runs: u64, export: bool| {
        (0..runs)
            .filter(|run| {
                let mut records = SHOP.records(161 + run);
                if !export {
                    let mut hit = vec![false; records.panels.len()];
                    for defect in &records.defects {
                        hit[defect.panel] = true;
                    }
                    for (panel, hit) in records.panels.iter_mut().zip(hit) {
                        panel.inspected &= hit || panel.recipe.as_deref() == Some("new");
                    }
                }
                let all = compare(&records, &old_against_new(), &Settings::default()).unwrap();
                refused_for(Confounder::CleanPanels)(&all.comparisons[0])
            })
            .count() as u64
    };
    assert_eq!(refused(20, true), 0, "all panels exported");
    let told = Seen {
        of: 20,
        times: refused(20, false),
    };
    told.at_least(0.9, "clean panels exported only since the change");
}
