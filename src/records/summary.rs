//! What was understood of the files, in counts and ranges, and what they can
//! and cannot answer.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::Serialize;

use super::answers::{Answer, answers};
use super::{Column, ColumnUse, FactorValue, Lost, Panel, Records, traps};
use crate::site::DefectClass;

/// A summary of the records.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Summary {
    /// The counts of `findings.json`.
    pub input: super::InputCounts,
    /// How each column was read.
    pub columns: Vec<ColumnUse>,
    /// First and last `sanded_at`, site's clock.
    pub period: Option<(String, String)>,
    /// Panels by machine, then by size, lay, lot and so on: the column, and
    /// how many panels each of its values has. Panels without a value are not
    /// counted.
    pub levels: Vec<Levels>,
    /// Ranges of the numbers.
    pub ranges: Vec<Range>,
    /// Kinds of defect.
    pub defects: Vec<DefectKind>,
    /// Rejects by what was lost and why.
    pub rejects: Vec<RejectGroup>,
    /// What the data can answer.
    pub answers: Vec<Answer>,
}

/// The values of a column and their panels.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Levels {
    /// The column.
    pub column: String,
    /// Value and number of panels, by value.
    pub values: Vec<(String, usize)>,
}

/// The range of a number.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Range {
    /// The column.
    pub column: String,
    /// Its unit.
    pub unit: String,
    /// How many values there are.
    pub count: usize,
    /// The smallest.
    pub low: f64,
    /// Half are below.
    pub median: f64,
    /// The largest.
    pub high: f64,
}

/// A kind of defect.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DefectKind {
    /// Its name.
    pub defect: String,
    /// Its class.
    pub class: Option<DefectClass>,
    /// How many there are.
    pub defects: usize,
    /// On how many panels.
    pub panels_hit: usize,
    /// How many have a place.
    pub placed: usize,
}

/// Rejects of one kind.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RejectGroup {
    /// `value`, `row`, `panel` or `file`.
    pub lost: &'static str,
    /// How many; panels, not their rows.
    pub count: usize,
    /// Why, of the first.
    pub why: String,
    /// Where the first is.
    pub first: String,
}

/// Summarises records.
#[must_use]
pub fn summarise(records: &Records) -> Summary {
    let mut times = records.panels.iter().filter_map(|p| p.sanded_at);
    let period = times.next().map(|first| {
        let last = times.next_back().unwrap_or(first);
        (first.local.to_string(), last.local.to_string())
    });
    Summary {
        input: records.input,
        columns: records.columns.clone(),
        period,
        levels: levels(records),
        ranges: ranges(records),
        defects: kinds(records),
        rejects: reject_groups(records),
        answers: answers(records),
    }
}

fn levels(records: &Records) -> Vec<Levels> {
    type Of = fn(&Panel) -> Option<String>;
    fn text(value: &Option<Arc<str>>) -> Option<String> {
        value.as_ref().map(|v| v.to_string())
    }
    let of: [(&str, Of); 12] = [
        (Column::Machine.name(), |p| text(&p.machine)),
        (Column::Head.name(), |p| text(&p.head)),
        (Column::Fixture.name(), |p| text(&p.fixture)),
        ("size", |p| {
            Some(format!(
                "{} × {} mm",
                micrometre(p.length_mm),
                micrometre(p.width_mm)
            ))
        }),
        (Column::LayDeg.name(), |p| {
            p.lay_recorded.then(|| p.lay.degrees().to_string())
        }),
        (Column::Part.name(), |p| text(&p.part)),
        (Column::Supplier.name(), |p| text(&p.supplier)),
        (Column::Lot.name(), |p| text(&p.lot)),
        (Column::Recipe.name(), |p| text(&p.recipe)),
        (Column::Grit.name(), |p| {
            p.grit.as_ref().map(|g| g.label.clone())
        }),
        (Column::AbrasiveId.name(), |p| text(&p.abrasive_id)),
        (Column::Inspector.name(), |p| text(&p.inspector)),
    ];
    let mut all = Vec::new();
    for (column, value) in of {
        let mut counts: BTreeMap<String, usize> = BTreeMap::new();
        for value in records.panels.iter().filter_map(value) {
            *counts.entry(value).or_default() += 1;
        }
        if !counts.is_empty() {
            all.push(Levels {
                column: column.to_owned(),
                values: counts.into_iter().collect(),
            });
        }
    }
    all
}

/// Converted lengths without the dust of the conversion.
fn micrometre(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}

