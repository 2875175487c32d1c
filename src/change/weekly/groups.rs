//! Shifts or days as the points of a chart.

use std::collections::{BTreeMap, BTreeSet};

use super::base::{Stretch, base, lasting_changes};
use super::chart::{ControlChart, ControlPoint, Known, Mark};
use super::usual::{Shares, Usual};
use super::week::Week;
use crate::records::{Panel, Records};
use crate::site::{Analysis, Subgroup};

/// Machine and head.
pub(super) type Cell<'a> = (Option<&'a str>, Option<&'a str>);

/// The subgroups of the panels of one machine and head.
pub(super) struct Groups<'a> {
    cell: Cell<'a>,
    subgroup: &'static str,
    labels: Vec<(String, jiff::civil::Date)>,
    in_week: Vec<bool>,
    panels: Vec<usize>,
    areas: Vec<f64>,
    /// Changes of recipe.
    marks: Vec<Mark>,
    /// Points at which a recipe came for good.
    cuts: BTreeSet<usize>,
    /// Group of every panel; none where it is in none.
    of_panel: Vec<Option<usize>>,
    /// Lot of every panel, numbered as they come; none where not recorded.
    lot_of_panel: Vec<Option<usize>>,
    /// Shares of a point's area by lot.
    lots: Vec<Shares>,
}

impl<'a> Groups<'a> {
    pub(super) fn new(
        records: &Records,
        analysis: &Analysis,
        week: Option<Week>,
        cell: Cell<'a>,
    ) -> Self {
        let of_cell = |p: &Panel| (p.machine.as_deref(), p.head.as_deref()) == cell;
        let key = |panel: &Panel| {
            let at = panel
                .sanded_at
                .filter(|_| panel.inspected && of_cell(panel))?;
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
            cell,
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
            in_week: vec![false; count],
            panels: vec![0; count],
            areas: vec![0.0; count],
            marks: Vec::new(),
            cuts: BTreeSet::new(),
            of_panel: Vec::with_capacity(keys.len()),
            lot_of_panel: Vec::with_capacity(keys.len()),
            lots: vec![Shares::new(); count],
        };
        let mut last = None;
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
            groups.in_week[group] |= *in_week;
            let Some(recipe) = panel.recipe.as_deref() else {
                continue;
            };
            let before = last.replace(recipe);
            let mark = Mark {
                point: group,
                known: Known::Recipe(recipe.to_owned()),
            };
            if before.is_some_and(|before| before != recipe) && !groups.marks.contains(&mark) {
                groups.marks.push(mark);
            }
        }
        let recipes = (records.panels.iter().zip(&groups.of_panel))
            .filter_map(|(panel, group)| Some(((*group)?, panel.recipe.as_deref()?)));
        groups.cuts = lasting_changes(recipes);
        for (shares, area) in groups.lots.iter_mut().zip(&groups.areas) {
            shares.values_mut().for_each(|share| *share /= area);
        }
        groups
    }

    /// A chart of every kind of defect that the cell's panels show.
    pub(super) fn charts(
        &self,
        records: &Records,
        stretches: &[Stretch],
        false_shift: f64,
    ) -> Vec<ControlChart> {
        let seen = (records.defects.iter()).filter(|d| self.of_panel[d.panel].is_some());
        let kinds: BTreeSet<usize> = seen.map(|d| d.name).collect();
        kinds
            .into_iter()
            .map(|kind| self.chart(records, kind, stretches, false_shift))
            .collect()
    }

    /// The chart of the kind at that place among the names.
    fn chart(
        &self,
        records: &Records,
        kind: usize,
        stretches: &[Stretch],
        false_shift: f64,
    ) -> ControlChart {
        let name = &records.defect_names[kind].name;
        let mut out = self.in_week.clone();
        let mut marks = self.marks.clone();
        for stretch in stretches {
            if stretch.defect == *name && self.holds(stretch) {
                self.leave_out(stretch, &mut out, &mut marks);
            }
        }
        marks.sort_by_key(|mark| mark.point);
        let base = base(&out, &self.cuts);
        let in_base = |point: usize| base.as_ref().is_some_and(|base| base.contains(&point));
        let mut defects = vec![0usize; self.labels.len()];
        // defects and area of the base by lot, as the lots came
        let mut by_lot: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
        let of_base = |panel: usize| self.of_panel[panel].filter(|group| in_base(*group));
        for (k, (panel, lot)) in records.panels.iter().zip(&self.lot_of_panel).enumerate() {
            if let (Some(lot), Some(_)) = (lot, of_base(k)) {
                by_lot.entry(*lot).or_default().1 += panel.area_m2();
            }
        }
        for defect in records.defects.iter().filter(|d| d.name == kind) {
            if let Some(group) = self.of_panel[defect.panel] {
                defects[group] += 1;
            }
            if let (Some(lot), Some(_)) = (self.lot_of_panel[defect.panel], of_base(defect.panel)) {
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
                defects: defects[k],
                rate: defects[k] as f64 / self.areas[k],
                limits: None,
                base: in_base(k),
                week: self.in_week[k],
                signals: Vec::new(),
            })
            .collect();
        let mut chart = ControlChart {
            machine: self.cell.0.map(str::to_owned),
            head: self.cell.1.map(str::to_owned),
            defect: name.clone(),
            subgroup: self.subgroup,
            base: base.as_ref().map(|base| (base.start, base.end)),
            centre: None,
            dispersion: None,
            days_sd: None,
            lots_sd: None,
            points,
            marks,
            small_shift: None,
            false_alarm: None,
            points_to_false_alarm: None,
            points_to_doubling: None,
            run_rule: false,
        };
        if let Some(base) = base {
            let by_lot: Vec<(f64, f64)> = by_lot.into_values().collect();
            let lots = &self.lots[base.start..];
            let usual = Usual::of(&chart.points[base.start..], &by_lot, lots);
            chart.draw_limits(&usual, &base, false_shift);
        }
        chart
    }

    /// Whether a stretch is of this machine and head.
    fn holds(&self, stretch: &Stretch) -> bool {
        let of = |own: &Option<String>, cell: Option<&str>| own.is_none() || own.as_deref() == cell;
        of(&stretch.machine, self.cell.0) && of(&stretch.head, self.cell.1)
    }

    /// Takes the points of a stretch out of the base and marks its ends; one that
    /// runs through all of the records is what is usual here.
    fn leave_out(&self, stretch: &Stretch, out: &mut [bool], marks: &mut Vec<Mark>) {
        if stretch.onset.is_none() && stretch.end.is_none() {
            return;
        }
        let from = |panel: usize| self.of_panel[panel..].iter().flatten().next().copied();
        let until = |panel: usize| {
            self.of_panel[..=panel]
                .iter()
                .rev()
                .flatten()
                .next()
                .copied()
        };
        let first = stretch
            .onset
            .and_then(|onset| from(onset.outermost))
            .unwrap_or(0);
        let last = stretch.end.and_then(|end| until(end.outermost));
        let last = last.map_or(out.len(), |last| last + 1);
        if first < last {
            out[first..last].fill(true);
        }
        let ends = [
            (stretch.onset, Known::Onset(stretch.finding.clone())),
            (stretch.end, Known::End(stretch.finding.clone())),
        ];
        for (bound, known) in ends {
            if let Some(point) = bound.and_then(|bound| from(bound.panel)) {
                marks.push(Mark { point, known });
            }
        }
    }
}
