//! What time does in the change's place: bad spells, trends, steps on other days,
//! inspectors who learn. Each is told, or stays within the level, where the panels
//! can tell; where they can't, the tests hold what the reader is told.

use onus::change::{Comparison, Confounder, Note};
use onus::records::Panel;
use rand_chacha::ChaCha8Rng;

use super::traps::{Seen, helped, kind, refused_for, seen};
use crate::change::shop::{At, CALM, ChangeShop, Further, Kind, NIB, SHOP, Story};

const MANY: &[Kind] = &[Kind { marks: 4.0, ..NIB }];
const TWO_FIFTHS: &[Kind] = &[Kind { ratio: 0.4, ..NIB }];

/// Seven weeks of work days, two marks a panel.
const WEEKS: ChangeShop = ChangeShop {
    panels: 720,
    kinds: &[Kind { marks: 2.0, ..NIB }],
    ..SHOP
};

/// Ten days before the change and ten after it.
const TEN_DAYS: ChangeShop = ChangeShop {
    panels: 400,
    ..SHOP
};

fn spell_left_out(comparison: &Comparison) -> bool {
    let notes = &kind(comparison).notes;
    notes
        .iter()
        .any(|n| matches!(n, Note::BadSpellLeftOut { .. }))
}

/// So many of so many runs.
fn of(runs: u64, times: u64) -> Seen {
    Seen { of: runs, times }
}

fn refused_for_time(comparison: &Comparison) -> bool {
    [Confounder::Trend, Confounder::Step]
        .into_iter()
        .any(|what| refused_for(what)(comparison))
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

/// Three times the rate in so many of the ten days before the change, the last.
fn bad_days(at: At, days: f64) -> f64 {
    if !at.after && at.run >= 0.5 - days / 20.0 - 1e-9 {
        3.0
    } else {
        1.0
    }
}

fn a_bad_day(_: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    bad_days(at, 1.0)
}

fn two_bad_days(_: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    bad_days(at, 2.0)
}

fn four_bad_days(_: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    bad_days(at, 4.0)
}

#[test]
fn bad_days_with_a_history_before_them_are_not_the_changes_doing() {
    for further in [a_bad_day as Further, two_bad_days, four_bad_days] {
        let shop = ChangeShop {
            further: Some(further),
            ..TEN_DAYS
        };
        let tally = shop.tally(60, 107);
        of(60, tally.helped).at_most(0.05, "helped by the end of bad days");
        of(60, tally.held).at_least(0.93, "covered after bad days");
    }
}

#[test]
fn the_worst_moment_chosen_for_the_change_does_not_make_it_good() {
    let story = Story::BadSpell;
    let tally = ChangeShop { story, ..CALM }.tally(120, 151);
    of(120, tally.held).at_least(0.93, "covered");
    of(120, tally.helped).at_most(0.025, "helped by itself");
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
    seen(&calm, 100, 112, helped).at_most(0.05, "helped by a trend");
    for shop in [SHOP, CALM] {
        seen(&shop, 120, 113, &trend).at_most(0.05, "a trend where none is");
    }
}

/// The rate falls to a fifth over the whole run.
fn falling_slowly(_: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    5.0_f64.powf(-at.run)
}

/// A trend's own slope has a third of the information of the difference that it
/// makes between the sides, so that two weeks often show that and not the slope.
#[test]
fn weeks_tell_a_trend_from_a_change_and_two_weeks_tell_some() {
    let weeks = ChangeShop {
        further: Some(falling),
        ..WEEKS
    };
    seen(&weeks, 30, 115, helped).at_most(0.05, "helped by weeks of falling");
    let two_weeks = ChangeShop {
        further: Some(falling_slowly),
        ..SHOP
    };
    seen(&two_weeks, 100, 116, helped).at_most(0.25, "helped by two weeks of falling");
}

/// The rate steps to two fifths three days before the change.
fn step_before(_: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    if at.run >= 0.25 - 1e-9 { 0.4 } else { 1.0 }
}

#[test]
fn a_step_days_before_is_not_the_changes_doing() {
    for kinds in [SHOP.kinds, MANY] {
        let shop = ChangeShop {
            kinds,
            further: Some(step_before),
            ..SHOP
        };
        let tally = shop.tally(80, 161);
        of(80, tally.helped).at_most(0.05, "helped by a step three days before");
    }
}

/// An inspector who sees two fifths of what there is, and ever more of it.
fn learning(_: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    1.0 - 0.6 * (-at.run / 0.25).exp()
}

/// Mondays and Tuesdays are worse.
fn weekly(_: &mut Panel, at: At, _: &mut ChaCha8Rng) -> f64 {
    let day = (12.0 * at.run + 1e-9) as usize;
    if day % 7 < 2 { 1.6 } else { 1.0 }
}

#[test]
fn learning_and_weekdays_stay_within_the_level() {
    for (further, what) in [
        (learning as Further, "one who learns"),
        (weekly, "weekdays"),
    ] {
        let shop = ChangeShop {
            further: Some(further),
            ..SHOP
        };
        let tally = shop.tally(80, 171);
        of(80, tally.helped).at_most(0.05, what);
        of(80, tally.hurt).at_most(0.05, what);
    }
}

/// What looks for rivals takes few answers away where there are none.
#[test]
fn steady_shops_keep_their_answers() {
    let halved = &[Kind { ratio: 0.5, ..NIB }];
    for shop in [
        ChangeShop {
            kinds: TWO_FIFTHS,
            ..SHOP
        },
        ChangeShop {
            kinds: halved,
            ..CALM
        },
    ] {
        seen(&shop, 100, 181, refused_for_time).at_most(0.05, "refused though steady");
    }
}
