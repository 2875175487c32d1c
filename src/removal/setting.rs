//! One panel's setting of the recipe, and stretches of panels at one setting.

use std::collections::{BTreeMap, HashSet};
use std::sync::Arc;

use super::inference::Shared;
use super::result::{Factor, Unit};
use crate::records::{FactorValue, GritScale, Panel, Records};
use crate::stats::mixed::Grouping;

/// A value of a factor.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A number, in the column's unit.
    Number(f64),
    /// A level.
    Level(Arc<str>),
}

impl serde::Serialize for Value {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Number(v) => serializer.serialize_f64(*v),
            Self::Level(name) => serializer.serialize_str(name),
        }
    }
}

/// The values of all factors on one panel, aligned with [`Factors::list`].
pub(super) type Setting = Vec<Option<Value>>;

/// The factors that the records may hold, in the trade's order.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Factors {
    pub(super) list: Vec<Factor>,
}

impl Factors {
    /// The columns of the recipe, the site's own factors, and what is allowed for.
    pub(super) fn of(records: &Records) -> Self {
        let mut list = vec![
            Factor::Feed,
            Factor::Passes,
            Factor::Force,
            Factor::Grit,
            Factor::Grain,
            Factor::AbrasiveAge,
        ];
        list.extend(records.factor_names.iter().cloned().map(Factor::Site));
        list.extend([
            Factor::Recipe,
            Factor::Cell,
            Factor::Part,
            Factor::Size,
            Factor::Inspector,
            Factor::Hour,
        ]);
        Self { list }
    }

    pub(super) fn position(&self, factor: &Factor) -> Option<usize> {
        self.list.iter().position(|f| f == factor)
    }

    /// The settings of all panels, in their order; each name is kept once.
    pub(super) fn settings(&self, records: &Records) -> Vec<Setting> {
        let mut names: HashSet<Arc<str>> = HashSet::new();
        let mut kept = |value: &mut Option<Value>| {
            let Some(Value::Level(name)) = value else {
                return;
            };
            match names.get(&**name) {
                Some(known) => *name = known.clone(),
                None => _ = names.insert(name.clone()),
            }
        };
        let panels = records.panels.iter();
        panels
            .map(|panel| {
                let mut setting = self.setting(panel);
                setting.iter_mut().for_each(&mut kept);
                setting
            })
            .collect()
    }

    /// The panel's setting.
    pub(super) fn setting(&self, panel: &Panel) -> Setting {
        let mut site = panel.factors.iter();
        let number = |v: Option<f64>| v.map(Value::Number);
        let level = |v: &Option<Arc<str>>| v.clone().map(Value::Level);
        self.list
            .iter()
            .map(|factor| match factor {
                Factor::Feed => number(panel.feed_mm_s.filter(|v| *v > 0.0)),
                Factor::Passes => number(panel.passes.filter(|v| *v > 0.0)),
                Factor::Force => number(panel.force_n.filter(|v| *v > 0.0)),
                Factor::Grit => panel
                    .grit
                    .as_ref()
                    .map(|g| Value::Level(Arc::from(g.label.as_str()))),
                Factor::Grain => number(
                    panel
                        .grit
                        .as_ref()
                        .filter(|g| g.scale.is_some())
                        .and_then(|g| g.grain_um),
                ),
                Factor::AbrasiveAge => number(panel.abrasive_age),
                Factor::Site(_) => match site.next() {
                    Some(Some(FactorValue::Number(v))) => number(Some(*v)),
                    Some(Some(FactorValue::Text(v))) => Some(Value::Level(v.clone())),
                    _ => None,
                },
                Factor::Recipe => level(&panel.recipe),
                Factor::Cell => cell(panel).map(Value::Level),
                Factor::Part => level(&panel.part),
                Factor::Size => Some(Value::Level(size(panel))),
                Factor::Inspector => level(&panel.inspector),
                Factor::Hour => number(panel.sanded_at.map(|at| hours(at.local))),
                Factor::Exposure | Factor::FreshAbrasive => None,
            })
            .collect()
    }
}

/// Machine and head in one name; none where neither is recorded.
pub(super) fn cell(panel: &Panel) -> Option<Arc<str>> {
    match (&panel.machine, &panel.head) {
        (None, None) => None,
        (Some(machine), None) => Some(machine.clone()),
        (None, Some(head)) => Some(head.clone()),
        (Some(machine), Some(head)) => Some(Arc::from(format!("{machine} / {head}"))),
    }
}

