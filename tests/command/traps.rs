//! `onus check` names every trap that the data hold, and none that they do not.

use std::collections::BTreeSet;

use onus::records::{DefectName, Lay, Panel, Point, Reading, Records};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::shop::onus;
use crate::shops::files;
use crate::shops::{at_local, mark_on, panel_at};

/// A panel with all that its rows say.
#[derive(Clone)]
struct Made {
    panel: Panel,
    /// Place and kind.
    marks: Vec<(f64, f64, &'static str)>,
    /// Place, removed and film.
    readings: Vec<(f64, f64, f64, f64)>,
}

impl Made {
    fn size(&self) -> (f64, f64) {
        (self.panel.length_mm, self.panel.width_mm)
    }

    fn by(&self, inspector: &str) -> bool {
        self.panel.inspector.as_deref() == Some(inspector)
    }
}

/// A number to the tenth, any between these as likely.
fn tenth(rng: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    (rng.random_range(low..high) * 10.0).round() / 10.0
}

const PANELS: usize = 96;

/// A shop without a trap: lays, inspectors, lots, recipe and speeds all
/// crossed, some panels clean, a fault of the part on a third of them.
fn good(seed: u64) -> Vec<Made> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    (0..PANELS).map(|i| good_panel(i, &mut rng)).collect()
}

fn good_panel(i: usize, rng: &mut ChaCha8Rng) -> Made {
    let (l, w) = [(800.0, 500.0), (600.0, 400.0), (600.0, 400.0)][i % 3];
    let mut marks: Vec<(f64, f64, &str)> = (0..rng.random_range(0..4))
        .map(|_| {
            (
                tenth(rng, 5.0, l - 5.0),
                tenth(rng, 5.0, w - 5.0),
                "dust nib",
            )
        })
        .collect();
    if rng.random_range(0..3) == 0 {
        marks.push((tenth(rng, 140.0, 150.0), tenth(rng, 80.0, 90.0), "scratch"));
    }
    let readings = [0.2, 0.4, 0.6, 0.8].map(|at| {
        let (removed, film) = (tenth(rng, 18.0, 24.0), tenth(rng, 95.0, 120.0));
        (at * l, at * w, removed, film)
    });
    let day = jiff::civil::date(2025, 3, 1) + jiff::Span::new().days((i / 12) as i64);
    let panel = Panel {
        sanded_at: Some(at_local(day.at(6 + (i % 12) as i8, 0, 0, 0))),
        machine: Some("M1".into()),
        lot: Some(format!("L{}", 1 + i / 8).into()),
        lay: [Lay::Deg0, Lay::Deg180][i % 2],
        lay_recorded: true,
        recipe: Some(["R1", "R2"][i / 4 % 2].into()),
        feed_mm_s: Some([90.0, 120.0][i / 2 % 2]),
        passes: Some([2.0, 3.0][rng.random_range(0..2)]),
        force_n: Some([20.0, 30.0, 40.0][rng.random_range(0..3)]),
        abrasive_age: Some((i % 20) as f64),
        inspector: Some(["Ada", "Ben"][rng.random_range(0..2)].into()),
        ..panel_at(i, (0, 0), (l, w))
    };
    Made {
        panel,
        marks,
        readings: readings.to_vec(),
    }
}

/// Kinds of marks.
const KINDS: [&str; 2] = ["dust nib", "scratch"];

fn csv(all: &[Made]) -> String {
    let place = |x: f64, y: f64| Some(Point { x, y });
    let mut records = Records {
        defect_names: KINDS
            .map(|name| DefectName {
                name: name.into(),
                class: None,
            })
            .to_vec(),
        ..Records::default()
    };
    for (at, made) in all.iter().enumerate() {
        records.panels.push(made.panel.clone());
        records
            .defects
            .extend(made.marks.iter().map(|(x, y, kind)| {
                let name = KINDS.iter().position(|k| k == kind).unwrap();
                mark_on(at, name, place(*x, *y))
            }));
        let reading = |(x, y, removed, film): &(f64, f64, f64, f64)| Reading {
            panel: at,
            place: place(*x, *y),
            removed_um: Some(*removed),
            film_um: Some(*film),
        };
        records.readings.extend(made.readings.iter().map(reading));
    }
    files::csv(&records)
}

