//! Whether the numbers are what their column says: units that look wrong,
//! settings out of the usual, an abrasive that never ages.

use std::collections::{BTreeMap, BTreeSet};

use super::super::{Column, FactorValue, Panel, Records, Warning, WarningCode};
use super::{counted, median, short, some, warn};

/// By how much a number is off when it is in another unit: inch for mm and mil
/// for µm; minute for second; kilogram-force for newton; m/min for mm/s; cm
/// for mm.
const FACTORS: [(f64, &str); 5] = [
    (25.4, "in or mil"),
    (60.0, "per minute"),
    (9.806_65, "kgf"),
    (1000.0 / 60.0, "m/min"),
    (10.0, "cm"),
];

/// How far a setting may be off a converted one: rounding to two digits, yet
/// not a setting ten times another, which is no kgf.
const SETTING: f64 = 0.015;

pub(super) fn find(records: &Records, warnings: &mut Vec<Warning>) {
    let panels = |of: fn(&Panel) -> Option<f64>| -> Vec<f64> {
        records.panels.iter().filter_map(of).collect()
    };
    usual(
        warnings,
        Column::LengthMm,
        &panels(|p| Some(p.length_mm)),
        &[0, 4],
    );
    usual(
        warnings,
        Column::FeedMmS,
        &panels(|p| p.feed_mm_s),
        &[3, 0, 1],
    );
    usual(warnings, Column::ForceN, &panels(|p| p.force_n), &[2]);
    let removed = by_panel(records, |r| r.removed_um);
    let film = by_panel(records, |r| r.film_um);
    // Readings about zero are a gauge at its limit, not another unit.
    let about_zero = removed.iter().any(|v| *v <= 0.0);
    let clear: &[f64] = if about_zero { &[] } else { &removed };
    usual(warnings, Column::RemovedUm, clear, &[0]);
    usual(warnings, Column::FilmUm, &film, &[0]);

    let told: Vec<(Column, f64)> = [
        (
            Column::LengthMm,
            &*panels(|p| Some(p.length_mm)),
            &[0][..],
            0.02,
        ),
        (
            Column::FeedMmS,
            &panels(|p| p.feed_mm_s),
            &[3, 0, 1],
            SETTING,
        ),
        (Column::ForceN, &panels(|p| p.force_n), &[2], SETTING),
        (Column::RemovedUm, &removed, &[0], 0.25),
        (Column::FilmUm, &film, &[0], 0.25),
    ]
    .into_iter()
    .filter_map(|(column, values, suspects, tolerance)| {
        let factor = mixed(warnings, column, values, suspects, tolerance)?;
        Some((column, factor))
    })
    .collect();

    far_off(records, &told, warnings);
    passes(records, warnings);
    more_than_the_film(records, warnings);
    age(records, warnings);
}

/// The mean of a panel's readings, for every panel that has some.
fn by_panel(records: &Records, of: fn(&super::super::Reading) -> Option<f64>) -> Vec<f64> {
    let mut sums: BTreeMap<usize, (f64, usize)> = BTreeMap::new();
    for reading in &records.readings {
        if let Some(value) = of(reading) {
            let (sum, count) = sums.entry(reading.panel).or_default();
            *sum += value;
            *count += 1;
        }
    }
    sums.values()
        .map(|(sum, count)| sum / *count as f64)
        .collect()
}

/// The typical value outside the usual.
fn usual(warnings: &mut Vec<Warning>, column: Column, values: &[f64], suspects: &[usize]) {
    let (Some(typical), Some((low, high))) = (median(values.to_vec()), column.usual()) else {
        return;
    };
    // A gauge that reads zero throughout is no matter of units.
    if (low..=high).contains(&typical) || typical == 0.0 {
        return;
    }
    let fits = suspects.iter().map(|at| FACTORS[*at]).find(|(factor, _)| {
        let turned = if typical < low {
            typical * factor
        } else {
            typical / factor
        };
        (low..=high).contains(&turned)
    });
    let guess = fits.map_or_else(String::new, |(factor, unit)| {
        format!(" A factor of {} ({unit}) would explain it.", short(factor))
    });
    warnings.push(warn(
        WarningCode::UnitSuspect,
        format!(
            "{} is typically {} {}, outside the usual {} to {}.{guess} See [units] in onus.toml.",
            column.name(),
            short(typical),
            column.unit(),
            short(low),
            short(high)
        ),
    ));
}

/// Settings that so many panels share are what the rest is compared with.
const SHARED: f64 = 0.05;

