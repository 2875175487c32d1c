//! Too little film: no more findings than the level where marks do not follow
//! the film, however lots differ and whatever error film and removal share; and
//! sand-throughs over thin film are the part's.

use std::sync::Arc;

use onus::causes::{Cause, Finding, Kind, Settings, film_left, find};
use onus::records::{DefectName, Panel, Point, Reading, Records};
use onus::site::DefectClass;
use onus::stats::distributions::{binomial, normal as normal_law};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::shops::draws::normal;

/// What the marks go with.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Marks {
    /// Nothing but the lot: lots differ tenfold.
    Lots,
    /// The removal alone.
    Removal,
    /// Film left below a limit.
    FilmLeft,
}

const PANELS: usize = 120;
const PLACES: usize = 5;
const FILM: f64 = 30.0;
const REMOVED: f64 = 20.0;
const GAUGE: f64 = 1.5;
/// Standard deviations of the film: lots, panels, places; and of the removal.
const SPREAD: [f64; 4] = [2.0, 4.0, 2.0, 1.5];
/// Chance of a bound that fails although the promise is kept.
const FAILS_BY_CHANCE: f64 = 1e-4;

fn records(marks: Marks, lots: usize, rng: &mut ChaCha8Rng) -> Records {
    let mut records = Records {
        defect_names: vec![DefectName {
            name: "sand-through".to_owned(),
            class: Some(DefectClass::Over),
        }],
        ..Records::default()
    };
    let lot_film: Vec<f64> = (0..lots).map(|_| SPREAD[0] * normal(rng)).collect();
    let lot_rate: Vec<f64> = (0..lots)
        .map(|_| [0.05, 0.1, 0.5][rng.random_range(0..3)])
        .collect();
    for i in 0..PANELS {
        let lot = i * lots / PANELS;
        records.panels.push(Panel {
            id: format!("{i:04}"),
            machine: Some(Arc::from("M1")),
            lot: Some(Arc::from(format!("L{lot}"))),
            length_mm: 600.0,
            width_mm: 400.0,
            inspected: true,
            ..Panel::default()
        });
        let film = FILM + lot_film[lot] + SPREAD[1] * normal(rng);
        let removed = REMOVED + SPREAD[3] * normal(rng);
        for _ in 0..PLACES {
            let place = Point {
                x: rng.random_range(20.0..580.0),
                y: rng.random_range(20.0..380.0),
            };
            let here = film + SPREAD[2] * normal(rng);
            // One reading before sanding serves both.
            let before = here + GAUGE * normal(rng);
            let after = here - removed + GAUGE * normal(rng);
            records.readings.push(Reading {
                panel: i,
                place: Some(place),
                removed_um: Some(before - after),
                film_um: Some(before),
            });
        }
        let marked = match marks {
            Marks::Lots => rng.random::<f64>() < lot_rate[lot],
            Marks::Removal => removed + 0.5 * normal(rng) > REMOVED + 1.5,
            Marks::FilmLeft => film - removed < 4.0,
        };
        if marked {
            let place = Some(Point {
                x: rng.random_range(0.0..600.0),
                y: rng.random_range(0.0..400.0),
            });
            records.defects.push(crate::shops::mark_on(i, 0, place));
        }
    }
    records
}

fn thin_film(marks: Marks, lots: usize, seed: u64) -> (Option<Finding>, Cause) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let causes = find(
        &records(marks, lots, &mut rng),
        &Settings {
            alpha: 0.05,
            ..Settings::default()
        },
    );
    let found = causes
        .findings
        .into_iter()
        .find(|f| f.kind == Kind::ThinFilm);
    (found, causes.streams[0].cause)
}

#[test]
fn marks_that_do_not_follow_the_film_are_not_laid_to_it() {
    for (at, marks) in [Marks::Lots, Marks::Removal].into_iter().enumerate() {
        let mut found = 0;
        let runs = 120;
        for run in 0..runs {
            let lots = [2, 6, 24][run as usize % 3];
            let seed = 1000 * at as u64 + run;
            found += u64::from(thin_film(marks, lots, seed).0.is_some());
        }
        assert!(
            binomial::at_least(found, runs, 0.05) >= FAILS_BY_CHANCE,
            "{found} of {runs}: {marks:?}"
        );
    }
}

#[test]
fn sand_throughs_over_thin_film_are_the_parts() {
    let (mut found, mut part) = (0, 0);
    for run in 0..40 {
        let (finding, stream) = thin_film(Marks::FilmLeft, 6, 5000 + run);
        if let Some(finding) = finding {
            found += 1;
            assert_ne!(finding.cause, Cause::Machine);
            part += usize::from(finding.cause == Cause::Part && stream == Cause::Part);
        }
    }
    assert!(
        found >= 36 && part >= 32,
        "{found} found, {part} the part's"
    );
}

/// Film left is Normal with the sums of all variances, from 120 lots of one
/// panel, where panels are the units, down to two lots, which know little.
#[test]
fn the_expected_share_of_area_below_a_limit_is_covered() {
    for lots in [PANELS, 12, 8, 6, 4, 3, 2] {
        let (covered, runs) = covered(lots, 300);
        let missed = runs - covered;
        assert!(
            binomial::at_least(missed, runs, 0.05) >= FAILS_BY_CHANCE,
            "{covered} of {runs} with {lots} lots"
        );
    }
}

/// Intervals of the share that hold it, of so many runs.
fn covered(lots: usize, runs: u64) -> (u64, u64) {
    let variance: f64 = SPREAD.iter().map(|sd| sd * sd).sum::<f64>() + GAUGE * GAUGE;
    let limit = 2.0;
    let truth = normal_law::lower((limit - (FILM - REMOVED)) / variance.sqrt());
    let mut covered = 0;
    for run in 0..runs {
        let mut rng = ChaCha8Rng::seed_from_u64(9000 + run);
        let left = film_left(&records(Marks::Lots, lots, &mut rng), limit).remove(0);
        let ci = left.share_ci.unwrap();
        covered += u64::from(ci.low <= truth && truth <= ci.high);
    }
    (covered, runs)
}
