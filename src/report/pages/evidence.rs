//! Charts of what stands behind a finding, beside its place and its strip.

use super::Context;
use crate::causes::Finding;
use crate::charts::ChartError;
use crate::report::Figure;

/// The charts of a finding, drawn with [`Theme::half`](crate::charts::Theme::half):
/// two stand side by side.
///
/// # Errors
///
/// [`ChartError`] if a chart could not be drawn.
#[expect(clippy::unnecessary_wraps, reason = "pages draw charts")]
pub(super) fn figures(
    _context: &Context<'_>,
    _finding: &Finding,
) -> Result<Vec<Figure>, ChartError> {
    Ok(Vec::new())
}