fn ranges(records: &Records) -> Vec<Range> {
    let panels = |of: fn(&Panel) -> Option<f64>| -> Vec<f64> {
        records.panels.iter().filter_map(of).collect()
    };
    let mut ranges = Vec::new();
    let mut wanted = vec![
        (Column::LengthMm.name(), panels(|p| Some(p.length_mm))),
        (Column::WidthMm.name(), panels(|p| Some(p.width_mm))),
        (Column::FeedMmS.name(), panels(|p| p.feed_mm_s)),
        (Column::Passes.name(), panels(|p| p.passes)),
        (Column::ForceN.name(), panels(|p| p.force_n)),
        (Column::AbrasiveAge.name(), panels(|p| p.abrasive_age)),
    ];
    for (index, name) in records.factor_names.iter().enumerate() {
        let values = records
            .panels
            .iter()
            .filter_map(|p| match p.factors.get(index) {
                Some(Some(FactorValue::Number(value))) => Some(*value),
                _ => None,
            });
        wanted.push((name.as_str(), values.collect()));
    }
    for (name, values) in wanted {
        range(name, values, &mut ranges);
    }
    // One at a time: the columns of large files would fill the memory together.
    type OfDefect = fn(&super::Defect) -> Option<f64>;
    let of_defects: [(Column, OfDefect); 4] = [
        (Column::XMm, |d| d.place.map(|p| p.x)),
        (Column::YMm, |d| d.place.map(|p| p.y)),
        (Column::AreaMm2, |d| d.area_mm2),
        (Column::Severity, |d| d.severity),
    ];
    for (column, of) in of_defects {
        let values = records.defects.iter().filter_map(of).collect();
        range(column.name(), values, &mut ranges);
    }
    type OfReading = fn(&super::Reading) -> Option<f64>;
    let of_readings: [(Column, OfReading); 2] = [
        (Column::RemovedUm, |r| r.removed_um),
        (Column::FilmUm, |r| r.film_um),
    ];
    for (column, of) in of_readings {
        let values = records.readings.iter().filter_map(of).collect();
        range(column.name(), values, &mut ranges);
    }
    ranges
}

/// The range of a column's values, where there are any.
fn range(name: &str, values: Vec<f64>, ranges: &mut Vec<Range>) {
    let count = values.len();
    let (low, high) = values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(*value), high.max(*value))
        });
    if let Some(median) = traps::median(values) {
        ranges.push(Range {
            column: name.to_owned(),
            unit: Column::from_name(name).map_or_else(String::new, |c| c.unit().to_owned()),
            count,
            low,
            median,
            high,
        });
    }
}

/// The kinds of defect that occur; defects are sorted by panel.
fn kinds(records: &Records) -> Vec<DefectKind> {
    let mut kinds: Vec<DefectKind> = records
        .defect_names
        .iter()
        .map(|name| DefectKind {
            defect: name.name.clone(),
            class: name.class,
            defects: 0,
            panels_hit: 0,
            placed: 0,
        })
        .collect();
    let mut last_panel = vec![None; kinds.len()];
    for defect in &records.defects {
        let kind = &mut kinds[defect.name];
        kind.defects += 1;
        kind.placed += usize::from(defect.place.is_some());
        if last_panel[defect.name] != Some(defect.panel) {
            last_panel[defect.name] = Some(defect.panel);
            kind.panels_hit += 1;
        }
    }
    kinds.retain(|kind| kind.defects > 0);
    kinds
}

fn reject_groups(records: &Records) -> Vec<RejectGroup> {
    let mut groups: BTreeMap<(Lost, String), RejectGroup> = BTreeMap::new();
    let mut panels: BTreeSet<&str> = BTreeSet::new();
    for reject in &records.rejects {
        // Reasons that name a panel or a number differ from row to row.
        let kind = reject.why.split([':', ',']).next().unwrap_or_default();
        let kind = if reject.lost == Lost::Panel {
            if reject.why.ends_with(super::read::rejected::NO_SIZE) {
                "size"
            } else if reject.why.contains(super::read::rejected::COPY) {
                "copy"
            } else {
                "contradiction"
            }
        } else {
            kind
        };
        // A panel that goes has a line for each of its rows; the reason names it.
        if reject.lost == Lost::Panel
            && (reject.why.ends_with(super::read::rejected::WITH_PANEL)
                || !panels.insert(&reject.why))
        {
            continue;
        }
        let key = (
            reject.lost,
            format!("{} {kind}", reject.column.as_deref().unwrap_or_default()),
        );
        groups
            .entry(key)
            .or_insert_with(|| RejectGroup {
                lost: reject.lost.name(),
                count: 0,
                why: match &reject.column {
                    Some(column) => format!("{column}: {}", reject.why),
                    None => reject.why.clone(),
                },
                first: match reject.line {
                    Some(line) => format!("{}, line {line}", reject.file.display()),
                    None => reject.file.display().to_string(),
                },
            })
            .count += 1;
    }
    groups.into_values().collect()
}
