//! Unevenness of removal: slopes, gauge and spread against other programs.

use std::collections::BTreeMap;
use std::sync::Arc;

use onus::causes::{Contrast, SurfaceNote, surfaces};
use onus::records::{Lay, Panel, Point, Reading, Records};
use onus::stats::distributions::student_t::two_sided_quantile;

use crate::published::published;

/// The reference prints ten digits.
const PRINTED: f64 = 1e-9;

/// Panels of 600 × 400 mm that all lay alike, readings at (u, v) with removal.
fn records(panels: &[Vec<(f64, f64, f64)>]) -> Records {
    let mut records = Records::default();
    for (i, readings) in panels.iter().enumerate() {
        records.panels.push(Panel {
            id: format!("P{i}"),
            length_mm: 600.0,
            width_mm: 400.0,
            ..Panel::default()
        });
        for &(u, v, removed_um) in readings {
            records.readings.push(Reading {
                panel: i,
                place: Some(Point {
                    x: 300.0 * (1.0 + u),
                    y: 200.0 * (1.0 + v),
                }),
                removed_um: Some(removed_um),
                film_um: None,
            });
        }
    }
    records
}

#[test]
fn six_panels_on_nine_points_give_the_reference_values() {
    let at = [-0.9, 0.0, 0.9];
    let panels: Vec<Vec<(f64, f64, f64)>> = (0..6)
        .map(|i| {
            (0..9)
                .map(|j| {
                    let (u, v) = (at[j % 3], at[j / 3]);
                    let step = f64::from(u8::try_from((7 * i + 3 * j) % 5).unwrap()) - 2.0;
                    let along = 0.5 + 0.2 * f64::from(u8::try_from(i % 3).unwrap());
                    let across = if i % 2 == 0 { 1.0 } else { -0.1 };
                    (
                        u,
                        v,
                        20.0 + along * u + across * v - 0.4 * u * u + 0.05 * step,
                    )
                })
                .collect()
        })
        .collect();
    let surfaces = surfaces(&records(&panels), 0.01);
    let surface = &surfaces[0];
    assert_eq!(surface.contrast, Contrast::NeverTurned);
    let slope = &surface.slope_x;
    let ci = slope.machine_ci.unwrap();
    for row in published("surface_worked_case.csv") {
        let got = match row.text("quantity") {
            "slope_x" => slope.machine.unwrap(),
            "slope_x_low" => ci.low,
            "slope_x_high" => ci.high,
            "gauge_variance" => surface.gauge_sd_um.unwrap().powi(2),
            "slope_x_part_variance" => slope.part_sd.unwrap().powi(2),
            other => panic!("unknown quantity {other}"),
        };
        row.check("value", got, PRINTED);
    }
}

/// Variance components of an optimiser that stops at about eight digits.
const REML: f64 = 1e-6;
/// Satterthwaite degrees of freedom by numerical derivatives.
const NUMERICAL_DOF: f64 = 1e-6;

/// On a balanced design with all coefficients of a panel random, restricted
/// maximum likelihood has a closed form: ours.
#[test]
fn a_balanced_design_gives_the_mixed_model_of_lme4() {
    let mut panels = vec![Vec::new(); 60];
    for row in published("surface_lme4_data.csv") {
        let panel = usize::try_from(row.count("panel")).unwrap() - 1;
        panels[panel].push((row.number("u"), row.number("v"), row.number("removed_um")));
    }
    let surfaces = surfaces(&records(&panels), 0.01);
    let surface = &surfaces[0];
    let (crown_x, crown_y) = (
        surface.crown_x.clone().unwrap(),
        surface.crown_y.clone().unwrap(),
    );
    let twist = surface.twist.clone().unwrap();
    // Half width of a 95 % t interval with 59 degrees of freedom, in standard errors.
    let reach = two_sided_quantile(0.95, 59.0);
    for row in published("surface_lme4.csv") {
        let Some((what, name)) = row.text("quantity").split_once(' ') else {
            panic!("a quantity without a name");
        };
        let term = match name {
            "u" => &surface.slope_x,
            "v" => &surface.slope_y,
            "I(u^2)" => &crown_x,
            "I(v^2)" => &crown_y,
            "I(u * v)" => &twist,
            // The level is the recipe's, not the surface's.
            "(Intercept)" => continue,
            "variance" => {
                row.check("value", surface.gauge_sd_um.unwrap().powi(2), REML);
                continue;
            }
            other => panic!("unknown term {other}"),
        };
        let ci = term.machine_ci.unwrap();
        let got = match what {
            "fixed" => term.machine.unwrap(),
            "std_error" => (ci.high - ci.low) / 2.0 / reach,
            "variance" => term.part_sd.unwrap().powi(2),
            other => panic!("unknown quantity {other}"),
        };
        row.check("value", got, REML);
    }
}

