//! The run sheet as a table: what is planned, and what is to be filled in.

use super::factor::Value;
use super::plan::{Plan, Purpose, Run};
use crate::columns::{Column, Conversion, Quantity};
use crate::records::PlannedRun;
use crate::site::{Decimal, Site};

/// Columns to be filled in, where the plan does not fill them.
const FILL_IN: [Column; 6] = [
    Column::SandedAt,
    Column::Machine,
    Column::Lot,
    Column::LengthMm,
    Column::WidthMm,
    Column::AbrasiveAge,
];

/// The name by which the site's files head a column or factor.
fn header(site: &Site, name: &str) -> String {
    let own = site.columns.get(name).and_then(|headers| headers.first());
    own.map_or(name, String::as_str).trim().to_owned()
}

/// The setting of a column as the site writes it: in its unit, without an exponent.
#[must_use]
pub fn written(site: &Site, name: &str, value: &Value) -> String {
    let number = match value {
        Value::Text(text) => return text.clone(),
        Value::Number(number) => *number,
    };
    let conversion = Column::from_name(name).and_then(|c| site.units.get(&c));
    let recorded = match conversion {
        None => number,
        Some(Conversion::Unit(unit)) => number / unit.factor(),
        Some(Conversion::Line { offset, slope }) => (number - offset) / slope,
    };
    // Ten digits carry any setting, and drop the last bits of a conversion.
    let rounded: f64 = format!("{recorded:.9e}").parse().unwrap_or(recorded);
    let text = rounded.to_string();
    if site.numbers.decimal == Decimal::Comma {
        text.replace('.', ",")
    } else {
        text
    }
}

/// The unit in which the site writes a column; none where it has none.
#[must_use]
pub fn unit_of(site: &Site, name: &str) -> Option<String> {
    let column = Column::from_name(name)?;
    column.name_without_unit()?;
    if column.quantity() == Quantity::Lay {
        return Some("degrees".to_owned());
    }
    let own = site.units.get(&column).map(ToString::to_string);
    Some(own.unwrap_or_else(|| column.unit().to_owned()))
}

/// The settings of a run as the site writes them, in the order of the plan's columns;
/// blank where they are to be chosen.
#[must_use]
pub fn shown_settings(plan: &Plan, run: &Run, site: &Site) -> Vec<String> {
    (plan.columns.iter().zip(&run.settings))
        .map(|(name, value)| {
            value
                .as_ref()
                .map_or(String::new(), |v| written(site, name, v))
        })
        .collect()
}

/// Head and rows of the sheet: `plan`, `plan_block`, `plan_run`, of a plan by turns
/// `plan_change`, a blank `panel_id`, the settings, and blanks to fill in. Heads, units
/// and decimal mark are those of the site's files, so that `onus report` reads the sheet
/// with them. The second value is the mark between cells.
#[must_use]
pub fn sheet_csv(plan: &Plan, site: &Site) -> (Vec<Vec<String>>, u8) {
    let planned = |column: &Column| plan.columns.iter().any(|c| c == column.name());
    let blank: Vec<Column> = FILL_IN.into_iter().filter(|c| !planned(c)).collect();
    let change = match &plan.purpose {
        Purpose::Change(turns) => {
            let [old, new] = &turns.values;
            Some(PlannedRun::written(
                &turns.column,
                [old, new],
                &turns.defect,
            ))
        }
        Purpose::Recipe(_) | Purpose::Settle(_) => None,
    };
    let mut first = vec![Column::Plan, Column::PlanBlock, Column::PlanRun];
    first.extend(change.is_some().then_some(Column::PlanChange));
    first.push(Column::PanelId);
    let head = (first.iter().map(|c| c.name()))
        .chain(plan.columns.iter().map(String::as_str))
        .chain(blank.iter().map(|c| c.name()))
        .map(|name| header(site, name))
        .collect();
    let mut rows: Vec<Vec<String>> = vec![head];
    for run in &plan.runs {
        let mut row = vec![
            plan.plan.clone(),
            run.block.to_string(),
            run.run.to_string(),
        ];
        row.extend(change.clone());
        row.push(String::new());
        row.extend(shown_settings(plan, run, site));
        row.extend(blank.iter().map(|_| String::new()));
        rows.push(row);
    }
    let mark = if site.numbers.decimal == Decimal::Comma {
        b';'
    } else {
        b','
    };
    (rows, mark)
}
