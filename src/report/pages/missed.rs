//! What could have been missed: per stream the smallest repeat that would
//! have been found.

use super::Context;
use crate::causes::Reason;
use crate::report::words::{self, missed};
use crate::report::{Block, Cell, Page, Start, Table};

/// Most rows; all are in `findings.json`.
const ROWS: usize = 24;

/// The page; none without streams.
pub(super) fn page(context: &Context<'_>) -> Option<Page> {
    let streams = &context.findings.causes.streams;
    if streams.is_empty() {
        return None;
    }
    let numbers = context.numbers();
    let mut order: Vec<_> = streams.iter().collect();
    order.sort_by_key(|s| std::cmp::Reverse(s.panels_hit));
    let rows = order.iter().take(ROWS).map(|s| {
        let cell = words::finding::cell_name(s.machine.as_deref(), s.head.as_deref());
        vec![
            Cell::from(cell),
            Cell::from(s.defect.as_str()),
            Cell::from(numbers.count(s.panels)),
            Cell::from(numbers.count(s.panels_hit)),
            Cell::from(missed::smallest(s.smallest_repeat_seen, s.panels, numbers)),
            Cell::from(s.panels_needed.map_or("–".to_owned(), |n| numbers.count(n))),
            Cell::Cause(s.cause, words::causes::cause(s.cause).to_owned()),
        ]
    });
    let caption = missed::caption(streams.len(), ROWS, numbers);
    let mut blocks = vec![
        Block::Paragraph(missed::EXPLAINED.to_owned()),
        Block::Table(Table::new(caption, missed::COLUMNS, rows)),
    ];
    let reasons: Vec<String> = order
        .iter()
        .filter_map(|s| {
            // what would have been seen stands in the table
            let told = |r: &&Reason| !matches!(r, Reason::NothingRepeats { .. });
            let reasons: Vec<Reason> = s.reasons.iter().filter(told).cloned().collect();
            let why = words::reasons(&reasons, numbers);
            let cell = (s.machine.as_deref(), s.head.as_deref());
            (!why.is_empty()).then(|| missed::why(&s.defect, cell.0, cell.1, &why))
        })
        .take(8)
        .collect();
    if !reasons.is_empty() {
        blocks.push(Block::Heading(missed::WHY.to_owned()));
        blocks.push(Block::List(reasons));
    }
    Some(Page {
        anchor: "missed".to_owned(),
        title: missed::TITLE.to_owned(),
        lead: missed::lead(streams, numbers),
        start: Start::Follows,
        blocks,
    })
}
