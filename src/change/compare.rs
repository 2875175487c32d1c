//! The comparison as asked.

use super::assess::assess;
use super::judge::judge;
use super::{ChangeError, Changes, Selection, Settings};
use crate::records::Records;

/// Compares every kind of defect, or those named beforehand, and the removal,
/// before against after.
///
/// # Errors
///
/// [`ChangeError`] if a column or a defect is unknown, no panel matches a side, or
/// sides overlap.
pub fn compare(
    records: &Records,
    selection: &Selection,
    settings: &Settings,
) -> Result<Changes, ChangeError> {
    let selection = selection.named(records);
    let sides = selection.assign(records)?;
    let names = || records.defect_names.iter().map(|n| n.name.as_str());
    if let Some(name) = selection.on.iter().find(|on| !names().any(|n| n == *on)) {
        return Err(ChangeError::UnknownDefect {
            name: name.clone(),
            found: names().map(str::to_owned).collect(),
        });
    }
    let comparison = assess(
        records,
        &sides,
        selection.question(),
        &selection.on,
        settings,
    );
    Ok(judge(vec![comparison], settings))
}
