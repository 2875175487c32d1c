//! The pages of the report: findings in, blocks out.
//!
//! One file per page; a page that the data do not carry is none. Sentences
//! come from [`words`](crate::report::words), charts from
//! [`charts`](crate::charts).

mod change;
mod recipe;
mod surface;
mod trend;

use crate::charts::{ChartError, Theme};
use crate::report::{Findings, Page};
use crate::site::Site;

/// What every page is built from.
#[derive(Debug, Clone, Copy)]
pub struct Context<'a> {
    /// All results.
    pub findings: &'a Findings<'a>,
    /// The site's names, limits and styles.
    pub site: &'a Site,
    /// Look of the charts and style of the numbers.
    pub theme: &'a Theme,
}

/// All pages in reading order.
///
/// # Errors
///
/// [`ChartError`] if a chart could not be drawn.
pub fn pages(context: &Context<'_>) -> Result<Vec<Page>, ChartError> {
    let all = [
        surface::page(context)?,
        recipe::page(context)?,
        change::page(context)?,
        trend::page(context)?,
    ];
    Ok(all.into_iter().flatten().collect())
}
