//! What became of findings since the last report, and what came of what was
//! done about them.

use super::Context;
use crate::report::words::finding::cell_name;
use crate::report::words::life as words;
use crate::report::{Block, Cell, Page, Start, Table};

/// Most rows of a table; all are in `findings.json`.
const ROWS: usize = 40;

/// The page; none without an earlier report and without an action.
pub(super) fn page(context: &Context<'_>) -> Option<Page> {
    let findings = context.findings;
    let mut blocks = Vec::new();
    if !findings.actions.is_empty() {
        blocks.push(Block::Heading(words::DONE.to_owned()));
        blocks.push(Block::Table(actions(context)));
    }
    if findings.lives.previous.is_some() {
        blocks.push(Block::Heading(words::SINCE.to_owned()));
        blocks.push(Block::Table(lives(context)));
    }
    if blocks.is_empty() {
        return None;
    }
    let numbers = context.numbers();
    Some(Page {
        anchor: "since".to_owned(),
        title: words::TITLE.to_owned(),
        lead: words::on_page_one(&findings.lives, numbers)
            .unwrap_or_else(|| words::NO_REPORT.to_owned()),
        start: Start::WhereItFits,
        blocks,
    })
}

fn actions(context: &Context<'_>) -> Table {
    let numbers = context.numbers();
    let unit = &context.site.defects.cost_unit;
    let done = &context.findings.actions;
    Table {
        caption: words::DONE_CAPTION.to_owned(),
        columns: words::done_columns(),
        rows: (done.iter().rev().take(ROWS))
            .map(|done| {
                vec![
                    Cell::from(numbers.date(done.action.date)),
                    Cell::from(words::about(done)),
                    Cell::from(done.action.done.as_str()),
                    Cell::from(words::answer(done, unit, numbers)),
                ]
            })
            .collect(),
    }
}

fn lives(context: &Context<'_>) -> Table {
    let numbers = context.numbers();
    let findings = context.findings;
    let own = findings.causes.findings.iter().filter_map(|f| {
        let life = findings.lives.of.get(&f.id)?;
        Some((&f.id, &f.machine, &f.head, &f.defect, life))
    });
    let kept =
        (findings.lives.kept.iter()).map(|k| (&k.id, &k.machine, &k.head, &k.defect, &k.life));
    Table {
        caption: words::SINCE_CAPTION.to_owned(),
        columns: words::since_columns(),
        rows: own
            .chain(kept)
            .take(ROWS)
            .map(|(id, machine, head, defect, life)| {
                vec![
                    Cell::from(id.as_str()),
                    Cell::from(cell_name(machine.as_deref(), head.as_deref())),
                    Cell::from(defect.as_str()),
                    Cell::from(life.since_report.as_deref().unwrap_or("–")),
                    Cell::from(words::became(life, numbers)),
                ]
            })
            .collect(),
    }
}
