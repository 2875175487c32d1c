//! Removal and defect risk against the recipe, and the next setting to try.

use super::Context;
use crate::charts::ChartError;
use crate::report::Page;

/// The page, where the data carry it.
///
/// # Errors
///
/// [`ChartError`] if a chart could not be drawn.
#[expect(clippy::unnecessary_wraps, reason = "pages draw charts")]
pub(super) fn page(_context: &Context<'_>) -> Result<Option<Page>, ChartError> {
    Ok(None)
}
