//! Shifts or days as the points of a chart.

use std::collections::{BTreeMap, BTreeSet};

use super::chart::{ControlChart, ControlPoint, Mark};
use super::usual::{Shares, Usual};
use super::week::Week;
use crate::records::{Panel, Records};
use crate::site::{Analysis, Subgroup};

/// The subgroups of the panels.
pub(super) struct Groups {
    subgroup: &'static str,
    labels: Vec<(String, jiff::civil::Date)>,
    base: Vec<bool>,
    panels: Vec<usize>,
    areas: Vec<f64>,
    marks: Vec<Mark>,
    /// Group of every panel; none where it is in none.
    of_panel: Vec<Option<usize>>,
    /// Lot of every panel, numbered as they come; none where not recorded.
    lot_of_panel: Vec<Option<usize>>,
    /// Shares of a point's area by lot.
    lots: Vec<Shares>,
    has_week: bool,
}

impl Groups {
    pub(super) fn new(records: &Records, analysis: &Analysis, week: Option<Week>) -> Self {
        let key = |panel: &Panel| {
            let at = panel.sanded_at.filter(|_| panel.inspected)?;
            let own = Week::of(at.local.date());
            if week.is_some_and(|w| own > w) {
                return None;
            }
            let shift = at.shift(analysis.day_start, analysis.shift_hours);
            let number = match analysis.subgroup {
                Subgroup::Shift => shift.number,
                Subgroup::Day => 0,
            };
            Some((shift.day, number, week == Some(own)))
        };
        let keys: Vec<_> = records.panels.iter().map(key).collect();
        let order: BTreeSet<_> = keys.iter().flatten().map(|(d, n, _)| (*d, *n)).collect();
        let index: BTreeMap<_, usize> = order
            .into_iter()
            .enumerate()
            .map(|(k, key)| (key, k))
            .collect();
        let count = index.len();
        let mut groups = Self {
            subgroup: match analysis.subgroup {
                Subgroup::Shift => "shift",
                Subgroup::Day => "day",
            },
            labels: index
                .keys()
                .map(|(day, number)| match analysis.subgroup {
                    Subgroup::Shift => (format!("{day} shift {number}"), *day),
                    Subgroup::Day => (day.to_string(), *day),
                })
                .collect(),
            base: vec![true; count],
            panels: vec![0; count],
            areas: vec![0.0; count],
            marks: Vec::new(),
            of_panel: Vec::with_capacity(keys.len()),
            lot_of_panel: Vec::with_capacity(keys.len()),
            lots: vec![Shares::new(); count],
            has_week: week.is_some(),
        };
        let mut last = BTreeMap::new();
        let mut lots = BTreeMap::new();
        for (panel, key) in records.panels.iter().zip(&keys) {
            let group = key.and_then(|(day, number, _)| index.get(&(day, number)).copied());
            groups.of_panel.push(group);
            let (Some(group), Some((_, _, in_week))) = (group, key) else {
                groups.lot_of_panel.push(None);
                continue;
            };
            groups.panels[group] += 1;
            groups.areas[group] += panel.area_m2();
            let lot = panel.lot.as_deref().map(|lot| {
                let next = lots.len();
                *lots.entry(lot).or_insert(next)
            });
            groups.lot_of_panel.push(lot);
            if let Some(lot) = lot {
                *groups.lots[group].entry(lot).or_default() += panel.area_m2();
            }
            if *in_week {
                groups.base[group] = false;
            }
            let recipe = panel.recipe.as_deref();
            let before = last.insert((&panel.machine, &panel.head), recipe);
            if let (Some(recipe), Some(Some(before))) = (recipe, before)
                && before != recipe
            {
                let mark = Mark {
                    point: group,
                    label: recipe.to_owned(),
                };
                if !groups.marks.contains(&mark) {
                    groups.marks.push(mark);
                }
            }
        }
        for (shares, area) in groups.lots.iter_mut().zip(&groups.areas) {
            shares.values_mut().for_each(|share| *share /= area);
        }
        groups
    }

    pub(super) fn is_empty(&self) -> bool {
        self.labels.is_empty()
    }

    /// The chart of all kinds, or of the one at that place among the names.
    pub(super) fn chart(
        &self,
        records: &Records,
        kind: Option<usize>,
        false_shift: f64,
    ) -> ControlChart {
        let mut defects = vec![0.0; self.labels.len()];
        // defects and area of the base by lot, as the lots came
        let mut by_lot: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
        let in_base = |panel: usize| self.of_panel[panel].filter(|group| self.base[*group]);
        for (k, (panel, lot)) in records.panels.iter().zip(&self.lot_of_panel).enumerate() {
            if let (Some(lot), Some(_)) = (lot, in_base(k)) {
                by_lot.entry(*lot).or_default().1 += panel.area_m2();
            }
        }
        let wanted = records
            .defects
            .iter()
            .filter(|d| kind.is_none_or(|kind| d.name == kind));
        for defect in wanted {
            if let Some(group) = self.of_panel[defect.panel] {
                defects[group] += 1.0;
            }
            if let (Some(lot), Some(_)) = (self.lot_of_panel[defect.panel], in_base(defect.panel)) {
                by_lot.entry(lot).or_default().0 += 1.0;
            }
        }
        let points: Vec<ControlPoint> = self
            .labels
            .iter()
            .enumerate()
            .map(|(k, (label, day))| ControlPoint {
                label: label.clone(),
                day: *day,
                panels: self.panels[k],
                area_m2: self.areas[k],
                defects: defects[k] as usize,
                rate: defects[k] / self.areas[k],
                limits: None,
                base: self.base[k] || !self.has_week,
                signals: Vec::new(),
            })
            .collect();
        let mut chart = ControlChart::new(
            kind.map(|kind| records.defect_names[kind].name.clone()),
            self.subgroup,
            points,
            self.marks.clone(),
        );
        let by_lot: Vec<(f64, f64)> = by_lot.into_values().collect();
        if let Some(usual) = Usual::of(&chart.points, &by_lot, &self.lots) {
            chart.draw_limits(&usual, false_shift);
        }
        chart
    }
}
