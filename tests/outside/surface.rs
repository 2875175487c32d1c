//! Unevenness of removal: slopes, gauge and spread against other programs.

use onus::causes::{Contrast, surfaces};
use onus::records::{Panel, Point, Reading, Records};

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
