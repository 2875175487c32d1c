//! Where and when: all panels laid over each other, and every finding in time.

use super::maps::{Cell, cell_figure, cell_of, is_ringed};
use super::{Context, strips};
use crate::charts::ChartError;
use crate::report::words::{self, places};
use crate::report::{Block, Page, Start};

/// Most cells drawn; those with findings come first.
const CELLS: usize = 4;
/// Most findings drawn in time, as many as the page holds below one row of maps
/// or two.
const STRIPS: [usize; 2] = [6, 4];
/// So few are compared on their own pages.
const FEW: usize = 3;

/// The page; none without a mark that has a place.
pub(super) fn page(context: &Context<'_>) -> Result<Option<Page>, ChartError> {
    let records = context.findings.records;
    let worst = context.findings.worst_first();
    let mut cells: Vec<Cell<'_>> = records
        .defects
        .iter()
        .filter(|d| d.place.is_some())
        .filter_map(|d| records.panels.get(d.panel))
        .filter(|p| p.inspected)
        .map(cell_of)
        .collect();
    cells.sort_unstable();
    cells.dedup();
    if cells.is_empty() {
        return Ok(None);
    }
    let findings_in = |cell: &Cell<'_>| {
        worst
            .iter()
            .filter(|f| (f.machine.as_deref(), f.head.as_deref()) == *cell)
            .count()
    };
    cells.sort_by_key(|cell| std::cmp::Reverse(findings_in(cell)));
    let left_out = cells.len().saturating_sub(CELLS);
    let ringed = worst.iter().filter(|f| is_ringed(f)).count();
    let mut blocks = Vec::new();
    if let [only] = cells[..] {
        blocks.push(Block::Figure(cell_figure(context, only, 1, context.theme)?));
    } else {
        let half = context.theme.half();
        let shown = cells.iter().take(CELLS).enumerate();
        let maps = shown.map(|(i, &cell)| cell_figure(context, cell, i + 1, &half));
        blocks.push(Block::columns(maps.collect::<Result<_, _>>()?));
    }
    if left_out > 0 {
        blocks.push(Block::Paragraph(places::cells_left_out(
            left_out,
            context.numbers(),
        )));
    }
    // A finding on rates or slopes has no panels of its own to tick.
    let shown: Vec<_> = worst
        .iter()
        .filter(|f| !f.evidence.hits.is_empty())
        .take(STRIPS[usize::from(cells.len() > 2)])
        .copied()
        .collect();
    let in_time = shown.len() > FEW;
    if in_time {
        blocks.push(Block::Heading(words::strips::HEADING.to_owned()));
        blocks.push(Block::Figure(strips::figure(context, &shown, "when")?));
    }
    Ok(Some(Page {
        anchor: "places".to_owned(),
        title: places::page_title(in_time).to_owned(),
        lead: places::lead(worst.len(), ringed, context.numbers()),
        start: Start::Follows,
        blocks,
    }))
}
