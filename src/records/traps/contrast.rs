//! Whether anything was varied that would tell causes apart.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::super::{Column, FactorValue, Panel, Records, Warning, WarningCode};
use super::warn;

/// From this correlation on, two factors moved together.
const TOGETHER: f64 = 0.95;

pub(super) fn find(records: &Records, warnings: &mut Vec<Warning>) {
    one_lay(records, warnings);
    one_lot(records, warnings);
    factors_together(records, warnings);
}

fn machine(panel: &Panel) -> &str {
    panel.machine.as_deref().unwrap_or("")
}

/// Degrees and corner of a lay, to the millimetre.
type LayKey = (u16, i64, i64);

fn one_lay(records: &Records, warnings: &mut Vec<Warning>) {
    let mut lays: BTreeMap<&str, (BTreeSet<LayKey>, usize)> = BTreeMap::new();
    for panel in records.panels.iter().filter(|p| p.inspected) {
        let (lays, panels) = lays.entry(machine(panel)).or_default();
        lays.insert((
            panel.lay.degrees(),
            panel.lay_x_mm.round() as i64,
            panel.lay_y_mm.round() as i64,
        ));
        *panels += 1;
    }
    let all = lays.len();
    let same: Vec<&str> = lays
        .iter()
        .filter(|(_, (lays, panels))| lays.len() == 1 && *panels > 1)
        .map(|(machine, _)| *machine)
        .collect();
    if same.is_empty() {
        return;
    }
    let recorded = records.panels.iter().any(|p| p.lay_recorded);
    let whose = if same.len() == all {
        "Every panel".to_owned()
    } else {
        format!("On {} every panel", same.join(", "))
    };
    warnings.push(warn(
        WarningCode::OneLay,
        if recorded {
            format!("{whose} lay the same way: a place in the machine and a place on the part cannot be told apart. Lay some panels turned by 180° and record lay_deg.")
        } else {
            format!("{whose} is taken to lie the same way, since no lay is recorded: a place in the machine and a place on the part cannot be told apart. Lay some panels turned by 180° and record lay_deg.")
        },
    ));
}

fn one_lot(records: &Records, warnings: &mut Vec<Warning>) {
    let lots: BTreeSet<&str> = records
        .panels
        .iter()
        .filter_map(|p| p.lot.as_deref())
        .collect();
    if records.panels.len() < 2 || lots.len() > 1 {
        return;
    }
    warnings.push(warn(
        WarningCode::OneLot,
        match lots.first() {
            Some(lot) => format!(
                "All panels are of one lot ({lot}): what came with the lot cannot be told from what the machine did. Record more lots."
            ),
            None => "No lot is recorded: what came with a lot cannot be told from what the machine did. Record lot.".to_owned(),
        },
    ));
}

/// A factor and its value on every panel.
struct Factor {
    name: String,
    values: Vec<Option<Value>>,
}

#[derive(Debug, Clone, PartialEq)]
enum Value {
    Number(f64),
    Level(Arc<str>),
}

fn factors(records: &Records) -> Vec<Factor> {
    let number = |column: Column, of: fn(&Panel) -> Option<f64>| Factor {
        name: column.name().to_owned(),
        values: records
            .panels
            .iter()
            .map(|p| of(p).map(Value::Number))
            .collect(),
    };
    let mut all = vec![
        number(Column::FeedMmS, |p| p.feed_mm_s),
        number(Column::Passes, |p| p.passes),
        number(Column::ForceN, |p| p.force_n),
        Factor {
            name: Column::Grit.name().to_owned(),
            values: records
                .panels
                .iter()
                .map(|p| {
                    p.grit
                        .as_ref()
                        .map(|g| Value::Level(Arc::from(g.label.as_str())))
                })
                .collect(),
        },
    ];
    for (index, name) in records.factor_names.iter().enumerate() {
        all.push(Factor {
            name: name.clone(),
            values: records
                .panels
                .iter()
                .map(|p| {
                    p.factors.get(index).cloned().flatten().map(|v| match v {
                        FactorValue::Number(n) => Value::Number(n),
                        FactorValue::Text(t) => Value::Level(t),
                    })
                })
                .collect(),
        });
    }
    all
}

fn factors_together(records: &Records, warnings: &mut Vec<Warning>) {
    let all = factors(records);
    let mut pairs = Vec::new();
    for (at, a) in all.iter().enumerate() {
        for b in &all[at + 1..] {
            if together(&a.values, &b.values) {
                pairs.push(format!("{} and {}", a.name, b.name));
            }
        }
    }
    let level = |of: fn(&Panel) -> &Option<Arc<str>>| -> Vec<Option<Value>> {
        records
            .panels
            .iter()
            .map(|p| of(p).clone().map(Value::Level))
            .collect()
    };
    let recipes = level(|p| &p.recipe);
    let lots = level(|p| &p.lot);
    if nested(&recipes, &lots) {
        pairs.push(format!(
            "{} and {}",
            Column::Recipe.name(),
            Column::Lot.name()
        ));
    }
    if !pairs.is_empty() {
        warnings.push(warn(
            WarningCode::FactorsMoveTogether,
            format!(
                "{} only ever changed together: their effects cannot be told apart. Change one without the other.",
                pairs.join("; ")
            ),
        ));
    }
}