/// Codes and texts of the doubts about some files.
fn doubts(files: &[(&str, String)]) -> Vec<(String, String)> {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let done = onus()
        .arg("check")
        .arg(folder.path())
        .arg("--json")
        .output()
        .unwrap();
    let message = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{message}");
    let checked: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    checked["warnings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|w| {
            let text = |key: &str| w[key].as_str().unwrap().to_owned();
            (text("code"), text("text"))
        })
        .collect()
}

#[test]
fn shops_without_a_trap_raise_no_doubt() {
    for seed in 1..=20 {
        let found = doubts(&[("shop.csv", csv(&good(seed)))]);
        assert!(found.is_empty(), "shop {seed}: {found:?}");
    }
}

/// The code and a part of its sentence that the trap must give, nothing else.
fn springs(code: &str, says: &str, trap: impl Fn(&mut Vec<Made>)) {
    let mut panels = good(1);
    trap(&mut panels);
    only(code, says, &[("shop.csv", csv(&panels))]);
}

fn only(code: &str, says: &str, files: &[(&str, String)]) {
    let found = doubts(files);
    let codes: BTreeSet<&str> = found.iter().map(|(code, _)| code.as_str()).collect();
    assert_eq!(codes, BTreeSet::from([code]), "{says}: {found:?}");
    assert!(
        found.iter().any(|(_, text)| text.contains(says)),
        "{says}: {found:?}"
    );
}

#[test]
fn an_export_of_defects_only() {
    springs(
        "no-clean-panels",
        "export every inspected panel",
        |panels| {
            panels.retain(|p| !p.marks.is_empty());
        },
    );
}

#[test]
fn one_lay_or_one_lot() {
    springs("one-lay", "Every panel lay the same way", |panels| {
        panels.iter_mut().for_each(|p| p.panel.lay = Lay::Deg90);
    });
    springs("one-lot", "All panels are of one lot (L1)", |panels| {
        panels
            .iter_mut()
            .for_each(|p| p.panel.lot = Some("L1".into()));
    });
}

#[test]
fn few_panels_or_one_that_carries_most_defects() {
    springs("few-panels", "Only 24 panels were inspected", |panels| {
        panels.truncate(24)
    });
    springs("one-panel-dominates", "Panel P00040 carries", |panels| {
        panels[40].marks = (0..400)
            .map(|k| {
                (
                    f64::from(k) * 1.37 + 7.3,
                    f64::from(k % 37) * 10.9 + 3.1,
                    "dust nib",
                )
            })
            .collect();
    });
}

#[test]
fn panels_with_the_very_same_marks() {
    let fine = |shift: f64| vec![(81.3 + shift, 40.7, "dust nib"), (210.9, 77.1, "dust nib")];
    springs(
        "same-marks",
        "3 panels carry exactly the marks of another panel (P00004 = P00013 = P00022; P00005 = P00014)",
        |panels| {
            for i in [4, 13, 22] {
                (panels[i].panel.length_mm, panels[i].panel.width_mm) = (600.0, 400.0);
                panels[i].marks = fine(0.0);
            }
            for i in [5, 14] {
                (panels[i].panel.length_mm, panels[i].panel.width_mm) = (600.0, 400.0);
                panels[i].marks = fine(9.1);
            }
            // nearly the same, or in round numbers, is no copy
            panels[6].marks = fine(0.1);
            for i in [7, 16] {
                panels[i].marks = vec![(80.0, 40.0, "dust nib"), (210.0, 75.0, "dust nib")];
            }
        },
    );
}

#[test]
fn factors_that_move_together() {
    springs("factors-move-together", "feed_mm_s and force_n", |panels| {
        panels.iter_mut().for_each(|p| {
            p.panel.force_n = p
                .panel
                .feed_mm_s
                .map(|feed| if feed > 100.0 { 40.0 } else { 20.0 })
        });
    });
    springs("factors-move-together", "recipe and lot", |panels| {
        for (i, p) in panels.iter_mut().enumerate() {
            p.panel.recipe = Some(["R1", "R2"][i / 8 % 2].into());
        }
    });
}