/// Some panels off from the others by just the factor between two units: from
/// their median or, where settings are chosen from a few, from one of these.
/// Gives that factor.
fn mixed(
    warnings: &mut Vec<Warning>,
    column: Column,
    values: &[f64],
    suspects: &[usize],
    tolerance: f64,
) -> Option<f64> {
    let typical = median(values.to_vec()).filter(|m| *m > 0.0)?;
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut usual: Vec<f64> = sorted
        .chunk_by(|a, b| a == b)
        .filter(|level| level.len() as f64 >= SHARED * values.len() as f64)
        .map(|level| level[0])
        .collect();
    usual.push(typical);
    for at in suspects {
        let (factor, unit) = FACTORS[*at];
        // The rest lies nearer to the median than half the way to the other unit.
        let near = |v: f64| v < typical * factor.sqrt() && v * factor.sqrt() > typical;
        let off = |v: f64| {
            let is = |other: f64| {
                usual
                    .iter()
                    .any(|u| near(*u) && (other / u - 1.0).abs() <= tolerance)
            };
            !near(v) && (is(v / factor) || is(v * factor))
        };
        let odd = values.iter().filter(|v| off(**v)).count();
        if odd > 0 {
            warnings.push(warn(
                WarningCode::UnitSuspect,
                format!(
                    "On {} {} differs from the rest by about {}: is it in another unit ({unit}) there?",
                    counted(odd, "panel"),
                    column.name(),
                    short(factor)
                ),
            ));
            return Some(factor);
        }
    }
    None
}

/// Beyond so many times the records' own typical value a number is told.
const FAR_TIMES: f64 = 10.0;
/// Sizes of marks are spread by nature: they are told beyond so many times.
const FAR_AREA: f64 = 1000.0;

/// Up to where a typical value is too small to measure others by: a gauge at
/// its limit, stops at the corner, abrasives that are always fresh.
fn about_nothing(column: &str) -> f64 {
    match Column::from_name(column) {
        Some(Column::RemovedUm) => Column::RemovedUm.usual().map_or(0.0, |(low, _)| low),
        Some(Column::LayXMm | Column::LayYMm) => 50.0,
        Some(Column::AbrasiveAge) => 10.0,
        _ => 0.0,
    }
}

/// A column, its values by panel, and how far below and above the median is far.
type Ranged<'a> = (&'a str, Vec<(usize, f64)>, f64, f64);

/// Single values far from what the records themselves have; those in another
/// unit are `told` already, with their column and factor.
fn far_off(records: &Records, told: &[(Column, f64)], warnings: &mut Vec<Warning>) {
    let panels = |of: fn(&Panel) -> Option<f64>| -> Vec<(usize, f64)> {
        let of = |(at, panel)| Some((at, of(panel)?));
        records.panels.iter().enumerate().filter_map(of).collect()
    };
    let both = FAR_TIMES.recip();
    let mut columns: Vec<Ranged<'_>> = vec![
        (
            Column::LengthMm.name(),
            panels(|p| Some(p.length_mm)),
            both,
            FAR_TIMES,
        ),
        (
            Column::WidthMm.name(),
            panels(|p| Some(p.width_mm)),
            both,
            FAR_TIMES,
        ),
        (
            Column::LayXMm.name(),
            panels(|p| Some(p.lay_x_mm.abs())),
            0.0,
            FAR_TIMES,
        ),
        (
            Column::LayYMm.name(),
            panels(|p| Some(p.lay_y_mm.abs())),
            0.0,
            FAR_TIMES,
        ),
        (
            Column::FeedMmS.name(),
            panels(|p| p.feed_mm_s),
            both,
            FAR_TIMES,
        ),
        (Column::Passes.name(), panels(|p| p.passes), both, FAR_TIMES),
        (
            Column::ForceN.name(),
            panels(|p| p.force_n),
            both,
            FAR_TIMES,
        ),
        (
            Column::AbrasiveAge.name(),
            panels(|p| p.abrasive_age),
            0.0,
            FAR_TIMES,
        ),
    ];
    for (index, name) in records.factor_names.iter().enumerate() {
        let of = |(at, panel): (usize, &Panel)| match panel.factors.get(index) {
            Some(Some(FactorValue::Number(value))) => Some((at, value.abs())),
            _ => None,
        };
        let values = records.panels.iter().enumerate().filter_map(of).collect();
        columns.push((name, values, 0.0, FAR_TIMES));
    }
    let areas = records
        .defects
        .iter()
        .filter_map(|d| Some((d.panel, d.area_mm2?)));
    columns.push((Column::AreaMm2.name(), areas.collect(), 0.0, FAR_AREA));
    let removed = records
        .readings
        .iter()
        .filter_map(|r| Some((r.panel, r.removed_um?.abs())));
    columns.push((Column::RemovedUm.name(), removed.collect(), 0.0, FAR_TIMES));
    let film = records
        .readings
        .iter()
        .filter_map(|r| Some((r.panel, r.film_um?)));
    columns.push((Column::FilmUm.name(), film.collect(), 0.0, FAR_TIMES));
    for (name, values, low, high) in columns {
        let typical = median(values.iter().map(|(_, v)| *v).collect());
        let Some(typical) = typical.filter(|typical| *typical > about_nothing(name)) else {
            continue;
        };
        let far = |v: f64| v > high * typical || v < low * typical;
        let unit = told.iter().find(|(column, _)| column.name() == name);
        let explained =
            |v: f64| unit.is_some_and(|(_, factor)| !far(v * factor) || !far(v / factor));
        let far: Vec<&(usize, f64)> = values
            .iter()
            .filter(|(_, v)| far(*v) && !explained(*v))
            .collect();
        if far.is_empty() {
            continue;
        }
        let panels: BTreeSet<usize> = far.iter().map(|(at, _)| *at).collect();
        let ids: Vec<String> = panels
            .iter()
            .map(|p| records.panels[*p].id.clone())
            .collect();
        let least = far.iter().map(|(_, v)| *v).fold(f64::INFINITY, f64::min);
        let most = far.iter().map(|(_, v)| *v).fold(0.0, f64::max);
        let range = if least == most {
            short(most)
        } else {
            format!("{} to {}", short(least), short(most))
        };
        warnings.push(warn(
            WarningCode::FarOff,
            format!(
                "{name} is {range} on {} ({}), more than {high:.0} times off the typical {}: a slip of the pen, or another unit there?",
                counted(panels.len(), "panel"),
                some(&ids),
                short(typical)
            ),
        ));
    }
}

