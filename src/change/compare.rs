//! The comparison as asked.

use super::assess::assess;
use super::judge::judge;
use super::{ChangeError, Changes, Selection, Settings};
use crate::records::Records;

/// Compares every kind of defect and the removal, before against after.
///
/// # Errors
///
/// [`ChangeError`] if a column is unknown, no panel matches a side, or sides overlap.
pub fn compare(
    records: &Records,
    selection: &Selection,
    settings: &Settings,
) -> Result<Changes, ChangeError> {
    let sides = selection.assign(records)?;
    let comparison = assess(records, &sides, selection.question(), settings);
    Ok(judge(vec![comparison], settings))
}