#[test]
fn inspectors_that_differ() {
    springs("inspectors-differ", "Inspector Ada records", |panels| {
        for (i, p) in panels.iter_mut().enumerate() {
            if !p.by("Ada") {
                continue;
            }
            for k in 0..i % 20 % 6 {
                let step = k as f64;
                p.marks.push((
                    77.7 + 31.3 * step + (i % 20) as f64,
                    133.3 + 7.1 * step + 0.1 * i as f64,
                    "dust nib",
                ));
            }
        }
    });
}

#[test]
fn a_station_that_fits_better_mirrored_or_turned() {
    // Marks of the part in one half of the panel: what a flip shows in.
    let crowd = |panels: &mut Vec<Made>| {
        let mut rng = ChaCha8Rng::seed_from_u64(9);
        for p in panels.iter_mut() {
            let (l, w) = p.size();
            p.marks = (0..rng.random_range(1..4))
                .map(|_| {
                    let (x, y) = (
                        tenth(&mut rng, 60.0, 0.3 * l),
                        tenth(&mut rng, 40.0, 0.3 * w),
                    );
                    (x, y, "dust nib")
                })
                .collect();
            if rng.random_range(0..4) == 0 {
                p.marks.clear();
            }
        }
    };
    let mut panels = good(1);
    crowd(&mut panels);
    let found = doubts(&[("shop.csv", csv(&panels))]);
    assert!(found.is_empty(), "{found:?}");
    type Flip = fn((f64, f64), f64, f64) -> (f64, f64);
    let flips: [(&str, Flip); 3] = [
        ("mirrored along the panel's length", |(l, _), x, y| {
            (l - x, y)
        }),
        ("mirrored across the panel's width", |(_, w), x, y| {
            (x, w - y)
        }),
        ("turned by half a turn", |(l, w), x, y| (l - x, w - y)),
    ];
    for (says, flip) in flips {
        springs("station-mirrored", says, |panels| {
            crowd(panels);
            for p in panels.iter_mut().filter(|p| p.by("Ben")) {
                let size = p.size();
                for (x, y, _) in &mut p.marks {
                    (*x, *y) = flip(size, *x, *y);
                    *x = (*x * 10.0).round() / 10.0;
                    *y = (*y * 10.0).round() / 10.0;
                }
            }
        });
    }
}

#[test]
fn panels_counted_from_the_other_end_in_one_stretch() {
    type Flip = fn((f64, f64), &mut f64, &mut f64);
    let flips: [(&str, Flip); 2] = [
        ("with x counted from the other end", |size, x, _| {
            *x = size.0 - *x;
        }),
        ("with y counted from the other side", |size, _, y| {
            *y = size.1 - *y;
        }),
    ];
    for (says, flip) in flips {
        springs("axes-suspect", says, |panels| {
            for p in &mut panels[PANELS / 2..] {
                let size = p.size();
                for (x, y, _) in &mut p.marks {
                    flip(size, x, y);
                    (*x, *y) = ((*x * 10.0).round() / 10.0, (*y * 10.0).round() / 10.0);
                }
            }
        });
    }
}

#[test]
fn two_exports_of_one_inspection() {
    let panels = good(1);
    let mut rounded = panels.clone();
    for (x, y, _) in rounded.iter_mut().flat_map(|p| &mut p.marks) {
        (*x, *y) = (x.round(), y.round());
    }
    for p in &mut rounded {
        p.readings.clear();
    }
    only(
        "duplicate-record",
        "each counts once",
        &[("a.csv", csv(&panels)), ("b.csv", csv(&rounded))],
    );
}

#[test]
fn ids_spelled_otherwise_in_the_file_of_the_defects() {
    let mut facts = good(1);
    for made in &mut facts {
        made.readings.clear();
    }
    let mut marks = facts.clone();
    for (i, (facts, marks)) in facts.iter_mut().zip(&mut marks).enumerate() {
        facts.marks.clear();
        facts.panel.inspected = false;
        marks.panel = Panel {
            id: format!("p{i}"),
            inspector: facts.panel.inspector.take(),
            inspected: true,
            ..Panel::default()
        };
        facts.panel.id = format!("P-{i:04}");
    }
    only(
        "ids-suspect",
        "96 panel ids are spelled otherwise",
        &[("panels.csv", csv(&facts)), ("marks.csv", csv(&marks))],
    );
}