/// Length and width to 10 mm: panels of one product differ by a few.
fn size(panel: &Panel) -> Arc<str> {
    let tens = |mm: f64| 10.0 * (mm / 10.0).round();
    Arc::from(format!(
        "{} × {}",
        tens(panel.length_mm),
        tens(panel.width_mm)
    ))
}

/// Hours on the clock of the place since the first of January 2000.
fn hours(local: jiff::civil::DateTime) -> f64 {
    let since = local.duration_since(jiff::civil::date(2000, 1, 1).at(0, 0, 0, 0));
    since.as_secs_f64() / 3600.0
}

pub(super) fn number(value: &Option<Value>) -> Option<f64> {
    match value {
        Some(Value::Number(v)) => Some(*v),
        _ => None,
    }
}

pub(super) fn level(value: &Option<Value>) -> Option<&str> {
    match value {
        Some(Value::Level(v)) => Some(v),
        _ => None,
    }
}

/// Scale that all grits of the panels share, where they share one.
pub(super) fn common_scale<'a>(panels: impl Iterator<Item = &'a Panel>) -> Option<GritScale> {
    let mut scale = None;
    for panel in panels {
        if let Some(grit) = &panel.grit {
            match (scale, grit.scale) {
                (_, None) => return None,
                (None, found) => scale = found,
                (Some(a), Some(b)) if a == b => {}
                _ => return None,
            }
        }
    }
    scale
}

/// A run ends when a factor moves further than this many of its standard
/// deviations from the run's mean.
const RUN_BREAK: f64 = 0.5;

/// The groupings of the rows (panels in time order): stretches of one setting,
/// in one cell or in several that were set together, abrasive lives, days, lots.
pub(super) fn groupings(
    records: &Records,
    panels: &[usize],
    settings: &[&Setting],
    factors: &Factors,
) -> Vec<Shared> {
    let recipe: Vec<usize> = (0..factors.list.len())
        .filter(|&k| {
            !matches!(factors.list[k], Factor::AbrasiveAge | Factor::Grain)
                && !factors.list[k].is_allowed_for()
        })
        .collect();
    let cells: Vec<Option<Arc<str>>> = panels.iter().map(|&p| cell(&records.panels[p])).collect();
    let mut all = vec![
        runs(settings, &recipe, &cells),
        lives(settings, factors, &cells),
    ];
    let day = |p: &Panel| p.sanded_at.map(|m| format!("{}", m.local.date()));
    if panels
        .iter()
        .all(|&p| records.panels[p].sanded_at.is_some())
    {
        all.push(by_key(
            Unit::Day,
            panels.iter().map(|&p| day(&records.panels[p])),
        ));
    }
    if panels.iter().any(|&p| records.panels[p].lot.is_some()) {
        all.push(by_key(
            Unit::Lot,
            panels
                .iter()
                .map(|&p| records.panels[p].lot.as_ref().map(ToString::to_string)),
        ));
    }
    all
}

fn by_key<K: Ord>(unit: Unit, keys: impl Iterator<Item = K>) -> Shared {
    Shared {
        unit,
        groups: Grouping::by_key(keys),
    }
}

/// Logs of positive numbers, so that a break means the same at any speed.
fn on_scale(v: f64) -> f64 {
    if v > 0.0 { v.ln() } else { v }
}

fn runs(settings: &[&Setting], recipe: &[usize], cells: &[Option<Arc<str>>]) -> Shared {
    let spread: Vec<f64> = recipe
        .iter()
        .map(|&k| {
            let values: Vec<f64> = settings
                .iter()
                .filter_map(|s| number(&s[k]).map(on_scale))
                .collect();
            standard_deviation(&values)
        })
        .collect();
    // A run: its first setting's levels, and the running mean of every number.
    struct Run<'a> {
        first: &'a Setting,
        sums: Vec<(f64, f64)>,
    }
    let at_setting_of = |run: &Run<'_>, setting: &Setting| {
        recipe
            .iter()
            .enumerate()
            .all(|(j, &k)| match (&setting[k], &run.first[k]) {
                (Some(Value::Number(v)), _) => {
                    let (sum, n) = run.sums[j];
                    n == 0.0 || (on_scale(*v) - sum / n).abs() <= RUN_BREAK * spread[j]
                }
                (Some(Value::Level(a)), Some(Value::Level(b))) => a == b,
                _ => true,
            })
    };
    let mut runs: Vec<Run<'_>> = Vec::new();
    let mut under: BTreeMap<Option<&str>, usize> = BTreeMap::new();
    let mut of = Vec::with_capacity(settings.len());
    for (setting, cell) in settings.iter().zip(cells) {
        let key = cell.as_deref();
        let last = under.get(&key).copied();
        let run = match last.filter(|&run| at_setting_of(&runs[run], setting)) {
            Some(run) => run,
            // Another cell that has gone to this setting since this one last
            // changed: they were set together.
            None => under
                .values()
                .copied()
                .filter(|&run| last.is_none_or(|last| run > last))
                .find(|&run| at_setting_of(&runs[run], setting))
                .unwrap_or(runs.len()),
        };
        if run == runs.len() {
            runs.push(Run {
                first: setting,
                sums: vec![(0.0, 0.0); recipe.len()],
            });
        }
        under.insert(key, run);
        of.push(run);
        for (j, &k) in recipe.iter().enumerate() {
            if let Some(v) = number(&setting[k]) {
                runs[run].sums[j].0 += on_scale(v);
                runs[run].sums[j].1 += 1.0;
            }
        }
    }
    let count = runs.len();
    Shared {
        unit: Unit::Run,
        groups: Grouping { of, count },
    }
}