/// Whether two factors, both of which varied, carry the same information.
fn together(a: &[Option<Value>], b: &[Option<Value>]) -> bool {
    let both: Vec<(&Value, &Value)> = a
        .iter()
        .zip(b)
        .filter_map(|(a, b)| Some((a.as_ref()?, b.as_ref()?)))
        .collect();
    let codes = |pick: fn(&(&Value, &Value)) -> String| {
        let levels: Vec<String> = both.iter().map(pick).collect();
        let known: BTreeSet<&String> = levels.iter().collect();
        (known.len(), levels)
    };
    let (a_levels, a_codes) = codes(|(a, _)| format!("{a:?}"));
    let (b_levels, b_codes) = codes(|(_, b)| format!("{b:?}"));
    if a_levels < 2 || b_levels < 2 {
        return false;
    }
    let joint: BTreeSet<(&String, &String)> = a_codes.iter().zip(&b_codes).collect();
    // Each value of the one goes with one value of the other; values that never
    // came twice go with one whatever happened.
    if joint.len() == a_levels && joint.len() == b_levels && both.len() >= 2 * joint.len() {
        return true;
    }
    let numbers: Option<Vec<(f64, f64)>> = both
        .iter()
        .map(|pair| match pair {
            (Value::Number(a), Value::Number(b)) => Some((*a, *b)),
            _ => None,
        })
        .collect();
    numbers.is_some_and(|n| correlation(&n).is_some_and(|r| r.abs() >= TOGETHER))
}

/// Whether every lot saw one recipe only, though there are several of both.
fn nested(recipes: &[Option<Value>], lots: &[Option<Value>]) -> bool {
    let mut recipes_of: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut all: BTreeSet<String> = BTreeSet::new();
    for (recipe, lot) in recipes.iter().zip(lots) {
        if let (Some(recipe), Some(lot)) = (recipe, lot) {
            let recipe = format!("{recipe:?}");
            all.insert(recipe.clone());
            recipes_of
                .entry(format!("{lot:?}"))
                .or_default()
                .insert(recipe);
        }
    }
    all.len() > 1 && recipes_of.len() > 1 && recipes_of.values().all(|r| r.len() == 1)
}

/// Pearson's correlation; none where one side is constant.
fn correlation(pairs: &[(f64, f64)]) -> Option<f64> {
    let n = pairs.len() as f64;
    let mean = |pick: fn(&(f64, f64)) -> f64| pairs.iter().map(pick).sum::<f64>() / n;
    let (ma, mb) = (mean(|p| p.0), mean(|p| p.1));
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (a, b) in pairs {
        ab += (a - ma) * (b - mb);
        aa += (a - ma).powi(2);
        bb += (b - mb).powi(2);
    }
    let spread = (aa * bb).sqrt();
    (pairs.len() > 2 && spread > 0.0).then(|| ab / spread)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(list: &[f64]) -> Vec<Option<Value>> {
        list.iter().map(|v| Some(Value::Number(*v))).collect()
    }

    fn levels(list: &[&str]) -> Vec<Option<Value>> {
        list.iter()
            .map(|v| Some(Value::Level(Arc::from(*v))))
            .collect()
    }

    #[test]
    fn speeds_raised_with_passes_move_together() {
        let feed = numbers(&[100.0, 100.0, 200.0, 200.0]);
        let passes = numbers(&[1.0, 1.0, 2.0, 2.0]);
        assert!(together(&feed, &passes));
        let crossed = numbers(&[1.0, 2.0, 1.0, 2.0]);
        assert!(!together(&feed, &crossed));
        let constant = numbers(&[1.0; 4]);
        assert!(!together(&feed, &constant));
    }

    #[test]
    fn levels_move_together_when_each_goes_with_one() {
        let grit = levels(&["P320", "P320", "P400", "P400"]);
        let feed = numbers(&[100.0, 100.0, 80.0, 80.0]);
        assert!(together(&grit, &feed));
        // All values differ: nothing can be said.
        let noisy = numbers(&[100.1, 99.7, 80.3, 80.2]);
        assert!(!together(&grit, &noisy));
    }

    #[test]
    fn a_recipe_of_its_own_lots_cannot_be_told_from_them() {
        let recipes = levels(&["A", "A", "B", "B"]);
        assert!(nested(&recipes, &levels(&["1", "2", "3", "4"])));
        assert!(!nested(&recipes, &levels(&["1", "2", "2", "3"])));
    }

    #[test]
    fn one_panel_on_a_machine_does_not_lie_one_way_only() {
        let panel = |machine: &str, turned: bool| Panel {
            machine: Some(machine.into()),
            lay: [crate::records::Lay::Deg0, crate::records::Lay::Deg180][usize::from(turned)],
            inspected: true,
            ..Panel::default()
        };
        let told = |others: usize| {
            let mut records = Records {
                panels: vec![panel("M1", false), panel("M1", true)],
                ..Records::default()
            };
            records.panels.extend(vec![panel("M2", false); others]);
            let mut warnings = Vec::new();
            one_lay(&records, &mut warnings);
            warnings.len()
        };
        assert_eq!([1, 2].map(told), [0, 1]);
    }
}