#[test]
fn clicks_on_a_picture_and_stand_ins_for_unknown() {
    springs("zone-clicks", "the same spots again and again", |panels| {
        for (x, y, _) in panels.iter_mut().flat_map(|p| &mut p.marks) {
            *x = (*x / 73.0).floor() * 73.0 + 31.4;
            *y = (*y / 61.0).floor() * 61.0 + 17.2;
        }
    });
    springs("zone-clicks", "to 50 mm", |panels| {
        for (x, y, _) in panels.iter_mut().flat_map(|p| &mut p.marks) {
            *x = (*x / 50.0).round() * 50.0;
            *y = (*y / 50.0).round() * 50.0;
        }
    });
    for stand_in in [0.0, -1.0] {
        springs(
            "placeholder-places",
            "stand for an unknown place",
            |panels| {
                for p in panels.iter_mut().step_by(12) {
                    p.marks.push((stand_in, stand_in, "scratch"));
                }
            },
        );
    }
}

#[test]
fn the_same_file_or_panel_twice() {
    let text = csv(&good(1));
    only(
        "duplicate-file",
        "read once",
        &[("a.csv", text.clone()), ("b.csv", text.clone())],
    );
    let again = csv(&good(1)[40..44]);
    only(
        "duplicate-record",
        "count once",
        &[("a.csv", text), ("b.csv", again)],
    );
}

#[test]
fn an_age_that_never_resets() {
    springs("age-never-resets", "never falls", |panels| {
        panels
            .iter_mut()
            .enumerate()
            .for_each(|(i, p)| p.panel.abrasive_age = Some(i as f64));
    });
    springs("age-never-resets", "the same on every panel", |panels| {
        panels
            .iter_mut()
            .for_each(|p| p.panel.abrasive_age = Some(0.0));
    });
}

#[test]
fn a_unit_that_looks_wrong_everywhere() {
    springs("unit-suspect", "A factor of 25.4 (in or mil)", |panels| {
        for r in panels.iter_mut().flat_map(|p| &mut p.readings) {
            r.2 /= 25.4;
            r.3 /= 25.4;
        }
    });
    springs("unit-suspect", "feed_mm_s is typically", |panels| {
        panels
            .iter_mut()
            .for_each(|p| p.panel.feed_mm_s = p.panel.feed_mm_s.map(|v| v * 60.0));
    });
    springs("unit-suspect", "A factor of 9.81 (kgf)", |panels| {
        panels.iter_mut().for_each(|p| {
            p.panel.force_n = p
                .panel
                .force_n
                .map(|v| (v / 2.0 / 9.80665 * 100.0).round() / 100.0)
        });
    });
    springs("unit-suspect", "are x_mm and y_mm in in?", |panels| {
        for (x, y, _) in panels.iter_mut().flat_map(|p| &mut p.marks) {
            (*x, *y) = (*x / 25.4, *y / 25.4);
        }
    });
}

#[test]
fn a_unit_that_looks_wrong_on_some_panels() {
    let some = |panels: &mut Vec<Made>, change: fn(&mut Made)| {
        panels.iter_mut().skip(30).take(10).for_each(change);
    };
    springs(
        "unit-suspect",
        "On 10 panels feed_mm_s differs from the rest by about 60",
        |panels| {
            some(panels, |p| {
                p.panel.feed_mm_s = p.panel.feed_mm_s.map(|v| v / 60.0)
            });
        },
    );
    springs(
        "unit-suspect",
        "On 10 panels force_n differs from the rest by about 9.81",
        |panels| {
            some(panels, |p| {
                p.panel.force_n = p
                    .panel
                    .force_n
                    .map(|v| (v / 9.80665 * 100.0).round() / 100.0)
            });
        },
    );
    springs(
        "unit-suspect",
        "On 10 panels removed_um differs from the rest by about 25.4",
        |panels| {
            some(panels, |p| p.readings.iter_mut().for_each(|r| r.2 /= 25.4));
        },
    );
}
