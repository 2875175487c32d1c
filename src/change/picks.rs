//! Conditions on panels: a column or further factor and its value.

use std::collections::BTreeMap;

use super::ChangeError;
use crate::records::{Column, ColumnUse, FactorValue, Panel, Records, Unit};

/// A condition on panels: a column or further factor has this value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pick {
    /// Name of the column or factor.
    pub column: String,
    /// Its value as it is written.
    pub value: String,
}

impl std::str::FromStr for Pick {
    type Err = ChangeError;

    fn from_str(text: &str) -> Result<Self, ChangeError> {
        match text.split_once('=') {
            Some((column, value)) if !column.trim().is_empty() && !value.trim().is_empty() => {
                Ok(Self {
                    column: column.trim().to_owned(),
                    value: value.trim().to_owned(),
                })
            }
            _ => Err(ChangeError::NotAPair {
                text: text.to_owned(),
            }),
        }
    }
}

/// The one unit that the files give a column in, where it is not the column's own.
fn unit_of(used: &ColumnUse) -> Option<Unit> {
    match used.units.as_slice() {
        [one] => Unit::parse(one).filter(|unit| unit.factor() != 1.0),
        _ => None,
    }
}

impl Pick {
    /// The same with our column for a header of the files, and with their unit
    /// behind a bare number; as it is where the name is ours or nobody's.
    pub(super) fn named(&self, records: &Records) -> Self {
        let ours = Source::find(records, &self.column).is_ok();
        let by_header = |used: &&ColumnUse| used.headers.contains(&self.column);
        let Some(used) = records.columns.iter().find(by_header).filter(|_| !ours) else {
            return self.clone();
        };
        let unit = unit_of(used).filter(|_| number(&self.value).is_some());
        Self {
            column: used.column.clone(),
            value: unit.map_or(self.value.clone(), |unit| {
                format!("{} {}", self.value, unit.name())
            }),
        }
    }
}

/// A number with either decimal mark.
fn number(text: &str) -> Option<f64> {
    text.trim().replace(',', ".").parse().ok()
}

/// Where a value of a panel comes from: a column, or a further factor by its number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Source {
    Column(Column),
    Factor(usize),
}

impl Source {
    pub(crate) fn find(records: &Records, name: &str) -> Result<Self, ChangeError> {
        if let Some(k) = records.factor_names.iter().position(|f| f == name) {
            return Ok(Self::Factor(k));
        }
        let Some(column) = Column::from_name(name) else {
            let known = Column::NAMES
                .iter()
                .copied()
                .chain(records.factor_names.iter().map(String::as_str));
            return Err(ChangeError::UnknownColumn {
                name: name.to_owned(),
                nearest: nearest(name, known),
            });
        };
        match column {
            Column::Machine
            | Column::Head
            | Column::Fixture
            | Column::Part
            | Column::Supplier
            | Column::Lot
            | Column::LengthMm
            | Column::WidthMm
            | Column::LayDeg
            | Column::Recipe
            | Column::FeedMmS
            | Column::Passes
            | Column::ForceN
            | Column::Grit
            | Column::AbrasiveAge
            | Column::AbrasiveId
            | Column::Inspector => Ok(Self::Column(column)),
            _ => Err(ChangeError::NotAboutPanels {
                name: name.to_owned(),
            }),
        }
    }

    /// A value with a unit behind its number, in the column's own unit; any other
    /// as it is.
    pub(super) fn in_own_unit(self, value: &str) -> String {
        let Self::Column(column) = self else {
            return value.to_owned();
        };
        let unit_at = value.find(|c: char| c.is_alphabetic()).unwrap_or(0);
        let (figures, unit) = value.split_at(unit_at);
        let unit = Unit::parse(unit).filter(|unit| unit.measures(column.quantity()));
        match number(figures).zip(unit) {
            Some((x, unit)) => (x * unit.factor()).to_string(),
            None => value.to_owned(),
        }
    }

