//! `onus check` names every trap that the data hold, and none that they do not.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use crate::shop::onus;

/// One panel as its rows say.
#[derive(Clone)]
struct Panel {
    id: String,
    sanded_at: String,
    lot: String,
    lay: u32,
    size: (f64, f64),
    recipe: &'static str,
    feed: f64,
    passes: f64,
    force: f64,
    age: usize,
    inspector: &'static str,
    /// Place and kind.
    marks: Vec<(f64, f64, &'static str)>,
    /// Place, removed and film.
    readings: Vec<(f64, f64, f64, f64)>,
}

/// Whole numbers that look drawn, the same on every run.
struct Draws(u64);

impl Draws {
    /// Below `n`; Knuth's 64-bit linear congruential generator (MMIX).
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % n
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        let share = self.below(100_000) as f64 / 100_000.0;
        ((low + share * (high - low)) * 10.0).round() / 10.0
    }
}

const PANELS: usize = 96;

/// A shop without a trap: lays, inspectors, lots, recipe and speeds all
/// crossed, some panels clean, a fault of the part on a third of them.
fn good(seed: u64) -> Vec<Panel> {
    let mut draws = Draws(seed);
    (0..PANELS)
        .map(|i| {
            let size = if i % 3 == 0 {
                (800.0, 500.0)
            } else {
                (600.0, 400.0)
            };
            let mut marks: Vec<(f64, f64, &str)> = (0..draws.below(4))
                .map(|_| {
                    let (x, y) = (
                        draws.between(5.0, size.0 - 5.0),
                        draws.between(5.0, size.1 - 5.0),
                    );
                    (x, y, "dust nib")
                })
                .collect();
            if draws.below(3) == 0 {
                marks.push((
                    draws.between(140.0, 150.0),
                    draws.between(80.0, 90.0),
                    "scratch",
                ));
            }
            let readings = (0..4)
                .map(|k| {
                    let at = 0.2 + 0.2 * f64::from(k);
                    let (x, y) = (at * size.0, at * size.1);
                    (x, y, draws.between(18.0, 24.0), draws.between(95.0, 120.0))
                })
                .collect();
            Panel {
                id: format!("P{i:03}"),
                sanded_at: format!("2025-03-{:02}T{:02}:00:00+01:00", 1 + i / 12, 6 + i % 12),
                lot: format!("L{}", 1 + i / 8),
                lay: if i % 2 == 0 { 0 } else { 180 },
                size,
                recipe: if i / 4 % 2 == 0 { "R1" } else { "R2" },
                feed: [90.0, 120.0][i / 2 % 2],
                passes: [2.0, 3.0][draws.below(2) as usize],
                force: [20.0, 30.0, 40.0][draws.below(3) as usize],
                age: i % 20,
                inspector: ["Ada", "Ben"][draws.below(2) as usize],
                marks,
                readings,
            }
        })
        .collect()
}

fn csv(panels: &[Panel]) -> String {
    let mut text = "panel_id,sanded_at,machine,lot,lay_deg,length_mm,width_mm,recipe,feed_mm_s,passes,force_n,abrasive_age,inspector,x_mm,y_mm,defect,removed_um,film_um\n".to_owned();
    for p in panels {
        let facts = format!(
            "{},{},M1,{},{},{},{},{},{},{},{},{},{}",
            p.id,
            p.sanded_at,
            p.lot,
            p.lay,
            p.size.0,
            p.size.1,
            p.recipe,
            p.feed,
            p.passes,
            p.force,
            p.age,
            p.inspector
        );
        for (x, y, kind) in &p.marks {
            let _ = writeln!(text, "{facts},{x},{y},{kind},,");
        }
        for (x, y, removed, film) in &p.readings {
            let _ = writeln!(text, "{facts},{x},{y},,{removed},{film}");
        }
        if p.marks.is_empty() && p.readings.is_empty() {
            let _ = writeln!(text, "{facts},,,,,");
        }
    }
    text
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
fn springs(code: &str, says: &str, trap: impl Fn(&mut Vec<Panel>)) {
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
        panels.iter_mut().for_each(|p| p.lay = 90);
    });
    springs("one-lot", "All panels are of one lot (L1)", |panels| {
        panels.iter_mut().for_each(|p| p.lot = "L1".into());
    });
}

