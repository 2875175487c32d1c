//! Method and words: levels, limits, sources, and what "sure" means.

use super::Context;
use crate::report::words::method;
use crate::report::{Block, Page, Start};

fn told(items: &[&str]) -> Block {
    Block::List(items.iter().map(|item| (*item).to_owned()).collect())
}

/// How changes are judged, for a comparison that stands alone.
pub(super) fn of_changes() -> Page {
    Page {
        anchor: "method".to_owned(),
        title: method::TITLE.to_owned(),
        lead: method::LEAD.to_owned(),
        start: Start::Follows,
        blocks: vec![
            Block::Heading(method::CHANGES.to_owned()),
            told(method::CHANGES_TOLD),
        ],
    }
}

/// The page.
pub(super) fn page(context: &Context<'_>) -> Page {
    let numbers = context.numbers();
    let levels = &context.findings.levels;
    Page {
        anchor: "method".to_owned(),
        title: method::TITLE.to_owned(),
        lead: method::LEAD.to_owned(),
        start: Start::Follows,
        blocks: vec![
            Block::Heading(method::WORDS.to_owned()),
            Block::List(method::sureness(levels.alpha, numbers)),
            Block::Heading(method::CAUSES.to_owned()),
            told(method::CAUSES_TOLD),
            Block::Heading(method::HOW.to_owned()),
            Block::List(method::how(levels.alpha, numbers)),
            Block::Heading(method::CHANGES.to_owned()),
            told(method::CHANGES_TOLD),
            Block::Heading(method::LIMITS.to_owned()),
            told(method::LIMITS_TOLD),
            Block::Heading(method::SETTINGS.to_owned()),
            Block::Paragraph(method::settings(levels, numbers)),
            Block::Heading(method::SOURCES.to_owned()),
            told(method::SOURCES_TOLD),
        ],
    }
}
