//! Chains of weeks that are hard to follow: a place that creeps, a rate on few
//! panels.

use onus::records::{Lay, Panel, Point, Records};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use crate::shops::files::csv;
use crate::shops::{add_marks, panel_at};
use crate::weeks::{Chain, Files, WEEKS, beside, of_kind, one};

/// So many panels of one machine over five days, four of a recipe in turn; `marks`
/// gives a panel's marks of one kind in the machine, by the panel's number.
fn simple_week(
    number: usize,
    panels: usize,
    defect: &str,
    mut marks: impl FnMut(usize, &mut ChaCha8Rng) -> Vec<Point>,
) -> String {
    let panel = |i: usize| {
        let day = 7 * (number - 1) + 5 * i / panels;
        let minute = i * 5 % panels * 800 / panels;
        Panel {
            id: format!("W{number}-{i:03}"),
            machine: Some("M1".into()),
            lot: Some(format!("L{number}{}", i / 8 % 4).into()),
            recipe: Some(["A", "B"][i / 4 % 2].into()),
            lay: [Lay::Deg0, Lay::Deg180][i / 2 % 2],
            lay_recorded: true,
            ..panel_at(i, (day, minute), (600.0, 400.0))
        }
    };
    let mut records = Records {
        panels: (0..panels).map(panel).collect(),
        ..Records::default()
    };
    let mut numbers = 0..;
    add_marks(
        &mut records,
        (defect, None),
        700 + number as u64,
        |_, rng| marks(numbers.next().unwrap(), rng),
    );
    csv(&records)
}

/// With a chance of .3 a mark at the place.
fn spot(x: f64, y: f64, rng: &mut ChaCha8Rng) -> Vec<Point> {
    let hit = rng.random::<f64>() < 0.3;
    let mark = beside(x, y, rng);
    hit.then_some(mark).into_iter().collect()
}

/// A place that creeps by 9 mm a week, more than half of its own width.
fn creeping(number: usize) -> String {
    simple_week(number, 120, "gouge", |i, rng| {
        let weeks = number as f64 - 1.0 + i as f64 / 120.0;
        spot(200.0 + 9.0 * weeks, 150.0 + 3.0 * weeks, rng)
    })
}

#[test]
fn a_place_that_creeps_is_one_finding_from_week_to_week() {
    for files in [Files::Week, Files::AllSoFar] {
        let chain = Chain::of(files, creeping);
        let mut ids = Vec::new();
        for number in 1..=WEEKS {
            let report = chain.report(number, &[]);
            let own = of_kind(&report, "gouge");
            assert_eq!(own.len(), 1, "week {number}: {own:?}");
            let (id, life) = own[0];
            let expected = (number > 1).then_some("goes on");
            assert_eq!(life, expected, "week {number}");
            ids.push(id.to_owned());
            // It is looked for where it is now: 6 weeks on it lies 54 mm off.
            let place = one(&report, "gouge", "M1")["x_mm"].as_f64().unwrap();
            if files == Files::Week {
                let truth = 202.0 + 9.0 * (number as f64 - 0.5);
                assert!((place - truth).abs() < 6.0, "week {number}: {place}");
            }
        }
        assert!(ids.iter().all(|id| *id == ids[0]), "{ids:?}");
    }
}

/// Peel on 60 of 100 panels under recipe A and 10 under B, of many panels in weeks 1
/// and 6, of few in those between.
fn thin(number: usize) -> String {
    let panels = if [1, 6].contains(&number) { 240 } else { 24 };
    simple_week(number, panels, "peel", |i, rng| {
        let hit = rng.random::<f64>() < [0.6, 0.1][i / 4 % 2];
        let (x, y) = (600.0 * rng.random::<f64>(), 400.0 * rng.random::<f64>());
        hit.then_some(Point { x, y }).into_iter().collect()
    })
}

#[test]
fn a_rate_that_few_panels_neither_show_nor_refute_keeps_its_state_and_says_so() {
    let chain = Chain::of(Files::Week, thin);
    let mut open = 0;
    for number in 1..=6 {
        let report = chain.report(number, &[]);
        let finding = one(&report, "peel", "M1");
        if number == 1 {
            continue;
        }
        let life = finding["life"].as_str().unwrap();
        // It never went away, so nothing may call it gone, fewer or back.
        assert!(
            ["goes on", "can't tell yet"].contains(&life),
            "{number}: {life}"
        );
        if finding["looked"]["open"] == true {
            open += 1;
            assert!(finding["looked"]["panels_missing"].is_u64(), "{finding:#}");
        }
    }
    assert!(open > 0, "a week of 24 panels is too few");
    let last = chain.report(6, &[]);
    let finding = one(&last, "peel", "M1");
    assert_eq!(finding["life"], "goes on", "{finding:#}");
    assert_eq!(finding["looked"]["open"], false, "{finding:#}");
}

/// A place that lies `shift` mm further along from the third week on.
fn shifted(number: usize, shift: f64) -> String {
    simple_week(number, 120, "gouge", |_, rng| {
        let x = 200.0 + if number >= 3 { shift } else { 0.0 };
        spot(x, 150.0, rng)
    })
}

/// What a terminal shows of the third week, in one line.
fn third_week(chain: &Chain) -> String {
    for number in 1..=2 {
        chain.report(number, &[]);
    }
    let shown = chain.shown(3, "third");
    shown.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_machine_of_another_name_keeps_its_history_in_sight() {
    let renamed = |number: usize| {
        let week = shifted(number, 0.0);
        if number >= 3 {
            week.replace(",M1,", ",Cell A,")
        } else {
            week
        }
    };
    for files in [Files::Week, Files::AllSoFar] {
        let shown = third_week(&Chain::of(files, renamed));
        let said = "New, or F1 if this is M1 under another name: Gouge at one place on Cell A";
        assert!(shown.contains(said), "{shown}");
    }
}

#[test]
fn a_place_that_was_shifted_is_told_as_one_that_may_have_moved() {
    for files in [Files::Week, Files::AllSoFar] {
        let shown = third_week(&Chain::of(files, |number| shifted(number, 45.0)));
        assert!(shown.contains("New, or F1 moved by 45 mm: "), "{shown}");
        let gone = "or F2, which begins where it ends, is the same) is gone";
        assert!(shown.contains(gone), "{shown}");
    }
    // As far apart as two things are.
    let shown = third_week(&Chain::of(Files::Week, |number| shifted(number, 160.0)));
    assert!(shown.contains("New: Gouge at one place"), "{shown}");
}
