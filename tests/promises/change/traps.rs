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
struct Seen {
    of: u64,
    times: u64,
}

impl Seen {
    fn at_most(&self, rate: f64, what: &str) {
        let p = binomial::at_least(self.times, self.of, rate);
        assert!(p > SURPRISE, "{what}: {} of {}", self.times, self.of);
    }

    fn at_least(&self, rate: f64, what: &str) {
        let p = binomial::at_most(self.times, self.of, rate);
        assert!(p > SURPRISE, "{what}: {} of {}", self.times, self.of);
    }
}

fn seen(shop: &ChangeShop, runs: u64, seed: u64, what: impl Fn(&Comparison) -> bool) -> Seen {
    let times = (0..runs)
        .filter(|run| what(&shop.compared(seed + run).comparisons[0]))
        .count();
    Seen {
        of: runs,
        times: times as u64,
    }
}

fn kind(comparison: &Comparison) -> &Change {
    &comparison.changes[0]
}

fn helped(comparison: &Comparison) -> bool {
    kind(comparison).verdict == Verdict::Helped
}

fn holds(truth: f64) -> impl Fn(&Comparison) -> bool {
    move |comparison| {
        kind(comparison)
            .ratio_ci
            .is_none_or(|ci| ci.low <= truth && truth <= ci.high)
    }
}

fn spell_left_out(comparison: &Comparison) -> bool {
    let notes = &kind(comparison).notes;
    notes
        .iter()
        .any(|n| matches!(n, Note::BadSpellLeftOut { .. }))
}

fn refused_for(what: Confounder) -> impl Fn(&Comparison) -> bool {
    move |comparison| kind(comparison).confounded_with.contains(&what)
}

/// Four times the rate on the last fifteen panels before the change.
fn spell(_: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    if !at.after && at.run >= 0.5 - 15.0 / 240.0 {
        4.0
    } else {
        1.0
    }
}

#[test]
fn a_bad_spell_before_the_change_is_left_out_and_ordinary_panels_stay() {
    let bad = ChangeShop {
        further: Some(spell),
        ..SHOP
    };
    seen(&bad, 100, 101, spell_left_out).at_least(0.8, "a spell of four times the rate");
    seen(&bad, 100, 101, helped).at_most(0.025, "helped by the end of a spell");
    for shop in [SHOP, CALM] {
        seen(&shop, 120, 103, spell_left_out).at_most(0.05, "an ordinary stretch left out");
    }
}

/// The rate falls to a sixteenth over the whole run, whatever is changed.
fn falling(_: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    16.0_f64.powf(-at.run)
}

#[test]
fn a_trend_under_way_is_not_the_changes_doing() {
    let trend = refused_for(Confounder::Trend);
    let calm = ChangeShop {
        kinds: &[Kind { marks: 4.0, ..NIB }],
        further: Some(falling),
        ..CALM
    };
    seen(&calm, 100, 111, &trend).at_least(0.8, "a rate that falls to a sixteenth");
    seen(&calm, 100, 112, helped).at_most(0.2, "helped by a trend");
    for shop in [SHOP, CALM] {
        seen(&shop, 120, 113, &trend).at_most(0.05, "a trend where none is");
    }
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

#[test]
fn the_worst_moment_chosen_for_the_change_does_not_make_it_good() {
    let story = Story::BadSpell;
    let shop = ChangeShop { story, ..CALM };
    seen(&shop, 120, 151, holds(1.0)).at_least(0.93, "covered");
    seen(&shop, 120, 151, helped).at_most(0.025, "helped by itself");
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