fn passes(records: &Records, warnings: &mut Vec<Warning>) {
    let (_, most) = Column::Passes.usual().unwrap_or((1.0, f64::INFINITY));
    let odd = records
        .panels
        .iter()
        .filter_map(|p| p.passes)
        .filter(|v| v.fract() != 0.0 || *v > most)
        .count();
    if odd > 0 {
        warnings.push(warn(
            WarningCode::UnitSuspect,
            format!(
                "passes is not whole or above {most} on {}: is it a coverage, or passes per zone?",
                counted(odd, "panel")
            ),
        ));
    }
}

fn more_than_the_film(records: &Records, warnings: &mut Vec<Warning>) {
    let (mut both, mut more) = (0usize, 0usize);
    for reading in &records.readings {
        if let (Some(removed), Some(film)) = (reading.removed_um, reading.film_um) {
            both += 1;
            more += usize::from(removed > film);
        }
    }
    if more > 0 {
        warnings.push(warn(
            WarningCode::UnitSuspect,
            format!(
                "At {more} of {both} places more was removed than film was there: sanded through, another unit, or film measured after sanding?"
            ),
        ));
    }
}

/// An abrasive's age that only ever grows, or that is always fresh.
fn age(records: &Records, warnings: &mut Vec<Warning>) {
    const ENOUGH: usize = 20;
    let mut last: BTreeMap<(&str, &str), (f64, usize, bool)> = BTreeMap::new();
    let mut known: BTreeSet<u64> = BTreeSet::new();
    let mut panels = 0usize;
    for panel in &records.panels {
        let Some(age) = panel.abrasive_age else {
            continue;
        };
        panels += 1;
        known.insert(age.to_bits());
        let key = (
            panel.machine.as_deref().unwrap_or(""),
            panel.head.as_deref().unwrap_or(""),
        );
        let (before, count, fell) = last.entry(key).or_insert((age, 0, false));
        *fell |= age < *before;
        *before = age;
        *count += 1;
    }
    if panels < ENOUGH {
        return;
    }
    if known.len() == 1 {
        warnings.push(warn(
            WarningCode::AgeNeverResets,
            "abrasive_age is the same on every panel: it is not counted, so nothing can follow it."
                .into(),
        ));
        return;
    }
    let never: Vec<&str> = last
        .iter()
        .filter(|(_, (_, count, fell))| *count >= ENOUGH && !*fell)
        .map(|((machine, _), _)| *machine)
        .collect();
    if !never.is_empty() {
        let whose = if never.iter().all(|m| m.is_empty()) {
            String::new()
        } else {
            format!(" on {}", never.join(", "))
        };
        warnings.push(warn(
            WarningCode::AgeNeverResets,
            format!(
                "abrasive_age never falls{whose}: was the abrasive never changed, or is the counter not reset?"
            ),
        ));
    }
}
