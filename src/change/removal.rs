//! Removal before against after: its mean and its spread.

use std::collections::BTreeMap;

use super::assess::Fits;
use super::design::Basis;
use super::items::Item;
use super::ratio::{Kind, ratio};
use super::{Estimate, Measure, RemovalChange, Settings, Side, Spread};

/// Fewest readings on a panel that show a spread within it.
const FEWEST_READINGS: usize = 3;

/// Removal of one panel.
#[derive(Debug, Clone, Copy, Default)]
struct Removed {
    count: usize,
    mean: f64,
    squares: f64,
}

/// All measures that the readings carry, without verdicts.
pub(super) fn assess(basis: &Basis<'_>, settings: &Settings) -> Vec<RemovalChange> {
    let mut removed = vec![Removed::default(); basis.records.panels.len()];
    for reading in &basis.records.readings {
        if let Some(value) = reading.removed_um {
            // running mean and squares (Welford 1962, Technometrics 4, 419–420)
            let r = &mut removed[reading.panel];
            r.count += 1;
            let step = value - r.mean;
            r.mean += step / r.count as f64;
            r.squares += step * (value - r.mean);
        }
    }
    [Measure::Mean, Measure::BetweenPanels, Measure::WithinPanel]
        .into_iter()
        .filter_map(|measure| compare(basis, &removed, measure, settings))
        .collect()
}

fn compare(
    basis: &Basis<'_>,
    removed: &[Removed],
    measure: Measure,
    settings: &Settings,
) -> Option<RemovalChange> {
    let fewest = match measure {
        Measure::Mean | Measure::BetweenPanels => 1,
        Measure::WithinPanel => FEWEST_READINGS,
    };
    let design = basis.design(|k| removed[k].count >= fewest);
    let mut items = design.items;
    for (item, &panel) in items.iter_mut().zip(&design.panels) {
        let r = &removed[panel];
        item.value = match measure {
            Measure::Mean | Measure::BetweenPanels => r.mean,
            Measure::WithinPanel => (r.squares / (r.count - 1).max(1) as f64).sqrt(),
        };
    }
    let panels =
        [Side::Before, Side::After].map(|side| items.iter().filter(|i| i.side == side).count());
    if measure == Measure::BetweenPanels {
        items = distances(&items);
    }
    let of = |side: Side| -> Vec<f64> {
        let own = items.iter().filter(|i| i.side == side);
        own.map(|i| i.value).collect()
    };
    let (before, after) = (of(Side::Before), of(Side::After));
    if before.is_empty() || after.is_empty() {
        return None;
    }
    let kind = match measure {
        Measure::Mean | Measure::WithinPanel => Kind::Measures,
        Measure::BetweenPanels => Kind::Distances,
    };
    let found = ratio(&items, &design.patterns, kind);
    let fits = found.map(|r| Fits::of(r.of_panels(panels[0] + panels[1])));
    Some(RemovalChange {
        measure,
        panels_before: panels[0],
        panels_after: panels[1],
        before_um: mean(&before),
        after_um: mean(&after),
        estimate: fits.as_ref().map(|f| Estimate {
            ratio: f.main.estimate(),
            ratio_ci: f.interval(settings.level),
            p: f.p_value(),
        }),
        p_adjusted: None,
        verdict: Spread::NotIdentifiable,
        needed: None,
        fits,
        confounded_with: design.confounded_with,
    })
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Fewest distances, as a share of the panels, for days to be kept apart.
const LEAST_ON_A_DAY: f64 = 1.0 / 3.0;

/// Distances from the panels before of the same machine, lot, side and day, so that
/// days that differ are no spread from panel to panel; where too few panels share a
/// day, of the same machine, lot and side.
fn distances(items: &[Item]) -> Vec<Item> {
    let on_a_day = distances_by(items, |i| i.day);
    if on_a_day.len() as f64 >= LEAST_ON_A_DAY * items.len() as f64 {
        return on_a_day;
    }
    distances_by(items, |_| None)
}

/// From the mean of the n panels before in the cell, times √(n/(n + 1)): of normal
/// values these are independent and as wide as the values themselves (Helmert's
/// transformation; Brown, Durbin & Evans 1975, J. R. Stat. Soc. B 37, 149–192), where
/// distances from the mean of all go together, and those of two panels are one. The
/// first panel of a cell has none.
fn distances_by(items: &[Item], day: impl Fn(&Item) -> Option<usize>) -> Vec<Item> {
    let mut sums: BTreeMap<_, (f64, f64)> = BTreeMap::new();
    items
        .iter()
        .filter_map(|item| {
            let cell = (item.stream, item.lot, item.side, day(item));
            let so_far = sums.entry(cell).or_default();
            let (sum, n) = *so_far;
            *so_far = (sum + item.value, n + 1.0);
            (n > 0.0).then(|| Item {
                value: (item.value - sum / n).abs() * (n / (n + 1.0)).sqrt(),
                ..*item
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Helmert's transformation of 1, 3 and 8, by hand: 2·√(1/2), 6·√(2/3).
    #[test]
    fn distances_from_the_panels_before_are_as_wide_as_the_values() {
        let item = |value: f64| Item {
            alike: None,
            stream: 0,
            pattern: 0,
            lot: None,
            day: None,
            side: Side::Before,
            value,
            exposure: 1.0,
        };
        let found = distances(&[1.0, 3.0, 8.0].map(item));
        let found: Vec<f64> = found.iter().map(|i| i.value).collect();
        assert_relative_eq!(found[0], 2.0_f64.sqrt(), max_relative = 1e-12);
        assert_relative_eq!(found[1], 24.0_f64.sqrt(), max_relative = 1e-12);
    }

    /// Readings of 19, 20 and 21 µm: a standard deviation of 1, with n − 1.
    #[test]
    fn the_spread_within_a_panel_is_that_of_a_sample() {
        use crate::change::{Selection, Sides, Window, compare};
        use crate::records::{Panel, Reading, Records};
        let panel = |i: usize| Panel {
            id: format!("P{i}"),
            recipe: Some(["old", "new"][i % 2].into()),
            length_mm: 1000.0,
            width_mm: 1000.0,
            inspected: true,
            ..Panel::default()
        };
        let reading = |i: usize| Reading {
            panel: i / 3,
            place: None,
            removed_um: Some(19.0 + (i % 3) as f64),
            film_um: None,
        };
        let records = Records {
            panels: (0..20).map(panel).collect(),
            readings: (0..60).map(reading).collect(),
            ..Records::default()
        };
        let side = |recipe: &str| vec![format!("recipe={recipe}").parse().unwrap()];
        let selection = Selection {
            sides: Sides::Values {
                before: side("old"),
                after: side("new"),
            },
            only: Vec::new(),
            window: Window::default(),
            on: Vec::new(),
        };
        let changes = compare(&records, &selection, &Settings::default()).unwrap();
        let measures = &changes.comparisons[0].removal;
        let within = measures.iter().find(|r| r.measure == Measure::WithinPanel);
        assert_relative_eq!(within.unwrap().before_um, 1.0, max_relative = 1e-12);
    }
}
