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
    let fits = ratio(&items, &design.patterns, kind).map(Fits::of);
    Some(RemovalChange {
        measure,
        panels_before: before.len(),
        panels_after: after.len(),
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

/// Fewest panels, as a share, that must have another of their cell and day for
/// days to be kept apart.
const LEAST_ON_A_DAY: f64 = 0.5;

/// Distances from the mean of machine, lot, side and day, so that days that differ
/// are no spread from panel to panel; where too few panels share a day, from that
/// of machine, lot and side. Stretched by √(n/(n−1)) so that small cells don't look
/// tighter (the test of Levene 1960 on ratios); cells of one panel have none.
fn distances(items: &[Item]) -> Vec<Item> {
    let on_a_day = distances_by(items, |i| i.day);
    if on_a_day.len() as f64 >= LEAST_ON_A_DAY * items.len() as f64 {
        return on_a_day;
    }
    distances_by(items, |_| None)
}

fn distances_by(items: &[Item], day: impl Fn(&Item) -> Option<usize>) -> Vec<Item> {
    let cell = |item: &Item| (item.stream, item.lot, item.side, day(item));
    let mut sums: BTreeMap<_, (f64, f64)> = BTreeMap::new();
    for item in items {
        let sum = sums.entry(cell(item)).or_default();
        sum.0 += item.value;
        sum.1 += 1.0;
    }
    items
        .iter()
        .filter_map(|item| {
            let (sum, n) = sums.get(&cell(item)).copied()?;
            (n > 1.0).then(|| Item {
                value: (item.value - sum / n).abs() * (n / (n - 1.0)).sqrt(),
                ..*item
            })
        })
        .collect()
}
