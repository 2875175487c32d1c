//! The pages of the report: findings in, blocks out.
//!
//! One file per page; a page that the data do not carry is none. Sentences
//! come from [`words`](crate::report::words), charts from
//! [`charts`](crate::charts).

mod change;
mod data;
mod evidence;
mod finding;
mod front;
mod kinds;
mod maps;
mod method;
mod missed;
mod places;
mod recipe;
mod since;
mod strips;
mod surface;
mod trend;

use crate::causes::Finding;
use crate::charts::{ChartError, NumberStyle, Theme};
use crate::report::words::advice::Lever;
use crate::report::words::finding::Speech;
use crate::report::{Findings, Length, Page, Start, Story};
use crate::site::Site;

use kinds::kinds_figure;

/// What every page is built from.
#[derive(Debug, Clone, Copy)]
pub struct Context<'a> {
    /// All results.
    pub findings: &'a Findings<'a>,
    /// What is said of it.
    pub story: &'a Story<'a>,
    /// The site's names, limits and styles.
    pub site: &'a Site,
    /// Look of the charts and style of the numbers.
    pub theme: &'a Theme,
}

impl Context<'_> {
    /// How numbers are written.
    #[must_use]
    pub fn numbers(&self) -> &NumberStyle {
        &self.theme.numbers
    }

    /// Whether the recipe page advises a lever.
    #[must_use]
    pub fn lever(&self) -> Lever {
        if self.story.has_lever() {
            Lever::Advised
        } else {
            Lever::None
        }
    }

    /// How places are spoken of.
    #[must_use]
    pub fn speech(&self) -> Speech<'_> {
        Speech {
            numbers: self.numbers(),
            feed: self.site.frames.feed_direction,
        }
    }

    /// Anchor of the page that says more about a finding: its own, or the
    /// table where there are too many.
    #[must_use]
    pub fn finding_anchor(&self, finding: &Finding) -> String {
        let worst = self.findings.worst_first();
        let groups = finding::groups(&worst);
        let position = (groups.iter().take(finding::PAGES))
            .position(|group| group.iter().any(|f| f.id == finding.id));
        position.map_or("findings".to_owned(), |at| format!("finding-{}", at + 1))
    }
}

/// All pages in reading order.
///
/// # Errors
///
/// [`ChartError`] if a chart could not be drawn.
pub fn pages(context: &Context<'_>, length: Length) -> Result<Vec<Page>, ChartError> {
    let ranking = super::ranking::rank(context.findings, context.site);
    let mut all = vec![front::page(context, &ranking)?];
    all.extend(finding::pages(context)?);
    if length == Length::Short {
        return Ok(all);
    }
    all.extend(recipe::page(context)?);
    all.extend(since::page(context));
    all.extend(change::page(context)?);
    all.extend(trend::page(context)?);
    // The appendix.
    all.extend(places::page(context)?);
    all.extend(surface::page(context)?);
    all.extend(missed::page(context));
    all.push(data::page(context, &ranking));
    all.push(method::page(context));
    all.sort_by_key(|page| page.start == Start::Follows);
    Ok(all)
}

/// The pages of a comparison: the change, the data, how it is judged.
///
/// # Errors
///
/// [`ChartError`] if a chart could not be drawn.
pub fn comparison_pages(context: &Context<'_>) -> Result<Vec<Page>, ChartError> {
    let ranking = super::ranking::rank(context.findings, context.site);
    let mut all: Vec<Page> = change::page(context)?.into_iter().collect();
    all.push(data::page(context, &ranking));
    all.push(method::of_changes());
    Ok(all)
}
