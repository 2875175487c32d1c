//! What became of findings since the last report, and what came of what was
//! done about them.

use super::Context;
use crate::report::front::Front;
use crate::report::words::finding::cell_name;
use crate::report::words::{actions as action_words, life as words};
use crate::report::{Block, Page, Start, Table};

/// Most rows of a table; all are in `findings.json`.
const ROWS: usize = 40;

/// The page; none without an earlier report and without an action.
pub(super) fn page(context: &Context<'_>) -> Option<Page> {
    let findings = context.findings;
    let mut blocks = Vec::new();
    if !findings.actions.is_empty() {
        blocks.push(Block::Heading(action_words::DONE.to_owned()));
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
        lead: Front::new(findings)
            .since(numbers)
            .unwrap_or_else(|| words::NO_REPORT.to_owned()),
        start: Start::WhereItFits,
        blocks,
    })
}

fn actions(context: &Context<'_>) -> Table {
    let numbers = context.numbers();
    let unit = &context.site.defects.cost_unit;
    let done = context.findings.actions.iter().rev().take(ROWS);
    let rows = done.map(|done| {
        vec![
            numbers.date(done.action.date),
            action_words::about(done),
            done.action.done.clone(),
            action_words::answer(done, unit, numbers),
        ]
    });
    Table::new(action_words::DONE_CAPTION, action_words::DONE_COLUMNS, rows)
}

fn lives(context: &Context<'_>) -> Table {
    let numbers = context.numbers();
    let findings = context.findings;
    let own = findings.causes.findings.iter().filter_map(|f| {
        let life = findings.lives.of.get(&f.id)?;
        Some((&f.id, &f.machine, &f.head, &f.defect, life))
    });
    let kept = findings.lives.kept.iter().map(|k| {
        let f = &k.finding;
        (&f.id, &f.machine, &f.head, &f.defect, &k.life)
    });
    let rows = own
        .chain(kept)
        .take(ROWS)
        .map(|(id, machine, head, defect, life)| {
            vec![
                id.clone(),
                cell_name(machine.as_deref(), head.as_deref()),
                defect.clone(),
                life.since_report.clone().unwrap_or("–".to_owned()),
                words::became(life, numbers),
            ]
        });
    Table::new(words::SINCE_CAPTION, words::SINCE_COLUMNS, rows)
}