/// Reaction times over ten days of eighteen people are, to the arithmetic, ten
/// readings along eighteen panels (Belenky et al. 2003; lme4, lmerTest).
#[test]
fn readings_along_a_line_give_the_published_random_slopes() {
    const HALF_DAYS: f64 = 4.5;
    let mut panels: BTreeMap<String, Vec<(f64, f64, f64)>> = BTreeMap::new();
    for row in published("sleepstudy.csv") {
        let u = row.number("Days") / HALF_DAYS - 1.0;
        panels
            .entry(row.text("Subject").to_owned())
            .or_default()
            .push((u, 0.0, row.number("Reaction")));
    }
    let panels: Vec<_> = panels.into_values().collect();
    let surfaces = surfaces(&records(&panels), 0.01);
    let surface = &surfaces[0];
    assert!(
        surface
            .notes
            .contains(&SurfaceNote::OneAxisOnly { panels: 18 })
    );
    assert_eq!(surface.slope_y.machine, None);
    let ci = surface.slope_x.machine_ci.unwrap();
    for row in published("lmm_fixed_effects.csv") {
        if row.text("model") == "sleepstudy" && row.text("term") == "Days" {
            row.check(
                "estimate",
                surface.slope_x.machine.unwrap() / HALF_DAYS,
                REML,
            );
            let reach = two_sided_quantile(0.95, row.number("satterthwaite_df"));
            let half = (ci.high - ci.low) / 2.0 / HALF_DAYS;
            row.check("std_error", half / reach, REML);
        }
    }
    for row in published("lmm_variance_components.csv") {
        if row.text("model") != "sleepstudy" || !row.text("var2").is_empty() {
            continue;
        }
        match (row.text("group"), row.text("var1")) {
            ("Subject", "Days") => {
                let sd = surface.slope_x.part_sd.unwrap() / HALF_DAYS;
                row.check("sd_or_corr", sd, REML);
            }
            ("Residual", _) => row.check("sd_or_corr", surface.gauge_sd_um.unwrap(), REML),
            _ => {}
        }
    }
}

/// What the cluster-robust reference says of turned panels in five lots.
struct Turned {
    panel: Panel,
    slopes: [f64; 2],
}

fn turned_panels() -> Vec<Turned> {
    published("turned_slopes.csv")
        .iter()
        .map(|row| Turned {
            panel: Panel {
                id: row.text("panel").to_owned(),
                lot: Some(Arc::from(row.text("lot"))),
                length_mm: 600.0,
                width_mm: 400.0,
                lay: match row.text("lay") {
                    "0" => Lay::Deg0,
                    "90" => Lay::Deg90,
                    "180" => Lay::Deg180,
                    "270" => Lay::Deg270,
                    other => panic!("unknown lay {other}"),
                },
                ..Panel::default()
            },
            slopes: [row.number("slope_x"), row.number("slope_y")],
        })
        .collect()
}

/// Four corners carry a panel's slopes exactly.
fn corner_records(panels: &[Turned]) -> Records {
    let mut records = Records::default();
    for (i, turned) in panels.iter().enumerate() {
        let rect = turned.panel.machine_rect();
        for (p, q) in [(0.0, 0.0), (600.0, 0.0), (0.0, 400.0), (600.0, 400.0)] {
            let place = Point { x: p, y: q };
            let at = turned.panel.to_machine(place);
            let u = 2.0 * at.x / rect.width() - 1.0;
            let v = 2.0 * at.y / rect.height() - 1.0;
            records.readings.push(Reading {
                panel: i,
                place: Some(place),
                removed_um: Some(20.0 + turned.slopes[0] * u + turned.slopes[1] * v),
                film_um: None,
            });
        }
        records.panels.push(turned.panel.clone());
    }
    records
}

#[test]
fn panels_turned_within_their_lots_agree_with_clubsandwich() {
    let surfaces = surfaces(&corner_records(&turned_panels()), 0.01);
    let surface = &surfaces[0];
    assert_eq!(surface.contrast, Contrast::TurnedAmongAlike);
    for row in published("turned_slopes_clubsandwich.csv") {
        let term = match (row.text("fit"), row.text("term")) {
            ("within lots", "ax") => &surface.slope_x,
            ("within lots", "ay") => &surface.slope_y,
            _ => continue,
        };
        row.check("estimate", term.machine.unwrap(), PRINTED);
        let ci = term.machine_ci.unwrap();
        row.check("low", ci.low, NUMERICAL_DOF);
        row.check("high", ci.high, NUMERICAL_DOF);
    }
}
