//! One cell: what its text means in its column, or why it means nothing.

use super::moment::{self, Certainty, NotATime};
use super::number::{self, NotANumber, Style};
use super::rows::Rules;
use super::{Column, Conversion, Grit, Lay, Moment, Quantity};
use crate::site::FactorKind;

/// Characters beyond which a cell is no value: longer ones come from damaged
/// files or quotes that never close, and no page could show them.
pub(super) const LONGEST: usize = 1_000;

/// A cell's value, in the column's unit.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum CellValue {
    Number(f64),
    Text(String),
    Time(Moment, Certainty),
    Lay(Lay),
    Grit(Grit),
}

/// Why a cell has no value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Problem {
    NoId,
    SheetError,
    TooLong,
    Number(NotANumber),
    Time(NotATime),
    NotAbove0,
    Below0,
    NotWhole,
    NotAGrade,
    NotALay,
    UnitOfAnotherKind,
    /// Outside what is possible: from, to.
    Impossible(f64, f64),
}

impl Problem {
    /// In words that say what to do.
    pub(super) fn why(self) -> String {
        match self {
            Problem::NoId => "no panel_id, so the row is about no panel",
            Problem::SheetError => {
                "an error of a spreadsheet, not a value; mend its formula and export again"
            }
            Problem::TooLong => {
                "longer than 1000 characters, which is no name or number; a quote that is never closed?"
            }
            Problem::Number(why) => why.why(),
            Problem::Time(why) => why.why(),
            Problem::NotAbove0 => "must be above 0",
            Problem::Below0 => "must be 0 or more",
            Problem::NotWhole => "must be 1, 2, 3 and so on",
            Problem::NotAGrade => "must be a grade from 1 to 5",
            Problem::NotALay => "must be 0, 90, 180 or 270",
            Problem::Impossible(low, high) => {
                return format!(
                    "outside the possible {low} to {high}; if it is meant, widen that under [possible] in onus.toml"
                );
            }
            Problem::UnitOfAnotherKind => "that unit does not measure this",
        }
        .to_owned()
    }
}

impl From<NotANumber> for Problem {
    fn from(why: NotANumber) -> Self {
        Problem::Number(why)
    }
}

/// What stands in a cell, without the spaces around it and the wrapping that
/// keeps spreadsheets from changing it: `="0012"`, or quotes after a space.
pub(super) fn bare(cell: &str) -> (&str, Wrapping) {
    let text = cell.trim();
    let Some(inner) = text.strip_suffix('"') else {
        return (text, Wrapping::None);
    };
    if let Some(inner) = inner.strip_prefix("=\"") {
        (inner.trim(), Wrapping::Formula)
    } else if let Some(inner) = inner.strip_prefix('"') {
        (inner.trim(), Wrapping::Quotes)
    } else {
        (text, Wrapping::None)
    }
}

/// What was around a cell's text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wrapping {
    None,
    Quotes,
    /// A formula that is nothing but a text.
    Formula,
}

/// Whether a cell is what a spreadsheet shows where a formula fails.
pub(super) fn is_sheet_error(text: &str) -> bool {
    text.starts_with('#')
        && matches!(
            text.trim_end_matches(['!', '?'])
                .to_ascii_uppercase()
                .as_str(),
            "#REF" | "#NAME" | "#VALUE" | "#DIV/0" | "#NUM" | "#NULL" | "#N/A" | "#SPILL" | "#CALC"
        )
}

/// Reads a cell that is not blank.
pub(super) fn read(
    column: Column,
    text: &str,
    conversion: Option<Conversion>,
    style: Style,
    rules: &Rules<'_>,
) -> Result<CellValue, Problem> {
    let quantity = column.quantity();
    match quantity {
        Quantity::Text => Ok(CellValue::Text(text.trim().to_owned())),
        Quantity::Grit => Ok(CellValue::Grit(Grit::parse(text, rules.site.grit_scale))),
        Quantity::Time => moment::parse(text, style.dates, rules.zone.as_ref())
            .map(|(at, certainty)| CellValue::Time(at, certainty))
            .map_err(Problem::Time),
        Quantity::Length
        | Quantity::Size
        | Quantity::Speed
        | Quantity::Force
        | Quantity::Thickness
        | Quantity::Area
        | Quantity::Passes
        | Quantity::Age
        | Quantity::Ordinal
        | Quantity::Grade
        | Quantity::Lay => {
            let written = number::parse(text, style)?;
            let conversion = match written.unit {
                Some(unit) if unit.measures(quantity) => Some(Conversion::Unit(unit)),
                Some(_) => return Err(Problem::UnitOfAnotherKind),
                None => conversion,
            };
            let value = conversion.map_or(written.value, |c| c.apply(written.value));
            if !value.is_finite() {
                return Err(NotANumber::NotFinite.into());
            }
            possible(value, rules.possible(column))?;
            in_range(column, quantity, value)
        }
    }
}

fn possible(value: f64, range: Option<(f64, f64)>) -> Result<(), Problem> {
    match range {
        // What must be above 0 has its own words.
        Some((low, high)) if value > 0.0 && !(low..=high).contains(&value) => {
            Err(Problem::Impossible(low, high))
        }
        Some((low, high)) if value < low && low < 0.0 => Err(Problem::Impossible(low, high)),
        _ => Ok(()),
    }
}

fn in_range(column: Column, quantity: Quantity, value: f64) -> Result<CellValue, Problem> {
    let good = match quantity {
        Quantity::Size | Quantity::Speed | Quantity::Force | Quantity::Passes => {
            (value > 0.0).then_some(()).ok_or(Problem::NotAbove0)
        }
        Quantity::Area | Quantity::Age => (value >= 0.0).then_some(()).ok_or(Problem::Below0),
        Quantity::Thickness if column == Column::FilmUm => {
            (value >= 0.0).then_some(()).ok_or(Problem::Below0)
        }
        Quantity::Ordinal => (value >= 1.0 && value.fract() == 0.0 && value <= 1e6)
            .then_some(())
            .ok_or(Problem::NotWhole),
        Quantity::Grade => (1.0..=5.0)
            .contains(&value)
            .then_some(())
            .ok_or(Problem::NotAGrade),
        Quantity::Lay => return lay(value).map(CellValue::Lay),
        _ => Ok(()),
    };
    good.map(|()| CellValue::Number(value))
}

fn lay(degrees: f64) -> Result<Lay, Problem> {
    [Lay::Deg0, Lay::Deg90, Lay::Deg180, Lay::Deg270]
        .into_iter()
        .find(|lay| f64::from(lay.degrees()) == degrees)
        .ok_or(Problem::NotALay)
}

/// Reads a cell of a further factor that is not blank.
pub(super) fn factor(
    text: &str,
    kind: FactorKind,
    style: Style,
    range: (f64, f64),
) -> Result<CellValue, Problem> {
    match kind {
        FactorKind::Number => {
            let written = number::parse(text, style)?;
            if !(range.0..=range.1).contains(&written.value) {
                return Err(Problem::Impossible(range.0, range.1));
            }
            Ok(CellValue::Number(written.value))
        }
        FactorKind::Text => Ok(CellValue::Text(text.trim().to_owned())),
    }
}
