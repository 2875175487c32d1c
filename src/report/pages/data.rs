//! The data: what was read, what was set aside and why, what to doubt.

use std::collections::BTreeMap;

use super::Context;
use crate::records::{Lost, Reject};
use crate::report::ranking::Ranking;
use crate::report::words::{data, trial as trial_words};
use crate::report::{Block, Page, Start, Table};

/// Most rows of the table of kinds.
const KINDS: usize = 40;
/// Most rows of the table of rejects; all are in `rejects.csv`.
const REJECTS: usize = 40;
/// Most doubts; all are in `findings.json`.
const DOUBTS: usize = 20;

/// The page.
pub(super) fn page(context: &Context<'_>, ranking: &Ranking) -> Page {
    let numbers = context.numbers();
    let records = context.findings.records;
    let counts = data::counts(&records.input);
    let half = counts.len().div_ceil(2);
    let two = |k: usize| -> Vec<String> {
        let both = [counts.get(k), counts.get(half + k)];
        let cells = both.into_iter().flatten();
        cells
            .flat_map(|(what, n)| [(*what).to_owned(), numbers.count(*n)])
            .collect()
    };
    let rows = (0..half).map(two);
    let table = Table::new(data::COUNTS_CAPTION, data::COUNTS_COLUMNS, rows);
    let mut blocks = vec![Block::Table(table)];
    if !ranking.kinds.is_empty() {
        let rows = ranking.kinds.iter().take(KINDS).map(|k| {
            let mut row = vec![
                k.name.clone(),
                data::class(k.class).to_owned(),
                numbers.count(k.panels),
                numbers.count(k.defects),
            ];
            let cost = k.cost.map_or("–".to_owned(), |c| numbers.significant(c, 3));
            row.extend(ranking.total_cost.map(|_| cost));
            row
        });
        let caption = data::kinds_caption(ranking.kinds.len(), KINDS, numbers);
        let unit = context.site.defects.cost_unit.as_str();
        let heads = data::kinds_columns(ranking.total_cost.map(|_| unit));
        blocks.push(Block::Table(Table::new(caption, &heads, rows)));
    }
    if !records.rejects.is_empty() {
        blocks.push(Block::Heading(data::SET_ASIDE.to_owned()));
        blocks.push(Block::Table(rejects(context)));
    }
    let planned = trial_words::came_back(
        records,
        &context.findings.causes.findings,
        context.findings.levels.alpha,
        numbers,
    );
    if !planned.is_empty() {
        blocks.push(Block::Heading(trial_words::READ_BACK.to_owned()));
        blocks.push(Block::List(planned));
    }
    let warnings = context.findings.warnings();
    let mut doubts: Vec<String> = warnings.map(|w| w.text.clone()).collect();
    if !doubts.is_empty() {
        blocks.push(Block::Heading(data::DOUBTS.to_owned()));
        let more = doubts.len().saturating_sub(DOUBTS);
        doubts.truncate(DOUBTS);
        doubts.extend((more > 0).then(|| data::more_doubts(more, numbers)));
        blocks.push(Block::List(doubts));
    }
    Page {
        anchor: "data".to_owned(),
        title: data::TITLE.to_owned(),
        lead: data::lead(&records.input, numbers),
        start: Start::Follows,
        blocks,
    }
}

/// Rejects by what was lost and the column to blame, the most frequent first.
fn rejects(context: &Context<'_>) -> Table {
    let numbers = context.numbers();
    let mut groups: BTreeMap<(Lost, &str), (usize, &Reject)> = BTreeMap::new();
    for reject in &context.findings.records.rejects {
        let key = (reject.lost, reject.column.as_deref().unwrap_or(""));
        groups.entry(key).or_insert((0, reject)).0 += 1;
    }
    let mut groups: Vec<_> = groups.into_iter().collect();
    groups.sort_by_key(|group| std::cmp::Reverse(group.1.0));
    let shown = groups.into_iter().take(REJECTS);
    let rows = shown.map(|((lost, column), (count, first))| {
        vec![
            data::lost(lost).to_owned(),
            if column.is_empty() { "–" } else { column }.to_owned(),
            numbers.count(count),
            data::example(first),
        ]
    });
    let caption = data::rejects_caption(context.findings.records.rejects.len(), numbers);
    Table::new(caption, data::REJECTS_COLUMNS, rows)
}