#[test]
fn few_panels_or_one_that_carries_most_defects() {
    springs("few-panels", "Only 24 panels were inspected", |panels| {
        panels.truncate(24)
    });
    springs("one-panel-dominates", "Panel P040 carries", |panels| {
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
        "3 panels carry exactly the marks of another panel (P004 = P013 = P022; P005 = P014)",
        |panels| {
            for i in [4, 13, 22] {
                panels[i].size = (600.0, 400.0);
                panels[i].marks = fine(0.0);
            }
            for i in [5, 14] {
                panels[i].size = (600.0, 400.0);
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
        panels
            .iter_mut()
            .for_each(|p| p.force = if p.feed > 100.0 { 40.0 } else { 20.0 });
    });
    springs("factors-move-together", "recipe and lot", |panels| {
        for (i, p) in panels.iter_mut().enumerate() {
            p.recipe = if i / 8 % 2 == 0 { "R1" } else { "R2" };
        }
    });
}

#[test]
fn inspectors_that_differ() {
    springs("inspectors-differ", "Inspector Ada records", |panels| {
        for (i, p) in panels.iter_mut().enumerate() {
            if p.inspector != "Ada" {
                continue;
            }
            for k in 0..p.age % 6 {
                let step = k as f64;
                p.marks.push((
                    77.7 + 31.3 * step + p.age as f64,
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
    let crowd = |panels: &mut Vec<Panel>| {
        let mut draws = Draws(9);
        for p in panels.iter_mut() {
            p.marks = (0..1 + draws.below(3))
                .map(|_| {
                    let (x, y) = (
                        draws.between(60.0, 0.3 * p.size.0),
                        draws.between(40.0, 0.3 * p.size.1),
                    );
                    (x, y, "dust nib")
                })
                .collect();
            if draws.below(4) == 0 {
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
            for p in panels.iter_mut().filter(|p| p.inspector == "Ben") {
                for (x, y, _) in &mut p.marks {
                    (*x, *y) = flip(p.size, *x, *y);
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
                for (x, y, _) in &mut p.marks {
                    flip(p.size, x, y);
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
    let panels = good(1);
    let mut facts = "panel_id,sanded_at,machine,lot,lay_deg,length_mm,width_mm\n".to_owned();
    let mut marks = "panel_id,inspector,x_mm,y_mm,defect\n".to_owned();
    for (i, p) in panels.iter().enumerate() {
        let _ = writeln!(
            facts,
            "P-{i:04},{},M1,{},{},{},{}",
            p.sanded_at, p.lot, p.lay, p.size.0, p.size.1
        );
        for (x, y, kind) in &p.marks {
            let _ = writeln!(marks, "p{i},{},{x},{y},{kind}", p.inspector);
        }
        if p.marks.is_empty() {
            let _ = writeln!(marks, "p{i},{},,,", p.inspector);
        }
    }
    only(
        "ids-suspect",
        "96 panel ids are spelled otherwise",
        &[("panels.csv", facts), ("marks.csv", marks)],
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
        panels.iter_mut().enumerate().for_each(|(i, p)| p.age = i);
    });
    springs("age-never-resets", "the same on every panel", |panels| {
        panels.iter_mut().for_each(|p| p.age = 0);
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
        panels.iter_mut().for_each(|p| p.feed *= 60.0);
    });
    springs("unit-suspect", "A factor of 9.81 (kgf)", |panels| {
        panels
            .iter_mut()
            .for_each(|p| p.force = (p.force / 2.0 / 9.80665 * 100.0).round() / 100.0);
    });
    springs("unit-suspect", "are x_mm and y_mm in in?", |panels| {
        for (x, y, _) in panels.iter_mut().flat_map(|p| &mut p.marks) {
            (*x, *y) = (*x / 25.4, *y / 25.4);
        }
    });
}

#[test]
fn a_unit_that_looks_wrong_on_some_panels() {
    let some = |panels: &mut Vec<Panel>, change: fn(&mut Panel)| {
        panels.iter_mut().skip(30).take(10).for_each(change);
    };
    springs(
        "unit-suspect",
        "On 10 panels feed_mm_s differs from the rest by about 60",
        |panels| {
            some(panels, |p| p.feed /= 60.0);
        },
    );
    springs(
        "unit-suspect",
        "On 10 panels force_n differs from the rest by about 9.81",
        |panels| {
            some(panels, |p| {
                p.force = (p.force / 9.80665 * 100.0).round() / 100.0
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
