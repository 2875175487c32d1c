//! Uneven removal: a tilted head or warped panels.

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