    /// The panel's value as text.
    pub(crate) fn value(self, panel: &Panel) -> Option<String> {
        let text = |t: &Option<std::sync::Arc<str>>| t.as_deref().map(str::to_owned);
        let number = |x: Option<f64>| x.map(|x| x.to_string());
        match self {
            Self::Factor(k) => match panel.factors.get(k)?.as_ref()? {
                FactorValue::Number(x) => Some(x.to_string()),
                FactorValue::Text(t) => Some(t.to_string()),
            },
            Self::Column(Column::Machine) => text(&panel.machine),
            Self::Column(Column::Head) => text(&panel.head),
            Self::Column(Column::Fixture) => text(&panel.fixture),
            Self::Column(Column::Part) => text(&panel.part),
            Self::Column(Column::Supplier) => text(&panel.supplier),
            Self::Column(Column::Lot) => text(&panel.lot),
            Self::Column(Column::LengthMm) => Some(panel.length_mm.to_string()),
            Self::Column(Column::WidthMm) => Some(panel.width_mm.to_string()),
            Self::Column(Column::LayDeg) => Some(panel.lay.degrees().to_string()),
            Self::Column(Column::Recipe) => text(&panel.recipe),
            Self::Column(Column::FeedMmS) => number(panel.feed_mm_s),
            Self::Column(Column::Passes) => number(panel.passes),
            Self::Column(Column::ForceN) => number(panel.force_n),
            Self::Column(Column::Grit) => panel.grit.as_ref().map(|g| g.label.clone()),
            Self::Column(Column::AbrasiveAge) => number(panel.abrasive_age),
            Self::Column(Column::AbrasiveId) => text(&panel.abrasive_id),
            Self::Column(Column::Inspector) => text(&panel.inspector),
            Self::Column(_) => None,
        }
    }
}

/// Text as written, or the same number.
pub(super) fn same_value(seen: &str, asked: &str) -> bool {
    if seen == asked {
        return true;
    }
    match (seen.parse::<f64>(), asked.parse::<f64>()) {
        (Ok(x), Ok(y)) => (x - y).abs() <= 1e-9 * x.abs().max(y.abs()),
        _ => false,
    }
}

/// Values of a column in the files' unit, most frequent first, then by name.
pub(super) fn values(records: &Records, column: &str) -> Vec<String> {
    let Ok(source) = Source::find(records, column) else {
        return Vec::new();
    };
    let mut count: BTreeMap<String, usize> = BTreeMap::new();
    for panel in &records.panels {
        if let Some(value) = source.value(panel) {
            *count.entry(value).or_default() += 1;
        }
    }
    let mut values: Vec<(String, usize)> = count.into_iter().collect();
    values.sort_by(|x, y| y.1.cmp(&x.1).then_with(|| x.0.cmp(&y.0)));
    let used = records.columns.iter().find(|used| used.column == column);
    let unit = used.and_then(unit_of);
    let written = |value: String| match (value.parse::<f64>(), unit) {
        (Ok(x), Some(unit)) => {
            let rounded = (x / unit.factor() * 1e6).round() / 1e6;
            format!("{rounded} {}", unit.name())
        }
        _ => value,
    };
    values
        .into_iter()
        .map(|(value, _)| written(value))
        .collect()
}

/// The known word that is most like the given one, if it is alike at all.
pub(super) fn nearest<'a>(given: &str, known: impl Iterator<Item = &'a str>) -> Option<String> {
    let lower = given.to_lowercase();
    known
        .map(|word| {
            (
                strsim::damerau_levenshtein(&lower, &word.to_lowercase()),
                word,
            )
        })
        // one letter for another is no slip of the pen
        .filter(|(distance, word)| {
            let letters = word.chars().count();
            *distance <= 1 + letters / 4 && *distance < letters
        })
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, word)| word.to_owned())
}