fn lives(settings: &[&Setting], factors: &Factors, cells: &[Option<Arc<str>>]) -> Shared {
    let age = factors.position(&Factor::AbrasiveAge);
    let mut under: BTreeMap<Option<&str>, (usize, f64)> = BTreeMap::new();
    let mut of = Vec::with_capacity(settings.len());
    let mut count = 0;
    for (setting, cell) in settings.iter().zip(cells) {
        let now = age.and_then(|k| number(&setting[k]));
        let entry = under.entry(cell.as_deref()).or_insert_with(|| {
            count += 1;
            (count - 1, f64::NEG_INFINITY)
        });
        if let Some(now) = now {
            if now < entry.1 {
                entry.0 = count;
                count += 1;
            }
            entry.1 = now;
        }
        of.push(entry.0);
    }
    Shared {
        unit: Unit::Life,
        groups: Grouping { of, count },
    }
}

/// Standard deviation with n − 1; 0 for fewer than two values.
pub(super) fn standard_deviation(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    if n < 2.0 {
        return 0.0;
    }
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
}

/// The present setting: medians and most frequent levels over the last run.
pub(super) fn present(settings: &[&Setting], runs: &Shared) -> Setting {
    let Some(&last) = runs.groups.of.last() else {
        return Vec::new();
    };
    let rows: Vec<&Setting> = settings
        .iter()
        .zip(&runs.groups.of)
        .filter(|(_, run)| **run == last)
        .map(|(s, _)| *s)
        .collect();
    let width = settings.first().map_or(0, |s| s.len());
    (0..width)
        .map(|k| {
            let mut numbers: Vec<f64> = rows.iter().filter_map(|s| number(&s[k])).collect();
            if !numbers.is_empty() {
                numbers.sort_by(f64::total_cmp);
                return Some(Value::Number(numbers[(numbers.len() - 1) / 2]));
            }
            let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
            for s in &rows {
                if let Some(name) = level(&s[k]) {
                    *counts.entry(name).or_default() += 1;
                }
            }
            let most = counts
                .iter()
                .max_by_key(|(name, n)| (**n, std::cmp::Reverse(**name)));
            most.map(|(name, _)| Value::Level(Arc::from(*name)))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of_numbers(values: &[f64]) -> Vec<Setting> {
        values
            .iter()
            .map(|v| vec![Some(Value::Number(*v))])
            .collect()
    }

    #[test]
    fn a_stretch_ends_where_a_number_moves_and_not_where_it_wavers() {
        let settings = of_numbers(&[100.0, 101.0, 99.0, 160.0, 161.0, 100.0, 100.5]);
        let settings: Vec<&Setting> = settings.iter().collect();
        let found = runs(&settings, &[0], &vec![None; settings.len()]);
        assert_eq!(found.groups.of, [0, 0, 0, 1, 1, 2, 2]);
    }

    #[test]
    fn a_life_begins_where_the_age_falls_and_not_where_it_stays() {
        let settings = of_numbers(&[0.0, 1.0, 1.0, 2.0, 0.0, 0.0, 3.0, 1.0]);
        let settings: Vec<&Setting> = settings.iter().collect();
        let factors = Factors {
            list: vec![Factor::AbrasiveAge],
        };
        let found = lives(&settings, &factors, &vec![None; settings.len()]);
        assert_eq!(found.groups.of, [0, 0, 0, 0, 1, 1, 1, 2]);
    }
}
