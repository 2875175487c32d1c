//! Factors that records left inseparable, with the settings that they were run at.

use std::collections::BTreeSet;

use super::TrialError;
use super::factor::{Factor, Settings, known};
use super::plan::Note;
use super::settle::Open;
use crate::change::Source;
use crate::columns::Column;
use crate::records::Records;
use crate::site::Site;

/// The recipe's factors that a report could not tell apart: at the settings given, else
/// between the ends seen in the records. The others are told in notes.
///
/// # Errors
///
/// [`TrialError::LevelsMissing`] where no factor has two settings.
pub fn factors_left(
    open: &Open,
    given: &[Factor],
    records: Option<&Records>,
    site: &Site,
) -> Result<(Vec<Factor>, Vec<Note>), TrialError> {
    let mut factors = given.to_vec();
    let mut missing = Vec::new();
    // A recipe's name stands for its settings: no trial parts it from them.
    let planned = |name: &String| known(site, name).is_ok() && name != Column::Recipe.name();
    for name in open.factors().into_iter().filter(planned) {
        if given.iter().any(|f| f.name == name) {
            continue;
        }
        match records.and_then(|records| settings_seen(records, &name)) {
            Some(settings) => factors.push(Factor { name, settings }),
            None => missing.push(name),
        }
    }
    if factors.is_empty() {
        return Err(if missing.is_empty() {
            TrialError::NothingToSettle {
                id: "factors".to_owned(),
                rivals: Vec::new(),
            }
        } else {
            TrialError::LevelsMissing { columns: missing }
        });
    }
    let note = |factor| Note::NeverMoved { factor };
    Ok((factors, missing.into_iter().map(note).collect()))
}

/// The ends of a number, or the names; none where it did not change.
fn settings_seen(records: &Records, name: &str) -> Option<Settings> {
    let source = Source::find(records, name).ok()?;
    let values = records.panels.iter().filter_map(|p| source.value(p));
    let values: BTreeSet<String> = values.collect();
    if values.len() < 2 {
        return None;
    }
    let numbers: Option<Vec<f64>> = values.iter().map(|v| v.parse().ok()).collect();
    Some(match numbers {
        Some(numbers) => Settings::Between(
            numbers.iter().copied().fold(f64::INFINITY, f64::min),
            numbers.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        ),
        None => Settings::Named(values.into_iter().collect()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_recipes_name_is_no_factor_to_be_varied() {
        let left = |factors: &str| {
            let text = format!(r#"{{"schema": 1, "removal": {{"inseparable": [[{factors}]]}}}}"#);
            let open = Open::parse(text.as_bytes(), "findings.json".into()).unwrap();
            factors_left(&open, &[], None, &Site::default())
        };
        let Err(TrialError::LevelsMissing { columns }) = left(r#""recipe", "feed_mm_s""#) else {
            panic!("{:?}", left(r#""recipe", "feed_mm_s""#));
        };
        assert_eq!(columns, ["feed_mm_s"]);
        let none = left(r#""recipe""#);
        assert!(
            matches!(none, Err(TrialError::NothingToSettle { .. })),
            "{none:?}"
        );
    }
}
